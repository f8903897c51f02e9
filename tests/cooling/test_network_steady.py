"""Many worlds, given starts and starts that lead nowhere, solved as each of them alone."""

import numpy as np
import pytest

from panelcp.cooling.network import EASED, EXCHANGE_FLOW, GIVEN, STARTS, solve_network
from tests.cooling.networks import (
    PRESSURES,
    WARM,
    Cooler,
    CoolerInParts,
    bay_network,
    chimney,
    sampled,
)


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
