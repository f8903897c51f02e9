"""Unit solutions: the flow for one unit cause at a time."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from panelcp.display import Column, block, counted, number, table, words
from panelcp.errors import FlowError
from panelcp.panels.influence import TOLERANCE, InducedVelocity, RoughNormalVelocity
from panelcp.panels.krylov import solve_rows
from panelcp.surface.curved import CurvedPanels, curved_panels
from panelcp.surface.mesh import SurfaceMesh, frozen_array
from panelcp.surface.opening import Opening, panel_cover

STREAMS = ("stream x", "stream y", "stream z")
KRYLOV_TOLERANCE = 1e-6
ROUGH_KRYLOV_TOLERANCE = 3e-4
MAX_ITERATIONS = 100
MAX_REFINEMENTS = 12
MIRROR = np.array([1.0, -1.0, 1.0])


@dataclass(frozen=True, eq=False)
class GroundPlane:
    """Flat ground; the flow is that of the body with its mirror image below.

    Attributes
    ----------
    point : (3,) float, m, any point of the ground, body axes
    normal : (3,) float, upward; made a unit vector
    """

    point: np.ndarray
    normal: np.ndarray

    def __post_init__(self):
        normal = np.asarray(self.normal, dtype=float)
        if not np.linalg.norm(normal) > 0.0:
            raise FlowError("the normal of the ground is zero; give its upward direction")
        object.__setattr__(self, "point", frozen_array(self.point))
        object.__setattr__(self, "normal", frozen_array(normal / np.linalg.norm(normal)))

    @property
    def reflection(self) -> tuple[np.ndarray, np.ndarray]:
        """Matrix (3, 3) and offset (3,), m, of the mirror image x -> matrix x + offset."""
        matrix = np.eye(3) - 2.0 * np.outer(self.normal, self.normal)
        return matrix, 2.0 * (self.point @ self.normal) * self.normal

    def height(self, points) -> np.ndarray:
        """(n,) float, m: heights of (n, 3) points above the ground."""
        return (np.asarray(points, dtype=float) - self.point) @ self.normal


@dataclass(frozen=True, eq=False)
class UnitSolutions:
    """Flow over one surface for unit causes; every condition is a sum of them.

    Attributes
    ----------
    surface : SurfaceMesh
    panels : CurvedPanels of the whole surface; values belong to its control points
    names : of the unit causes: streams of 1 m/s along x, y and z, then 1 m3/s out of each
        opening, then the onset fields given
    source_strength : (n_units, n_panels) float, m/s, at the control points
    velocity : (n_units, n_panels, 3) float, m/s, outside the skin at the control points
    iterations : steps of the iterative solver, all units together
    residuals : (n_units,) float, m/s, rms over the skin of the normal velocity left
    far_error : rms error of the far field found by direct sums at some points, parts of the rms
        velocity; zero where it was summed directly
    far_error_greatest : the greatest of these errors, at random panels and at the smallest ones
    ground : GroundPlane or None
    opening_panels : CurvedPanels to which the densities of the openings' unit flows belong: their
        stencils are cut at the rims; None without openings
    """

    surface: SurfaceMesh
    panels: CurvedPanels
    names: tuple[str, ...]
    source_strength: np.ndarray
    velocity: np.ndarray
    iterations: int
    residuals: np.ndarray
    far_error: float = 0.0
    far_error_greatest: float = 0.0
    ground: GroundPlane | None = None
    opening_panels: CurvedPanels | None = None

    def __post_init__(self):
        for name in ("source_strength", "velocity", "residuals"):
            object.__setattr__(self, name, frozen_array(getattr(self, name)))

    def __repr__(self):
        over = "" if self.ground is None else ", over ground"
        return (
            f"UnitSolutions({counted(len(self.names), 'unit flow')}, "
            f"{counted(self.surface.n_panels, 'panel')}{over})"
        )

    def _repr_html_(self) -> str:
        columns = [*words("Unit flow"), Column("Normal velocity left, rms", "m/s")]
        columns.append(Column("Greatest velocity", "m/s"))
        speed = np.linalg.norm(self.velocity, axis=2).max(axis=1, initial=0.0)
        rows = [
            (name, f"{left:.1e}", number(most, 2))
            for name, left, most in zip(self.names, self.residuals, speed, strict=True)
        ]
        ground = "" if self.ground is None else " They stand over ground."
        far = f"{self.far_error:.1e} of the velocity" if self.far_error else "none, summed directly"
        note = (
            f"Streams of 1 m/s, openings of 1 m3/s, and further fields; every condition is a sum "
            f"of them. {self.iterations} steps of the iteration, error of the far field: "
            f"{far}.{ground}"
        )
        caption = f"Unit flows over {counted(self.surface.n_panels, 'panel')}"
        return block(table(caption, columns, rows, note))

    @property
    def all_panels(self) -> CurvedPanels:
        """The panels, and behind them their images below the ground where there is one."""
        if self.ground is None:
            return self.panels
        return self.panels.joined(self.panels.reflected(*self.ground.reflection))


def solve_units(
    surface: SurfaceMesh,
    openings: Sequence[Opening] = (),
    onsets: Sequence[tuple[str, np.ndarray]] = (),
    outflows: Sequence[tuple[str, np.ndarray]] = (),
    ground: GroundPlane | None = None,
    tolerance: float | None = TOLERANCE,
    progress: Callable[[str], None] = lambda text: None,
) -> UnitSolutions:
    """Solve the flow for unit causes.

    Parameters
    ----------
    surface : SurfaceMesh, closed and outward
    openings : each gets a unit solution of 1 m3/s outward through the skin, spread by the panels'
        cover fractions
    onsets : (name, velocity) of further onset fields, (n_panels, 3) float, m/s, at the control
        points of `curved_panels(surface)`; their part beside the body must be free of divergence
    outflows : (name, normal velocity) of further flows through the skin, (n_panels,) float, m/s,
        outward positive, at the control points
    ground : GroundPlane or None
    tolerance : of the far field, parts of the rms induced velocity; None sums it directly
    progress : called with a short text before each long step

    Returns
    -------
    UnitSolutions

    Raises
    ------
    FlowError : the iteration does not converge, an onset field or an outflow of wrong shape, the
        body reaches into the ground, an opening that covers no panel

    Notes
    -----
    (1/2 I + K') s = v_n - n.V0 at the control points. A mirrored surface is solved as one half:
    the boundary data are split into a part that is equal on both sides and one of opposite sign.
    The ground is a mirror image with equal density; a stream into the ground has no meaning.
    Source: J. Katz, A. Plotkin, Low-Speed Aerodynamics, 2nd ed., 2001, ch. 9 and 12 (from
    memory); the sign of every term is tested on spheres and ellipsoids.
    """
    panels = curved_panels(surface)
    names, onset, outflow = _causes(surface, panels, openings, onsets, outflows)
    through = np.zeros(len(names), dtype=bool)
    through[3 : 3 + len(openings)] = True
    groups = [(panels, ~through)]
    if openings:
        groups.append((panels.cut(_rims(outflow[through], surface.mirrored)), through))
    solved = [
        _solved(surface, part, onset[rows], outflow[rows], ground, tolerance, progress)
        for part, rows in groups
    ]
    together = np.concatenate([np.flatnonzero(rows) for _, rows in groups]).argsort()
    strength, velocity, residuals = (
        np.concatenate([found[k] for found in solved])[together] for k in range(3)
    )
    rms, greatest = np.max([found[4] for found in solved], axis=0)
    return UnitSolutions(
        surface=surface,
        panels=panels,
        names=names,
        source_strength=strength,
        velocity=velocity,
        iterations=sum(found[3] for found in solved),
        residuals=residuals,
        far_error=float(rms),
        far_error_greatest=float(greatest),
        ground=ground,
        opening_panels=groups[-1][0] if openings else None,
    )


def _solved(surface, panels, onset, outflow, ground, tolerance, progress):
    """Strengths, velocities, residuals, steps and far-field errors of one group of unit causes."""
    progress(f"influence of {surface.n_panels} panels")
    problem = _Problem(surface, panels, ground, tolerance)
    data = outflow - np.einsum("upd,pd->up", onset, panels.normals)
    even, odd = problem.parts(data)
    progress("solving for unit causes")
    strengths, half_velocity, iterations = problem.solve(even, odd)
    velocity = onset + problem.whole_velocity(half_velocity, len(even))
    residual = np.einsum("upd,pd->up", velocity, panels.normals) - outflow
    return (
        problem.whole_strength(strengths, len(even)),
        velocity,
        np.sqrt((residual**2).mean(axis=1)),
        iterations,
        problem.operator.far_error(problem.unfold(strengths, len(even))),
    )


def _causes(surface, panels, openings, onsets, outflows):
    """Names, onset velocity (n_units, n_panels, 3) and outflow (n_units, n_panels)."""
    n = surface.n_panels
    names = [*STREAMS, *(f"opening {opening.name}" for opening in openings)]
    names += [name for name, _ in (*onsets, *outflows)]
    onset, outflow = np.zeros((len(names), n, 3)), np.zeros((len(names), n))
    onset[:3] = np.eye(3)[:, None, :]
    for k, opening in enumerate(openings, start=3):
        outflow[k] = panel_cover(surface, opening)
        total = outflow[k] @ panels.areas
        if not total > 0.0:
            raise FlowError(f"opening {opening.name} covers no panel; nothing can flow through it")
        outflow[k] /= total
    first = 3 + len(openings)
    for k, (name, field) in enumerate(onsets, start=first):
        onset[k] = _checked_field(name, field, (n, 3), "onset field")
    for k, (name, field) in enumerate(outflows, start=first + len(onsets)):
        outflow[k] = _checked_field(name, field, (n,), "outflow")
    return tuple(names), onset, outflow


def _checked_field(name, field, shape, what) -> np.ndarray:
    field = np.asarray(field, dtype=float)
    if field.shape != shape or not np.isfinite(field).all():
        raise FlowError(
            f"{what} {name} has shape {field.shape}; expected {shape} finite numbers, one at every "
            "control point"
        )
    return field


def _rims(cover, mirrored: bool) -> np.ndarray:
    """(n_panels,) int: different on both sides of the rim of every opening.

    On a mirrored surface the rims are cut on both sides alike, so that it stays symmetric.
    """
    inside = cover > 0.5 * cover.max(axis=1, keepdims=True)
    group = (inside * np.arange(1, len(cover) + 1)[:, None]).max(axis=0)
    if not mirrored:
        return group
    right, left = np.split(group, 2)
    image = np.concatenate([left, right])
    return np.minimum(group, image) * (len(cover) + 1) + np.maximum(group, image)


class _Problem:
    """The linear system of one surface: unknowns on one half when it is mirrored."""

    def __init__(self, surface, panels, ground, tolerance):
        n = surface.n_solved
        self.n, self.mirrored, self.surface = n, surface.mirrored, surface
        self.normals = panels.normals[:n]
        self.copies = 1 if ground is None else 2
        sources = panels
        if ground is not None:
            _require_above(surface, ground)
            sources = panels.joined(panels.reflected(*ground.reflection))
        self.operator = InducedVelocity(sources, panels.points[:n], np.arange(n), tolerance)

    def parts(self, data) -> tuple[np.ndarray, np.ndarray]:
        """Boundary data of the half, equal on both sides and of opposite sign."""
        if not self.mirrored:
            return data, data[:0]
        right, left = data[:, : self.n], data[:, self.n :]
        return 0.5 * (right + left), 0.5 * (right - left)

    def unfold(self, half, n_even: int) -> np.ndarray:
        """Densities of all sources from those of the half; the first `n_even` rows are even."""
        whole = half
        if self.mirrored:
            sign = np.where(np.arange(len(half)) < n_even, 1.0, -1.0)[:, None]
            whole = np.concatenate([half, sign * half], axis=1)
        return np.concatenate([whole] * self.copies, axis=1)

    def velocity(self, half, n_even: int) -> np.ndarray:
        """(n_rows, n_half, 3) velocity just outside the skin, the onset not included."""
        induced = self.operator.apply(self.unfold(half, n_even))
        return induced + 0.5 * half[:, :, None] * self.normals

    def solve(self, even, odd) -> tuple[np.ndarray, np.ndarray, int]:
        """Densities and outer velocities of the half for all boundary data; steps in all."""
        data = np.concatenate([even, odd])
        scale = np.sqrt((data**2).mean(axis=1))
        used = scale > 1e-14 * scale.max()
        n_even = int(np.count_nonzero(used[: len(even)]))
        rows = data[used] / scale[used, None]
        found, outer, steps = self._refined(rows, n_even)
        strengths, velocity = np.zeros(data.shape), np.zeros((*data.shape, 3))
        strengths[used] = found * scale[used, None]
        velocity[used] = outer * scale[used, None, None]
        return strengths, velocity, steps

    def _refined(self, rows, n_even: int) -> tuple[np.ndarray, np.ndarray, int]:
        """Solve with a rough operator, again for what the exact one leaves, until that is small."""
        rough = RoughNormalVelocity(self.operator, self.normals)
        found, left, steps, before = np.zeros(rows.shape), rows, 0, 1.0
        for _ in range(MAX_REFINEMENTS):
            step, inner = self._rough_solution(rough, left, n_even)
            found, steps = found + step, steps + inner
            velocity = self.velocity(found, n_even)
            left = rows - np.einsum("upd,pd->up", velocity, self.normals)
            size = np.linalg.norm(left) / np.linalg.norm(rows)
            if size <= KRYLOV_TOLERANCE:
                return found, velocity, steps
            if not np.isfinite(size) or size > 0.5 * before:
                break
            before = size
        raise FlowError(self._complaint(steps, size))

    def _rough_solution(self, rough, rows, n_even: int) -> tuple[np.ndarray, int]:
        def normal_velocity(half):
            return rough.apply(self.unfold(half, n_even)) + 0.5 * half

        solution, steps = solve_rows(normal_velocity, rows, ROUGH_KRYLOV_TOLERANCE, MAX_ITERATIONS)
        # whether the steps were enough is judged by the exact operator outside
        if not np.isfinite(solution).all():
            raise FlowError(self._complaint(steps, np.nan))
        return solution, steps

    def whole_strength(self, strengths, n_units: int) -> np.ndarray:
        """(n_units, n_panels) densities from the even and the odd part."""
        if not self.mirrored:
            return strengths
        even, odd = strengths[:n_units], strengths[n_units:]
        return np.concatenate([even + odd, even - odd], axis=1)

    def whole_velocity(self, velocity, n_units: int) -> np.ndarray:
        """(n_units, n_panels, 3) velocity from the even and the odd part of the half."""
        if not self.mirrored:
            return velocity
        even, odd = velocity[:n_units], velocity[n_units:]
        return np.concatenate([even + odd, (even - odd) * MIRROR], axis=1)

    def _complaint(self, steps: int, size: float) -> str:
        left = f"{size:.1e}" if np.isfinite(size) else "not a number"
        return (
            f"the solution did not converge in {steps} steps (residual {left}, wanted "
            f"{KRYLOV_TOLERANCE:.0e}); likely the skin touches itself, parts interpenetrate, or "
            "panels are extremely thin"
        )


def _require_above(surface: SurfaceMesh, ground: GroundPlane):
    low = float(ground.height(surface.vertices).min())
    if low <= 0.0:
        raise FlowError(
            f"the body reaches {-low * 1e3:.0f} mm into the ground; raise the ground clearance"
        )
    if surface.mirrored and abs(ground.normal[1]) > 1e-12:
        raise FlowError(
            "the ground is banked, but the surface is solved as a half; use surface.unmirrored()"
        )
