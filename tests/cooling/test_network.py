"""The cooling network: closed forms, conservation, symmetry, several states, refusals.

Numbers of worked examples without another source are exact solutions of the equations named beside
them, reckoned by hand or with a separate root finder.
"""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from panelcp.atmosphere import GAS_CONSTANT
from panelcp.cooling.elements import (
    Buoyancy,
    CoreLaw,
    Fan,
    LossCoefficient,
    Orifice,
    Resistance,
    Table,
)
from panelcp.cooling.network import (
    EASED,
    EXCHANGE_FLOW,
    GIVEN,
    HEAT_CAPACITY,
    STARTS,
    Network,
    Node,
    _both_ways,
    _dominant_solution,
    _symmetric_solution,
    _WholeHeat,
    solve_network,
)
from panelcp.errors import NetworkError

WARM = 300.0


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


PRESSURES = np.array([[600.0, -80.0, -40.0], [60.0, 10.0, 80.0], [-30.0, 40.0, 0.0], [0.0, 0, 0]])


def test_mass_pressure_and_energy_are_conserved():
    result = solve_network(
        bay_network(), PRESSURES, WARM, heat={"radiator": 20e3, "oil cooler": 5e3}
    )
    mass, loops, energy = imbalances(result)
    assert result.converged.all()
    assert mass <= 1e-12
    assert loops <= 1e-7
    assert energy <= 1e-8


def test_heat_goes_out_with_the_air():
    result = solve_network(bay_network(), PRESSURES[:1], WARM, heat={"radiator": 20e3})
    out = HEAT_CAPACITY * (result.flow("exit") + result.flow("vent"))
    assert out * (result.temperature("bay") - WARM) == pytest.approx(20e3, rel=1e-6)
    # hot air is thinner: less of it than without heat
    cold = solve_network(bay_network(), PRESSURES[:1], WARM)
    assert result.flow("inlet") < cold.flow("inlet")
    assert cold.temperature("bay") == pytest.approx(WARM, rel=1e-12)


def test_air_gets_no_hotter_than_allowed():
    result = solve_network(bay_network(), np.zeros((1, 3)), WARM, heat={"radiator": 20e3})
    assert result.converged.all()
    assert result.state.outlet_temperature.max() <= 600.0
    assert result.state.heat.sum() < 1.0


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


def test_worlds_do_not_know_each_other():
    network = bay_network()
    together = solve_network(network, PRESSURES, WARM, heat={"radiator": 20e3}).state.mass_flow
    for pressures, flow in zip(PRESSURES, together, strict=True):
        alone = solve_network(network, [pressures], WARM, heat={"radiator": 20e3}).state
        np.testing.assert_allclose(alone.mass_flow[0], flow, rtol=1e-8, atol=1e-12)


@pytest.mark.parametrize("start", STARTS)
def test_every_start_leads_to_the_one_state_of_losses(start):
    result = solve_network(bay_network(), PRESSURES, WARM, starts=(start,))
    usual = solve_network(bay_network(), PRESSURES, WARM)
    assert result.converged.all()
    assert result.state.iterations.max() <= 30
    np.testing.assert_allclose(result.state.mass_flow, usual.state.mass_flow, rtol=1e-7, atol=1e-7)


def test_dead_end_is_said_and_has_no_flow():
    network = Network(
        nodes("in out", "mid box"),
        [
            Orifice("a", "in", "mid", 0.6, 0.01),
            Orifice("b", "mid", "out", 0.6, 0.01),
            Orifice("closed", "mid", "box", 0.6, 0.01),
        ],
    )
    assert network.dead_ends == ("closed",)
    assert "dead ends): closed" in network.notes[0]
    result = solve_network(network, [[100.0, 0.0]], WARM)
    assert result.flow("closed")[0] == 0.0
    assert result.pressure("box")[0] == pytest.approx(result.pressure("mid")[0]) == 50.0


def test_nothing_but_dead_ends():
    network = Network(nodes("in", "box"), [Orifice("a", "in", "box", 0.6, 0.01)])
    result = solve_network(network, [[100.0]], WARM)
    assert result.pressure("box")[0] == 100.0
    assert result.converged.all()


