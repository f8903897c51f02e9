"""Heat of cores in a network: both agree on flows, temperatures and the balance of heat."""

import numpy as np
import pytest

from panelcp.atmosphere import GAS_CONSTANT
from panelcp.cooling.conductance import ConductanceLaw
from panelcp.cooling.core_laws import drop_law_from_one_reading
from panelcp.cooling.elements import CoreLaw, ElementAir, LossCoefficient
from panelcp.cooling.heat import (
    CoreDuty,
    heat_to_air,
    highest_outside_temperature,
    margin,
    steady_core,
)
from panelcp.cooling.loads import AIR_SPECIFIC_HEAT, COOLANT_LIMIT
from panelcp.cooling.network import Network, Node, solve_network

LAW = drop_law_from_one_reading(8.0, 450.0, 1.19, 1.82e-5)
CHARGE = CoreDuty("charge core", 0.08, 1005.0, 150.0, hot_inlet=365.0)
RADIATOR = CoreDuty("radiator", 2.0, 3600.0, ConductanceLaw(1100.0, 1.2, 2.0), heat=50e3)


def core(name, start, end, area):
    return CoreLaw(name, start, end, LAW.linear, LAW.square, area, LAW.density, LAW.viscosity)


DUCT = Network(
    (Node("ahead", True), Node("inlet"), Node("between"), Node("bay"), Node("behind", True)),
    (
        LossCoefficient("entry", "ahead", "inlet", 0.2, 0.2, 0.05),
        core("charge core", "inlet", "between", 0.12),
        core("radiator", "between", "bay", 0.12),
        LossCoefficient("exit", "bay", "behind", 1.2, 1.2, 0.06),
    ),
)


def solved(drive, outside, pressure=101325.0):
    drive, outside = np.broadcast_arrays(np.atleast_1d(drive).astype(float), outside)
    pressures = np.stack([drive, np.zeros(len(drive))], axis=1)
    result = solve_network(
        DUCT,
        pressures,
        outside.astype(float),
        air_pressure=pressure,
        heat={"charge core": heat_to_air(CHARGE), "radiator": heat_to_air(RADIATOR)},
    )
    assert result.state.converged.all()
    return result


def test_the_law_of_a_core_is_that_of_its_element():
    air = ElementAir(300.0, 345.0, 300.0, 90000.0)
    flow = np.array([-1.0, 0.2, 1.3])
    density = 90000.0 / (GAS_CONSTANT * 322.5)
    viscosity = 1.458e-6 * 322.5**1.5 / (322.5 + 110.4)
    drop, slope = core("radiator", "between", "bay", 0.12).drop(flow, air)
    assert drop == pytest.approx(LAW.pressure_drop(flow / 0.12, density, viscosity), rel=1e-9)
    assert slope == pytest.approx(LAW.slope(flow / 0.12, density, viscosity) / 0.12, rel=1e-9)


@pytest.mark.parametrize("drive", [900.0, -900.0])
def test_cores_in_series_whichever_way_the_air_goes(drive):
    state = solved(drive, 311.0).state
    flow = state.mass_flow[0]
    assert flow == pytest.approx(flow[0], rel=1e-8)
    order = (1, 2) if drive > 0.0 else (2, 1)
    duties = {1: CHARGE, 2: RADIATOR}
    inlet = 311.0
    for element in order:
        own = steady_core(duties[element], abs(flow[0]), inlet)
        assert state.heat[0, element] == pytest.approx(own.heat, abs=0.01)
        assert state.inlet_temperature[0, element] == pytest.approx(inlet, abs=1e-3)
        inlet = float(own.air_outlet)
    last = state.outlet_temperature[0, order[1]]
    assert last == pytest.approx(inlet, abs=1e-3)
    total = abs(flow[0]) * AIR_SPECIFIC_HEAT * (last - 311.0)
    assert total == pytest.approx(state.heat[0].sum(), rel=1e-5)


def test_highest_outside_temperature_with_the_network_at_each():
    drive = np.array([500.0, 700.0, 900.0])

    def margin_at(outside):
        state = solved(drive, outside).state
        radiator = steady_core(RADIATOR, state.mass_flow[:, 2], state.inlet_temperature[:, 2])
        return margin(COOLANT_LIMIT, radiator.hot_inlet)

    hottest = highest_outside_temperature(margin_at, np.full(3, 230.0), np.full(3, 350.0))
    assert np.all(np.isfinite(hottest))
    assert np.all(np.diff(hottest) > 0.0)
    # the network's temperatures are good to some 1e-5 K
    assert margin_at(hottest) == pytest.approx(0.0, abs=1e-3)
    # degree for degree is a good guess, a little too high: hotter air is thinner
    outside = hottest - 15.0
    guess = outside + margin_at(outside)
    assert np.all((guess > hottest) & (guess < hottest + 3.0))
