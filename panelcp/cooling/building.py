"""From an installation to the network that is solved, in the central world or in many."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from panelcp.cooling.core_laws import FREE_SHARE
from panelcp.cooling.elements import Buoyancy, Element, Fan, LossCoefficient, Orifice
from panelcp.cooling.flow_elements import (
    LEAST_ENTRY_LOSS,
    FlushVent,
    HeatedCore,
    InletEntry,
    Losses,
    OneWayFlap,
    StraightDuct,
)
from panelcp.cooling.heat import CoreDuty, heat_to_air
from panelcp.cooling.inlets import INCIDENCE_LOSS, lip_share
from panelcp.cooling.installation import (
    BAY,
    OUTSIDE,
    Core,
    Duct,
    FanUnit,
    Friction,
    Installation,
    Loss,
    Port,
)
from panelcp.cooling.losses import at_deviation
from panelcp.cooling.network import Network, Node
from panelcp.quantity import UncertainValue
from panelcp.surface.mesh import frozen_array

DOORS_SHUT, DOORS_DISCHARGE = 0.02, 0.6
"""What shut doors let back, of their area; discharge coefficient of open ones (memory)."""
LEAST_RISE = 1e-3
"""m; columns of hot air lower than this are left out."""
ACROSS = ("flush hole", "louvre")
"""Kinds of openings across which the stream runs, so that it does not push air in at the lip."""
ROUNDED_LIP = 0.03
"""Lip radius over the inlet's width from which a lip counts as rounded at an incidence (memory)."""


@dataclass(frozen=True, eq=False)
class OutsideAir:
    """What the air outside is at the ports, condition by condition.

    Attributes
    ----------
    conditions : names
    decides : (n_conditions,) bool
    airspeed : (n_conditions,) m/s, true
    temperature, pressure : (n_conditions,) K and Pa, absolute, of still air
    port_pressure : (n_conditions, n_ports) Pa, gauge: behind inlets with their recovery, on the
        patch of exits
    port_stream : (n_conditions, n_ports) m/s: ahead of inlets at outside pressure, along the skin
        at exits
    port_head : (n_conditions, n_ports) Pa, gauge total pressure of the air at the port
    incidence : (n_conditions,) deg between the air ahead of the inlets and the thrust line
    moving, predicted : (n_conditions,) bool
    """

    conditions: tuple[str, ...]
    decides: np.ndarray
    airspeed: np.ndarray
    temperature: np.ndarray
    pressure: np.ndarray
    port_pressure: np.ndarray
    port_stream: np.ndarray
    port_head: np.ndarray
    incidence: np.ndarray
    moving: np.ndarray
    predicted: np.ndarray

    def __post_init__(self):
        for name in (
            "airspeed", "temperature", "pressure", "port_pressure", "port_stream", "port_head",
            "incidence",
        ):  # fmt: skip
            object.__setattr__(self, name, frozen_array(getattr(self, name)))
        for name in ("decides", "moving", "predicted"):
            object.__setattr__(self, name, frozen_array(getattr(self, name), dtype=bool))


@dataclass(frozen=True, eq=False)
class Worlds:
    """Which worlds a network is built for: conditions, each with the same samples.

    Attributes
    ----------
    conditions : (n,) int, numbers of the conditions
    samples : of every condition; 1 alone is the central world
    deviates : name -> (samples,) standard-normal numbers, or None for the central world

    World number = place of the condition * samples + sample.
    """

    conditions: np.ndarray
    samples: int = 1
    deviates: Callable[[str], np.ndarray] | None = None

    @property
    def count(self) -> int:
        """Number of all worlds."""
        return len(self.conditions) * self.samples

    def drawn(self, band: UncertainValue, name: str) -> float | np.ndarray:
        """A positive number with a band: its value, or (n_worlds,) one per sample."""
        if self.deviates is None or not band.has_band or band.low == band.high:
            return float(band.value)
        return np.tile(at_deviation(band, self.deviates(name)), len(self.conditions))

    def discharge(self, band: UncertainValue, name: str) -> float | np.ndarray:
        """As `drawn`, of a discharge coefficient: never above 1."""
        return np.minimum(self.drawn(band, name), 1.0)

    def deviation(self, name: str) -> float | np.ndarray:
        """Place in a band, standard deviations: 0, or (n_worlds,)."""
        if self.deviates is None:
            return 0.0
        return np.tile(self.deviates(name), len(self.conditions))

    def each(self, by_condition) -> np.ndarray:
        """(n_worlds, ...) of something that is given for every condition."""
        return np.repeat(np.asarray(by_condition)[self.conditions], self.samples, axis=0)


