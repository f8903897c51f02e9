"""Templates of the openings of a case, from its file to the sheets."""

import hashlib

import numpy as np
import pytest

from panelcp.case.reading import read_case
from panelcp.case.templating import marking_template, opening_called
from panelcp.errors import CaseError, SurfaceError
from tests.cases import changed, write_case
from tests.report.templates import pdf_pages

FIREWALL = changed('part = "whole"', 'part = "whole"\nfirewall = "500 mm"')
MIRRORED = changed(
    'side = "top"\nlow = ["-1.45 m", "-0.25 m", "0 m"]',
    'side = "top"\npairs = "mirrored"\nlow = ["-1.45 m", "0.1 m", "0 m"]',
)


@pytest.fixture(scope="module")
def case(tmp_path_factory):
    return write_case(tmp_path_factory.mktemp("case"), FIREWALL)


@pytest.fixture(scope="module")
def done(case):
    return marking_template(case, "chin", date="2026-05-01")


def test_a_template_of_an_opening_is_three_files(case, done):
    assert done.folder == case.parent / "results" / "template-chin"
    assert [path.name for path in done.files] == ["chin.pdf", "chin.dxf", "chin.svg"]
    assert all(path.stat().st_size > 1000 for path in done.files)
    assert len(pdf_pages(done.files[0].read_bytes())) == 2
    template = done.template
    assert (template.name, template.case_name) == ("chin", "Small body")
    mesh = (case.parent / "body.stl").read_bytes()
    assert template.surface_hash == hashlib.sha256(mesh).hexdigest()
    assert template.sides[0].tape.firewall == pytest.approx(1.5, abs=0.05)


def test_the_same_case_and_date_give_the_same_bytes(case, done, tmp_path):
    again = marking_template(case, "chin", tmp_path, date="2026-05-01")
    for first, second in zip(done.files, again.files, strict=True):
        assert first.read_bytes() == second.read_bytes()


def test_a_place_of_a_search_is_found_by_its_name(case):
    prepared, opening = opening_called(read_case(case), "top 1")
    assert opening.name == "top 1"
    assert [found.region.name for found in prepared.searches] == ["top"]
    with pytest.raises(CaseError, match="places of its searches: 'top 1'"):
        opening_called(read_case(case), "top 999")


def test_a_named_opening_needs_no_search(case):
    prepared, opening = opening_called(read_case(case), "nose")
    assert opening.kind == "forward-facing"
    assert prepared.searches == ()


def test_a_mirrored_pair_gives_both_sides(tmp_path):
    case = read_case(write_case(tmp_path, MIRRORED))
    _, right = opening_called(case, "top 1 right")
    done = marking_template(case, "top 1 right and left", date="2026-05-01")
    assert len(done.template.sides) == 2
    centres = [side.opening.centre for side in done.template.sides]
    np.testing.assert_allclose(centres[0], right.centre)
    np.testing.assert_allclose(centres[0] * [1, -1, 1], centres[1], atol=1e-9)


def test_an_exit_near_the_windshield_is_warned_of(tmp_path):
    glass = '[[region]]\nname = "windshield"\nlow = ["-0.8 m", "-1 m", "-1 m"]\n'
    text = changed("[[opening]]", f'{glass}high = ["0 m", "1 m", "1 m"]\n\n[[opening]]')
    done = marking_template(write_case(tmp_path, text), "chin", date="2026-05-01")
    (warning,) = done.template.warnings
    assert "flame" in warning
    assert "flame" in done.files[2].read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("name", "options", "message"),
    [
        ("chim", {}, "no opening is called 'chim'; did you mean 'chin'"),
        ("top best 1", {}, "not known before the air is solved: enter it as an"),
        ("chin", {"paper": "A3"}, "paper 'A3' is not known"),
        ("chin", {"date": "1.5.2026"}, "date '1.5.2026' is not a day; write it as 2026-05-01"),
    ],
)
def test_mistakes_are_told_and_nothing_is_written(case, tmp_path, name, options, message):
    with pytest.raises(CaseError, match=message):
        marking_template(case, name, tmp_path / "results", **options)
    assert not (tmp_path / "results").exists()


def test_an_opening_over_the_tip_of_a_coarse_nose_is_refused(case, tmp_path):
    """The nose of 320 panels is folded by more than a paper follows."""
    with pytest.raises(SurfaceError, match=r"opening nose: the skin folds by .* inside the outl"):
        marking_template(case, "nose", tmp_path / "results")
    assert not (tmp_path / "results").exists()
