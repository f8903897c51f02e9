"""Figures of the curves a builder asks for: what is drawn, said and listed."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from panelcp.placement.curves import Curves, SideTable, SkinLine, StationAnswer
from panelcp.placement.sweeps import (
    AIRSPEED,
    ALPHA,
    FACTOR,
    KNOT,
    POWER,
    SIDESLIP,
    Sweep,
    in_flight,
)
from panelcp.report.contents import bearing, percent
from panelcp.report.curve_drawing import (
    SIDE_STYLES,
    draw_forward,
    draw_sides,
    draw_skin_lines,
    draw_sweep,
    draw_wind,
    new_figure,
    shown_values,
)
from panelcp.report.sheets import file_word, picture_text
from panelcp.report.tables import IN_H2O

RESOLUTION = 150
"""Dots per inch: 840 dots wide, of which a phone shows about half."""


def shown_pairs(sweep: Sweep) -> list[int]:
    """One pair for every side, the first: that of an exit the case names, where there is one."""
    first: dict[str, int] = {}
    for k, opening in enumerate(sweep.exits):
        first.setdefault(opening.side, k)
    return [first[side] for side in SIDE_STYLES if side in first]


@dataclass(frozen=True, eq=False)
class FigurePlan:
    """One figure before it is drawn.

    Attributes
    ----------
    title, caption, alt : texts, not escaped
    headings : of the table of its numbers
    rows : of texts
    draw : makes the matplotlib Figure
    """

    title: str
    caption: str
    alt: str
    headings: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    draw: Callable


def figure_plans(curves: Curves) -> list[FigurePlan]:
    """All figures of a set of curves, those that can be drawn."""
    plans = [_plan_of_sides(curves), _plan_of_forward(curves), _plan_of_lines(curves)]
    turned = [s for s in curves.sweeps if s.quantity in (SIDESLIP, ALPHA)]
    blown = [s for s in curves.sweeps if s.quantity in (POWER, FACTOR, AIRSPEED)]
    plans += [_plan_of_sweeps(turned)]
    plans += [_plan_of_sweeps(blown), _plan_of_wind(curves)]
    return [plan for plan in plans if plan is not None]


def write_curves(contents, folder: Path) -> list[tuple[str, str, Path]]:
    """Write one PNG for every figure.

    Parameters
    ----------
    contents : with the Curves in `curves`
    folder : made here

    Returns
    -------
    (title, caption, path) of each
    """
    from matplotlib import rc_context

    from panelcp.report.maps import write_picture

    folder.mkdir()
    pictures = []
    for number, plan in enumerate(figure_plans(contents.curves), start=1):
        path = folder / f"{number:02d}-{file_word(plan.title)}.png"
        with rc_context({"text.parse_math": False, "axes.unicode_minus": True}):
            write_picture(path, plan.draw(), RESOLUTION)
        pictures.append((plan.title, plan.caption, path))
    return pictures


def _plan_of_sides(curves: Curves) -> FigurePlan | None:
    table = curves.sides
    conditions = curves.lines[0].conditions if curves.lines else ()
    flying = np.flatnonzero(np.isfinite(table.dynamic_pressure))
    if not len(flying) or not len(table.sides) or not conditions:
        return None

    def draw():
        title = "Top, bottom, sides: pressure at the best exit"
        edges = (2.05, 0.2, 0.6, 0.75)
        figure, (axes,) = new_figure(1.5 + 0.42 * len(flying), title, edges)
        draw_sides(axes, table, conditions)
        return figure

    places = ", ".join(
        f"{side}: {exit_.name}" for side, exit_ in zip(table.sides, table.exits, strict=True)
    )
    means = table.exit_cp[flying].mean(axis=0)
    spoken = ", ".join(f"{s} {_cp(m)}" for s, m in zip(table.sides, means, strict=True))
    return FigurePlan(
        "Top, bottom, sides",
        f"Cp at the best exit of each side in every condition in flight, with one standard "
        f"deviation ({places}). Negative draws air out.",
        f"Dots with bars: Cp at the best exit of each side in {len(flying)} conditions. Mean Cp: "
        f"{spoken}.",
        *_side_numbers(table, conditions),
        draw,
    )


def _side_numbers(table: SideTable, conditions):
    """Headings and rows: one row for every condition and side."""
    headings = ("Condition", "Side", "Exit", "At the exit, Pa", "Cp", "Available, Pa")
    headings += ("Available / needed", "Chance of reversal")
    rows = []
    for c, condition in enumerate(conditions):
        for k, side in enumerate(table.sides):
            ratio, chance = table.ratio[c, k], table.reversal[c, k]
            number = "" if np.isnan(ratio) else f"{ratio:.2f} ± {table.ratio_deviation[c, k]:.2f}"
            rows.append(
                (
                    *(condition.name, side, table.exits[k].name),
                    _pa(table.exit_pressure[c, k], table.exit_deviation[c, k]),
                    _cp(table.exit_cp[c, k]),
                    _pa(table.available[c, k], table.deviation[c, k]),
                    number.replace("-", "−"),
                    "not predicted" if np.isnan(chance) else percent(chance),
                )
            )
    return headings, tuple(rows)


def _plan_of_forward(curves: Curves) -> FigurePlan | None:
    moved = curves.moved
    numbers = [] if moved is None else conditions_to_show(moved, curves)
    if not numbers:
        return None

    def draw():
        figure, (axes,) = new_figure(
            3.9, "How far forward must a top exit go?", (0.75, 0.2, 0.6, 0.45)
        )
        draw_forward(axes, moved, numbers, curves.answers, curves.foot)
        return figure

    first = moved.conditions[numbers[0]]
    length, width = (1e3 * part for part in moved.size)
    said = [_said(answer, numbers[0]) for answer in curves.answers]
    worth = 0.1 * first.dynamic_pressure
    caption = (
        f"Mean Cp over an opening of {length:.0f} × {width:.0f} mm moved along the top centre "
        f"line; band and marks for {first.name}, where Cp 0.1 is {worth:.0f} Pa "
        f"({worth / IN_H2O:.2f} inH2O). Farthest aft: {'; '.join(said)}."
    )
    return FigurePlan(
        "How far forward a top exit must go",
        caption,
        f"Lines: Cp against station in {len(numbers)} conditions. In {first.name}: "
        f"{'; '.join(said)}.",
        *_answer_numbers(curves.answers),
        draw,
    )


def conditions_to_show(moved: SkinLine, curves: Curves, most: int = 4) -> list[int]:
    """The deciding condition, then those with the highest and lowest Cp, then the fastest."""
    conditions = moved.conditions
    flying = [k for k, c in enumerate(conditions) if in_flight(c)]
    if not flying:
        return []
    base = [k for k in flying if curves.sweeps and conditions[k] is curves.sweeps[0].base]
    mean = moved.cp[flying][:, _ahead(moved, curves)].mean(axis=1)
    order = [flying[int(k)] for k in (np.argmax(mean), np.argmin(mean))]
    fastest = max(flying, key=lambda k: conditions[k].dynamic_pressure)
    return list(dict.fromkeys([*(base or flying[:1]), *order, fastest]))[:most]


def _ahead(moved: SkinLine, curves: Curves) -> np.ndarray:
    """Stations in the half of the line that lies next to the windshield's foot."""
    end = moved.station[-1] if curves.foot is None else curves.foot
    near = (moved.station <= end) & (moved.station >= 0.5 * (moved.station[0] + end))
    return near if near.any() else np.ones(len(near), dtype=bool)


