"""Warnings that a builder must see, each from a case that earns it."""

import numpy as np
import pytest

from panelcp.case import deviations, doubts, solving
from panelcp.case.preparing import prepare_case
from panelcp.case.reading import read_case
from panelcp.case.solving import solve_case
from panelcp.errors import FlowError
from panelcp.flow.solutions import solve_conditions
from panelcp.panels.faults import CHANGE_KIND, solution_checks
from panelcp.panels.solving import solve_units
from panelcp.placement.bands import PANELLING, SAMPLES
from tests import bodies
from tests.cases import CASE, changed, ranked, write_case, write_mesh


@pytest.fixture
def warnings():
    return lambda text: ranked(text)[1].warnings


def test_small_case_as_it_is_says_only_what_it_is_known_for(warnings):
    lines = warnings(CASE)
    assert not [line for line in lines if "no-cut" in line or "facing" in line]
    assert any("no air moves in parked" in line for line in lines)


def test_opening_in_a_no_cut_zone(warnings):
    text = changed('centre = ["-1.4 m", "0 m", "350 mm"]', 'centre = ["-1 m", "0 m", "-433 mm"]')
    assert any("opening chin lies in the no-cut zone latch" in line for line in warnings(text))


def test_forward_facing_inlet_on_top(warnings):
    text = changed('centre = ["-2 m", "0 m", "0 m"]', 'centre = ["0 m", "0 m", "500 mm"]')
    assert any(
        "nose is called forward-facing, but the skin there looks to the top" in line
        for line in warnings(text)
    )


def test_large_angles(warnings):
    lines = warnings(changed('alpha = "6 deg"', 'alpha = "16 deg"'))
    assert any("more than 15 deg off the nose in climb" in line for line in lines)


def test_placeholder_of_the_starter_case(warnings):
    text = changed(
        'high = "650 Pa", mark = "memory" }',
        'high = "650 Pa", mark = "memory", source = "placeholder of the starter case" }',
    )
    assert any("means nothing until it is replaced" in line for line in warnings(text))


def test_not_enough_and_perhaps_not_enough(warnings):
    for value, words in (("3000 Pa", "no pair reaches"), ("700 Pa", "not certain")):
        text = changed(
            'value = "500 Pa", low = "400 Pa", high = "650 Pa"',
            f'value = "{value}", low = "200 Pa", high = "4000 Pa"',
        )
        assert any(words in line for line in warnings(text))


def test_left_handed_axes(warnings):
    text = changed('right = "+y"', 'right = "-y"')
    assert any("left-handed" in line for line in warnings(text))


@pytest.fixture(scope="module")
def coarse_nosed(tmp_path_factory):
    """The small case, with the grid's places alone, on a body whose nose has too few panels."""
    folder = tmp_path_factory.mktemp("coarse")
    body = bodies.coarse_nosed_ellipsoid((2.0, 0.5, 0.5), 3)
    write_mesh(folder / "body.stl", body.vertices, body.triangles)
    text = changed('centre = ["-2 m", "0 m", "0 m"]', 'centre = ["-1.8 m", "0 m", "-170 mm"]')
    text = changed('spacing = "200 mm"', 'spacing = "200 mm"\nfind = 0', text)
    return prepare_case(read_case(write_case(folder, text)))


@pytest.fixture(scope="module")
def coarse_ranked(coarse_nosed):
    """What is found for it."""
    return solve_case(coarse_nosed, only="ranking")


def test_pressure_that_changes_on_finer_panels_is_doubted_where_it_does(coarse_ranked):
    contents = coarse_ranked
    check = contents.checks[-1]
    assert check.kind == CHANGE_KIND
    assert check.failed
    line = next(line for line in contents.warnings if CHANGE_KIND in line)
    assert "do not trust the pressures at nose" in line
    assert "chin" not in line
    assert any(line.startswith("finer panels where in doubt: 1") for line in contents.log)


def test_good_body_is_settled(warnings):
    assert not [line for line in warnings(CASE) if CHANGE_KIND in line]


