"""How exact is Cp on a smooth nose with a shoulder and a concave windshield base?

Question: errors of Cp on an invented nose of 6.5 m (spinner, rounded shoulder of the cowl,
windshield base hollowed to a radius of about 100 mm, cabin, tapered tail) with about 3 000, 6 000
and 12 000 panels, with flat panels of uniform density and with curved ones of linear density.
Method: the body is a smooth image of a sphere, so that every vertex lies on the known surface.
Points drawn with a given density, triangulated over a conformal sphere and relaxed make meshes of
well-shaped triangles, either finer where the skin bends or of even size; in a third row an even
mesh of 48 000 triangles is panelled anew, as the program does with a user's. Each mesh is solved
both ways. Cp is compared at the control points, moved onto the exact surface, with a far finer
mesh of curved panels, whose values a quadratic fit through the nearest control points carries
there.
Known answer: none in closed form; two fine meshes that share no vertex must agree to 1e-3 rms, and
flat panels must come nearer with every size. The wanted errors (TARGETS) come from trials with
another smooth nose; at the windshield base an even mesh is too coarse to reach them, unless it is
panelled anew.
Command: python studies/nose_accuracy.py
"""

import time

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.linalg import LinearOperator, gmres
from scipy.spatial import ConvexHull, cKDTree

from panelcp.panels.influence import InducedVelocity
from panelcp.surface.curved import CurvedPanels, curved_panels
from panelcp.surface.mesh import SurfaceMesh
from panelcp.surface.panelling import panelled

LENGTH = 6.5  # m
BLUNT = 1.3  # rad, the greater the blunter both ends
BASE = 1.5  # m, station of the windshield base
STREAM = np.array([0.996194, -0.052336, 0.069661])  # alpha 4, beta 3 deg
STREAM = STREAM / np.linalg.norm(STREAM)
SOURCE = 48000
SIZES = (3000, 6000, 12000)
REFERENCES = (48000, 96000)
KINDS = ("flat", "curved")
ZONES = ("all", "windshield base")
TARGETS = {
    ("flat", "all", 6000): "about 0.019",
    ("flat", "all", 12000): "about 0.012",
    ("curved", "all", 6000): "at most 0.007",
    ("curved", "all", 12000): "at most 0.004",
    ("curved", "windshield base", 6000): "at most 0.013",
    ("curved", "windshield base", 12000): "at most 0.009",
}


def station(t):
    """x (m) of the sphere's own coordinate t = -1 .. 1."""
    return 0.5 * LENGTH * (1.0 + np.sin(BLUNT * t) / np.sin(BLUNT))


def sphere_coordinate(x):
    """t of the station x (m)."""
    return np.arcsin(np.clip((2.0 * x / LENGTH - 1.0) * np.sin(BLUNT), -1.0, 1.0)) / BLUNT


def ramp(x, start, width):
    """Smooth corner: 0 ahead of `start`, x - start behind; least radius about 4 width/slope."""
    return width * np.logaddexp(0.0, (x - start) / width)


def over_top(angle):
    """1 on the top line, falling to the sides."""
    return np.exp((np.cos(angle) - 1.0) / 0.5)


def spread(t, angle):
    """Radius of the section (m) over sqrt(1 - t^2), at angles (rad) from the top."""
    x = station(t)
    section = 0.34 + 0.09 * (1.0 + np.tanh((x - 0.45) / 0.07))
    section = section - 0.14 * (1.0 + np.tanh((x - 4.4) / 1.3))
    rise = 0.75 * (ramp(x, BASE, 0.0155) - ramp(x, BASE + 0.6, 0.1))
    fall = 0.45 / 2.1 * (ramp(x, 2.9, 0.15) - ramp(x, 5.0, 0.15))
    return section + (rise - fall) * over_top(angle)


def middle(t):
    """Height of the section's centre (m)."""
    return 0.1 * np.square(np.square(0.5 * (1.0 + t)))


def image(unit):
    """(n, 3) points of the body, m, of points of the unit sphere."""
    t, y, z = unit.T
    size = spread(t, np.arctan2(y, z))
    return np.stack([station(t), size * y, middle(t) + size * z], axis=1)


def onto(points):
    """(n, 3) points of the unit sphere whose images lie next to given points."""
    x, y, z = points.T
    t = sphere_coordinate(x)
    z = z - middle(t)
    size = spread(t, np.arctan2(y, z))
    unit = np.stack([t, y / size, z / size], axis=1)
    return unit / np.linalg.norm(unit, axis=1, keepdims=True)


def relative_size(points, graded):
    """Wanted edge length, parts of the greatest one; 1 everywhere unless graded."""
    if not graded:
        return np.ones(len(points))
    x, y, z = points.T
    base = np.exp(-(((x - BASE) / 0.3) ** 2)) * over_top(np.arctan2(y, z))
    shoulder = np.exp(-(((x - 0.43) / 0.35) ** 2))
    ends = np.exp(-x / 0.4) + np.exp((x - LENGTH) / 0.4)
    return 1.0 / (1.0 + 2.0 * base + shoulder + 0.5 * ends)


