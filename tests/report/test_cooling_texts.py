"""Texts of the pictures of cooling are cut to their room."""

from panelcp.report.cooling_tables import isolated
from panelcp.report.cooling_texts import fitted, text_width
from tests.report.test_cooling_tables import HOSTILE


def test_texts_are_cut_and_broken_to_their_width():
    for name in HOSTILE:
        for width in (30.0, 80.0, 300.0):
            assert text_width(fitted(isolated(name), width)) <= width
    assert fitted("", 10.0) == ""
