"""The table [report]."""

from datetime import date

import pytest

from panelcp import CaseError, read_case
from panelcp.case.preparing import prepare_case
from panelcp.case.report_table import PAPERS, SHEET_VIEWS, ReportSettings, day
from panelcp.case.running import printed_so
from panelcp.errors import QuantityError
from panelcp.report import template_pages
from panelcp.report.projection import VIEWS
from tests.cases import changed, write_case

REPORT = '[report]\nviews = ["left"]\nbest = 3\n'


def settings(tmp_path, lines: str) -> ReportSettings:
    return read_case(write_case(tmp_path, changed(REPORT, f"[report]\n{lines}\n"))).report


def test_left_out(tmp_path):
    found = settings(tmp_path, "best = 8")
    assert found == ReportSettings()
    assert found.views == SHEET_VIEWS
    assert (found.same_limits, found.grey_print, found.paper) == (True, False, "A4")
    assert found.date is None


def test_all_given(tmp_path):
    found = settings(
        tmp_path,
        'views = ["front"]\nsame_limits = false\ngrey_print = true\npaper = "Letter"\n'
        'date = "2026-05-01"\nsection_stations = ["400 mm", "1.2 m"]\nlast_station = "2 m"',
    )
    assert found == ReportSettings(
        ("front",), 8, 2.0, False, False, True, "Letter", "2026-05-01", (0.4, 1.2)
    )


def test_a_day_without_quotes(tmp_path):
    assert settings(tmp_path, "date = 2026-05-01").date == "2026-05-01"


@pytest.mark.parametrize(
    ("line", "words"),
    [
        (
            'date = "1 May"',
            "report.date: '1 May' is not a day; write year-month-day, as in 2026",
        ),
        ('date = "2026-02-30"', "is not a day"),
        ('date = "20260501"', "is not a day"),
        ("date = 2026-05-01T10:00:00", "is not a day"),
        ("date = 5", "is not a day"),
        ('paper = "A3"', "choose one of A4, Letter"),
        ("same_limits = 1", "neither true nor false"),
        ("section_stations = []", "not a list with at least one entry"),
        ('section_stations = ["5 kg"]', "section_stations"),
    ],
)
def test_mistakes(tmp_path, line, words):
    with pytest.raises(CaseError, match=words) as error:
        settings(tmp_path, line)
    assert "line" in str(error.value)


def test_day_of_a_date():
    assert day(date(2026, 1, 2)) == "2026-01-02"
    with pytest.raises(QuantityError):
        day(None)


def test_papers_and_views_are_those_of_the_drawings():
    assert set(PAPERS) == set(template_pages.PAPERS)
    assert {view.replace("-", "_") for view in SHEET_VIEWS} <= set(VIEWS)


def test_date_and_paper_of_a_run_go_before_those_of_the_case(tmp_path):
    case = read_case(write_case(tmp_path, changed(REPORT, '[report]\ndate = "2026-05-01"\n')))
    assert printed_so(case) == case
    assert printed_so(case, "2027-01-02", "letter").report == ReportSettings(
        paper="Letter", date="2027-01-02"
    )
    with pytest.raises(CaseError, match="paper 'A3' is not known; choose one of A4, Letter"):
        printed_so(case, paper="A3")
    with pytest.raises(CaseError, match="date 'May' is not a day"):
        printed_so(case, date="May")


def test_cuts_that_miss_the_body_are_refused(tmp_path):
    lines = '[report]\nsection_stations = ["3 m", "1 m", "-2 m"]\n'
    case = read_case(write_case(tmp_path, changed(REPORT, lines)))
    with pytest.raises(CaseError) as error:
        prepare_case(case)
    text = str(error.value)
    assert "2 of its entries do not fit the surface" in text
    assert "STA 3000 mm misses the body, which runs from STA -2000 to 2000 mm" in text
    assert "STA -2000 mm misses" in text
    assert "STA 1000" not in text
