"""Compile the loops that a run needs late, in a process beside it."""

from __future__ import annotations

import subprocess
import sys
from contextlib import contextmanager
from pathlib import Path

import numpy as np

import panelcp

COMMAND = (
    "import gc; gc.set_threshold(50_000, 20, 100); "  # the compiler makes very many objects
    "import sys; sys.path.insert(0, sys.argv[1]); "
    "from panelcp.case.warming import warm; warm()"
)


@contextmanager
def warming(wanted: bool):
    """Compile beside what is done inside; the process ends with it at the latest.

    Parameters
    ----------
    wanted : False does nothing
    """
    if not wanted:
        yield
        return
    quiet = {
        "stdin": subprocess.DEVNULL,
        "stdout": subprocess.DEVNULL,
        "stderr": subprocess.DEVNULL,
    }
    # the package that runs here, neither a source folder that happens to be the current one (-P)
    # nor an installed one: loops are kept beside the package that compiled them
    home = str(Path(panelcp.__file__).parents[1])
    try:
        process = subprocess.Popen([sys.executable, "-P", "-c", COMMAND, home], **quiet)
    except OSError:
        yield
        return
    try:
        yield
    finally:
        process.terminate()
        process.wait()


def warm():
    """Everything late that a run needs, on a ball of few panels.

    First what needs no solution: the run itself compiles the solver meanwhile, and its loops are
    there when the rest asks for them. What only large surfaces need comes last.
    """
    from panelcp.surface.mesh import SurfaceMesh

    body = SurfaceMesh(*_ball())
    _warm_layers()
    _warm_pairs()
    _warm_maps(body)
    _warm_skin(body)
    _warm_tree(body)


def _warm_maps(body):
    """Draw one small sheet with hatches and write it into memory."""
    from panelcp.report.colours import pressure_scale
    from panelcp.report.maps import png_bytes
    from panelcp.report.sheet_base import own_look, sheet_base, sheet_pixels

    n = body.n_panels
    values = np.linspace(-1.0, 1.0, 3 * n).reshape(n, 3)
    hatched = np.where(np.arange(n) % 5 == 0, 2, 0)
    with own_look():
        base = sheet_base(body, ["left", "front"], legend=[(2, "warm")], dots_per_inch=60)
        png_bytes(sheet_pixels(base, values, pressure_scale(values), "warm", hatched), 60)


def _warm_layers():
    from panelcp.flow.boundary_layer import boundary_layers, turbulent_layers

    rows = np.linspace(0.1, 1.0, 12)[None] * np.ones((2, 1))
    boundary_layers(rows, 10.0 + rows, np.ones_like(rows), 1.5e-5, turbulent_start=True)
    turbulent_layers(rows, 10.0 + rows, np.ones_like(rows), 1.5e-5, 1e-3, 1.6)


def _warm_skin(body):
    """Follow lines over a body in an even stream as if it were the flow over it."""
    from panelcp.flow.skin_layers import whole_skin
    from panelcp.flow.streamlines import SkinVelocity, trace
    from panelcp.flow.superposition import SurfaceFlow
    from panelcp.onset.conditions import FlightCondition
    from panelcp.surface.opening import lay_opening
    from panelcp.surface.skin_distance import tape_distances

    n = body.n_panels
    velocity = np.tile([30.0, 3.0, 6.0], (n, 1))
    trace(SkinVelocity(body, np.repeat(velocity[:, None], 3, axis=1)), np.arange(8))
    condition = FlightCondition("warm", true_airspeed=30.0)
    along = velocity - (velocity * body.normals).sum(axis=1, keepdims=True) * body.normals
    whole_skin(SurfaceFlow(body, (condition,), along[None], np.zeros((1, n))), [True])
    tape_distances(body, lay_opening(body, "warm", [0.0, 0.7, 0.7], 0.2, 0.2))


def _warm_tree(body):
    """Solve with the far field through a tree, as on large surfaces."""
    from panelcp.panels import farfield
    from panelcp.panels.solving import solve_units

    usual, farfield.DIRECT_PAIRS = farfield.DIRECT_PAIRS, 0.0
    try:
        solve_units(body)
    finally:
        farfield.DIRECT_PAIRS = usual


def _warm_pairs():
    """Look at two inlets with two exits in eight worlds."""
    from panelcp.placement.pair_kernels import keep_best, look_at_pairs

    single, yes = np.ones((2, 2, 8), dtype=np.float32), np.ones(2, dtype=bool)
    rows, numbers = np.empty((3, 2, 8), dtype=np.float32), np.empty((2, 8), dtype=np.int32)
    found, by_c, allowed = np.empty((4, 2, 2)), np.empty((2, 2, 2, 2)), np.ones((2, 2), dtype=bool)
    look_at_pairs(single, single, single[0], yes, yes, allowed, rows, numbers, found, by_c)
    keep_best(rows[2], numbers, 0, 2, np.zeros(8, dtype=np.float32), np.zeros(8, dtype=np.int64))


def _ball():
    """Vertices and triangles of a ball of 512 panels: an octahedron divided three times."""
    corners = np.vstack([np.eye(3), -np.eye(3)])
    upper = [[0, 1, 2], [1, 3, 2], [3, 4, 2], [4, 0, 2]]
    lower = [[1, 0, 5], [3, 1, 5], [4, 3, 5], [0, 4, 5]]
    faces = corners[upper + lower]
    for _ in range(3):
        a, b, c = np.moveaxis(faces, 1, 0)
        ab, bc, ca = a + b, b + c, c + a
        parts = [(a, ab, ca), (ab, b, bc), (ca, bc, c), (ab, bc, ca)]
        faces = np.concatenate([np.stack(part, axis=1) for part in parts])
        faces /= np.linalg.norm(faces, axis=2, keepdims=True)
    points, index = np.unique(faces.reshape(-1, 3).round(12), axis=0, return_inverse=True)
    return points, index.reshape(-1, 3)
