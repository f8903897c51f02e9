"""The cooling network: closed forms, conservation, symmetry, several states, refusals.

Numbers of worked examples without another source are exact solutions of the equations named beside
them, reckoned by hand or with a separate root finder.
"""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from panelcp.atmosphere import GAS_CONSTANT
from panelcp.cooling.elements import CoreLaw, Fan, LossCoefficient, Orifice, Resistance
from panelcp.cooling.network import HEAT_CAPACITY, STARTS, Network, solve_network
from tests.cooling.networks import PRESSURES, WARM, bay_network, chimney, nodes, path, pressure_for


def imbalances(result):
    """Greatest imbalance of mass (share), loops (Pa) and energy (share)."""
    network, state = result.network, result.state
    sums = np.zeros((2, *state.node_pressure.shape))
    for e, pair in enumerate(network.ends):
        flow = state.mass_flow[:, e]
        for node, sign in zip(pair, (-1.0, 1.0), strict=True):
            leaves = sign * flow < 0.0
            warmth = np.where(
                leaves, state.node_temperature[:, node], state.outlet_temperature[:, e]
            )
            sums[0, :, node] += sign * flow
            sums[1, :, node] += sign * flow * warmth
    inner = [not node.boundary for node in network.nodes]
    largest = np.abs(state.mass_flow).max(axis=1, keepdims=True) + 1e-12
    start, end = network.ends.T
    falls = state.node_pressure[:, start] - state.node_pressure[:, end]
    return (
        np.abs(sums[0][:, inner] / largest).max(),
        np.abs(falls - state.drop).max(),
        np.abs(sums[1][:, inner] / largest / WARM).max(),
    )


def test_series_of_losses():
    """Sum of K / A^2 fixed: inlet, diffuser, core and exit in a stream of 50 m/s, 1.10 kg/m3;
    worked by hand."""
    losses = [(0.15, 0.030), (0.12, 0.030), (4.0, 0.080), (1.0, 0.035)]
    network = path(*((LossCoefficient, k, k, area) for k, area in losses))
    head = 0.5 * 1.10 * 50.0**2
    result = solve_network(network, [[head, -0.15 * head]], WARM, air_pressure=pressure_for(1.1))
    volume = result.state.mass_flow[0] / 1.10
    np.testing.assert_allclose(volume, 1.284928, rtol=4e-7)
    assert volume[0] / 0.030 / 50.0 == pytest.approx(0.856619, abs=1e-6)
    assert result.pressure("n1")[0] == pytest.approx(head - 0.15 * 0.55 * (volume[0] / 0.03) ** 2)


def test_parallel_branches():
    """Between the same pressures K / A^2 combine as (sum A_i / sqrt(K_i))^-2, C A simply add."""
    losses = [(0.5, 0.01), (2.0, 0.03), (7.0, 0.02)]
    elements = [
        LossCoefficient(f"e{k}", "in", "out", *(loss, loss, area))
        for k, (loss, area) in enumerate(losses)
    ]
    elements.append(Orifice("leak", "out", "in", 0.6, 0.004))
    result = solve_network(
        Network(nodes("in out", ""), elements), [[300.0, 20.0]], WARM,
        air_pressure=pressure_for(1.1),
    )  # fmt: skip
    strength = sum(area / np.sqrt(loss) for loss, area in losses) + 0.6 * 0.004
    total = result.state.mass_flow[0] @ [1.0, 1.0, 1.0, -1.0]
    assert total == pytest.approx(strength * np.sqrt(2.0 * 1.1 * 280.0), rel=1e-9)
    assert result.reversed[0].tolist() == [False, False, False, True]


def test_core_and_orifice_against_the_quadratic_formula():
    network = path((CoreLaw, 30.0, 4.0, 0.1, 1.2, 1.846e-5), (Orifice, 0.6, 0.05))
    result = solve_network(network, [[500.0, 0.0]], WARM, air_pressure=pressure_for(1.2))
    mu = 1.458e-6 * WARM**1.5 / (WARM + 110.4)
    b = 4.0 / 0.1**2 + 0.6 / (0.6 * 0.05) ** 2
    a = 30.0 * mu / 1.846e-5 / 0.1
    volume = (-a + np.sqrt(a * a + 4.0 * b * 500.0)) / (2.0 * b)
    assert result.flow("e0")[0] == pytest.approx(1.2 * volume, rel=1e-9)


def fan(speed, **more):
    flow = np.linspace(0.0, 0.3535, 400)
    rise = 250.0 - 2000.0 * flow**2
    return (Fan, flow, rise, 1.2, 100.0, speed, 5.0, 0.05), more


