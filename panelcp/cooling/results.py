"""What was found of a cooling-air installation, condition by condition."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from panelcp.cooling.installation import Installation
from panelcp.display import (
    Column,
    Judged,
    block,
    caution,
    counted,
    judgement,
    kelvin,
    lines,
    number,
    percent,
    ratio_word,
    table,
    words,
)
from panelcp.surface.mesh import frozen_array

MARGIN_WORDS = (
    "Good above 10 K, look from 5 to 10 K, stop below 5 K (common practice). In brackets 16 and "
    "84 % of the sampled worlds. With a chance of more than 5 % to be too hot no margin is called "
    "good, with more than 50 % it is a stop (ours). All are steady states."
)
TEST_FIRST = (
    "Estimate for study. Loss of cooling in flight can end in engine stoppage. Plan a landing "
    "place for every test; decide the stop limits first."
)


@dataclass(frozen=True, eq=False)
class _Arrays:
    """A record whose arrays are frozen."""

    def __post_init__(self):
        for one in fields(self):
            value = getattr(self, one.name)
            if isinstance(value, np.ndarray):
                object.__setattr__(self, one.name, frozen_array(value, dtype=value.dtype))


@dataclass(frozen=True, eq=False)
class Banded(_Arrays):
    """A number in every condition with what the sampled worlds say of it.

    Attributes
    ----------
    value : (n_conditions,) float, with every uncertain number at its central value
    low, high : (n_conditions,) float, 16 and 84 % of the worlds; nan where nothing was sampled
    """

    value: np.ndarray
    low: np.ndarray
    high: np.ndarray


@dataclass(frozen=True, eq=False)
class PortFlow(_Arrays):
    """Air through an opening.

    Attributes
    ----------
    name, use : of the Port
    pressure : (n_conditions,) Pa, gauge, outside: behind an inlet with its recovery, on the patch
        of an exit; the influence of the other openings' flows included
    coupling : (n_conditions,) Pa, of that by the flows through the other openings
    flow : Banded, kg/s; positive in the sense of its use (into inlets, out of exits)
    velocity : (n_conditions,) m/s, volume flow over area
    velocity_ratio : (n_conditions,) over the true airspeed; nan at rest
    temperature : (n_conditions,) K, of the air that passes
    reversed : (n_conditions,) bool, against its use
    chance_reversed : (n_conditions,) share of the worlds; nan where nothing was sampled
    """

    name: str
    use: str
    pressure: np.ndarray
    coupling: np.ndarray
    flow: Banded
    velocity: np.ndarray
    velocity_ratio: np.ndarray
    temperature: np.ndarray
    reversed: np.ndarray
    chance_reversed: np.ndarray


@dataclass(frozen=True, eq=False)
class CoreFlow(_Arrays):
    """A core and what it cools.

    Attributes
    ----------
    name, role : of the Core
    flow : Banded, kg/s of air, positive from ahead to behind
    face_velocity : (n_conditions,) m/s
    drop : (n_conditions,) Pa of total pressure
    outside_test : (n_conditions,) bool, beyond the flows that the core's drop was measured at
    air_inlet, air_outlet : (n_conditions,) K
    heat : (n_conditions,) W to the air
    hot : (n_conditions,) K, where coolant or oil leave the engine; charge air ahead of its cooler
    cold : (n_conditions,) K, behind the core
    limit : (n_conditions,) K, or boiling where that is less; nan without one
    margin : Banded, K, room up to the limit; nan without one
    chance_too_hot : (n_conditions,) share of the worlds; nan without limit or samples
    thermostat_share : (n_conditions,) part of the coolant through the core; 1 without thermostat
    too_cold : (n_conditions,) bool: thermostat shut and still below its opening temperature, or
        below the least temperature
    reversed : (n_conditions,) bool
    chance_reversed : (n_conditions,)
    """

    name: str
    role: str
    flow: Banded
    face_velocity: np.ndarray
    drop: np.ndarray
    outside_test: np.ndarray
    air_inlet: np.ndarray
    air_outlet: np.ndarray
    heat: np.ndarray
    hot: np.ndarray
    cold: np.ndarray
    limit: np.ndarray
    margin: Banded
    chance_too_hot: np.ndarray
    thermostat_share: np.ndarray
    too_cold: np.ndarray
    reversed: np.ndarray
    chance_reversed: np.ndarray


@dataclass(frozen=True, eq=False)
class FanPoint(_Arrays):
    """Operating point of a fan.

    Attributes
    ----------
    name : of the FanUnit
    running : (n_conditions,) bool
    flow : (n_conditions,) m3/s, of the air ahead of it
    pressure_rise : (n_conditions,) Pa of total pressure; negative where it holds the air back
    electrical_power : (n_conditions,) W; nan where not known
    near_dip, holds_back : (n_conditions,) bool: near its stall dip; in the way of ram air
    """

    name: str
    running: np.ndarray
    flow: np.ndarray
    pressure_rise: np.ndarray
    electrical_power: np.ndarray
    near_dip: np.ndarray
    holds_back: np.ndarray


@dataclass(frozen=True, eq=False)
class Way(_Arrays):
    """Air through a duct, a leak or the doors of a fan.

    Attributes
    ----------
    name, kind : "duct", "leak" or "doors"
    flow : (n_conditions,) kg/s, from start to end positive
    drop : (n_conditions,) Pa of total pressure
    """

    name: str
    kind: str
    flow: np.ndarray
    drop: np.ndarray


@dataclass(frozen=True, eq=False)
class BudgetStep(_Arrays):
    """What becomes of the total pressure on the way of the air through one core.

    Attributes
    ----------
    core : name of the core
    what : words, such as "ram and place of the inlet", "left duct", "exit"
    pressure : (n_conditions,) Pa, of total pressure that is lost (positive) in this step; the first
        step is the pressure outside behind the inlet, the last that outside at the exit
    """

    core: str
    what: str
    pressure: np.ndarray


@dataclass(frozen=True, eq=False)
class OtherState:
    """A steady state besides the one that is shown.

    Attributes
    ----------
    condition : number
    start : from which it was reached
    flows : name of a port -> kg/s in the sense of its use
    margins : name of a core -> K
    """

    condition: int
    start: str
    flows: dict[str, float]
    margins: dict[str, float]


@dataclass(frozen=True, eq=False)
class CoolingResult(_Arrays):
    """Steady state of an installation in every condition.

    Attributes
    ----------
    installation : Installation
    conditions : names
    decides : (n_conditions,) bool
    ports, cores, fans, ways : in the order of the installation
    budget : steps by core, in the order of the air
    node_pressure : place -> (n_conditions,) Pa, gauge, total
    node_temperature : place -> (n_conditions,) K
    available_over_needed : (n_conditions,) float: one over the factor by which the pressures at
        all openings could shrink until the first margin is used up; nan where nothing decides it
        (no limit, a fan running, no air), inf where no pressure is needed
    highest_outside : (n_conditions,) K, outside temperature at which the first margin is used up
    leak_share : (n_conditions,) of the air that inlets take in which leaks let past the cores
    residual : (n_conditions,) float, greatest imbalance of pressure round a loop, a share
    heat_error : (n_conditions,) float, heat to the air less heat of the cores, over the latter
    steps : (n_conditions,) int, Newton's steps
    converged : (n_conditions,) bool
    samples : number of worlds; 0 where nothing was sampled
    lost_samples : (n_conditions,) int, worlds that did not converge, left out
    coupling_rounds : int, rounds until the flows through the openings and the pressures at them
        agreed; 0 where the coupling was left out
    coupling_change : float, kg/s, greatest change of a flow in the last round, over the part of the
        way that the pressures followed
    starts : where the search began that led to the state shown, by condition
    other_states : of OtherState
    predicted : (n_conditions,) bool, whether the air outside could be told; None: everywhere
    notes, warnings : sentences
    """

    installation: Installation
    conditions: tuple[str, ...]
    decides: np.ndarray
    ports: tuple[PortFlow, ...]
    cores: tuple[CoreFlow, ...]
    fans: tuple[FanPoint, ...]
    ways: tuple[Way, ...]
    budget: tuple[BudgetStep, ...]
    node_pressure: dict[str, np.ndarray]
    node_temperature: dict[str, np.ndarray]
    available_over_needed: np.ndarray
    highest_outside: np.ndarray
    leak_share: np.ndarray
    residual: np.ndarray
    heat_error: np.ndarray
    steps: np.ndarray
    converged: np.ndarray
    samples: int
    lost_samples: np.ndarray
    coupling_rounds: int = 0
    coupling_change: float = 0.0
    starts: tuple[str, ...] = ()
    other_states: tuple[OtherState, ...] = ()
    predicted: np.ndarray | None = None
    notes: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()

    def __repr__(self):
        return (
            f"CoolingResult({counted(len(self.cores), 'core')}, "
            f"{counted(len(self.ports), 'opening')}, {counted(len(self.fans), 'fan')}, "
            f"{counted(len(self.conditions), 'condition')})"
        )

    def _repr_html_(self) -> str:
        return block(self.margin_table(), lines(self._remarks()), caution(TEST_FIRST))

    def margin_table(self) -> str:
        """HTML of the margins of all cores in all conditions, each with its judgement in words."""
        columns = words("Condition", "Decides", *(core.name for core in self.cores))
        columns += [*words("Pressure available over needed")]
        columns.append(Column("No margin left at, outside", "°C"))
        rows = []
        for c, name in enumerate(self.conditions):
            ratio = self.available_over_needed[c]
            text = "none needed" if np.isposinf(ratio) else number(ratio, 2)
            cells = [name, "yes" if self.decides[c] else "no"]
            cells += [self._margin_cell(k, c) for k in range(len(self.cores))]
            cells += [Judged(text, "" if np.isinf(ratio) else ratio_word(ratio))]
            rows.append([*cells, number(self.highest_outside[c] - 273.15)])
        return table("Margins: limit less temperature", columns, rows, MARGIN_WORDS)

    def _margin_cell(self, k: int, c: int) -> Judged:
        """Margin of core k in condition c, its band, its judgement and the chance."""
        core = self.cores[k]
        value, low, high = (part[c] for part in (core.margin.value, core.margin.low,
                                                 core.margin.high))  # fmt: skip
        if np.isnan(value):
            return Judged("no limit")
        if not self.told(c):
            return Judged("not predicted")
        text, chance = kelvin(value), core.chance_too_hot[c]
        if np.isfinite(low) and np.isfinite(high):
            text += f" ({number(round(low))} to {number(round(high))})"
        text += "" if np.isnan(chance) else f", too hot: {percent(chance)}"
        text += "" if self.converged[c] else ", not solved: do not use"
        return Judged(text, judgement(value, chance))

    def _remarks(self) -> list[str]:
        """Backward flow and warnings, in sentences."""
        names = np.array(self.conditions, dtype=object)
        found = [
            f"Air flows backwards through {part.name} in {', '.join(names[part.reversed])}."
            for part in (*self.ports, *self.cores)
            if part.reversed.any()
        ]
        return found + [f"Warning: {text.rstrip('.')}." for text in self.warnings]

    def told(self, c: int) -> bool:
        """Whether the air outside could be told in a condition."""
        return self.predicted is None or bool(self.predicted[c])

    @property
    def least_margin(self) -> np.ndarray:
        """(n_conditions,) K, of all cores with a limit; nan where there is none."""
        if not self.cores:
            return np.full(len(self.conditions), np.nan)
        margins = np.stack([core.margin.value for core in self.cores])
        known = ~np.isnan(margins)
        least = np.where(known, margins, np.inf).min(axis=0)
        return np.where(known.any(axis=0), least, np.nan)

    @property
    def limiting_core(self) -> tuple[str, ...]:
        """Name of the core with the least margin in every condition; "" where there is none."""
        least = self.least_margin
        return tuple(
            next((c.name for c in self.cores if c.margin.value[k] == least[k]), "")
            for k in range(len(self.conditions))
        )
