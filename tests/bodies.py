"""Small closed bodies with vertices exactly on a known surface."""

import numpy as np

from panelcp.surface.mesh import SurfaceMesh, mirrored_whole
from tests.exact import RankineOvoid, ellipsoid_normal, onto_ellipsoid


def icosphere(level):
    """Unit sphere of 20 * 4**level nearly equal triangles, mirrored by all three planes."""
    import trimesh

    mesh = trimesh.creation.icosphere(subdivisions=level)
    vertices = np.asarray(mesh.vertices)
    return vertices / np.linalg.norm(vertices, axis=1, keepdims=True), np.asarray(mesh.faces)


def ellipsoid(axes, level):
    """Ellipsoid with semi-axes along x, y, z."""
    vertices, triangles = icosphere(level)
    return SurfaceMesh(vertices * axes, triangles)


def jittered_ellipsoid(axes, level, amount=0.3, draw=0):
    """Ellipsoid whose vertices are moved along it by up to a part of their shortest edge."""
    vertices, triangles = icosphere(level)
    vertices = vertices * axes
    ends = triangles[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)
    length = np.linalg.norm(vertices[ends[:, 0]] - vertices[ends[:, 1]], axis=1)
    shortest = np.full(len(vertices), np.inf)
    np.minimum.at(shortest, ends.ravel(), np.repeat(length, 2))
    random = np.random.default_rng(draw)
    normal = ellipsoid_normal(axes, vertices)
    step = random.normal(size=vertices.shape)
    step -= (step * normal).sum(axis=1, keepdims=True) * normal
    step /= np.linalg.norm(step, axis=1, keepdims=True)
    step *= amount * (shortest * random.uniform(size=len(vertices)))[:, None]
    return SurfaceMesh(onto_ellipsoid(axes, vertices + step), triangles)


def quality(surface):
    """(n_panels,) 4 sqrt(3) area / sum of squared edges: 1 for equal sides, 0 for a needle."""
    corners = surface.corners
    edges = (np.roll(corners, -1, axis=1) - corners) ** 2
    return 4.0 * np.sqrt(3.0) * surface.areas / edges.sum(axis=(1, 2))


def coarse_nosed_ellipsoid(axes, level, power=0.6):
    """Ellipsoid whose panels grow towards the tip at least x: polar angles pi (theta/pi)^power."""
    vertices, triangles = icosphere(level)
    theta = np.arccos(np.clip(-vertices[:, 0], -1.0, 1.0))
    moved = np.pi * (theta / np.pi) ** power
    off_axis = np.hypot(vertices[:, 1], vertices[:, 2])
    outward = np.divide(np.sin(moved), off_axis, out=np.zeros_like(theta), where=off_axis > 1e-12)
    places = [-np.cos(moved), outward * vertices[:, 1], outward * vertices[:, 2]]
    return SurfaceMesh(np.stack(places, axis=1) * axes, triangles)


def half_ellipsoid(axes, level):
    """Right half, y >= 0, of an ellipsoid of 8 * 4**level triangles, open on y = 0.

    An icosphere has triangles across each of its planes of symmetry; a divided octahedron has not.
    """
    import trimesh

    vertices = np.array([[1, 0, 0], [0, 0, 1], [-1, 0, 0], [0, 0, -1], [0, 1, 0]], dtype=float)
    triangles = np.array([[1, 0, 4], [2, 1, 4], [3, 2, 4], [0, 3, 4]])
    for _ in range(level):
        vertices, triangles = trimesh.remesh.subdivide(vertices, triangles)
        vertices /= np.linalg.norm(vertices, axis=1, keepdims=True)
    return vertices * axes, triangles


def mirrored_ellipsoid(axes, level):
    """The whole of `half_ellipsoid`, to be solved as a half."""
    return mirrored_whole(*half_ellipsoid(axes, level), tolerance=1e-12)


def ring_sphere(steps):
    """Unit sphere of 8 steps^2 triangles whose vertices lie on circles theta = k 90/steps deg.

    A divided octahedron, each of its levels laid onto a circle about z.
    """
    corners = np.array([[1, 0, 0], [0, 1, 0], [-1, 0, 0], [0, -1, 0]], dtype=float)
    loose = []
    for k in range(4):
        for pole in (1.0, -1.0):
            a, b, c = corners[k], corners[(k + 1) % 4], np.array([0.0, 0.0, pole])
            a, b = (a, b) if pole > 0 else (b, a)
            loose += _divided(a, b, c, steps)
    flat = _joined(np.array(loose))
    x, y, z = flat.vertices.T
    theta = 0.5 * np.pi * (1.0 - np.abs(z))
    along = np.divide(np.abs(y), 1.0 - np.abs(z), out=np.zeros_like(y), where=np.abs(z) < 1.0)
    azimuth = 0.5 * np.pi * along
    place = [np.copysign(np.cos(azimuth), x), np.copysign(np.sin(azimuth), y)]
    vertices = [np.sin(theta) * place[0], np.sin(theta) * place[1], np.copysign(np.cos(theta), z)]
    return SurfaceMesh(np.stack(vertices, axis=1), flat.triangles)