def test_all_mistakes_are_listed():
    with pytest.raises(NetworkError) as told:
        Network(
            [
                Node("in", True),
                Node("in", True),
                Node("a"),
                Node("b"),
                Node("c"),
                Node("out", True),
            ],
            [
                Orifice("x", "in", "a", 0.6, 0.0),
                Orifice("x", "a", "nowhere", 0.6, 0.1),
                Orifice("y", "b", "c", 0.6, 0.1),
                Orifice("z", "a", "a", 0.6, 0.1),
                Buoyancy("h", "in", "out", 0.3),
            ],
        )
    text = str(told.value)
    for words in (
        "7 mistakes",
        "node 'in' is there 2 times",
        "element 'x' is there 2 times",
        "node 'nowhere' is unknown",
        "element 'x': area is 0",
        "starts and ends at the same node 'a'",
        "no way leads from a boundary to 'b', 'c'",
        "element 'h' closes a loop",
    ):
        assert words in text


@pytest.mark.parametrize(
    ("where", "elements", "words"),
    [
        (("", "a b"), [Orifice("o", "a", "b", 0.6, 0.1)], "no node has a given total pressure"),
        (("in", "a"), [], "there are no elements"),
        (
            ("in", "a b"),
            [Orifice("o", "in", "a", 0.6, 0.1), Buoyancy("h", "a", "b", 1.0),
             Buoyancy("g", "b", "a", 1.0)],
            "'g' closes a loop",
        ),
    ],
)  # fmt: skip
def test_networks_that_cannot_work(where, elements, words):
    with pytest.raises(NetworkError, match=words):
        Network(nodes(*where), elements)


@pytest.mark.parametrize(
    ("pressures", "more", "words"),
    [
        ([[1.0, 2.0]], {}, r"shape \(1, 2\); expected \(n_worlds, 3\)"),
        ([[1.0, 2.0, np.nan]], {}, "1 of 3 numbers are no good"),
        ([[1.0, 2.0, 3.0]], {"heat": {"core": 1.0}}, "no 'core' in the network"),
        ([[1.0, 2.0, 3.0]], {"heat": {"radiator": [1.0, 2.0]}}, "heat of radiator has shape"),
        ([[1.0, 2.0, 3.0]], {"starts": ("cold",)}, "unknown starts"),
        ([[1.0, 2.0, 3.0]], {"air_pressure": 0.0}, "above 0"),
    ],
)
def test_what_does_not_fit_is_said(pressures, more, words):
    with pytest.raises(NetworkError, match=words):
        solve_network(bay_network(), pressures, WARM, **more)


def test_numbers_for_another_count_of_worlds_are_refused():
    with pytest.raises(NetworkError, match="'exit' has numbers for 3 worlds"):
        solve_network(bay_network(np.array([0.1, 0.2, 0.3])), PRESSURES, WARM)


# ---- sampled worlds, heat by functions, states that hardly are ones ---------------------------


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


def test_blocks_of_worlds_are_solved_as_each_of_them_alone():
    network, pressures = sampled()
    cooler = np.linspace(50.0, 500.0, len(pressures))
    heat = {"radiator": CoolerInParts(cooler), "oil cooler": 0.02 * cooler**2}
    whole = {"radiator": Cooler(cooler), "oil cooler": 0.02 * cooler**2}
    blocks = solve_network(network, pressures, WARM, heat=heat)
    together = solve_network(network, pressures, WARM, heat=whole)
    assert blocks.converged.all()
    assert together.converged.all()
    np.testing.assert_allclose(
        blocks.state.mass_flow, together.state.mass_flow, rtol=1e-7, atol=1e-10
    )
    for k in (0, 499, 500, 1202):
        network = bay_network(float(blocks.network.elements[6].area[k]))
        alone = solve_network(
            network, pressures[k : k + 1], WARM,
            heat={"radiator": Cooler(cooler[k]), "oil cooler": 0.02 * cooler[k] ** 2},
        )  # fmt: skip
        np.testing.assert_allclose(blocks.state.mass_flow[k], alone.state.mass_flow[0], rtol=1e-7)
        np.testing.assert_allclose(
            blocks.state.node_temperature[k], alone.state.node_temperature[0], atol=1e-4
        )


