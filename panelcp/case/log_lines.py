"""Lines of the log: what was done, and how well."""

from __future__ import annotations

import numpy as np

from panelcp.case.preparing import PreparedCase, Progress
from panelcp.flow.compressibility import goethert_cp
from panelcp.flow.solutions import Solutions
from panelcp.flow.superposition import SurfaceFlow
from panelcp.panels.faults import Fault
from panelcp.panels.solving import UnitSolutions
from panelcp.placement.bands import COMMON, NEEDED
from panelcp.placement.ranking import OpeningRanking
from panelcp.surface.curved import roughness_band
from panelcp.surface.mesh import SurfaceMesh
from panelcp.surface.repair import format_place


def roughness_line(surface: SurfaceMesh) -> str:
    """What the roughness of the mesh is worth."""
    band = roughness_band(surface)
    worst = format_place(surface.centroids[int(np.argmax(band))])
    return (
        f"roughness of the mesh, worth in Cp: {np.median(band):.4f} (median), {band.max():.3f} at "
        f"{worst}; that under each opening is carried into the deviations"
    )


def panelling_line(flow: SurfaceFlow, discretisation: np.ndarray, share: float) -> str:
    """What a coarser panelling changes."""
    q = flow.reference_pressure[:, None]
    part = np.divide(discretisation, q, out=np.zeros_like(discretisation), where=q > 0.0)
    return (
        f"panelling: patch pressures change by {np.median(part):.4f} (median) and at most "
        f"{part.max():.4f} of q and mean rise together on {100 * share:.0f} % of the panels; "
        "carried into the deviations"
    )


def bands_line(ranking: OpeningRanking) -> str:
    """What was drawn for the bands."""
    samples = ranking.bands.samples
    return (
        f"bands: {samples.count} draws, the same in every run, of {', '.join(samples.kind_names)}, "
        f"{NEEDED}; {COMMON:g} of the deviation of the model error is common to what one region "
        "has on one side"
    )


def compressibility_lines(prepared: PreparedCase, progress: Progress) -> list[str]:
    """What Goethert's rule makes of the fastest condition, when the case asks for it."""
    if not prepared.case.report.compressibility:
        return []
    flying = [c for c in prepared.case.conditions if c.speed > 0.0 and not c.on_ground]
    if not flying:
        return ["compressibility: no condition in flight"]
    progress("solving the stretched body, to see how much compressibility matters")
    fastest = max(flying, key=lambda condition: condition.mach)
    surface, mach = prepared.surface, fastest.mach
    change = goethert_cp(surface, fastest, mach) - goethert_cp(surface, fastest, 0.0)
    means = [
        abs(change[o.sample_panels] @ o.sample_weights)
        for o in (*prepared.openings, *prepared.candidates)
    ]
    return [
        f"compressibility in {fastest.name}, Mach {mach:.3f}, without propeller and wing: Cp of "
        f"openings changes by at most {max(means):.4f} (Goethert's rule); it is left out"
    ]


def _far_field_line(units: UnitSolutions) -> str:
    if units.far_error == 0.0:
        return "far field: summed directly"
    return (
        f"far field: tree, error {units.far_error:.1e} (rms over 50 random panels) and at most "
        f"{units.far_error_greatest:.1e} (these and the 50 smallest panels), parts of the rms "
        "velocity"
    )


def solver_lines(solutions: Solutions, checks: list[Fault]) -> list[str]:
    """Unit solutions, their residuals and checks."""
    lines = []
    for part in solutions.parts:
        units = part.units
        where = "in the free air" if units.ground is None else "over the ground"
        lines += [
            f"unit solutions {where}: {', '.join(units.names)}; {units.iterations} iterations",
            f"normal velocity left at the control points: {units.residuals.max():.1e} m/s, where "
            f"the greatest speed is {np.linalg.norm(units.velocity, axis=2).max():.3g} m/s",
            _far_field_line(units),
        ]
    return [*lines, *(check.line() for check in checks)]


def air_lines(case, solutions: Solutions) -> list[str]:
    """Thrust, rise, swirl, lift and ground of every condition."""
    lines = []
    if case.usual:
        lines.append(f"usual conditions added: {', '.join(case.usual)} (common practice)")
    for part in solutions.parts:
        for condition, slipstream, circulation in zip(
            part.onset.conditions, part.onset.slipstreams, part.onset.circulation, strict=True
        ):
            words = [slipstream.line()] if slipstream else []
            words += [f"wing's circulation {circulation:.1f} m2/s"] if circulation else []
            words += (
                [f"ground {condition.height:.2f} m below the datum"] if part.units.ground else []
            )
            if words:
                lines.append(f"{condition.name}: {'; '.join(words)}")
    return lines
