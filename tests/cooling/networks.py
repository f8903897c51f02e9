"""Networks that several tests solve."""

import numpy as np

from panelcp.atmosphere import GAS_CONSTANT
from panelcp.cooling.elements import Buoyancy, CoreLaw, LossCoefficient, Orifice, Table
from panelcp.cooling.network import HEAT_CAPACITY, Network, Node

WARM = 300.0


PRESSURES = np.array([[600.0, -80.0, -40.0], [60.0, 10.0, 80.0], [-30.0, 40.0, 0.0], [0.0, 0, 0]])


def pressure_for(density, temperature=WARM):
    """Absolute pressure that gives a density."""
    return density * GAS_CONSTANT * temperature


def nodes(outside, inner):
    return [Node(name, True) for name in outside.split()] + [Node(name) for name in inner.split()]


def path(*elements):
    """Elements one behind the other, from 'in' to 'out': (kind, *numbers) each."""
    names = ["in", *(f"n{k}" for k in range(1, len(elements))), "out"]
    made = [
        kind(f"e{k}", start, end, *numbers)
        for k, ((kind, *numbers), start, end) in enumerate(
            zip(elements, names, names[1:], strict=False)
        )
    ]
    return Network(nodes("in out", " ".join(names[1:-1])), made)


def chimney(height=0.6, area=0.05, discharge=0.65):
    """Lower opening, column of air, upper opening."""
    return Network(
        nodes("low high", "bottom top"),
        [
            Orifice("lower", "low", "bottom", discharge, area),
            Buoyancy("bay", "bottom", "top", height),
            Orifice("upper", "top", "high", discharge, area),
        ],
    )


def bay_network(exit_area=0.04, leak=0.003):
    """Inlet, two cores side by side with a cross leak, exit and vent (invented)."""
    return Network(
        nodes("ram exit vent", "plenum duct behind bay"),
        [
            LossCoefficient("inlet", "ram", "plenum", 0.2, 0.6, 0.04),
            LossCoefficient("diffuser", "plenum", "duct", 0.15, 0.9, 0.05),
            CoreLaw("radiator", "duct", "behind", 25.0, 3.5, 0.12, 1.2, 1.8e-5),
            LossCoefficient("duct", "behind", "bay", 0.5, 0.5, 0.05),
            Table("oil cooler", "plenum", "bay", [0.05, 0.15], [150.0, 900.0], 1.2),
            Orifice("leak", "plenum", "behind", 0.6, leak),
            Orifice("exit", "bay", "exit", 0.95, exit_area),
            Orifice("vent", "bay", "vent", 0.62, 0.01),
        ],
    )


def sampled(worlds=1203):
    """The network of a bay in many worlds, blocks of them and a rest, and its pressures."""
    draw = np.random.default_rng(5)
    network = bay_network(0.04 * np.exp(0.2 * draw.standard_normal(worlds)))
    heads = np.linspace(20.0, 900.0, 3)[np.arange(worlds) % 3]
    return network, heads[:, None] * [1.0, -0.1, 0.05] + 10.0 * draw.standard_normal((worlds, 3))


class Cooler:
    """Heat of every world towards 360 K, with and without leave to ask for some worlds."""

    def __init__(self, conductance):
        self.conductance = conductance

    def __call__(self, flow, inlet):
        capacity = HEAT_CAPACITY * flow
        return capacity * -np.expm1(-self.conductance / capacity) * (360.0 - inlet)


class CoolerInParts(Cooler):
    def at(self, index):
        return type(self)(self.conductance[index])
