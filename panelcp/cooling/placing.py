"""Margins of an installation with its exits, or its only inlet, at other places."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from panelcp.cooling.building import OutsideAir
from panelcp.cooling.installation import BAY, Installation, Port
from panelcp.cooling.solving import Centre
from panelcp.display import (
    MOST_ROWS,
    Column,
    Judged,
    block,
    counted,
    judgement,
    more,
    number,
    place,
    table,
    words,
)
from panelcp.errors import NetworkError
from panelcp.surface.mesh import frozen_array

NO_BAY_EXIT = (
    "places of exits cannot be ranked by margin: no exit takes its air from the common "
    f"{BAY}; every exit has a duct or core of its own"
)


@dataclass(frozen=True, eq=False)
class Placement:
    """A port of one size and kind at many places.

    Attributes
    ----------
    port : Port, in place of all exits on the bay, or of the only inlet
    pressure, stream, head : (n_places, n_conditions) Pa, m/s, Pa, as in `OutsideAir`
    ram : (n_places, n_conditions) Pa of it, that the recovery of an inlet adds; None for an exit
    """

    port: Port
    pressure: np.ndarray
    stream: np.ndarray
    head: np.ndarray
    ram: np.ndarray | None = None

    def __post_init__(self):
        for name in ("pressure", "stream", "head", *(("ram",) if self.ram is not None else ())):
            object.__setattr__(self, name, frozen_array(getattr(self, name)))


@dataclass(frozen=True, eq=False)
class PlacedMargins:
    """What every place gives.

    Attributes
    ----------
    margin : (n_places, n_conditions) K, least of all cores; nan without limit or steady state
    flow : (n_places, n_conditions) kg/s through all cores
    reversed : (n_places, n_conditions) bool: some port or core flows against its sense
    """

    margin: np.ndarray
    flow: np.ndarray
    reversed: np.ndarray


@dataclass(frozen=True, eq=False)
class MarginRanking:
    """Places of one use, best first by the least margin over the deciding conditions.

    Places are compared with the same area, that of all openings they stand for.

    Attributes
    ----------
    use : "exit": each place stands for all exits on the bay; "inlet": for the only inlet
    names, kinds, sides : of the places, best first
    common_area : m2, with which they are compared
    area, centre : (n_places,) m2, as searched or named; (n_places, 3) m
    margin, flow : (n_places, n_conditions) K and kg/s with the common area, see `PlacedMargins`
    reversed : (n_places, n_conditions) bool, with it
    own_margin : (n_places, n_conditions) K with the place's own area
    conditions : names
    decides : (n_conditions,) bool
    """

    use: str
    names: tuple[str, ...]
    kinds: tuple[str, ...]
    sides: tuple[str, ...]
    common_area: float
    area: np.ndarray
    centre: np.ndarray
    margin: np.ndarray
    flow: np.ndarray
    reversed: np.ndarray
    own_margin: np.ndarray
    conditions: tuple[str, ...]
    decides: np.ndarray

    def __repr__(self):
        return (
            f"MarginRanking({self.use}s, {counted(len(self.names), 'place')}, "
            f"{counted(len(self.conditions), 'condition')})"
        )

    def _repr_html_(self) -> str:
        columns = [Column("Rank"), *words("Place", "Side", "Kind", "Where", "Least margin, K")]
        columns += [*words("Limiting"), Column("Air", "kg/s"), Column("As searched", "cm²")]
        columns += [Column("Margin so", "K"), *words("Backwards")]
        note = (
            f"All places with {number(1e4 * self.common_area)} cm², that of the openings they "
            "stand for; beside it the margin with the size of the search alone. Central numbers "
            "without bands, in which a few kelvin decide nothing."
        )
        rows = [self._row(k) for k in range(min(MOST_ROWS, len(self.names)))]
        note = " ".join(part for part in (note, more(len(self.names))) if part)
        return block(table(f"{self.use.capitalize()}s by margin", columns, rows, note))

    def _row(self, k: int) -> list[str | Judged]:
        """Cells of a place."""
        c, least = int(self.limiting[k]), self.least[k]
        back = [
            name for name, wrong in zip(self.conditions, self.reversed[k], strict=True) if wrong
        ]
        return [
            *(str(k + 1), self.names[k], self.sides[k], self.kinds[k], place(self.centre[k])),
            Judged(_margin_text(least), judgement(least)),
            *(self.conditions[c], number(self.flow[k, c], 2), number(1e4 * self.area[k])),
            *(_margin_text(self.own_least[k]), "; ".join(back) or "nowhere"),
        ]

    @property
    def own_least(self) -> np.ndarray:
        """(n_places,) K, as `least`, with the place's own area."""
        return self.own_margin[:, self.decides].min(axis=1)

    @property
    def least(self) -> np.ndarray:
        """(n_places,) K over the deciding conditions; nan where it is not known in one of them."""
        return self.margin[:, self.decides].min(axis=1)

    @property
    def limiting(self) -> np.ndarray:
        """(n_places,) int, the deciding condition with the least margin."""
        numbers = np.flatnonzero(self.decides)
        known = np.where(np.isnan(self.margin), np.inf, self.margin)[:, self.decides]
        return numbers[known.argmin(axis=1)]


