"""The cooling network of a case in the air that is solved around its body."""

from dataclasses import replace
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from types import SimpleNamespace

import numpy as np
import pytest

from panelcp.case import cooling
from panelcp.case.cooling import (
    OutsideCoupling,
    needed_doubts,
    port_columns,
    port_volume_flows,
    recovery_changes,
    suction_of,
)
from panelcp.case.cooling_run import cool_case
from panelcp.case.preparing import prepare_case
from panelcp.case.reading import read_case
from panelcp.case.side_by_side import rank_case
from panelcp.case.solving import solve_case
from panelcp.cooling.installation import Installation
from panelcp.cooling.results import BudgetStep
from panelcp.cooling.vents import cowl_flap_suction
from panelcp.errors import CaseError
from panelcp.placement.ranking import opening_pressures
from panelcp.quantity import UncertainValue
from tests.case.cooling_case import BODY, CORE, DUCT, FAN, LEAK
from tests.cases import CASE, write_case
from tests.cooling.installations import outside, port

TEXT = BODY + CORE + DUCT + FAN + LEAK


@cache
def solved():
    """The prepared case, what was found, and what the network was solved with."""
    seen = {}
    keep = cooling.solve_cooling

    def spy(installation, air, sampled, coupling, turning, progress):
        seen.update(air=air, sampled=sampled, coupling=coupling)
        return keep(installation, air, sampled, coupling, turning)

    with TemporaryDirectory() as folder, pytest.MonkeyPatch.context() as patch:
        patch.setattr(cooling, "solve_cooling", spy)
        prepared = prepare_case(read_case(write_case(Path(folder), TEXT)))
        return prepared, solve_case(prepared, only="margin"), seen


def test_network_is_in_the_results():
    _, contents, _ = solved()
    found = contents.cooling
    assert found.conditions == ("climb", "sideslip", "idle", "parked")
    assert [port.name for port in found.ports] == ["nose", "chin"]
    assert found.converged.all()
    assert found.samples == 2000
    assert set(found.warnings) <= set(contents.warnings)


def test_pressures_at_the_ports_are_those_of_the_ranking():
    prepared, contents, seen = solved()
    ranking = contents.ranking
    into = [o.name for o in ranking.inlets.openings].index("nose")
    out = [o.name for o in ranking.exits.openings].index("chin")
    air = seen["air"]
    assert air.port_pressure[:, 0] == pytest.approx(ranking.inlets.inlet_pressure[:, into])
    assert air.port_pressure[:, 1] == pytest.approx(ranking.exits.patch_pressure[:, out])
    n_inlets = len(ranking.inlets.openings)
    samples = ranking.bands.samples
    columns = port_columns(prepared.case.installation, samples.openings, n_inlets)
    patch, behind = samples.pressures(0, columns)
    drawn = seen["sampled"].port_pressure[0]
    assert np.array_equal(drawn[:, 0], behind[:, 0])
    assert np.array_equal(drawn[:, 1], patch[:, 1])


def test_influence_of_the_flows_is_that_of_the_flow_model():
    # the same flows laid over the whole skin, and the patch means taken there
    prepared, contents, seen = solved()
    openings = {o.name: o for o in prepared.openings}
    flows = np.array([[-0.3, 0.4], [-0.2, 0.1], [0.1, -0.1], [0.0, 0.0]])
    changes = seen["coupling"](flows)
    quiet = contents.solutions.flow()
    for k, (own, other) in enumerate((("nose", "chin"), ("chin", "nose"))):
        given = {other: flows[:, 1 - k]}
        after = contents.solutions.flow(flows=given)
        eta = 0.8 if own == "nose" else 0.0
        before, behind = (
            opening_pressures(flow, [openings[own]], [eta]).inlet_pressure[:, 0]
            for flow in (quiet, after)
        )
        assert changes[:, k] == pytest.approx(behind - before, abs=0.02)
    assert np.abs(changes[0]).max() > 0.1


def test_no_flow_changes_no_pressure():
    _, _, seen = solved()
    assert isinstance(seen["coupling"], OutsideCoupling)
    assert not seen["coupling"](np.zeros((4, 2))).any()


def test_flows_balance_with_the_pressures_that_they_change():
    _, contents, seen = solved()
    found = contents.cooling
    volume = port_volume_flows(found)
    flows = np.stack([volume["nose"], volume["chin"]], axis=1)
    assert np.stack([p.coupling for p in found.ports], axis=1) == pytest.approx(
        seen["coupling"](flows), abs=0.05
    )
    assert (volume["nose"][:2] < 0.0).all()
    assert (volume["chin"][:2] > 0.0).all()


