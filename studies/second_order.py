"""What do curved panels with linear density gain over flat ones of uniform density?

Question: errors of Cp, their order in panel size and the time, flat against curved, on the same
meshes.
Method: sphere, ellipsoid 3:2:1 and the same with vertices moved along the surface at random, each
solved twice by the same code: once with the fitted patches and gradients, once with straight
edges and no gradients. Cp where the control points, put onto the exact surface, lie.
Known answer: surface velocity V - (V.n) n, V_i = 2 U_i / (2 - alpha_i) (H. Lamb, Hydrodynamics,
6th ed., 1932, Arts. 111-115; from memory).
Command: python studies/second_order.py
"""

import time

import numpy as np
import trimesh
from scipy.sparse.linalg import LinearOperator, gmres
from scipy.special import elliprd

from panelcp.panels.influence import InducedVelocity
from panelcp.surface.curved import CurvedPanels, curved_panels
from panelcp.surface.mesh import SurfaceMesh

STREAM = np.array([0.986500, -0.087156, 0.138644])  # alpha 8, beta 5 deg
JITTER = 0.3
KINDS = ("flat", "curved")
BODIES = {
    "sphere": ((1.0, 1.0, 1.0), 0.0),
    "3:2:1": ((3.0, 2.0, 1.0), 0.0),
    "3:2:1 jittered": ((3.0, 2.0, 1.0), JITTER),
}


def body(axes, level, jitter=0.0):
    """Ellipsoid of 20 * 4**level panels; vertices moved by up to a part of their edges."""
    mesh = trimesh.creation.icosphere(subdivisions=level)
    unit = mesh.vertices / np.linalg.norm(mesh.vertices, axis=1, keepdims=True)
    vertices, ends = unit * axes, mesh.edges_unique
    length = np.linalg.norm(vertices[ends[:, 0]] - vertices[ends[:, 1]], axis=1)
    shortest = np.full(len(vertices), np.inf)
    np.minimum.at(shortest, ends, length[:, None])
    random = np.random.default_rng(0)
    normal = vertices / np.square(axes)
    normal /= np.linalg.norm(normal, axis=1, keepdims=True)
    step = random.normal(size=vertices.shape)
    step -= (step * normal).sum(axis=1, keepdims=True) * normal
    step /= np.linalg.norm(step, axis=1, keepdims=True)
    step *= (jitter * shortest * random.uniform(size=len(vertices)))[:, None]
    return SurfaceMesh(onto(axes, vertices + step), mesh.faces)


def onto(axes, points):
    """Points moved along the gradient until they meet the ellipsoid."""
    for _ in range(3):
        gradient = 2.0 * points / np.square(axes)
        excess = (points**2 / np.square(axes)).sum(axis=1, keepdims=True) - 1.0
        points = points - excess * gradient / (gradient**2).sum(axis=1, keepdims=True)
    return points


def exact_cp(axes, points):
    """Cp of an ellipsoid in STREAM where the points meet it."""
    a, b, c = square = np.square(axes)
    factor = 2.0 / 3.0 * np.prod(axes)
    alphas = factor * np.array([elliprd(b, c, a), elliprd(c, a, b), elliprd(a, b, c)])
    normal = onto(axes, points) / square
    normal /= np.linalg.norm(normal, axis=1, keepdims=True)
    inner = 2.0 * STREAM / (2.0 - alphas)
    velocity = inner - (normal @ inner)[:, None] * normal
    return 1.0 - (velocity**2).sum(axis=1) / (STREAM @ STREAM)


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


def solved(surface, panels):
    """Cp in STREAM at the control points of given panels, seconds of assembly and of all."""
    start = time.perf_counter()
    operator = InducedVelocity(panels, panels.points, np.arange(surface.n_panels))
    assembled = time.perf_counter()

    def velocity(strength):
        return operator.apply(strength)[0] + 0.5 * strength[:, None] * panels.normals

    def normal_velocity(strength):
        return (velocity(strength) * panels.normals).sum(axis=1)

    shape = (surface.n_panels, surface.n_panels)
    data = -panels.normals @ STREAM
    equations = LinearOperator(shape, matvec=normal_velocity, dtype=float)
    strength, fault = gmres(equations, data, x0=2.0 * data, rtol=1e-7)
    if fault:
        raise RuntimeError(f"no convergence on {surface.n_panels} panels")
    outside = STREAM + velocity(strength)
    stop = time.perf_counter()
    cp = 1.0 - (outside**2).sum(axis=1) / (STREAM @ STREAM)
    return cp, assembled - start, stop - start


def compare(axes, jitter, level, runs):
    """For flat and curved panels: rms and greatest error, least seconds of assembly and of all."""
    surface = body(axes, level, jitter)
    rows = {}
    for name, panels in (("flat", flat_panels(surface)), ("curved", curved_panels(surface))):
        results = [solved(surface, panels) for _ in range(runs)]
        error = results[0][0] - exact_cp(axes, panels.points)
        times = np.min([row[1:] for row in results], axis=0)
        rows[name] = (float(np.sqrt(np.mean(error**2))), float(np.abs(error).max()), *times)
    return rows


def main(quick=False):
    """Print the table; return orders, ratios of errors and of times by name."""
    levels, runs = ((1, 2, 3), 2) if quick else ((2, 3, 4), 5)
    compare((1.0, 1.0, 1.0), 0.0, 1, 1)  # compiles
    numbers = {}
    print("body, panels: rms and max error of Cp, assembly and whole time, flat | curved")
    for name, (axes, jitter) in BODIES.items():
        table = {level: compare(axes, jitter, level, runs) for level in levels}
        for level, rows in table.items():
            texts = ["{:.5f} {:.4f} {:.3f} s {:.3f} s".format(*rows[kind]) for kind in KINDS]
            print(f"  {name}, {20 * 4**level}: {' | '.join(texts)}")
        for kind in KINDS:
            errors = [rows[kind][0] for rows in table.values()]
            order = -np.polyfit(range(len(errors)), np.log2(errors), 1)[0]
            numbers[f"{name} order {kind}"] = float(order)
        finest = table[levels[-1]]
        numbers[f"{name} gain"] = finest["flat"][0] / finest["curved"][0]
        numbers[f"{name} assembly ratio"] = finest["curved"][2] / finest["flat"][2]
        print(
            f"  {name}: order {numbers[f'{name} order flat']:.2f} | "
            f"{numbers[f'{name} order curved']:.2f}, error {numbers[f'{name} gain']:.1f} times "
            f"less, assembly {numbers[f'{name} assembly ratio']:.2f} times longer"
        )
    return numbers


if __name__ == "__main__":
    main()
