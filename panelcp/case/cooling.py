"""Joining of the air outside and the cooling network of a case."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from panelcp.case.preparing import PreparedCase, Progress, quiet
from panelcp.case.reading import Case
from panelcp.cooling.building import OutsideAir
from panelcp.cooling.inlets import entry_recovery
from panelcp.cooling.installation import Installation, Port
from panelcp.cooling.results import CoolingResult
from panelcp.cooling.solving import SampledOutside, solve_cooling
from panelcp.flow.solutions import Solutions
from panelcp.flow.superposition import SurfaceFlow
from panelcp.placement.bands import PressureSamples, sample_operator, standard_draws, two_sided
from panelcp.surface.opening import Opening

USUAL_RATIO = 0.55
"""Speed ratio Vi/V0 at which the recovery of a submerged inlet is given: the middle of its best
range."""
DRAWS = "cooling"
"""First word of the names of all draws of the network."""


def cooling_of(
    prepared: PreparedCase,
    solutions: Solutions,
    flow: SurfaceFlow,
    samples: PressureSamples,
    n_inlets: int,
    progress: Progress = quiet,
) -> CoolingResult | None:
    """The cooling network of a case in the air that was solved; None without one.

    Parameters
    ----------
    prepared : PreparedCase
    solutions : Solutions with the unit flows of the openings of the network
    flow : SurfaceFlow of its conditions
    samples : PressureSamples at all inlets, then all exits
    n_inlets : number of the inlets
    progress : called with a short text before each step
    """
    installation = prepared.case.installation
    if installation is None:
        return None
    columns = port_columns(installation, samples.openings, n_inlets)
    air = outside_air(installation, solutions, flow, samples, columns)
    coupled = OutsideCoupling(prepared, solutions, flow, samples.recovered[:, columns])
    sampled = sampled_outside(installation, samples, columns)
    patch, head = samples.patch[:, columns], samples.head[:, columns]
    turning = recovery_changes(installation, air, samples.recovered[:, columns] * (head - patch))
    return solve_cooling(installation, air, sampled, coupled, turning, progress)


def ports_of(case: Case) -> tuple[Port, ...]:
    """Openings that take part in the cooling network of a case."""
    return () if case.installation is None else case.installation.ports


def port_volume_flows(found: CoolingResult) -> dict[str, np.ndarray]:
    """Name of a port -> (n_conditions,) m3/s out of the body, at the density of the air in it."""
    areas = {port.name: port.area for port in found.installation.ports}
    return {
        port.name: (-1.0 if port.use == "inlet" else 1.0) * port.velocity * areas[port.name]
        for port in found.ports
    }


def needed_doubts(case: Case, found: CoolingResult | None) -> list[str]:
    """Where the network needs another pressure than the case says, beyond its band.

    Parameters
    ----------
    case : Case
    found : CoolingResult, or None

    Notes
    -----
    The network's own need: pressure outside from inlet to exit of the core with the least margin,
    over `available_over_needed`.
    """
    if found is None:
        return []
    worst, size = None, 1.0
    for c, needed in enumerate(case.needed_pressure):
        ratio, core = found.available_over_needed[c], found.limiting_core[c]
        steps = [step.pressure[c] for step in found.budget if step.core == core]
        if not (found.decides[c] and needed and steps and np.isfinite(ratio) and ratio > 0.0):
            continue
        own = (steps[0] - steps[-1]) / ratio
        low, high = (needed.low, needed.high) if needed.has_band else (needed.value,) * 2
        apart = max(own / high, low / own) if own > 0.0 else 1.0
        if apart > size:
            worst, size = (c, own, needed), apart
    if worst is None:
        return []
    c, own, needed = worst
    band = f" ({needed.low:.0f} to {needed.high:.0f})" if needed.has_band else ""
    return [
        f"needed pressure is given as {needed.value:.0f} Pa{band} in {found.conditions[c]}, but "
        f"the network needs about {own:.0f} Pa there to keep the limits: "
        f"available over needed of places is off by a factor of {own / needed.value:.1f}; give "
        "needed_pressure anew, or go by the margins"
    ]


def port_columns(
    installation: Installation, openings: Sequence[Opening], n_inlets: int
) -> list[int]:
    """Numbers of the ports among openings, of which the first n_inlets are inlets."""
    names = [opening.name for opening in openings]
    return [
        names.index(port.name) if port.use == "inlet" else names.index(port.name, n_inlets)
        for port in installation.ports
    ]


def outside_air(
    installation: Installation,
    solutions: Solutions,
    flow: SurfaceFlow,
    samples: PressureSamples,
    columns: Sequence[int],
) -> OutsideAir:
    """Central pressures and streams at the ports of an installation.

    Parameters
    ----------
    installation : Installation
    solutions, flow : Solutions and SurfaceFlow of the same conditions
    samples : PressureSamples
    columns : of the ports among its openings
    """
    conditions = flow.conditions
    patch, head = samples.patch[:, columns], samples.head[:, columns]
    inlet = np.array([port.use == "inlet" for port in installation.ports])
    recovered = np.where(inlet, samples.recovered[:, columns], 0.0)
    density = np.array([c.air.density for c in conditions])[:, None]
    free = np.where(inlet, head, head - patch)
    streams = solutions.mean_streams
    speed = np.linalg.norm(streams, axis=1)
    aft = np.divide(streams[:, 0], speed, out=np.ones(len(speed)), where=speed > 0.0)
    return OutsideAir(
        conditions=tuple(c.name for c in conditions),
        decides=np.array([c.decides for c in conditions]),
        airspeed=np.array([c.speed for c in conditions]),
        temperature=np.array([c.air.temperature for c in conditions]),
        pressure=np.array([c.air.pressure for c in conditions]),
        port_pressure=patch + recovered * (head - patch) + suction_of(installation, head),
        port_stream=np.sqrt(2.0 * np.maximum(free, 0.0) / density),
        port_head=head,
        incidence=np.degrees(np.arccos(np.clip(aft, -1.0, 1.0))),
        moving=flow.moving,
        predicted=flow.predicted,
    )


def sampled_outside(
    installation: Installation, samples: PressureSamples, columns: Sequence[int]
) -> SampledOutside:
    """Pressures at the ports in all worlds, in the same draws as the ranking of places."""
    changes, deviates = samples.changes(columns), _deviates(samples.count)
    head = samples.head[:, columns]
    inlet = np.array([port.use == "inlet" for port in installation.ports])
    rows = []
    for c in range(len(samples.conditions)):
        patch, behind = samples.pressures(c, columns, changes)
        suction = suction_of(installation, head[c], deviates)
        rows.append(np.where(inlet, behind, patch) + suction)
    return SampledOutside(samples.count, np.array(rows), deviates)


def suction_of(installation: Installation, head: np.ndarray, deviates=None) -> np.ndarray:
    """Pressure, Pa, that cowl flaps add at their exits: a share of the air's total pressure.

    Parameters
    ----------
    installation : Installation
    head : (..., n_ports) Pa, total pressure of the air at the ports
    deviates : name -> (n_samples,) standard-normal numbers, or None for the central value

    Returns
    -------
    (..., n_ports), or (n_samples, n_ports) for a head of (n_ports,) in drawn worlds
    """
    parts = []
    for k, port in enumerate(installation.ports):
        band, share = port.flap_suction, 0.0
        if band is not None:
            share = band.value
            if deviates is not None and band.has_band:
                draws = deviates(f"opening {port.name}: suction of its flap")
                share = share + two_sided(draws, band.low_deviation, band.high_deviation)
        parts.append(share * np.maximum(head[..., k], 0.0))
    return np.stack(np.broadcast_arrays(*parts), axis=-1)


def _deviates(count: int) -> Callable[[str], np.ndarray]:
    return lambda name: standard_draws(DRAWS, name, count)


def recovery_changes(
    installation: Installation, air: OutsideAir, ram: np.ndarray
) -> Callable[[np.ndarray], np.ndarray] | None:
    """How the pressure behind submerged inlets follows their speed ratio; None without any.

    Parameters
    ----------
    installation : Installation
    air : OutsideAir
    ram : (n_conditions, n_ports) Pa, that the given recovery adds to the patch pressure

    Returns
    -------
    function of the flows out of the body, (n_conditions, n_ports) m3/s, that gives Pa, same shape

    Notes
    -----
    The given recovery counts at the speed ratio USUAL_RATIO; from there it goes with
    `inlets.entry_recovery`. Nose inlets and scoops do not depend on the ratio but by their lips.
    """
    ports = installation.ports
    turning = [k for k, p in enumerate(ports) if p.use == "inlet" and p.kind == "submerged"]
    if not turning:
        return None
    usual = entry_recovery("submerged", USUAL_RATIO).value

    def changes(flows):
        found = np.zeros(np.shape(flows))
        for k in turning:
            speed = np.maximum(-flows[:, k], 0.0) / ports[k].area
            for c in np.flatnonzero(air.port_stream[:, k] > 0.0):
                ratio = speed[c] / air.port_stream[c, k]
                share = entry_recovery("submerged", ratio).value / usual - 1.0
                found[c, k] = share * ram[c, k]
        return found

    return changes


class OutsideCoupling:
    """By how much flows through the ports change the pressures at the other ports.

    Called with (n_conditions, n_ports) m3/s out of the body, it gives (n_conditions, n_ports) Pa:
    the change of the mean pressure over the closed skin of every port by the flows of all others,
    without its own; of an inlet that part which its recovery leaves of it. Exact in the flow model:
    the unit flows of the openings are added to the velocities at the sample points.

    Parameters
    ----------
    prepared : PreparedCase
    solutions : Solutions with a unit flow of every port
    flow : SurfaceFlow
    recovered : (n_conditions, n_ports) recovery fraction
    """

    def __init__(self, prepared: PreparedCase, solutions: Solutions, flow, recovered):
        ports = prepared.case.installation.ports
        by_name = {opening.name: opening for opening in prepared.openings}
        openings = [by_name[port.name] for port in ports]
        operator, self._means = sample_operator(solutions.surface, openings)
        self._owner = np.repeat(np.arange(len(openings)), [len(o.sample_weights) for o in openings])
        inlet = np.array([port.use == "inlet" for port in ports])
        self._felt = np.where(inlet, 1.0 - np.asarray(recovered), 1.0)
        self._density = np.array([c.air.density for c in flow.conditions])
        n = len(flow.conditions)
        self._velocity = np.array([operator @ flow.velocity[c] for c in range(n)])
        self._units: list = [None] * n
        for part in solutions.parts:
            names = part.units.names
            fields = np.array(
                [
                    operator @ part.units.velocity[names.index(f"opening {port.name}")]
                    for port in ports
                ]
            )
            for number in part.numbers:
                self._units[number] = fields

    def __call__(self, flows: np.ndarray) -> np.ndarray:
        """Changes of the pressures, (n_conditions, n_ports) Pa."""
        changes = np.zeros(np.shape(flows))
        for c, flow in enumerate(np.asarray(flows)):
            each = flow[:, None, None] * self._units[c]
            own = each[self._owner, np.arange(len(self._owner))]
            change = each.sum(axis=0) - own
            square = np.sum((2.0 * self._velocity[c] + change) * change, axis=1)
            changes[c] = self._means @ (-0.5 * self._density[c] * square)
        return self._felt * changes