def _divided(a, b, c, steps):
    """Triangles of a triangle whose edges are divided into equal steps."""

    def point(i, j):
        return a + (i * (b - a) + j * (c - a)) / steps

    parts = []
    for j in range(steps):
        for i in range(steps - j):
            parts.append([point(i, j), point(i + 1, j), point(i, j + 1)])
            if i + j < steps - 1:
                parts.append([point(i + 1, j), point(i + 1, j + 1), point(i, j + 1)])
    return parts


def together(first, second):
    """Two bodies in one surface."""
    triangles = np.concatenate([first.triangles, second.triangles + first.n_vertices])
    return SurfaceMesh(np.concatenate([first.vertices, second.vertices]), triangles)


def box(size=(2.0, 1.0, 0.8), steps=(8, 5, 4), centre=(0.0, 0.0, 0.0)):
    """Box of flat faces, each divided into squares and these into two triangles."""
    loose = []
    for axis in range(3):
        first, second = (axis + 1) % 3, (axis + 2) % 3
        u, v = (np.linspace(-0.5, 0.5, steps[k] + 1) for k in (first, second))
        for sign in (-1.0, 1.0):
            for i in range(steps[first]):
                for j in range(steps[second]):
                    corners = np.empty((4, 3))
                    corners[:, axis] = 0.5 * sign
                    corners[:, first] = [u[i], u[i + 1], u[i + 1], u[i]]
                    corners[:, second] = [v[j], v[j], v[j + 1], v[j + 1]]
                    order = [[0, 1, 2], [0, 2, 3]] if sign > 0 else [[0, 2, 1], [0, 3, 2]]
                    loose += [corners[k] for k in order]
    return _joined(np.array(loose) * size + centre)


def cylinder(around=32, rows=4):
    """Cylinder of radius 1 and length 2 along x, with flat ends."""
    angle = 2 * np.pi * np.arange(around) / around
    places = np.linspace(-1.0, 1.0, rows + 1)
    rings = [np.stack([0 * angle + x, np.cos(angle), np.sin(angle)], axis=1) for x in places]
    ends = [[-1.0, 0.0, 0.0], [1.0, 0.0, 0.0]]
    a = (around * np.arange(rows)[:, None] + np.arange(around)).ravel()
    b = (around * np.arange(rows)[:, None] + (np.arange(around) + 1) % around).ravel()
    first, last = a[:around], a[-around:] + around
    low, high = np.full(around, around * (rows + 1)), np.full(around, around * (rows + 1) + 1)
    parts = [
        np.stack([a, b + around, b], axis=1),
        np.stack([a, a + around, b + around], axis=1),
        np.stack([low, first, b[:around]], axis=1),
        np.stack([high, b[-around:] + around, last], axis=1),
    ]
    return SurfaceMesh(np.concatenate([*rings, ends]), np.concatenate(parts))


def slab(length=6.0, depth=0.4, steps=20, gathered=5.0):
    """Flat square plate with its top at z = 0, panels gathered about the middle of its faces."""
    even = box((1.0, 1.0, 1.0), (steps, steps, 2))
    vertices = even.vertices * [1.0, 1.0, depth] - [0.0, 0.0, 0.5 * depth]
    aside = np.sinh(2.0 * gathered * vertices[:, :2]) / np.sinh(gathered)
    vertices[:, :2] = 0.5 * length * aside
    return SurfaceMesh(vertices, even.triangles)


def rankine_ovoid(strength, level):
    """Ovoid of revolution about x, from an icosphere whose rings are moved onto the profile."""
    ovoid = RankineOvoid(strength)
    vertices, triangles = icosphere(level)
    stations = ovoid.half_length * vertices[:, 0]
    radius = np.array([ovoid.radius(x) for x in stations])
    off_axis = np.hypot(vertices[:, 1], vertices[:, 2])
    factor = np.divide(radius, off_axis, out=np.zeros_like(radius), where=off_axis > 1e-12)
    return SurfaceMesh(
        np.stack([stations, factor * vertices[:, 1], factor * vertices[:, 2]], axis=1), triangles
    )


def egg(level):
    """Smooth body without any symmetry: a stretched, bent and tapered sphere."""
    vertices, triangles = icosphere(level)
    x, y, z = vertices.T
    taper = 1.0 + 0.25 * x + 0.1 * y
    return SurfaceMesh(
        np.stack([2.0 * x, taper * y + 0.2 * x * x, 0.7 * taper * z - 0.15 * x * y], axis=1),
        triangles,
    )


def _joined(loose):
    vertices, index = np.unique(loose.reshape(-1, 3).round(12), axis=0, return_inverse=True)
    return SurfaceMesh(vertices, index.reshape(-1, 3))
