"""Joining of the rooms: what a ranking leaves out, found places, states of the skin, refusals."""

import numpy as np
import pytest

from panelcp.case.preparing import prepare_case
from panelcp.case.reading import read_case
from panelcp.case.running import run_case
from panelcp.case.solving import _forward, _tape
from panelcp.errors import CaseError
from panelcp.flow.skin_layers import STATE_NAMES
from panelcp.report.contents import PROPELLER_NOTICE
from tests.case.test_air_tables import PROPELLER
from tests.cases import CASE, changed, ranked, write_case

FLOW = 'flow = { climb = "0.2 m3/s" }\nrecovery = { value = "0.8"'
BLOWN = changed('recovery = { value = "0.8"', FLOW, CASE) + PROPELLER
"""With a slipstream and a given flow: a whole run shows shares of effects, and the flow."""

(UNKNOWN,) = (state for state, name in STATE_NAMES.items() if name == "not known")


def names_of(openings) -> list[str]:
    return [opening.name for opening in openings]


def test_a_ranking_leaves_out_what_only_a_page_shows():
    contents = ranked(BLOWN)[1]
    assert PROPELLER_NOTICE not in contents.notices
    assert contents.solutions.surroundings.propeller is not None
    assert contents.effects is None
    assert contents.through is None
    assert contents.curves is None
    assert contents.choices is not None
    assert contents.vent_maps
    assert contents.skin_state is not None


def test_found_places_are_in_the_ranking_under_their_names():
    prepared, contents = ranked()
    ranking, (grid,) = contents.ranking, prepared.searches
    exits = names_of(ranking.exits.openings)
    own = ["chin", *names_of(grid.openings)]
    assert exits[: len(own)] == own
    found = exits[len(own) :]
    assert found == [f"top best {k + 1}" for k in range(len(found))]
    assert 1 <= len(found) <= 3
    assert ranking.n_pairs == len(exits)
    least = {ranking.exit(pair).name: ranking.least_ratio[pair] for pair in range(ranking.n_pairs)}
    assert min(least[name] for name in found[:1]) >= max(least[name] for name in own)
    assert set(found) & {ranking.exit(pair).name for pair in contents.short_list}
    assert contents.searches == (grid.line(),)  # the grid's own, without those found


def test_found_places_can_be_switched_off():
    text = changed('spacing = "200 mm"', 'spacing = "200 mm"\nfind = 0')
    prepared, contents = ranked(text)
    exits = names_of(contents.ranking.exits.openings)
    assert exits == ["chin", *names_of(prepared.searches[0].openings)]
    assert not any("between the grid points" in line for line in contents.log)


def test_states_of_the_skin_are_known_ahead_wherever_air_moves():
    prepared, contents = ranked()
    state, moving = contents.skin_state, contents.flow.moving
    assert state.shape == (3, prepared.surface.n_panels)
    assert set(np.unique(state)) <= set(STATE_NAMES)
    assert moving.tolist() == [True, True, False]
    forward = _forward(prepared)
    assert 0 < forward.sum() < len(forward)
    assert (state[~moving] == UNKNOWN).all()
    assert (state[moving][:, forward] != UNKNOWN).all()


def test_the_forward_part_reaches_behind_the_last_opening():
    prepared = ranked()[0]
    stations = prepared.surface.centroids[:, 0]
    last = max(o.centre[0] for o in (*prepared.openings, *prepared.candidates))
    assert _forward(prepared)[stations <= last + 0.12 * 4.0].all()
    assert not _forward(prepared)[stations > last + 0.13 * 4.0].any()


def test_distances_to_the_firewall_change_sign_behind_it(tmp_path):
    for station, sign in ((-0.5, 1.0), (-1.4, -1.0)):
        text = changed('unit = "m"', f'unit = "m"\nfirewall = "{station} m"')
        prepared = prepare_case(read_case(write_case(tmp_path, text)))
        (tape,) = _tape(prepared, prepared.openings[1:]).values()
        assert tape.side == "bottom"
        assert sign * tape.firewall >= abs(-1.0 - station) - 1e-3  # the skin is no shorter
        assert sign * tape.firewall <= 1.2 * abs(-1.0 - station)


@pytest.mark.parametrize("station", ["-2.1 m", "2 m", "9 m"])
def test_a_firewall_off_the_body_is_refused(tmp_path, station):
    path = write_case(tmp_path, changed('unit = "m"', f'unit = "m"\nfirewall = "{station}"'))
    with pytest.raises(CaseError, match=r"firewall in \[surface\]: STA .* is not on the body"):
        run_case(path)
    assert sorted(entry.name for entry in tmp_path.iterdir()) == ["body.stl", "case.toml"]


def test_openings_that_overlap_are_refused_with_all_other_mistakes(tmp_path):
    second = CASE[CASE.index('[[opening]]\nname = "chin"') : CASE.index("[[search]]")]
    second = changed('"-1 m"', '"-0.95 m"', changed('"chin"', '"drain"', second))
    text = changed("[[search]]", second + "[[search]]")
    text = changed('unit = "m"', 'unit = "m"\nfirewall = "9 m"', text)
    path = write_case(tmp_path, text)
    with pytest.raises(CaseError) as caught:
        run_case(path)
    message = str(caught.value)
    assert "2 of its entries do not fit the surface" in message
    assert "openings chin and drain overlap by " in message
    assert "reaches from STA -2000 to 2000 mm" in message
    assert not (tmp_path / "results").exists()