def _margin_text(margin: float) -> str:
    if np.isfinite(margin):
        return number(margin, 1)
    return "no air" if margin < 0.0 else "not known"


def replaced_area(installation: Installation, use: str) -> float:
    """Area, m2, of the openings that a place stands for: exits on the bay, or inlets."""
    ports = installation.inlets if use == "inlet" else installation.exits
    return sum(p.area for p in ports if use == "inlet" or _on_bay(installation, p))


def staying(installation: Installation, use: str) -> set[str]:
    """Names of ports that stay while places of a use are tried; no place can be where they are.

    Parameters
    ----------
    installation : Installation
    use : "exit": all but the exits on the bay stay; "inlet": all but the inlets
    """
    return {
        port.name
        for port in installation.ports
        if port.use != use or (use == "exit" and not _on_bay(installation, port))
    }


def ranked_margins(
    use: str,
    openings,
    found: list[PlacedMargins],
    own: list[PlacedMargins],
    common_area: float,
    air: OutsideAir,
) -> MarginRanking:
    """MarginRanking of openings from what was found of them in groups, in the same order.

    Parameters
    ----------
    use : "exit" or "inlet"
    openings : with name, kind, side, area, centre
    found, own : PlacedMargins with the common area and with their own, whose places together are
        the openings
    common_area : m2
    air : OutsideAir
    """
    own_margin = np.concatenate([part.margin for part in own])
    margin, flow, backward = (
        np.concatenate([getattr(part, name) for part in found])
        for name in ("margin", "flow", "reversed")
    )
    least = np.where(np.isnan(margin), -np.inf, margin)[:, air.decides].min(axis=1)
    order = np.argsort(-least, kind="stable")
    some = [openings[k] for k in order]
    return MarginRanking(
        use=use,
        names=tuple(o.name for o in some),
        kinds=tuple(o.kind for o in some),
        sides=tuple(o.side for o in some),
        common_area=common_area,
        own_margin=own_margin[order],
        area=np.array([o.area for o in some]),
        centre=np.array([o.centre for o in some]),
        margin=margin[order],
        flow=flow[order],
        reversed=backward[order],
        conditions=air.conditions,
        decides=air.decides,
    )


def with_exit(installation: Installation, port: Port) -> Installation:
    """The installation with one exit on the bay in place of all that are there.

    Raises
    ------
    NetworkError : no exit hangs on the bay
    """
    names = staying(installation, "exit")
    kept = tuple(p for p in installation.ports if p.name in names)
    if len(kept) == len(installation.ports):
        raise NetworkError(NO_BAY_EXIT)
    return replace(installation, ports=(*kept, port), bay_height=None)


