"""Ranking of places by the margins that the cooling network has with them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from panelcp.case.cooling import outside_air, port_columns, recovery_changes
from panelcp.case.cooling_ports import exit_port, inlet_port
from panelcp.case.preparing import PreparedCase
from panelcp.case.reading import OpeningEntry
from panelcp.cooling.building import OutsideAir
from panelcp.cooling.installation import Installation, Port
from panelcp.cooling.placing import (
    NO_BAY_EXIT,
    MarginRanking,
    Placement,
    margins_with,
    ranked_margins,
    replaced_area,
    staying,
)
from panelcp.cooling.results import CoolingResult
from panelcp.errors import NetworkError
from panelcp.flow.solutions import Solutions
from panelcp.flow.superposition import SurfaceFlow
from panelcp.placement.bands import PressureSamples
from panelcp.surface.opening import Opening

USES = ("exit", "inlet")


def margin_rankings(
    prepared: PreparedCase,
    solutions: Solutions,
    flow: SurfaceFlow,
    samples: PressureSamples,
    n_inlets: int,
    network: CoolingResult,
) -> tuple[tuple[MarginRanking, ...], tuple[str, ...]]:
    """Places of exits and of inlets by the least margin in the deciding conditions.

    Parameters
    ----------
    prepared : PreparedCase
    solutions, flow : Solutions and SurfaceFlow
    samples : PressureSamples at all inlets, then all exits
    n_inlets : number of the inlets
    network : CoolingResult of the case

    Returns
    -------
    rankings, notes : what could be ranked, and why the rest could not
    """
    installation = network.installation
    columns = port_columns(installation, samples.openings, n_inlets)
    air = outside_air(installation, solutions, flow, samples, columns)
    coupling = _changes(network, air)
    rankings, notes = [], []
    for use in USES:
        everything = _places(installation, use, samples.openings, n_inlets)
        if use == "inlet" and len(everything) < 2:
            continue
        try:
            if not everything:
                raise NetworkError(NO_BAY_EXIT)
            groups = _groups(prepared, use, [samples.openings[k] for k in everything])
            found, own, order = [], [], []
            area = replaced_area(installation, use)
            for port, members in groups:
                numbers = [everything[k] for k in members]
                places = replace(installation, ports=(port,) * len(numbers))
                there = outside_air(places, solutions, flow, samples, numbers)
                placed = Placement(
                    port,
                    there.port_pressure.T,
                    there.port_stream.T,
                    there.port_head.T,
                    _ram(samples, numbers).T if use == "inlet" else None,
                )
                common = replace(placed, port=replace(port, area=area))
                found.append(margins_with(installation, air, common, coupling, recovery_changes))
                own.append(margins_with(installation, air, placed, coupling, recovery_changes))
                order += [samples.openings[k] for k in numbers]
            rankings.append(ranked_margins(use, order, found, own, area, air))
        except NetworkError as error:
            notes.append(str(error))
    return tuple(rankings), tuple(notes)


def _changes(network: CoolingResult, air: OutsideAir) -> np.ndarray:
    """(n_conditions, n_ports) Pa, by which the network's own flows change the pressures outside."""
    return np.stack([port.pressure for port in network.ports], axis=1) - air.port_pressure


def _ram(samples: PressureSamples, numbers) -> np.ndarray:
    """(n_conditions, n_places) Pa, that the recovery of inlets adds to their patch pressure."""
    patch, head = samples.patch[:, numbers], samples.head[:, numbers]
    return samples.recovered[:, numbers] * (head - patch)


def _places(installation: Installation, use: str, openings, n_inlets: int) -> list[int]:
    """Numbers of the openings of a use that can take the place of ports, inlets first."""
    ends = (0, n_inlets) if use == "inlet" else (n_inlets, len(openings))
    names = staying(installation, use)
    return [k for k in range(*ends) if openings[k].name not in names]


def _groups(prepared: PreparedCase, use: str, openings: list[Opening]):
    """Ports, each with the numbers of the openings that it stands for."""
    entries = {entry.name: entry for entry in prepared.case.openings}
    own = {port.name: port for port in prepared.case.installation.ports if port.use == use}
    lips = [port.lip_radius for port in own.values()]
    groups: dict[tuple, tuple[Port, list[int]]] = {}
    for k, opening in enumerate(openings):
        entry = entries.get(opening.name) or _entry_of(opening, use)
        port = own.get(opening.name) or _port(entry, use, opening, max(lips, default=0.0))
        key = (port.kind, round(port.area, 7), port.discharge, opening.name in entries and k)
        groups.setdefault(key, (port, []))[1].append(k)
    return list(groups.values())


def _port(entry: OpeningEntry, use: str, opening: Opening, lip_radius: float) -> Port:
    """The port of an entry; a mirrored pair has two outlines. Lips are like the network's own."""
    port = inlet_port(entry, lip_radius) if use == "inlet" else exit_port(entry)[0]
    return replace(port, area=port.area * (1.0 if opening.twin is None else 2.0))


def _entry_of(opening: Opening, use: str) -> OpeningEntry:
    """A candidate as a case would give it."""
    return OpeningEntry(
        name=opening.name,
        use=use,
        kind=opening.kind,
        shape=opening.shape,
        length=opening.length,
        width=opening.width,
        turn=0.0,
        centre=tuple(opening.centre),
        recovery=None,
    )
