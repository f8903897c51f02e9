"""Heat that the air of a network carries: conserved, limited, both ways where it hardly moves."""

import numpy as np
import pytest

from panelcp.cooling.network import HEAT_CAPACITY, solve_network
from panelcp.cooling.network_temperatures import both_ways
from tests.cooling.networks import PRESSURES, WARM, bay_network


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


def test_air_goes_both_ways_only_where_it_hardly_goes():
    flow = np.array([-1e-3, -1e-5, -4e-6, 0.0, 4e-6, 1e-5, 1e-3])
    plus, minus = both_ways(flow, np.abs(flow), 1e-5)
    np.testing.assert_allclose(plus - minus, flow, atol=1e-20)
    assert plus[:2].tolist() == [0.0, 0.0] == minus[-2:].tolist()
    assert plus[3] == minus[3] == pytest.approx(2.5e-6)
