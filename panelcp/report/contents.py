"""One record with everything that the results are written from."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from panelcp.flow.superposition import SurfaceFlow
from panelcp.panels.faults import Fault
from panelcp.panels.solving import UnitSolutions
from panelcp.placement.ranking import OpeningPressures, OpeningRanking
from panelcp.quantity import UncertainValue
from panelcp.surface.checking import SurfaceCheck
from panelcp.surface.opening import Opening

CAUTIONS = (
    "Estimate for study. Not approved data, not a finding of compliance, no replacement for test.",
    "The rules of the local authority, the operating limitations, the kit designer's instructions "
    "and the engine's own document govern over anything shown here.",
    "Have an inspector, licensed engineer or the designer look at every cut in a cowl, firewall or "
    "structure. Nothing here says that a cut is strong enough.",
    "Loss of cooling in flight can end in engine stoppage. Plan a landing place for every test; "
    "decide the stop limits first.",
    "An exit ahead of the windshield is a path for flame, smoke and hot fluid towards the people. "
    "Keep the firewall sealed.",
    "Fit an active carbon monoxide detector before the first test. Nothing here clears a cabin "
    "opening.",
)
NOT_MODELLED = (
    "propeller and slipstream",
    "the wing's lift and its upwash",
    "the ground",
    "boundary layer and separated air (the windshield pocket, behind bluff edges)",
    "wakes of cowl flaps, exhaust pipes and blade roots",
    "the ducts and cores inside: the openings are closed skin here",
    "unsteady flow, and structure",
)
PROPELLER_NOTICE = "propeller not modelled: tow and run-up are not usable yet"


@dataclass(frozen=True, eq=False)
class RunContents:
    """Everything one run has found.

    Attributes
    ----------
    name, question, note : texts of the case
    version : of the program
    input_hash : of case text, surface file and version
    check : figures of the surface
    units : UnitSolutions
    flow : SurfaceFlow
    checks : of the solution, passed or not
    openings : all openings the case names, and their pressures in all conditions
    ranking : OpeningRanking
    needed_pressure : for each condition, or None
    searches : one line per search region
    inputs : the case file as understood, for JSON
    marks : (place, UncertainValue) of every uncertain number that was used
    warnings : lines
    log : lines of what was done
    views : names of the map views
    best : number of places in the short list
    last_station : m, the maps show the body up to there; None leaves it to the openings
    """

    name: str
    question: str
    note: str
    version: str
    input_hash: str
    check: SurfaceCheck
    units: UnitSolutions
    flow: SurfaceFlow
    openings: OpeningPressures
    ranking: OpeningRanking
    needed_pressure: tuple[UncertainValue | None, ...]
    searches: tuple[str, ...]
    inputs: dict[str, Any]
    checks: tuple[Fault, ...]
    marks: tuple[tuple[str, UncertainValue], ...]
    warnings: tuple[str, ...]
    log: tuple[str, ...]
    views: tuple[str, ...]
    best: int
    last_station: float | None = None
    notices: tuple[str, ...] = field(default=(PROPELLER_NOTICE,))

    @property
    def short_list(self) -> list[int]:
        """Best pairs whose places do not overlap."""
        return self.ranking.distinct(self.best)


def condition_line(condition) -> str:
    """One line that names a condition with its speed, angles and air."""
    air = condition.air
    return (
        f"{condition.name}: {condition.speed / 0.514444:.0f} kt true, "
        f"angle of attack {condition.alpha:g}°, sideslip {condition.beta:g}°, "
        f"{condition.altitude / 0.3048:.0f} ft, {air.temperature - 273.15:.0f} °C, "
        f"q {condition.dynamic_pressure:.0f} Pa"
    )


def place_line(opening: Opening) -> str:
    """Side and place of an opening the way a builder writes it down."""
    x, y, z = np.round(opening.centre * 1e3).astype(int) + 0
    return f"{opening.side}, STA {x} BL {y} WL {z} mm"


def opening_line(opening: Opening) -> str:
    """Name and place of an opening."""
    return f"{opening.name} ({place_line(opening)})"


def explain(contents: RunContents, pair: int) -> str:
    """Plain sentence why a pair stands where it stands."""
    ranking, conditions = contents.ranking, contents.flow.conditions
    c = int(ranking.limiting[pair])
    q = conditions[c].dynamic_pressure
    inlet, outlet = ranking.inlet_index[pair], ranking.exit_index[pair]
    sentence = (
        f"{ranking.available[c, pair]:.0f} ± {ranking.deviation[c, pair]:.0f} Pa available and "
        f"{ranking.needed[c]:.0f} Pa needed in its hardest condition, {conditions[c].name}"
    )
    if q > 0.0:
        into = ranking.inlets.inlet_pressure[c, inlet] / q
        out = ranking.exits.patch_pressure[c, outlet] / q
        pull = "suction" if out < 0.0 else "pressure"
        sentence += f": the inlet brings {into:+.2f} q, at the exit there is {pull} of {out:+.2f} q"
    reversed_in = reversed_conditions(contents, pair)
    if reversed_in:
        sentence += f"; flow would reverse in {', '.join(reversed_in)}"
    return sentence + "."


def reversed_conditions(contents: RunContents, pair: int) -> list[str]:
    """Names of the moving conditions in which the exit would blow inward."""
    return [
        condition.name
        for c, condition in enumerate(contents.flow.conditions)
        if condition.speed > 0.0 and contents.ranking.available[c, pair] < 0.0
    ]


def answer(contents: RunContents) -> list[str]:
    """The answer in at most five sentences."""
    ranking = contents.ranking
    first = 0
    lines = [
        f"Best of {ranking.n_pairs} pairs: air in at {opening_line(ranking.inlet(first))}, out at "
        f"{opening_line(ranking.exit(first))}; available over needed "
        f"{ranking.least_ratio[first]:.2f}.",
        f"Why: {explain(contents, first)}",
        _sides_line(contents),
        _tie_line(contents),
    ]
    moving = [c for c in contents.flow.conditions if c.speed > 0.0]
    turned = {name for pair in contents.short_list for name in reversed_conditions(contents, pair)}
    lines.append(
        f"Flow sign: of the {len(contents.short_list)} best places "
        + (
            f"some would blow backwards in {', '.join(sorted(turned))}."
            if turned
            else f"none would blow backwards in any of the {len(moving)} moving conditions."
        )
    )
    return [line for line in lines if line]


def _sides_line(contents: RunContents) -> str:
    sides = contents.ranking.best_of_each_side()
    parts = [f"{side} {contents.ranking.least_ratio[pair]:.2f}" for side, pair in sides.items()]
    return f"Best exit by side, available over needed: {', '.join(parts)}." if parts else ""


def _tie_line(contents: RunContents) -> str:
    short = contents.short_list
    if len(short) < 2:
        return ""
    first, second = short[:2]
    ranking = contents.ranking
    c = int(ranking.limiting[second])
    gap = ranking.available[c, first] - ranking.available[c, second]
    spread = float(np.hypot(ranking.deviation[c, first], ranking.deviation[c, second]))
    if gap < spread:
        return (
            f"The next place, {opening_line(ranking.exit(second))}, is {gap:.0f} Pa behind: less "
            f"than the uncertainty of {spread:.0f} Pa. Choose between them by ease of building."
        )
    return (
        f"The next place, {opening_line(ranking.exit(second))}, is {gap:.0f} Pa behind, more than "
        f"the uncertainty of {spread:.0f} Pa."
    )


def side_rows(contents: RunContents) -> list[tuple[str, int, Sequence[float]]]:
    """Top against bottom against side: side, best pair, exit Cp in each condition."""
    ranking, q = contents.ranking, contents.flow.dynamic_pressure
    rows = []
    for side, pair in ranking.best_of_each_side().items():
        pressure = ranking.exits.patch_pressure[:, ranking.exit_index[pair]]
        cp = np.divide(pressure, q, out=np.full(len(q), np.nan), where=q > 0.0)
        rows.append((side, pair, cp))
    return rows