def test_fan_against_a_loss():
    """250 - 2000 Q^2 against 4000 Q^2; at 0.8 speed pressure x 0.64, power x 0.512 (fan laws)."""
    area = np.sqrt(0.6 / 4000.0)
    network = path(fan(np.array([100.0, 80.0, 100.0]))[0], (LossCoefficient, 1.0, 1.0, area))
    density = np.array([1.2, 1.2, 0.6])
    result = solve_network(network, np.zeros((3, 2)), WARM, air_pressure=pressure_for(density))
    volume = result.flow("e0") / density
    rise = -result.state.drop[:, 0]
    np.testing.assert_allclose(volume, [0.204124, 0.163299, 0.204124], rtol=5e-6)
    np.testing.assert_allclose(rise, [166.6667, 0.64 * 166.6667, 83.33333], rtol=1e-5)
    assert (volume * rise)[1] / (volume * rise)[0] == pytest.approx(0.512, rel=1e-9)
    assert not result.state.near_dip.any()


def test_draught_of_a_bay_with_given_heat():
    """1500 W, two openings of 0.05 m2, 0.6 m apart, 308.15 K: heat and mass balance by hand."""
    result = solve_network(chimney(), [[0.0, 0.0]], 308.15, heat={"bay": 1500.0})
    rise = result.temperature("top")[0] - 308.15
    assert rise == pytest.approx(47.061912, abs=2e-4)
    assert result.flow("bay")[0] == pytest.approx(0.031683, abs=1e-6)
    assert result.state.heat[0, 1] == pytest.approx(1500.0)
    assert result.n_states[0] == 1


def test_draught_of_a_bay_of_given_temperature():
    """The same openings at 353.15 K inside: 0.858851 Pa, 0.031120 kg/s, neutral level 0.465976 H;
    dp = g H (rho_o - rho_i), m = C A sqrt(2 rho dp) at both, by hand."""

    def to_temperature(flow, inlet):
        return HEAT_CAPACITY * flow * (353.15 - inlet)

    result = solve_network(chimney(), [[0.0, 0.0]], 308.15, heat={"bay": to_temperature})
    assert -result.state.drop[0, 1] == pytest.approx(0.858851, abs=2e-6)
    assert result.flow("bay")[0] == pytest.approx(0.031120, abs=1e-6)
    assert -result.pressure("bottom")[0] / 0.858851 == pytest.approx(0.465976, abs=2e-6)


@pytest.mark.parametrize(
    ("height", "temperature", "pascal", "grams", "watts"),
    [(0.3, 60, 0.22, 3.0, 66), (0.3, 120, 0.70, 4.9, 404), (0.5, 80, 0.66, 5.0, 213),
     (0.5, 100, 0.92, 5.8, 361)],
)  # fmt: skip
def test_draught_after_shutdown(height, temperature, pascal, grams, watts):
    """Two sharp openings of 100 cm2, C 0.62, 38 degC outside. The numbers, reckoned by hand, take
    the density inside at both openings, m = C A sqrt(rho_i dp); with that outside at the lower one
    m^2 is greater by 2 / (1 + rho_i / rho_o)."""
    hot = temperature + 273.15

    def to_temperature(flow, inlet):
        return HEAT_CAPACITY * flow * (hot - inlet)

    network = chimney(height, 0.01, 0.62)
    result = solve_network(network, [[0.0, 0.0]], 311.15, heat={"bay": to_temperature})
    less = np.sqrt((1.0 + 311.15 / hot) / 2.0)
    assert -result.state.drop[0, 1] == pytest.approx(pascal, abs=0.006)
    assert result.flow("bay")[0] * less * 1e3 == pytest.approx(grams, abs=0.05)
    assert result.state.heat[0, 1] * less == pytest.approx(watts, abs=1.0)


def test_wind_against_draught_has_two_states():
    """A light wind onto the upper opening: up with the draught, or down with the wind, the hot air
    pushed out below. The heat is in the lower opening, so that the column is hot one way only."""
    result = solve_network(chimney(), [[0.0, 0.0], [0.0, 0.3], [0.0, 40.0]], 308.15,
                           heat={"lower": 1500.0})  # fmt: skip
    assert result.n_states.tolist()[1:] == [2, 1]
    up, down = (
        next(s for s, new in zip(result.states, result.distinct[:, 1], strict=True)
             if new and sign * s.mass_flow[1, 0] > 0.0)
        for sign in (1.0, -1.0)
    )  # fmt: skip
    # down: heated only when it leaves, the column is cold, the wind alone drives it
    assert down.inlet_temperature[1, 1] == pytest.approx(308.15)
    cold, hot = 101325.0 / (GAS_CONSTANT * 308.15), 0.65 * 0.05
    assert down.mass_flow[1, 0] == pytest.approx(-hot * np.sqrt(2.0 * cold * 0.15), rel=1e-3)
    assert up.outlet_temperature[1, 0] > 350.0
    assert {up.start, down.start} <= set(STARTS)