def drawn(n_points, graded):
    """Evenly scattered points of the unit sphere, as dense as `relative_size` wants."""
    t = np.linspace(-1.0, 1.0, 2001)
    angle = np.linspace(-np.pi, np.pi, 361)
    wide_t, wide_angle = np.meshgrid(0.5 * (t[1:] + t[:-1]), 0.5 * (angle[1:] + angle[:-1]))
    unit = _unit(wide_t.ravel(), wide_angle.ravel())
    here = image(unit)
    along = image(_unit(wide_t.ravel() + 1e-7, wide_angle.ravel())) - here
    across = image(_unit(wide_t.ravel(), wide_angle.ravel() + 1e-7)) - here
    area = np.linalg.norm(np.cross(along, across), axis=1) * 1e14
    wanted = (area / relative_size(here, graded) ** 2).reshape(wide_t.shape)
    first, second = (np.arange(1, n_points + 1)[:, None] * [0.7548776662, 0.5698402910] % 1.0).T
    place = _from_share(np.cumsum(wanted.sum(axis=0)), first)
    column = np.cumsum(wanted, axis=0)[:, place.astype(int)]
    turn = np.array(
        [_from_share(rows, [share])[0] for rows, share in zip(column.T, second, strict=True)]
    )
    return _unit(-1.0 + place / 1000.0, -np.pi + turn * np.pi / 180.0)


def _unit(t, angle):
    radius = np.sqrt(np.maximum(1.0 - t * t, 0.0))
    return np.stack([t, radius * np.sin(angle), radius * np.cos(angle)], axis=1)


def _from_share(cumulated, share):
    """Place on a grid below which a share of the sum lies."""
    return np.interp(
        share, np.append(0.0, cumulated) / cumulated[-1], np.arange(len(cumulated) + 1)
    )


def triangulated(unit):
    """Triangles between points of the unit sphere: a Delaunay mesh over a conformal sphere."""
    t = np.linspace(-1.0, 1.0, 20003)[1:-1]
    angle = np.linspace(-np.pi, np.pi, 24, endpoint=False)[:, None]
    radius = spread(t, angle).mean(axis=0) * np.sqrt(1.0 - t * t)
    step = np.hypot(np.diff(station(t)), np.diff(radius)) / (0.5 * (radius[1:] + radius[:-1]))
    mercator = np.append(0.0, np.cumsum(step))
    mercator -= np.interp(0.0, t, mercator)
    here = np.tanh(np.interp(unit[:, 0], t, mercator))
    hull = ConvexHull(_unit(here, np.arctan2(unit[:, 1], unit[:, 2])))
    a, b, c = np.moveaxis(hull.points[hull.simplices], 1, 0)
    outward = (np.cross(b - a, c - a) * a).sum(axis=1) > 0.0
    return np.where(outward[:, None], hull.simplices, hull.simplices[:, ::-1])


def nose(n_panels, graded=True, rounds=30):
    """Mesh of well-shaped triangles; every vertex moves to the middle of its triangles."""
    unit = drawn(n_panels // 2 + 2, graded)
    for _ in range(rounds):
        points, triangles = image(unit), triangulated(unit)
        corners = points[triangles]
        centre = corners.mean(axis=1)
        area = np.linalg.norm(np.cross(*np.diff(corners, axis=1).swapaxes(0, 1)), axis=1)
        share = np.repeat(area / relative_size(centre, graded) ** 4, 3)
        rows, columns = triangles.ravel(), np.repeat(np.arange(len(triangles)), 3)
        mean = coo_array((share, (rows, columns)), shape=(len(unit), len(triangles))).tocsr()
        unit = onto(mean @ centre / mean.sum(axis=1)[:, None])
    return SurfaceMesh(image(unit), triangulated(unit))


def flat_panels(surface):
    """The triangles themselves, control points at their centroids, no gradients."""
    n = surface.n_panels
    a, b, c = np.moveaxis(surface.corners, 1, 0)
    zero = np.zeros((n, 3))
    return CurvedPanels(
        coefficients=np.stack([a, b - a, c - a, zero, zero, zero], axis=1),
        points=surface.centroids,
        normals=surface.normals,
        areas=surface.areas,
        centroids=surface.centroids,
        neighbours=np.full((n, 3), -1),
        stencil=np.zeros((n, 3, 3)),
    )


def solved(panels):
    """Cp in STREAM at the control points."""
    n = len(panels.areas)
    operator = InducedVelocity(panels, panels.points, np.arange(n))

    def velocity(strength):
        return operator.apply(strength)[0] + 0.5 * strength[:, None] * panels.normals

    def normal_velocity(strength):
        return (velocity(strength) * panels.normals).sum(axis=1)

    data = -panels.normals @ STREAM
    equations = LinearOperator((n, n), matvec=normal_velocity, dtype=float)
    strength, fault = gmres(equations, data, rtol=1e-6)
    if fault:
        raise RuntimeError(f"no convergence on {n} panels")
    return 1.0 - ((STREAM + velocity(strength)) ** 2).sum(axis=1)


class Reference:
    """Cp of a fine mesh, carried to any points of the body."""

    def __init__(self, n_panels):
        panels = curved_panels(nose(n_panels))
        self.cp, self.points = solved(panels), image(onto(panels.points))
        self.normals, self.near = panels.normals, cKDTree(self.points)

    def at(self, points, count=15):
        """Quadratic fit in the tangent plane through the nearest control points."""
        distance, index = self.near.query(points, count)
        normal = self.normals[index[:, 0]]
        first = np.cross(normal, np.eye(3)[np.abs(normal).argmin(axis=1)])
        first /= np.linalg.norm(first, axis=1, keepdims=True)
        step = self.points[index] - points[:, None]
        scale = distance[:, -1:]
        x = np.einsum("pkd,pd->pk", step, first) / scale
        y = np.einsum("pkd,pd->pk", step, np.cross(normal, first)) / scale
        terms = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=2)
        weight = np.exp(-2.0 * (distance / scale) ** 2)
        values = np.linalg.pinv(terms * weight[:, :, None]) @ (weight * self.cp[index])[:, :, None]
        return values[:, 0, 0]