def _said(answer: StationAnswer, number: int) -> str:
    return f"{answer.asked} {_station_text(answer, number)}"


def _station_text(answer: StationAnswer, number: int) -> str:
    """STA in mm with its band; words where it holds everywhere or nowhere."""
    station, low, high = (part[number] for part in (answer.station, answer.low, answer.high))
    if not answer.asks[number]:
        return ""
    if np.isnan(station):
        return "nowhere" if np.isnan(high) else f"nowhere (with luck to {1e3 * high:.0f} mm)"
    text = f"to STA {1e3 * station:.0f} mm"
    at_end = " (end)" if station >= answer.end - 1e-9 else ""
    safe = "nowhere" if np.isnan(low) else f"{1e3 * low:.0f}"
    return f"{text}{at_end}, band {safe} to {1e3 * high:.0f}"


def _answer_numbers(answers: Sequence[StationAnswer]):
    headings = ("Condition", *(answer.asked for answer in answers))
    conditions = answers[0].conditions if answers else ()
    rows = [
        (condition.name, *(_station_text(answer, c) for answer in answers))
        for c, condition in enumerate(conditions)
    ]
    return headings, tuple(rows)


def _plan_of_lines(curves: Curves) -> FigurePlan | None:
    if not curves.lines:
        return None
    conditions = curves.lines[0].conditions
    base = curves.sweeps[0].base if curves.sweeps else conditions[0]
    number = conditions.index(base)

    def draw():
        title = f"Along the cowl: {picture_text(base.name, 30)}"
        figure, (axes,) = new_figure(3.9, title, (0.85, 0.75, 0.6, 0.45))
        draw_skin_lines(axes, curves.lines, number, curves.foot)
        return figure

    heights = [
        f"{1e3 * line.across:.0f}" for line in curves.lines if line.side in ("right", "left")
    ]
    sides = f"; sides at WL {heights[0]} mm, the widest place" if heights else ""
    lowest = [
        f"{line.side} {line.pressure[number].min():.0f} Pa at "
        f"STA {1e3 * line.station[int(line.pressure[number].argmin())]:.0f}"
        for line in curves.lines
    ]
    return FigurePlan(
        "Along top, bottom and sides",
        f"Pressure of attached air on the closed skin in {base.name}, at single points: top and "
        f"bottom at BL 0"
        f"{sides}. Shaded: one standard deviation. Peaks at edges are cut off.",
        f"Lines: pressure against station. Lowest: {', '.join(lowest)}.".replace("-", "−"),
        *_line_numbers(curves.lines, number),
        draw,
    )