def test_fan_in_its_dip_has_several_states():
    """A loss that the curve cuts three times; the state between is unstable and not reported."""
    flow, rise = [0.0, 0.1, 0.2, 0.3, 0.4], [200.0, 100.0, 160.0, 120.0, 0.0]
    # 120 Pa of back pressure: the curve is above it at rest, below at 0.1, above at 0.2
    parts = (flow, rise, 1.2, 100.0, 100.0, 5.0, 0.05)
    network = path((Fan, *parts, True), (Resistance, 1.0, 100.0, 1.2))
    result = solve_network(network, [[0.0, 120.0]], WARM, air_pressure=pressure_for(1.2))
    assert result.n_states[0] == 2
    volume = np.sort([s.mass_flow[0, 0] / 1.2 for s in result.states])
    assert 0.02 < volume[0] < 0.1
    assert 0.2 < volume[-1] < 0.3
    falling = path((Fan, *parts), (Resistance, 1.0, 100.0, 1.2))
    alone = solve_network(falling, [[0.0, 120.0]], WARM, air_pressure=pressure_for(1.2))
    assert falling.unique
    assert len(alone.states) == 1
    assert alone.flow("e0")[0] / 1.2 == pytest.approx(volume[-1], rel=0.02)


def test_fan_that_stalls_and_fan_that_holds_back_are_flagged():
    flow, rise = [0.0, 0.1, 0.2, 0.3, 0.4], [200.0, 100.0, 160.0, 120.0, 0.0]
    network = path((Fan, flow, rise, 1.2, 100.0, 100.0, 5.0, 0.05), (Orifice, 0.6, 0.05))
    result = solve_network(network, [[0.0, 155.0], [0.0, 0.0], [900.0, 0.0]], WARM)
    assert result.state.near_dip[:, 0].tolist() == [True, False, False]
    assert result.state.holds_back[:, 0].tolist() == [False, False, True]


def test_mass_pressure_and_energy_are_conserved():
    result = solve_network(
        bay_network(), PRESSURES, WARM, heat={"radiator": 20e3, "oil cooler": 5e3}
    )
    mass, loops, energy = imbalances(result)
    assert result.converged.all()
    assert mass <= 1e-12
    assert loops <= 1e-7
    assert energy <= 1e-8


@settings(max_examples=25, derandomize=True, deadline=None)
@given(
    st.lists(st.floats(-800.0, 800.0), min_size=3, max_size=3),
    st.floats(0.01, 0.08),
    st.floats(1.05, 3.0),
)
def test_laws_of_networks_of_losses(pressures, area, wider):
    """Turned pressures turn all flows where no loss knows a direction; thicker air, more flow by
    its square root; one exit wider never lowers what goes through it."""
    first = bay_network(area)
    result = solve_network(first, [pressures], WARM)
    assert result.converged.all()
    assert imbalances(result)[0] <= 1e-9
    turned = Network(
        first.nodes,
        [
            LossCoefficient(e.name, e.start, e.end, e.forward, e.forward, e.area)
            if isinstance(e, LossCoefficient)
            else e
            for e in first.elements
        ],
    )
    both = solve_network(turned, [pressures, [-p for p in pressures]], WARM).state.mass_flow
    np.testing.assert_allclose(both[0], -both[1], atol=1e-9 * np.abs(both).max() + 1e-12)
    wide = solve_network(bay_network(area * wider), [pressures], WARM)
    assert abs(wide.flow("exit")[0]) >= abs(result.flow("exit")[0]) - 1e-9


def test_total_flow_rises_with_any_exit_and_falls_with_none():
    areas = np.linspace(0.005, 0.1, 12)
    result = solve_network(bay_network(areas), np.repeat([[600.0, -80.0, -80.0]], 12, axis=0), WARM)
    assert np.all(np.diff(result.flow("inlet")) > 0.0)


def test_flow_of_quadratic_losses_goes_with_the_root_of_the_density():
    losses = [(LossCoefficient, 0.3, 0.5, 0.02), (Orifice, 0.6, 0.03)]
    air = pressure_for(np.array([1.2, 0.3]))
    result = solve_network(path(*losses), [[400.0, 0.0]] * 2, WARM, air_pressure=air)
    flow = result.flow("e0")
    assert flow[0] / flow[1] == pytest.approx(2.0, rel=1e-9)