def test_near_a_given_state_the_same_is_found_in_fewer_steps():
    network, pressures = sampled(300)
    heat = {"radiator": 8e3}
    centre = solve_network(
        bay_network(), np.linspace(20.0, 900.0, 3)[:, None] * [1.0, -0.1, 0.05], WARM, heat=heat
    )
    near = solve_network(
        network, pressures, WARM, heat=heat, first=centre.state, first_worlds=np.arange(300) % 3
    )
    rest = solve_network(network, pressures, WARM, heat=heat)
    assert near.converged.all()
    assert near.states[0].start == GIVEN
    # temperatures are good to 1e-5 K
    np.testing.assert_allclose(near.state.mass_flow, rest.state.mass_flow, rtol=1e-6, atol=1e-8)
    assert near.state.iterations.mean() < 0.7 * rest.state.iterations.mean()
    again = solve_network(network, pressures, WARM, heat=heat, first=near.state)
    assert again.state.iterations.max() <= 1


def test_given_states_that_do_not_fit_are_refused():
    state = solve_network(bay_network(), PRESSURES, WARM).state
    with pytest.raises(NetworkError, match=r"first_worlds .* expected \(4,\) numbers below 4"):
        solve_network(bay_network(), PRESSURES, WARM, first=state, first_worlds=[0, 1, 2, 4])
    with pytest.raises(NetworkError, match="first has 8 elements; the network has 3"):
        solve_network(chimney(), [[0.0, 0.0]], WARM, first=state, first_worlds=[0])


def test_wind_that_holds_the_draught_still():
    """Heat in the upper opening and a light wind down into it: the wind would carry the heat into
    the column, whose draught would turn it round, away from the heat. What is left is next to no
    flow through a column just hot enough: g H (rho_o - rho_i) = 0.3 Pa."""
    heat, rest = {"upper": 1500.0}, ("at rest",)
    result = solve_network(chimney(), [[0.0, 0.3]], 308.15, heat=heat, starts=rest)
    assert result.converged.all()
    assert result.states[-1].start == EASED
    assert not any(state.converged[0] for state in result.states[:-1])
    assert abs(result.flow("bay")[0]) < EXCHANGE_FLOW
    assert -result.state.drop[0, 1] == pytest.approx(0.3, abs=2e-5)


def test_heat_by_a_function_is_asked_for_the_same_world_several_times():
    draw = np.random.default_rng(3)
    cooler = Cooler(draw.uniform(50.0, 500.0, 4))
    index = np.array([2, 0, 2, 2, 3])
    flow, inlet = draw.uniform(0.1, 1.0, 5), draw.uniform(290.0, 310.0, 5)
    asked = _WholeHeat(cooler, 4).at(np.arange(4)[::-1]).at(3 - index)
    expected = Cooler(cooler.conductance[index])(flow, inlet)
    np.testing.assert_allclose(asked(flow, inlet), expected, rtol=1e-14)


def test_air_goes_both_ways_only_where_it_hardly_goes():
    flow = np.array([-1e-3, -1e-5, -4e-6, 0.0, 4e-6, 1e-5, 1e-3])
    plus, minus = _both_ways(flow, np.abs(flow), 1e-5)
    np.testing.assert_allclose(plus - minus, flow, atol=1e-20)
    assert plus[:2].tolist() == [0.0, 0.0] == minus[-2:].tolist()
    assert plus[3] == minus[3] == pytest.approx(2.5e-6)


@pytest.mark.parametrize("worlds", [1, 7, 60])
def test_systems_of_many_worlds_are_solved(worlds):
    draw = np.random.default_rng(worlds)
    part = draw.standard_normal((5, 5, worlds))
    right = draw.standard_normal((5, worlds))
    even = np.einsum("ikw,jkw->ijw", part, part)
    heavy = part + 6.0 * np.eye(5)[:, :, None]
    for matrix, solution in ((even, _symmetric_solution), (heavy, _dominant_solution)):
        found = solution(matrix.copy(), right)
        np.testing.assert_allclose(np.einsum("ijw,jw->iw", matrix, found), right, atol=1e-9)