def test_openings_carry_the_change_into_their_deviations(coarse_nosed, coarse_ranked, monkeypatch):
    usual, found = coarse_ranked, usual_settling(coarse_nosed)
    coarser, _ = deviations.discretisation(coarse_nosed, usual.flow)
    kept = np.maximum(coarser, deviations.settling_at_openings(coarse_nosed, found.pressure))
    rise = np.array([30.0, -200.0, 0.0])
    pressure = np.repeat(rise[:, None], coarse_nosed.surface.n_panels, axis=1)
    given = deviations.Settling((), pressure, "as it is given here")
    monkeypatch.setattr(solving, "settling", lambda *_: given)
    wide = solve_case(coarse_nosed, only="ranking").ranking
    gain = np.maximum(coarser, np.abs(rise)[:, None]) ** 2 - kept**2
    assert gain[1].min() > 0.5 * 200.0**2
    (kind,) = [kind for kind in wide.bands.samples.kinds if kind.name == PANELLING]
    assert kind.patch == pytest.approx(np.maximum(coarser, np.abs(rise)[:, None]), abs=1e-6)
    n, lost = len(wide.inlets.openings), 1.0 - coarse_nosed.recovery["nose"].value
    assert kind.behind[:, :n] == pytest.approx(lost * kind.patch[:, :n])
    # in squares, but for the correlation that the draws of two kinds happen to have, 1 of 45
    at_inlet = wide.inlet_deviation**2 - usual.ranking.inlet_deviation**2
    at_exit = wide.exit_deviation**2 - usual.ranking.exit_deviation**2
    chance = 6.0 / np.sqrt(SAMPLES)
    for found, expected, whole in (
        (at_inlet, lost**2 * gain[:, :n], wide.inlet_deviation),
        (at_exit, gain[:, n:], wide.exit_deviation),
    ):
        part = np.sqrt(np.abs(expected))
        assert (np.abs(found - expected) <= 2.0 * chance * part * whole + 1e-3).all()


def usual_settling(prepared):
    solutions = solve_conditions(prepared.surface, prepared.case.conditions)
    checks = solution_checks(solutions.main)
    return deviations.settling(solutions, solutions.flow(), checks, prepared.case.tolerance)


def test_conditions_that_decide_judge_and_all_carry_the_change(coarse_nosed):
    found = usual_settling(coarse_nosed)
    conditions = coarse_nosed.case.conditions
    assert [c.decides for c in conditions] == [True, False, False]
    (check,) = found.checks
    q = conditions[0].dynamic_pressure
    assert check.worst == pytest.approx(np.abs(found.pressure[0]).max() / q, rel=1e-12)
    assert np.abs(found.pressure[1]).max() > 0.0
    assert (found.pressure[2] == 0.0).all()


def test_without_a_stream_nothing_is_tried(coarse_nosed):
    solutions = solve_conditions(coarse_nosed.surface, coarse_nosed.case.conditions[2:])
    checks = solution_checks(solutions.main)
    found = deviations.settling(solutions, solutions.flow(), checks, None)
    assert found.checks == ()
    assert "no stream" in found.line


def test_finer_panels_that_cannot_be_solved_are_a_warning(coarse_nosed, monkeypatch):
    n_panels = coarse_nosed.surface.n_panels

    def refuse(surface, **options):
        if surface.n_panels > n_panels:
            raise FlowError("the solution did not converge in 5 steps")
        return solve_units(surface, **options)

    monkeypatch.setattr(deviations, "solve_units", refuse)
    contents = solve_case(coarse_nosed, only="ranking")
    assert CHANGE_KIND not in [check.kind for check in contents.checks]
    assert any("but the solution did not converge" in line for line in contents.warnings)


def test_sizes_that_only_a_slip_explains(tmp_path):
    propeller = '\n[propeller]\ndiameter = "1.8 m"\ncentre = ["DISC", "0 m", "0 m"]\n'
    propeller += 'rotation = "clockwise"\nrpm = "RPM"\nefficiency = "78 %"\n'
    wing = '\n[wing]\nspan = "9 m"\narea = "AREA"\ncentre = ["PLACE", "0 m", "0 m"]\n'
    wing += 'mass = "600 kg"\n'
    flow = 'flow = { climb = "FLOW" }\nrecovery = { value = "0.8"'
    text = changed('recovery = { value = "0.8"', flow, CASE) + propeller + wing

    def lines(disc, rpm, area, place, flow):
        content = text.replace("DISC", disc).replace("RPM", rpm).replace("AREA", area)
        content = content.replace("PLACE", place).replace("FLOW", flow)
        case = read_case(write_case(tmp_path, content))
        prepared = prepare_case(case)
        found = doubts._sizes(case, prepared.surface) + doubts._flows(case, prepared.openings)
        return found, prepared.openings[0].area

    assert lines("-2.2 m", "2400 rpm", "11 m2", "0.2 m", "0.2 m3/s")[0] == []
    (ahead, tips, aspect, place, speed), area = lines(
        "-2.6 m", "24 rpm", "90 m2", "-2.3 m", "2 m3/s"
    )
    assert "the propeller stands 600 mm ahead of the nose" in ahead
    assert "tips of the propeller move at 2 m/s" in tips
    assert "span^2 over area of the wing is 0.9; expected 3 to 40" in aspect
    assert "the wing at STA -2300 mm lies ahead of the nose at STA -2000 mm" in place
    assert f"opening nose would go through it at {2.0 / area:.0f} m/s on the mean" in speed


def test_ports_and_cabin_openings_are_no_cuts_of_the_cooling(warnings):
    port = '\n[[opening]]\nname = "port"\nuse = "static port"\nkind = "flush hole"\n'
    port += 'centre = ["-1.4 m", "0 m", "350 mm"]\nlength = "10 mm"\nwidth = "10 mm"\n'
    assert not any("port lies in the no-cut zone" in line for line in warnings(CASE + port))