def outside_node(port: Port) -> str:
    """Name of the boundary node outside a port."""
    return f"{port.name}, {OUTSIDE}"


def build_network(installation: Installation, air: OutsideAir, worlds: Worlds) -> Network:
    """Network of an installation.

    Parameters
    ----------
    installation : Installation
    air : OutsideAir
    worlds : Worlds

    Returns
    -------
    Network
        Boundaries: one outside every port, in the order of the ports, and `OUTSIDE` where a leak or
        duct leads there.

    Raises
    ------
    NetworkError : what `Network` finds wrong with it
    """
    elements: list[Element] = []
    for k, port in enumerate(installation.ports):
        elements += _port_elements(installation, air, worlds, k, port)
    for duct in installation.ducts:
        elements += _duct_elements(duct, worlds)
    elements += [_core_element(core, worlds) for core in installation.cores]
    for fan in installation.fans:
        elements += _fan_elements(fan, worlds)
    for leak in installation.leaks:
        area = worlds.drawn(leak.area, f"leak {leak.name}: area")
        discharge = worlds.discharge(leak.discharge, f"leak {leak.name}: discharge")
        elements.append(Orifice(leak.name, leak.start, leak.end, discharge, area))
    boundaries = [outside_node(port) for port in installation.ports]
    ends = dict.fromkeys(end for e in elements for end in (e.start, e.end))
    if OUTSIDE in ends:
        boundaries.append(OUTSIDE)
    inner = [name for name in ends if name not in boundaries]
    nodes = [Node(name, boundary=True) for name in boundaries] + [Node(name) for name in inner]
    return Network(tuple(nodes), tuple(elements))


def _port_elements(installation, air, worlds, k: int, port: Port) -> list[Element]:
    place, outside = installation.place_of(port), outside_node(port)
    stream = worlds.each(air.port_stream[:, k])
    discharge = worlds.discharge(port.discharge, f"opening {port.name}: discharge")
    if port.use == "inlet":
        return [_inlet_element(air, worlds, port, place, stream, discharge)]
    elements: list[Element] = []
    rise = 0.0 if installation.bay_height is None else port.height - installation.bay_height
    if place == BAY and abs(rise) > LEAST_RISE:
        inside = f"{port.name}, inside"
        elements.append(Buoyancy(f"hot air below {port.name}", BAY, inside, rise))
        place = inside
    if port.blockage is not None:
        more = worlds.drawn(port.blockage, f"opening {port.name}: blockage")
        discharge = 1.0 / np.sqrt(1.0 / np.square(discharge) + more)
    if port.cross_flow:
        shift = worlds.deviation("discharge of flush holes in a cross flow")
        vent = FlushVent(port.name, place, outside, port.area, stream, discharge, shift)
        return [*elements, vent]
    return [*elements, Orifice(port.name, place, outside, discharge, port.area)]


def _inlet_element(air, worlds, port: Port, place: str, stream, discharge) -> Element:
    """Lip of an inlet; a hole or louvre in the skin has none, and the stream runs across it.

    There the discharge coefficient counts both ways, less the head of the jet inward, which what
    follows may use: K = 1 / Cd^2 - 1. What the stream gives such an opening is in its recovery.
    """
    if port.kind in ACROSS:
        whole = 1.0 / np.square(discharge)
        inward = np.maximum(whole - 1.0, LEAST_ENTRY_LOSS)
        return LossCoefficient(port.name, outside_node(port), place, inward, whole, port.area)
    ratio = port.lip_radius / port.least_width
    lip = "rounded" if ratio >= ROUNDED_LIP else "sharp"
    faces = port.kind in ("forward-facing", "scoop")
    incidence = worlds.each(np.minimum(air.incidence, 90.0)) if faces else 0.0
    across = worlds.drawn(INCIDENCE_LOSS[lip], f"lips that are {lip}: incidence")
    return InletEntry(
        port.name,
        outside_node(port),
        place,
        area=port.area,
        stream_speed=stream,
        lip_share=np.clip(worlds.drawn(lip_share(ratio), "lips: share of the thin lip"), 0.0, 1.0),
        incidence=incidence,
        incidence_share=np.clip(across, 0.0, 1.0),
        back_discharge=discharge,
    )