def with_inlet(installation: Installation, port: Port) -> Installation:
    """The installation with another inlet in place of its only one.

    Raises
    ------
    NetworkError : several inlets
    """
    inlets = installation.inlets
    if len(inlets) != 1:
        raise NetworkError(
            f"places of inlets cannot be ranked by margin: the network has {len(inlets)} inlets, "
            "and which of them a place stands for is not known"
        )
    named = replace(port, name=inlets[0].name)
    ports = tuple(named if p.use == "inlet" else p for p in installation.ports)
    return replace(installation, ports=ports, bay_height=None)


def _on_bay(installation: Installation, port: Port) -> bool:
    return port.use == "exit" and installation.place_of(port) == BAY


def margins_with(
    installation: Installation, air: OutsideAir, placed: Placement, coupling=None, turning=None
) -> PlacedMargins:
    """Margins of an installation with a port at many places.

    Parameters
    ----------
    installation : Installation
    air : OutsideAir at its own ports
    placed : Placement
    coupling : (n_conditions, n_ports) Pa, of the ports that stay, by the flows of the others; the
        flows are taken to be as they were
    turning : from an installation, the air outside it and (n_worlds, n_ports) Pa of ram to how the
        pressure behind its inlets follows their flows, see `solving.solve_cooling`, or to None;
        None: a recovery does not depend on the flow

    Returns
    -------
    PlacedMargins

    Notes
    -----
    All places and conditions are worlds of one network. Buoyancy is left out.
    """
    swap = with_exit if placed.port.use == "exit" else with_inlet
    changed = swap(installation, placed.port)
    n_places, n_conditions = placed.pressure.shape
    many = _repeated(changed, n_places)
    there = _air_at(installation, changed, air, placed, coupling)
    centre = Centre(many, there)
    if turning is not None and placed.ram is not None:
        inlet = np.array([port.use == "inlet" for port in changed.ports])
        centre.couple(None, turning(many, there, np.where(inlet, placed.ram.ravel()[:, None], 0.0)))
    shape = n_places, n_conditions
    ports = np.stack([centre.result.flow(port.name) for port in changed.ports])
    cores = np.stack([centre.result.flow(core.name) for core in changed.cores])
    size = 1e-6 * np.abs(centre.state.mass_flow).max(axis=1, initial=0.0)
    backward = (ports < -size).any(axis=0) | (cores < -size).any(axis=0)
    return PlacedMargins(
        margin=centre.least_margin().reshape(shape),
        flow=cores.sum(axis=0).reshape(shape),
        reversed=backward.reshape(shape),
    )


def _repeated(installation: Installation, count: int) -> Installation:
    """The installation for conditions that come `count` times over."""
    names = ("other_flow", "heat", "hot_inlet", "boiling")
    cores = tuple(
        replace(
            core,
            **{n: np.tile(getattr(core, n), count) for n in names if getattr(core, n) is not None},
        )
        for core in installation.cores
    )
    fans = tuple(replace(fan, speed=np.tile(fan.speed, count)) for fan in installation.fans)
    return replace(installation, cores=cores, fans=fans)


def _air_at(installation, changed, air: OutsideAir, placed: Placement, coupling) -> OutsideAir:
    """The air outside of all places and conditions, place by place."""
    count = len(placed.pressure)
    columns = {port.name: k for k, port in enumerate(installation.ports)}
    change = np.zeros(air.port_pressure.shape) if coupling is None else np.asarray(coupling)
    swapped = placed.port.use

    def at_ports(own, there):
        rows = [
            there.ravel()
            if port.use == swapped and (swapped == "inlet" or port.name == placed.port.name)
            else np.tile(own[:, columns[port.name]], count)
            for port in changed.ports
        ]
        return np.stack(rows, axis=1)

    tiled = {
        name: np.tile(getattr(air, name), count)
        for name in (
            "decides", "airspeed", "temperature", "pressure", "incidence", "moving", "predicted",
        )
    }  # fmt: skip
    return OutsideAir(
        conditions=air.conditions * count,
        port_pressure=at_ports(air.port_pressure + change, placed.pressure),
        port_stream=at_ports(air.port_stream, placed.stream),
        port_head=at_ports(air.port_head, placed.head),
        **tiled,
    )
