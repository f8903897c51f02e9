"""Small invented installations for tests of the cooling network."""

import numpy as np

from panelcp.cooling.building import OutsideAir
from panelcp.cooling.conductance import ConductanceLaw
from panelcp.cooling.core_laws import DropLaw
from panelcp.cooling.installation import BAY, Core, Duct, Installation, Loss, Port
from panelcp.quantity import UncertainValue

VISCOSITY = 1.8e-5


def exact(value, kind="number"):
    return UncertainValue(value, mark="yours", kind=kind)


def port(name, use, area=0.03, discharge=1.0, height=0.0, **more):
    kind = "forward-facing" if use == "inlet" else "plain exit"
    found = discharge if isinstance(discharge, UncertainValue) else exact(discharge)
    return Port(name, use, kind, area, height, np.sqrt(area), found, **more)


def core(name="radiator", start=None, end=BAY, face_area=0.08, square=None, conditions=1, **more):
    """A core whose drop is 4 heads of its face velocity in air of 1.10 kg/m3, unless given."""
    square = 4.0 * 0.5 * 1.10 if square is None else square
    given = {
        "role": "coolant",
        "drop": DropLaw(0.0, square, 1.10, VISCOSITY, 1.0, 20.0),
        "drop_scatter": exact(1.0),
        "conductance": ConductanceLaw(900.0, 1.0, 1.5, 0.8, 0.5, 0.8),
        "conductance_scatter": exact(1.0),
        "other_flow": np.full(conditions, 1.5),
        "other_specific_heat": 3600.0,
        "heat_scatter": exact(1.0),
        "heat": np.zeros(conditions),
        "limit": UncertainValue(388.15, mark="yours", kind="temperature"),
    }
    given |= more
    if given.get("hot_inlet") is not None:
        given["heat"] = None
    return Core(name, start=start or name, end=end, face_area=face_area, **given)


def duct(name, start, end, *losses):
    """Losses given as (K, area)."""
    parts = tuple(Loss(f"loss {n}", exact(k), area) for n, (k, area) in enumerate(losses))
    return Duct(name, start, end, parts)


def simple(conditions=1, **more):
    """One inlet, one duct, one core, one exit."""
    parts = {
        "ports": (port("inlet", "inlet"), port("exit", "exit", 0.035)),
        "ducts": (duct("duct", "inlet", "radiator", (0.15, 0.030), (0.12, 0.030)),),
        "cores": (core(conditions=conditions),),
    }
    return Installation(**(parts | more))


def outside(pressures, airspeed=50.0, temperature=None, density=1.10, stream=None, decides=None):
    """Air outside; pressures (n_conditions, n_ports) Pa.

    Still air of 288.15 K, at the pressure that gives the density.
    """
    pressures = np.atleast_2d(np.asarray(pressures, dtype=float))
    n = len(pressures)
    temperature = np.full(n, 288.15 if temperature is None else temperature)
    return OutsideAir(
        conditions=tuple(f"condition {k + 1}" for k in range(n)),
        decides=np.ones(n, bool) if decides is None else np.asarray(decides, bool),
        airspeed=np.full(n, airspeed),
        temperature=temperature,
        pressure=np.full(n, density * 287.05287 * 288.15),
        port_pressure=pressures,
        port_stream=np.full(pressures.shape, airspeed if stream is None else stream),
        port_head=pressures,
        incidence=np.zeros(n),
        moving=np.ones(n, bool),
        predicted=np.ones(n, bool),
    )
