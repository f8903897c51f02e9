"""Networks that cannot work are refused with all mistakes; dead ends are said."""

import pytest

from panelcp.cooling.elements import Buoyancy, Orifice
from panelcp.cooling.network import Network, Node, solve_network
from panelcp.errors import NetworkError
from tests.cooling.networks import WARM, nodes


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
