"""Installations and results that the pictures of the network are tested with."""

import xml.etree.ElementTree as ElementTree
from dataclasses import replace

import numpy as np

from panelcp.cooling.installation import BAY, OUTSIDE, Duct, Installation, Leak
from panelcp.cooling.results import Way
from panelcp.report.network_layout import network_boxes
from tests.report.test_cooling_tables import HOSTILE, bare, guess, installation, tug


def made(ports=(), ducts=(), cores=(), fans=(), leaks=()):
    """Installation of names and ends only."""
    base = installation()
    port, core, fan = base.ports[0], base.cores[0], base.fans[0]
    return Installation(
        tuple(replace(port, name=name, use=use) for name, use in ports),
        tuple(Duct(name, start, end, ()) for name, start, end in ducts),
        tuple(replace(core, name=name, start=start, end=end) for name, start, end in cores),
        tuple(
            replace(fan, name=name, start=start, end=end, doors=doors)
            for name, start, end, doors in fans
        ),
        tuple(Leak(name, start, end, guess(1e-3), guess(0.6)) for name, start, end in leaks),
    )


def large():
    """Thirty elements: cores in a row, side by side and to the open, a ring, an exit of its own."""
    return made(
        ports=[
            *((name, "inlet") for name in ("chin", "left cheek", "right cheek", "scoop")),
            *((name, "exit") for name in ("bottom", "top", "left louvres", "own exit")),
        ],
        ducts=[
            ("chin duct", "chin", "plenum"),
            ("left duct", "left cheek", "plenum"),
            ("right duct", "right cheek", "oil cooler"),
            ("cross feed", "plenum", "oil cooler"),
            ("scoop duct", "scoop", "charge-air cooler"),
            ("alternator blast", "plenum", BAY),
            ("magneto blast", "left cheek", BAY),
            ("oil exit duct", "behind oil", "own exit"),
            ("recirculation", BAY, "plenum"),
            ("down duct", "behind radiator", BAY),
        ],
        cores=[
            ("radiator", "radiator", "middle"),
            ("second radiator", "middle", "behind radiator"),
            ("oil cooler", "oil cooler", "behind oil"),
            ("charge-air cooler", "charge-air cooler", BAY),
            ("heater", "plenum", "cabin box"),
        ],
        fans=[
            ("fan 1", "plenum", "radiator", 0.03),
            ("fan 2", "plenum", "radiator", None),
            ("blower", OUTSIDE, BAY, None),
        ],
        leaks=[
            ("seal", "plenum", BAY),
            ("joint", BAY, OUTSIDE),
            ("cabin leak", "cabin box", OUTSIDE),
        ],
    )


def rings():
    """Air that goes round between two plenums, none of which an inlet feeds."""
    return made(
        ports=[("vent", "exit")],
        ducts=[("there", "a", "b"), ("back", "b", "a"), ("out", "b", BAY), ("round", "a", "a")],
    )


def chance(seed):
    """An installation drawn by lot."""
    draw = np.random.default_rng(seed)
    inlets, plenums = draw.integers(1, 4), draw.integers(1, 5)
    places = [f"inlet {i}" for i in range(inlets)] + [f"plenum {i}" for i in range(plenums)]
    places.append(BAY)

    def ends():
        return [places[i] for i in draw.choice(len(places), 2, replace=False)]

    return made(
        ports=[(f"inlet {i}", "inlet") for i in range(inlets)]
        + [(f"exit {i}", "exit") for i in range(draw.integers(1, 4))],
        ducts=[(f"duct {i}", *ends()) for i in range(draw.integers(0, 8))],
        cores=[(f"core {i}", *ends()) for i in range(draw.integers(0, 6))],
        fans=[(f"fan {i}", *ends(), None) for i in range(draw.integers(0, 3))],
        leaks=[(f"leak {i}", *ends()) for i in range(draw.integers(0, 5))],
    )


def result_of(parts, flow=0.1):
    """A result whose numbers are alike everywhere."""
    base = tug()
    names = [box.name for box in network_boxes(parts) if box.kind == "place"]
    core, port = base.cores[0], base.ports[0]
    ways = [Way(part.name, "duct", np.full(6, flow), np.full(6, 9.0)) for part in parts.ducts]
    ways += [Way(part.name, "leak", np.full(6, flow), np.full(6, 9.0)) for part in parts.leaks]
    ways += [
        Way(f"{fan.name}, doors", "doors", np.full(6, flow), np.full(6, 9.0))
        for fan in parts.fans
        if fan.doors
    ]
    return replace(
        base,
        installation=parts,
        ports=tuple(replace(port, name=part.name, use=part.use) for part in parts.ports),
        cores=tuple(replace(core, name=part.name) for part in parts.cores),
        fans=tuple(replace(base.fans[0], name=part.name) for part in parts.fans),
        ways=tuple(ways),
        budget=(),
        other_states=(),
        node_pressure={name: np.full(6, 50.0) for name in names},
        node_temperature={name: np.full(6, 300.0) for name in names},
    )


TOPOLOGIES = {
    "tug": installation(),
    "hostile": installation(HOSTILE),
    "large": large(),
    "rings": rings(),
    "two vents": bare().installation,
    "inlet to exit": made([("in", "inlet"), ("out", "exit")], [("duct", "in", "out")]),
    **{f"lot {seed}": chance(seed) for seed in range(101, 121)},
}


def svg(picture):
    """Root of a picture, read as strict XML."""
    return ElementTree.fromstring(picture).find("svg")
