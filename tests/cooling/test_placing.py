"""Margins with exits and inlets at other places."""

from dataclasses import replace

import numpy as np
import pytest

from panelcp.case.cooling import recovery_changes
from panelcp.case.margin_ranking import _changes, _places
from panelcp.cooling.placing import Placement, margins_with, staying, with_exit
from panelcp.cooling.solving import solve_cooling
from tests.cooling.installations import core, outside, port, simple


def two_ways():
    """A radiator with an exit of its own, an oil cooler that blows into the bay."""
    cores = (
        core(end="own exit", heat=np.array([45e3])),
        core("oil cooler", "inlet", face_area=0.02, square=8.0, role="oil", heat=np.array([8e3])),
    )
    ports = (
        port("inlet", "inlet", 0.05),
        port("own exit", "exit", 0.035),
        port("bay exit", "exit", 0.01),
    )
    return simple(cores=cores, ports=ports)


class TestWhatStays:
    def test_exits_with_a_way_of_their_own_stay(self):
        assert staying(two_ways(), "exit") == {"inlet", "own exit"}
        assert staying(two_ways(), "inlet") == {"own exit", "bay exit"}
        kept = with_exit(two_ways(), port("place", "exit", 0.01)).ports
        assert [p.name for p in kept] == ["inlet", "own exit", "place"]

    def test_no_place_is_tried_where_a_port_stays(self):
        # an opening for both uses stands among the inlets and again among the exits
        names = ("inlet", "spare", "inlet", "own exit", "bay exit", "spare")
        openings = [port(name, "exit") for name in names]
        assert _places(two_ways(), "exit", openings, 2) == [4, 5]
        assert _places(two_ways(), "inlet", openings, 2) == [0, 1]


def test_ports_that_stay_keep_all_that_the_flows_change_outside_them():
    # the influence of other ports, and what a submerged inlet loses by its speed ratio
    air = outside([[1300.0, -200.0]])
    network = solve_cooling(
        simple(),
        air,
        coupling=lambda flows: np.array([[0.0, 20.0]]),
        recovery_change=lambda flows: np.array([[-150.0, 0.0]]),
    )
    assert _changes(network, air) == pytest.approx(np.array([[-150.0, 20.0]]))


class TestMargins:
    def test_exit_at_its_own_place_gives_the_margins_of_the_installation(self):
        air = outside([[1300.0, -200.0, -100.0]], temperature=311.0)
        place = Placement(
            two_ways().ports[2], [[-100.0], [0.0]], np.full((2, 1), 50.0), [[0.0]] * 2
        )
        found = margins_with(two_ways(), air, place)
        whole = solve_cooling(two_ways(), air)
        assert found.margin[0, 0] == pytest.approx(whole.least_margin[0], abs=1e-3)
        assert found.flow[0, 0] == pytest.approx(
            sum(one.flow.value[0] for one in whole.cores), rel=1e-5
        )
        assert found.flow[1, 0] < found.flow[0, 0]

    def test_inlet_at_its_own_place_recovers_what_it_does_in_the_installation(self):
        # what a submerged inlet recovers falls with the air it takes, at every place anew
        ports = (
            replace(port("inlet", "inlet", 0.03), kind="submerged"),
            port("exit", "exit", 0.035),
        )
        installation = simple(ports=ports, cores=(core(heat=np.array([45e3])),))
        air = outside([[1000.0, -200.0]], temperature=311.0)
        ram = np.array([[900.0, 0.0]])
        whole = solve_cooling(
            installation, air, recovery_change=recovery_changes(installation, air, ram)
        )
        assert whole.ports[0].pressure[0] < 990.0
        own = ([[1000.0], [900.0]], np.full((2, 1), 50.0), [[1000.0]] * 2, [[900.0]] * 2)
        place = Placement(ports[0], *own)
        found = margins_with(installation, air, place, turning=recovery_changes)
        assert found.margin[0, 0] == pytest.approx(whole.least_margin[0], abs=0.02)
        assert found.margin[1, 0] < found.margin[0, 0]