def test_searched_exits_are_ranked_by_margin():
    _, contents, _ = solved()
    (ranking,) = contents.margins
    assert ranking.use == "exit"
    assert "chin" in ranking.names
    assert (np.diff(ranking.least) <= 0.0).all()
    # the network with its own exit is the network as it is, but for what the inlet's flow does to
    # the pressure at the exit, less than 1 Pa here
    own = ranking.names.index("chin")
    assert ranking.common_area == pytest.approx(0.015)
    assert ranking.own_margin[own] == pytest.approx(ranking.margin[own], rel=1e-9, nan_ok=True)
    assert ranking.margin[own, 0] == pytest.approx(contents.cooling.least_margin[0], rel=1e-3)


def test_command_writes_page_tables_and_summary(tmp_path):
    run = cool_case(write_case(tmp_path, TEXT))
    names = {path.name for path in run.folder.iterdir()}
    assert names == {"cooling.html", "cooling.csv", "pressures.csv", "summary.json", "run.log"}
    assert run.folder.name.startswith("cool-")
    page = (run.folder / "cooling.html").read_text(encoding="utf-8")
    assert "radiator" in page
    assert "http" not in page.replace("http://www.w3.org/2000/svg", "")
    assert "ranking_by_margin" in (run.folder / "summary.json").read_text(encoding="utf-8")


@pytest.mark.parametrize("ask", [cool_case, lambda path: rank_case(path, by="margin")])
def test_case_without_a_network_is_refused(tmp_path, ask):
    path = write_case(tmp_path, CASE)
    with pytest.raises(CaseError, match=r"has no cooling network: give at least one \[\[core\]\]"):
        ask(path)
    assert not (tmp_path / "results").exists()


class TestSuctionOfFlaps:
    def ports(self, band):
        flap = port("flap", "exit", flap_suction=band)
        return Installation(ports=(port("nose", "inlet"), flap))

    def test_is_a_share_of_the_total_pressure_at_the_flap_alone(self):
        found = suction_of(
            self.ports(cowl_flap_suction(1.0)), np.array([[100.0, 200.0], [5.0, -3.0]])
        )
        assert found == pytest.approx(np.array([[0.0, -0.35 * 200.0], [0.0, 0.0]]))

    def test_is_drawn_from_its_band(self):
        draws = np.array([-1.0, 0.0, 1.0])
        found = suction_of(
            self.ports(cowl_flap_suction(1.0)), np.array([100.0, 200.0]), lambda name: draws
        )
        assert found[:, 1] == pytest.approx(200.0 * np.array([-0.5, -0.35, -0.2]))
        assert not found[:, 0].any()


class TestRecoveryOfSubmergedInlets:
    def changes(self, kind, flow):
        inlet = replace(port("ramp", "inlet", 0.02), kind=kind)
        air = outside([[200.0]], stream=40.0)
        change = recovery_changes(Installation(ports=(inlet,)), air, np.array([[300.0]]))
        return None if change is None else change(np.array([[flow]]))[0, 0]

    def test_nothing_changes_at_the_usual_ratio(self):
        assert self.changes("submerged", -0.55 * 40.0 * 0.02) == pytest.approx(0.0, abs=1e-9)

    def test_more_air_than_the_stream_brings_costs_recovery(self):
        # memory: 0.89 best, 0.65 from a ratio of 1 on
        assert self.changes("submerged", -40.0 * 0.02) == pytest.approx(300.0 * (0.65 / 0.89 - 1.0))

    def test_air_that_comes_out_counts_as_none_taken(self):
        assert self.changes("submerged", 0.5) == pytest.approx(300.0 * (0.60 / 0.89 - 1.0))

    def test_nose_inlets_have_no_such_change(self):
        assert self.changes("forward-facing", -0.3) is None


class TestNeededPressureAgainstTheNetwork:
    def found(self, ratio):
        steps = (BudgetStep("radiator", "outside nose", np.array([600.0])),
                 BudgetStep("radiator", "radiator", np.array([650.0])),
                 BudgetStep("radiator", "outside chin", np.array([-50.0])))  # fmt: skip
        return SimpleNamespace(
            available_over_needed=np.array([ratio]), limiting_core=("radiator",), budget=steps,
            decides=np.array([True]), conditions=("climb",),
        )  # fmt: skip

    def case(self):
        needed = UncertainValue(500.0, 400.0, 650.0, "memory", kind="pressure")
        return SimpleNamespace(needed_pressure=(needed,))

    def test_a_need_beyond_the_band_is_told(self):
        (line,) = needed_doubts(self.case(), self.found(0.8))
        assert "500 Pa (400 to 650) in climb" in line
        assert "about 812 Pa" in line
        assert "factor of 1.6" in line

    def test_a_need_within_the_band_is_not(self):
        assert needed_doubts(self.case(), self.found(1.1)) == []

    def test_far_less_need_is_told_too(self):
        (line,) = needed_doubts(self.case(), self.found(2.0))
        assert "about 325 Pa" in line
