"""Unit solutions: the flow for one unit cause at a time."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.sparse.linalg import LinearOperator, gmres

from panelcp.errors import FlowError
from panelcp.panels.influence import induced_velocity, normal_influence
from panelcp.surface.mesh import SurfaceMesh, frozen_array

STREAMS = ("stream x", "stream y", "stream z")
TOLERANCE = 1e-9
MAX_ITERATIONS = 100
MIRROR = np.array([1.0, -1.0, 1.0])


@dataclass(frozen=True, eq=False)
class UnitSolutions:
    """Flow over one surface for unit causes; every condition is a sum of them.

    Attributes
    ----------
    surface : SurfaceMesh
    names : of the unit causes: streams of 1 m/s along x, y and z
    source_strength : (n_units, n_panels) float, m/s
    velocity : (n_units, n_panels, 3) float, m/s, outside the panels at their centroids
    iterations : (n_units,) int, steps of the iterative solver
    residuals : (n_units,) float, rms of the normal velocity left, parts of the unit speed
    """

    surface: SurfaceMesh
    names: tuple[str, ...]
    source_strength: np.ndarray
    velocity: np.ndarray
    iterations: np.ndarray
    residuals: np.ndarray

    def __post_init__(self):
        for name in ("source_strength", "velocity", "residuals"):
            object.__setattr__(self, name, frozen_array(getattr(self, name)))
        object.__setattr__(self, "iterations", frozen_array(self.iterations, np.int64))


def solve_units(
    surface: SurfaceMesh, progress: Callable[[str], None] = lambda text: None
) -> UnitSolutions:
    """Solve the flow for unit streams along x, y and z.

    Parameters
    ----------
    surface : SurfaceMesh, closed and outward
    progress : called with a short text before each long step

    Returns
    -------
    UnitSolutions

    Raises
    ------
    FlowError : the iteration does not converge

    Notes
    -----
    (1/2 I + K') s = -n.V0 with one density per panel, taken at the centroids. A mirrored
    surface is solved as one half: streams along x and z with equal density on the image, the
    stream along y with opposite density.
    Source: J. Katz, A. Plotkin, Low-Speed Aerodynamics, 2nd ed., 2001, ch. 9 and 12 (from
    memory); the sign of every term is tested on spheres and ellipsoids.
    """
    n = surface.n_solved
    progress(f"influence of {surface.n_panels} panels")
    matrices = normal_influence(surface)
    progress("solving for unit streams")
    strengths, iterations = [], []
    for axis in range(3):
        matrix = matrices[-1] if axis == 1 else matrices[0]
        strength, steps = _solve(matrix, -surface.normals[:n, axis], STREAMS[axis])
        strengths.append(_unfold(strength, surface.mirrored, odd=axis == 1))
        iterations.append(steps)
    del matrices
    progress("surface velocities")
    velocity = induced_velocity(surface, np.array(strengths)) + np.eye(3)[:, None, :]
    normal_part = np.einsum("uni,ni->un", velocity, surface.normals[:n])
    whole = [_unfold_velocity(velocity[k], surface.mirrored, odd=k == 1) for k in range(3)]
    return UnitSolutions(
        surface=surface,
        names=STREAMS,
        source_strength=np.array(strengths),
        velocity=np.array(whole),
        iterations=np.array(iterations),
        residuals=np.sqrt((normal_part**2).mean(axis=1)),
    )


def _solve(matrix: np.ndarray, right_side: np.ndarray, name: str) -> tuple[np.ndarray, int]:
    steps = []
    diagonal = np.diag(matrix).copy()
    solution, fault = gmres(
        matrix,
        right_side,
        rtol=TOLERANCE,
        atol=0.0,
        restart=MAX_ITERATIONS,
        maxiter=1,
        M=LinearOperator(matrix.shape, matvec=lambda v: v / diagonal),
        callback=steps.append,
        callback_type="pr_norm",
    )
    if fault or not np.isfinite(solution).all():
        left = np.linalg.norm(matrix @ solution - right_side) / np.linalg.norm(right_side)
        raise FlowError(
            f"the solution for {name} did not converge in {len(steps)} steps (residual "
            f"{left:.1e}, wanted {TOLERANCE:.0e}); likely the skin touches itself, parts "
            "interpenetrate, or panels are extremely thin"
        )
    return solution, len(steps)


def _unfold(half: np.ndarray, mirrored: bool, odd: bool) -> np.ndarray:
    if not mirrored:
        return half
    return np.concatenate([half, -half if odd else half])


def _unfold_velocity(half: np.ndarray, mirrored: bool, odd: bool) -> np.ndarray:
    if not mirrored:
        return half
    return np.concatenate([half, half * (-MIRROR if odd else MIRROR)])
