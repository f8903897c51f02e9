"""Templates of the openings of a case, from its file to the sheets."""

import hashlib

import numpy as np
import pytest

from panelcp.case.reading import read_case
from panelcp.case.templating import marking_template, opening_called, template_word
from panelcp.errors import CaseError, SurfaceError
from panelcp.report.places import shown_openings
from panelcp.report.summary import summary_json
from tests.cases import CASE, changed, ranked, write_case
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


def test_cases_in_one_folder_leave_the_templates_of_others_alone(tmp_path):
    first, second = write_case(tmp_path), write_case(tmp_path, name="Cowl b.toml")
    done = [marking_template(case, "chin", date="2026-05-01") for case in (first, second)]
    assert [one.folder.name for one in done] == ["template-chin", "template-chin--cowl-b_907e2bdf"]
    assert all(path.is_file() for one in done for path in one.files)


def test_names_that_differ_in_marks_alone_keep_folders_of_their_own(tmp_path):
    # the same once more, farther aft
    second = (
        CASE[CASE.index('[[opening]]\nname = "chin"') :].split("\n\n")[0].replace("-1 m", "-0.6 m")
    )
    text = CASE.replace('name = "chin"', 'name = "chin, left"')
    case = write_case(tmp_path, f"{text}\n{second}\n".replace('"chin"', '"chin (left)"'))
    done = [
        marking_template(case, name, date="2026-05-01") for name in ("chin, left", "chin (left)")
    ]
    folders = [one.folder.name for one in done]
    assert folders == ["template-chin-left_5c657fcc", "template-chin-left_35ddb31e"]
    for one in done:
        assert all(path.is_file() for path in one.files)
        assert one.template.name in one.files[2].read_text(encoding="utf-8")


def test_no_two_names_share_a_word_on_any_system():
    marks = ("", " ", "-", "_", ".", ", ", " (", "/", "\u00e9", "\U0001f525", "A", "a")
    names = {f"{a}oil{b}cooler{c}" for a in marks for b in marks for c in marks}
    names |= {"x" * n for n in range(50, 70)} | {
        "oil cooler 1",
        "oil cooler_1",
        "",
        " ",
        "condition",
    }
    words = {template_word(name).casefold() for name in names}
    assert len(words) == len(names)
    assert all(set(word) <= set("abcdefghijklmnopqrstuvwxyz0123456789-_") for word in words)
    assert max(map(len, words)) < 70
    for plain in ("chin", "top 3", "left side best 12"):
        assert template_word(plain) == plain.replace(" ", "-")
    for device in ("con", "nul", "com1", "lpt9"):
        assert template_word(device).startswith(f"{device}_")
    assert template_word("com 1") == "com-1"


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


@pytest.fixture(scope="module", params=[CASE, MIRRORED], ids=["single", "mirrored"])
def after_a_run(request, tmp_path_factory):
    """A case with the summary of its run beside it, and what the run found."""
    _, contents = ranked(request.param)
    case = write_case(tmp_path_factory.mktemp("run"), request.param)
    folder = case.parent / "results" / f"run-{contents.input_hash}"
    folder.mkdir(parents=True)
    (folder / "summary.json").write_text(summary_json(contents), encoding="utf-8")
    return case, contents


def test_a_place_found_between_the_grid_points_is_taken_from_the_run(after_a_run):
    case, contents = after_a_run
    found = [o for o in shown_openings(contents) if " best " in o.name]
    assert found
    for opening in found:
        _, again = opening_called(read_case(case), opening.name, results=case.parent / "results")
        assert (again.name, again.use, again.kind) == (opening.name, opening.use, opening.kind)
        np.testing.assert_allclose(again.centre, opening.centre, atol=1e-6)
        np.testing.assert_allclose(again.outline, opening.outline, atol=1e-6)
        assert again.area == pytest.approx(opening.area, rel=1e-6)
        assert (again.twin is None) == (opening.twin is None)
        if opening.twin is not None:
            np.testing.assert_allclose(again.twin.outline, opening.twin.outline, atol=1e-6)
            assert again.twin.name == opening.twin.name


def test_a_template_of_a_place_found_between_the_grid_points(after_a_run):
    case, contents = after_a_run
    name = next(o.name for o in shown_openings(contents) if " best " in o.name)
    done = marking_template(case, name, date="2026-05-01")
    twins = [o for o in shown_openings(contents) if o.name == name and o.twin is not None]
    assert len(done.template.sides) == 1 + len(twins)
    assert done.template.name == name


def test_places_that_the_report_does_not_show_are_told(after_a_run):
    case, _ = after_a_run
    with pytest.raises(CaseError, match="the report shows no place called 'top best 99'"):
        marking_template(case, "top best 99")


def test_a_case_changed_since_its_run_is_told(after_a_run, tmp_path):
    case, _ = after_a_run
    changed_case = case.parent / "changed.toml"
    changed_case.write_text(case.read_text(encoding="utf-8") + "\n", encoding="utf-8")
    with pytest.raises(CaseError, match=r"none of this case as it stands now .*run it first"):
        marking_template(changed_case, "top best 1")


def test_a_summary_that_cannot_be_read_is_told(after_a_run, tmp_path):
    case, contents = after_a_run
    folder = tmp_path / f"run-{contents.input_hash}"
    folder.mkdir()
    for text in ("{", "[]", '{"places": [{}]}'):
        (folder / "summary.json").write_text(text, encoding="utf-8")
        with pytest.raises(CaseError, match="cannot be read; run the case again"):
            marking_template(case, "top best 1", tmp_path)


@pytest.mark.parametrize(
    ("name", "options", "message"),
    [
        ("chim", {}, "no opening is called 'chim'; did you mean 'chin'\\? It has openings: "),
        ("nowhere", {}, "no opening is called 'nowhere'; it has openings: "),
        ("top best 1", {}, "stands only in the results of a run, and there are none of this case"),
        ("chin", {"paper": "A3"}, "paper 'A3' is not known"),
        (
            "chin",
            {"date": "1.5.2026"},
            "date '1.5.2026' is not a day; write year-month-day, as in",
        ),
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