def _line_numbers(lines: Sequence[SkinLine], number: int, step: float = 0.05):
    """Headings and rows every 50 mm."""
    headings = ("Station, mm", *(f"{line.side}, Pa" for line in lines))
    first = min(line.station[0] for line in lines)
    last = max(line.station[-1] for line in lines)
    rows = []
    for station in np.arange(np.ceil(first / step), np.floor(last / step) + 1.0) * step:
        cells = []
        for line in lines:
            near = int(np.abs(line.station - station).argmin())
            there = abs(line.station[near] - station) < 0.01
            pressure, deviation = line.pressure[number, near], line.deviation[number, near]
            cells.append(_pa(pressure, deviation) if there else "")
        rows.append((f"{1e3 * station:.0f}".replace("-", "−"), *cells))
    return headings, tuple(rows)


def _plan_of_sweeps(sweeps: Sequence[Sweep]) -> FigurePlan | None:
    if not sweeps:
        return None
    *others, final = (sweep.quantity for sweep in sweeps)
    title = " and ".join(part for part in (", ".join(others), final) if part).capitalize()
    shown, base = shown_pairs(sweeps[0]), sweeps[0].base

    def draw():
        height = 0.45 + 2.75 * len(sweeps)
        edges = (0.85, 0.75, 0.55, 0.42)
        figure, rows = new_figure(height, title, edges, len(sweeps), 0.62)
        for axes, sweep in zip(rows, sweeps, strict=True):
            draw_sweep(axes, sweep, shown)
        return figure

    inlets = dict.fromkeys(sweeps[0].inlets[k].name for k in shown)
    return FigurePlan(
        title,
        f"Available pressure in {base.name}, one number changed at a time; the thin vertical line "
        f"is the condition itself. Each exit with its best inlet ({', '.join(inlets)}). "
        f"{_shaded(sweeps[0], shown)}{_remarks(sweeps)}",
        " ".join(_spoken(sweep, shown) for sweep in sweeps),
        *_sweep_numbers(sweeps),
        draw,
    )