def _duct_elements(duct: Duct, worlds: Worlds) -> list[Element]:
    """Losses of a duct as one element, and its straight parts in series with it."""
    losses = [part for part in duct.parts if isinstance(part, Loss)]
    straight = [part for part in duct.parts if isinstance(part, Friction)]
    makers = []
    if losses:
        heads = _heads(duct.name, losses, worlds)
        makers.append(lambda name, start, end: Losses(name, start, end, *heads))
    for part in straight:
        makers.append(
            lambda name, start, end, part=part: StraightDuct(
                name,
                start,
                end,
                length=part.length,
                diameter=part.diameter,
                area=part.area,
                roughness=part.roughness,
                aspect=part.aspect,
                deviation=worlds.deviation("friction of ducts"),
            )
        )
    places = [duct.start, *(f"{duct.name}, {k}" for k in range(1, len(makers))), duct.end]
    names = [duct.name, *(f"{duct.name}, part {k}" for k in range(2, len(makers) + 1))]
    return [make(names[k], places[k], places[k + 1]) for k, make in enumerate(makers)]


def _heads(name: str, losses: list[Loss], worlds: Worlds) -> tuple:
    """Sums of K / area^2, 1/m4, of flow forward and backward; LEAST_ENTRY_LOSS heads at least."""
    forward, backward = 0.0, 0.0
    for part in losses:
        label = f"duct {name}: {part.what}"
        forward = forward + worlds.drawn(part.coefficient, label) / part.area**2
        back = part.backward or part.coefficient
        backward = backward + worlds.drawn(back, label) / part.area**2
    least = LEAST_ENTRY_LOSS / max(part.area for part in losses) ** 2
    return np.maximum(forward, least), np.maximum(backward, least)


def _core_element(core: Core, worlds: Worlds) -> HeatedCore:
    return HeatedCore(
        core.name,
        core.start,
        core.end,
        linear=core.drop.linear,
        quadratic=core.drop.square,
        face_area=core.face_area,
        density=core.drop.density,
        viscosity=core.drop.viscosity,
        free_share=FREE_SHARE.value,
        scatter=worlds.drawn(core.drop_scatter, f"core {core.name}: drop"),
    )


def _fan_elements(fan: FanUnit, worlds: Worlds) -> list[Element]:
    elements: list[Element] = [
        Fan(
            fan.name,
            fan.start,
            fan.end,
            volume_flow=fan.volume_flow,
            pressure_rise=fan.pressure_rise,
            density=fan.density,
            reference_speed=1.0,
            speed=worlds.each(fan.speed),
            off_loss=worlds.drawn(fan.off_loss, f"fan {fan.name}: loss when off"),
            area=fan.area,
        )
    ]
    if fan.doors:
        name = f"{fan.name}, doors"
        elements.append(
            OneWayFlap(name, fan.start, fan.end, DOORS_DISCHARGE, fan.doors, DOORS_SHUT)
        )
    return elements


def duties(
    installation: Installation, worlds: Worlds, warmth: np.ndarray | float = 1.0
) -> dict[str, CoreDuty]:
    """What every core must cool in every world.

    Parameters
    ----------
    installation : Installation
    worlds : Worlds
    warmth : by condition, outside temperature over that of the installation, both K: on a warmer
        day charge air comes hotter by the same ratio, since the compressor multiplies (derived)
    """
    found = {}
    for core in installation.cores:
        law = core.conductance
        scatter = worlds.drawn(core.conductance_scatter, f"core {core.name}: conductance")
        scaled = type(law)(
            law.conductance * scatter, law.air_flow, law.other_flow, law.air_share,
            law.air_exponent, law.other_exponent,
        )  # fmt: skip
        heat = hot = None
        if core.heat is not None:
            factor = worlds.drawn(core.heat_scatter, f"heat of {core.role}")
            heat = worlds.each(core.heat) * factor
        else:
            hot = worlds.each(core.hot_inlet * np.asarray(warmth))
        found[core.name] = CoreDuty(
            core.name,
            worlds.each(core.other_flow),
            core.other_specific_heat,
            scaled,
            heat=heat,
            hot_inlet=hot,
            arrangement=core.arrangement,
        )
    return found


def heat_sources(found: dict[str, CoreDuty]) -> dict[str, Callable]:
    """Heat of every core as the network asks for it."""
    return {name: heat_to_air(duty) for name, duty in found.items()}
