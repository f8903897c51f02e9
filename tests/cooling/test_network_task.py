"""What does not fit a network is refused; heat by functions is asked for in some worlds."""

import numpy as np
import pytest

from panelcp.cooling.network import solve_network
from panelcp.cooling.network_task import WholeHeat
from panelcp.errors import NetworkError
from tests.cooling.networks import PRESSURES, WARM, Cooler, bay_network, chimney


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


def test_given_states_that_do_not_fit_are_refused():
    state = solve_network(bay_network(), PRESSURES, WARM).state
    with pytest.raises(NetworkError, match=r"first_worlds .* expected \(4,\) numbers below 4"):
        solve_network(bay_network(), PRESSURES, WARM, first=state, first_worlds=[0, 1, 2, 4])
    with pytest.raises(NetworkError, match="first has 8 elements; the network has 3"):
        solve_network(chimney(), [[0.0, 0.0]], WARM, first=state, first_worlds=[0])


def test_heat_by_a_function_is_asked_for_the_same_world_several_times():
    draw = np.random.default_rng(3)
    cooler = Cooler(draw.uniform(50.0, 500.0, 4))
    index = np.array([2, 0, 2, 2, 3])
    flow, inlet = draw.uniform(0.1, 1.0, 5), draw.uniform(290.0, 310.0, 5)
    asked = WholeHeat(cooler, 4).at(np.arange(4)[::-1]).at(3 - index)
    expected = Cooler(cooler.conductance[index])(flow, inlet)
    np.testing.assert_allclose(asked(flow, inlet), expected, rtol=1e-14)