def in_zones(points):
    """Which points lie in each of ZONES."""
    x, y, z = points.T
    base = (np.abs(x - BASE) < 0.15) & (np.abs(np.arctan2(y, z)) < np.pi / 3.0)
    return {"all": np.ones(len(x), dtype=bool), "windshield base": base}


def errors(difference):
    """rms, 99 % and greatest amount."""
    size = np.abs(difference)
    return np.sqrt(np.mean(size**2)), np.quantile(size, 0.99), size.max()


def compare(surface, references):
    """Differences of Cp by kind and zone, and of both references by zone; seconds by kind."""
    found, seconds = {}, {}
    for kind, make in (("flat", flat_panels), ("curved", curved_panels)):
        start = time.perf_counter()
        panels = make(surface)
        cp = solved(panels)
        seconds[kind] = time.perf_counter() - start
        points = image(onto(panels.points))
        rough, fine = (reference.at(points) for reference in references)
        for zone, inside in in_zones(points).items():
            found[kind, zone] = (cp - fine)[inside]
            found["references", zone] = (rough - fine)[inside]
    return found, seconds


def quality(surface):
    """(n_panels,) 4 sqrt(3) area / sum of squared edges: 1 for equal sides, 0 for a needle."""
    edges = (np.roll(surface.corners, -1, axis=1) - surface.corners) ** 2
    return 4.0 * np.sqrt(3.0) * surface.areas / edges.sum(axis=(1, 2))


def meshed(n, grading):
    """Mesh of about n panels: drawn on the body, or made from a finer even mesh."""
    if grading == "panelled anew":
        return panelled(nose(SOURCE, graded=False, rounds=8), n)
    return nose(n, grading == "graded")


def main(quick=False):
    """Print the tables; return rms errors by grading, kind, zone and size, and seconds."""
    sizes, fine = ((3000, 6000), (8000, 10500)) if quick else (SIZES, REFERENCES)
    solved(curved_panels(nose(500)))  # compiles
    references = [Reference(n) for n in fine]
    numbers = {}
    print(f"error of Cp (rms, 99 %, max; number of panels) against {fine[1]} panels; rms wanted")
    for grading in ("graded",) if quick else ("graded", "even", "panelled anew"):
        for n in sizes:
            surface = meshed(n, grading)
            found, seconds = compare(surface, references)
            shape = quality(surface)
            least, half = shape.min(), np.median(shape)
            print(f"  {grading}, {n} panels, quality {least:.2f} (median {half:.2f})")
            numbers |= {f"{grading} seconds {kind} {n}": seconds[kind] for kind in KINDS}
            for (kind, zone), difference in found.items():
                row = errors(difference)
                numbers[f"{grading} {kind} {zone} {n}"] = float(row[0])
                texts = ["{:.4f} {:.4f} {:.4f} {:6}".format(*row, len(difference))]
                texts += [TARGETS.get((kind, zone, n), "")]
                name = f"{fine[0]} panels" if kind == "references" else kind
                print(f"    {name:12} {zone:16}", *texts)
            print("    seconds: {:.2f} flat, {:.2f} curved".format(*seconds.values()))
    return numbers


if __name__ == "__main__":
    main()