def _shaded(sweep: Sweep, shown: Sequence[int]) -> str:
    first = sweep.exits[shown[0]].name
    return f"Shaded: 16 to 84 % of {first} and of the best exit; the table has all."


def _remarks(sweeps: Sequence[Sweep]) -> str:
    """What is held and what follows."""
    text = ""
    for sweep in sweeps:
        if sweep.quantity == AIRSPEED:
            power = sweep.base.power
            text += "" if power is None else f" Airspeed at {100 * power:.0f} % power"
            alpha = [c.alpha for c in sweep.conditions]
            turned = np.ptp(alpha) > 0.0 and not text.endswith(".")
            text += ", the angle of attack follows the lift." if turned else "." if text else ""
        if sweep.unmatched.max() > 0.01:
            text += (
                f" The slipstream over {sweep.quantity} is put together from those of the "
                f"conditions, to {100 * sweep.unmatched.max():.0f} %."
            )
    return text


def _spoken(sweep: Sweep, shown: Sequence[int]) -> str:
    x = shown_values(sweep)
    parts = [
        f"{sweep.exits[k].name} {sweep.available[k, 0]:.0f} to {sweep.available[k, -1]:.0f} Pa"
        for k in shown
    ]
    text = f"Lines: available pressure against {sweep.quantity} from {x[0]:g} to {x[-1]:g}: "
    return (text + ", ".join(parts)).replace("-", "−") + "."


def _sweep_numbers(sweeps: Sequence[Sweep]):
    """Headings and rows of all pairs: available with its band, and Cp at the exit."""
    headings = ("Changed", "Value", "Needed, Pa")
    headings += tuple(f"{exit_.name}: available, Pa; Cp" for exit_ in sweeps[0].exits)
    rows = []
    for sweep in sweeps:
        for n, x in enumerate(shown_values(sweep)):
            cells = [_sweep_cell(sweep, k, n) for k in range(len(sweep.exits))]
            needed = "" if np.isnan(sweep.needed[n]) else f"{sweep.needed[n]:.0f}"
            value = f"{x:.3g}".replace("-", "−")
            rows.append((sweep.quantity, value, needed, *cells))
    return headings, tuple(rows)


def _sweep_cell(sweep: Sweep, k: int, n: int) -> str:
    low, middle, high = (part[k, n] for part in (sweep.low, sweep.available, sweep.high))
    text = f"{middle:.0f} ({low:.0f} to {high:.0f})".replace("-", "−")
    cp = sweep.exit_cp[k, n]
    return text if np.isnan(cp) else f"{text}; {_cp(cp)}"


def _plan_of_wind(curves: Curves) -> FigurePlan | None:
    sweep = curves.wind
    if sweep is None:
        return None
    shown, condition = shown_pairs(sweep), sweep.conditions[0]
    wind = f"{condition.wind_speed / KNOT:.0f} kt wind"

    def draw():
        title = f"{wind}, any bearing: {picture_text(sweep.base.name, 24)}"
        figure, (axes,) = new_figure(5.5, title, (0.6, 0.6, 0.95, 0.75), projection="polar")
        draw_wind(axes, sweep, shown)
        return figure

    worst = int(sweep.available[shown[0]].argmin())
    blind = "" if sweep.predicted.all() else " Grey: wind from behind, not predicted, sign only."
    low = f"{sweep.available[shown[0], worst]:.0f}".replace("-", "−")
    return FigurePlan(
        "Wind on the ground",
        f"Available pressure in Pa with a {wind} from every bearing, else as {sweep.base.name}. "
        f"Inside the thick circle the flow reverses. {_shaded(sweep, shown)}{blind}",
        f"Polar lines: available pressure against the bearing of the wind. Least at "
        f"{sweep.exits[shown[0]].name}: {low} Pa with the wind {bearing(sweep.values[worst])}.",
        *_sweep_numbers([sweep]),
        draw,
    )


def _pa(value: float, deviation: float) -> str:
    return f"{value:.0f} ± {deviation:.0f}".replace("-", "−")


def _cp(value: float) -> str:
    return "" if np.isnan(value) else f"{value:+.2f}".replace("-", "−")
