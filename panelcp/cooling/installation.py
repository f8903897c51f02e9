"""What a cooling-air installation is made of, before anything is solved.

Air comes in from outside through inlets, passes ducts, cores and fans from place to place, and
leaves through exits. Places are nodes of the network: every opening has one just inside, every core
one ahead of it that bears its name, `BAY` is the room that all exits share which nothing else leads
to, and every other name is a plenum of its own. `OUTSIDE` is still air at outside pressure.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from panelcp.cooling.conductance import ConductanceLaw
from panelcp.cooling.core_laws import DropLaw
from panelcp.cooling.thermostat import Thermostat
from panelcp.quantity import UncertainValue
from panelcp.surface.mesh import frozen_array

ROLES = ("coolant", "oil", "charge air")
"""What a core cools."""
BAY, OUTSIDE = "bay", "outside"


@dataclass(frozen=True)
class Port:
    """An opening of the skin as an end of the network.

    Attributes
    ----------
    name : of the opening
    use : "inlet" or "exit"
    kind : one of `panelcp.surface.opening.KINDS`
    area : m2, of the opening in the skin
    height : m, waterline of its centre
    least_width : m, the smaller of its length and width: lip radii are taken relative to it
    discharge : of an exit, of an inlet that blows out, and of a hole or louvre that takes air in:
        discharge coefficient on its area
    cross_flow : the discharge coefficient is that in still air, and falls in a stream across
    lip_radius : m, inner radius of an inlet's lip; 0 is a sharp lip
    flap_suction : Cp, pressure that a flap adds behind an exit, or None
    blockage : K on the head in the exit, of pipes or a bend in it, or None
    """

    name: str
    use: str
    kind: str
    area: float
    height: float
    least_width: float
    discharge: UncertainValue
    cross_flow: bool = False
    lip_radius: float = 0.0
    flap_suction: UncertainValue | None = None
    blockage: UncertainValue | None = None


@dataclass(frozen=True)
class Loss:
    """A part of a duct that loses K times the velocity head in an area.

    Attributes
    ----------
    what : words, such as "bend 45 deg"
    coefficient : K of flow from start to end
    area : m2
    backward : K of flow the other way, on the same area; None: as forward
    warning : a line for the user, such as that of a diffuser that may stall; or nothing
    """

    what: str
    coefficient: UncertainValue
    area: float
    backward: UncertainValue | None = None
    warning: str = ""


@dataclass(frozen=True)
class Friction:
    """A straight part of a duct: friction along its walls.

    Attributes
    ----------
    what : words
    length, diameter, area : m, m (hydraulic), m2
    roughness : m, height
    aspect : narrow over wide side of a rectangular section, or None
    """

    what: str
    length: float
    diameter: float
    area: float
    roughness: float = 0.0
    aspect: float | None = None


@dataclass(frozen=True)
class Duct:
    """A way for air from one place to another, its parts in the order of the flow."""

    name: str
    start: str
    end: str
    parts: tuple[Loss | Friction, ...]


@dataclass(frozen=True, eq=False)
class Core:
    """A core and what it must cool.

    Attributes
    ----------
    name : of the core, and of the place ahead of it where `start` is that name
    role : one of ROLES
    start, end : places ahead of it and behind it
    face_area : m2
    drop : DropLaw, air side
    drop_scatter : how far a core lies from its law: a factor round 1
    conductance : ConductanceLaw; its `conductance` is a float
    conductance_scatter : a factor round 1
    other_flow : (n_conditions,) kg/s of coolant, oil or charge air
    other_specific_heat : J/(kg K)
    heat : (n_conditions,) W, to be carried off; None for charge air of a given temperature
    heat_scatter : a factor round 1, one for all conditions and alike for cores of one role
    hot_inlet : (n_conditions,) K, of charge air ahead of its cooler; None where heat is given
    limit : K, highest allowed: of coolant and oil where they leave the engine, of charge air
        behind its cooler; or None
    least : K, coolant or oil must not be colder for full power; or None
    thermostat : of the coolant, or None
    boiling : (n_conditions,) K, of the coolant under its cap; None where not known
    arrangement : see `exchangers.ARRANGEMENTS`
    """

    name: str
    role: str
    start: str
    end: str
    face_area: float
    drop: DropLaw
    drop_scatter: UncertainValue
    conductance: ConductanceLaw
    conductance_scatter: UncertainValue
    other_flow: np.ndarray
    other_specific_heat: float
    heat_scatter: UncertainValue
    heat: np.ndarray | None = None
    hot_inlet: np.ndarray | None = None
    limit: UncertainValue | None = None
    least: float | None = None
    thermostat: Thermostat | None = None
    boiling: np.ndarray | None = None
    arrangement: str = "cross-flow"

    def __post_init__(self):
        for name in ("other_flow", "heat", "hot_inlet", "boiling"):
            if getattr(self, name) is not None:
                object.__setattr__(self, name, frozen_array(getattr(self, name)))


@dataclass(frozen=True, eq=False)
class FanUnit:
    """A fan, or several side by side as one, from one place to another.

    Attributes
    ----------
    name, start, end : of the fan and its places
    volume_flow, pressure_rise : (n_points,) m3/s and Pa, the measured curve
    density : kg/m3, of that curve
    speed : (n_conditions,) of that of the curve; 0 off
    off_loss : K of the fan that is off, on the head in `area`
    area : m2, between hub and ring
    electrical_power : W at the speed and density of the curve, or None
    doors : m2, flaps beside the fan that open for air that is pushed through, or None
    """

    name: str
    start: str
    end: str
    volume_flow: np.ndarray
    pressure_rise: np.ndarray
    density: float
    speed: np.ndarray
    off_loss: UncertainValue
    area: float
    electrical_power: float | None = None
    doors: float | None = None

    def __post_init__(self):
        for name in ("volume_flow", "pressure_rise", "speed"):
            object.__setattr__(self, name, frozen_array(getattr(self, name)))


@dataclass(frozen=True)
class Leak:
    """An unwanted opening between two places.

    Attributes
    ----------
    area : m2, equivalent leak area: that of an opening with `discharge`
    """

    name: str
    start: str
    end: str
    area: UncertainValue
    discharge: UncertainValue


@dataclass(frozen=True, eq=False)
class Installation:
    """All parts of an installation.

    Attributes
    ----------
    ports, ducts, cores, fans, leaks : in the order of the case
    bay_height : m, waterline of the middle of the hot air in the bay; None: no buoyancy
    notes : what was taken for granted, in sentences
    marks : (place, UncertainValue) of every uncertain number
    """

    ports: tuple[Port, ...]
    ducts: tuple[Duct, ...] = ()
    cores: tuple[Core, ...] = ()
    fans: tuple[FanUnit, ...] = ()
    leaks: tuple[Leak, ...] = ()
    bay_height: float | None = None
    notes: tuple[str, ...] = ()
    marks: tuple[tuple[str, UncertainValue], ...] = ()

    @property
    def inlets(self) -> tuple[Port, ...]:
        """Ports that are meant to take air in."""
        return tuple(port for port in self.ports if port.use == "inlet")

    @property
    def exits(self) -> tuple[Port, ...]:
        """Ports that are meant to let air out."""
        return tuple(port for port in self.ports if port.use == "exit")

    def led_to(self) -> set[str]:
        """Names of all places that something leads to."""
        return {
            part.end for group in (self.ducts, self.cores, self.fans, self.leaks) for part in group
        }

    def place_of(self, port: Port) -> str:
        """Node inside a port: its own where something else joins it, else the bay for an exit."""
        if port.use == "inlet" or port.name in self.led_to():
            return port.name
        return BAY
