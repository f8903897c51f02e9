"""Bars of margins and of the pressure budget: to scale, inside, with words."""

from dataclasses import replace

import numpy as np
import pytest

from panelcp.report.cooling_bars import BAR_WIDTH, budget_parts, budget_picture, margin_picture
from panelcp.report.cooling_tables import readable
from panelcp.report.cooling_texts import text_width
from tests.report.network_cases import svg
from tests.report.test_cooling_tables import HOSTILE, array, tug


def margin_bars(result, rows):
    return svg(margin_picture(result, rows, "Margins"))


def test_margin_bars_are_to_scale_and_have_words():
    root = margin_bars(tug(), [(0, 0), (1, 0), (5, 1)])
    rects = root.findall("rect")
    assert [rect.get("class") for rect in rects] == ["look", "good", "stop watched"]
    widths = [float(rect.get("width")) for rect in rects]
    assert widths[1] / widths[0] == pytest.approx(16 / 9.2, rel=0.01)
    # below 0 to the left of the axis
    assert float(rects[2].get("x")) + widths[2] == pytest.approx(float(rects[0].get("x")), abs=0.2)
    texts = [text.text for text in root.findall("text")]
    assert "9.2 K (5 to 14), look" in texts
    assert "oil cooler, does not decide" in texts
    assert "too hot: 7 %" in texts


def test_margin_bars_stay_in_the_picture():
    result = tug()
    core = replace(result.cores[0], margin=replace(
        result.cores[0].margin, value=array(-np.inf, np.inf, 500, -300, 5, np.nan)))  # fmt: skip
    root = margin_bars(replace(result, cores=(core,)), [(c, 0) for c in range(6)])
    rects = root.findall("rect")
    assert len(rects) == 5
    for rect in rects:
        left, width = float(rect.get("x")), float(rect.get("width"))
        assert 0.0 <= left <= left + width <= BAR_WIDTH
    # four of the bars are cut, and say so with a point
    assert len(root.findall("polygon")) == 4
    assert not margin_bars(tug(), [(0, 0), (4, 0)]).findall("polygon")
    texts = [text.text for text in root.findall("text")]
    assert any(text.startswith("no cooling") for text in texts)
    assert any("inf" in (text or "") for text in texts) is False


def test_margin_texts_on_one_line_do_not_meet():
    left, _, _, long = HOSTILE
    for result in (tug(), readable(tug((left, long, HOSTILE[2], "top"), conditions=(long,) * 6))):
        rows = [(c, k) for c in range(6) for k in range(3)]
        texts = margin_bars(result, rows).findall("text")[3:]
        assert len(texts) == 4 * len(rows)
        for left, right in zip(texts[::2], texts[1::2], strict=True):
            assert left.get("y") == right.get("y")
            size = 12.5 if left.get("class") == "strong" else 11.0
            assert text_width(left.text, size) + text_width(right.text, size) < BAR_WIDTH


def test_no_margins_no_picture():
    result = tug()
    core = replace(
        result.cores[0], margin=replace(result.cores[0].margin, value=np.full(6, np.nan))
    )
    assert margin_picture(replace(result, cores=(core,)), [(0, 0)], "Margins") == ""
    assert budget_picture(replace(result, budget=()), [(0, 0)]) == ""


def test_the_pressure_budget_by_hand():
    result = tug()
    drives, takes, left = budget_parts(result, "radiator", 0)
    assert left == pytest.approx(0.0, abs=1e-9)
    # 480 Pa ram, 12 Pa fan, 60 Pa suction at the exit
    assert [(number, round(value)) for number, _, value in drives] == [(1, 480), (5, 12), (7, 60)]
    assert [number for number, *_ in takes] == [2, 3, 4, 6]
    assert takes[0][2] == pytest.approx(60 * 0.902**2)
    # in the climb the fan takes; on the ground there is pressure at the exit
    assert 5 in [number for number, *_ in budget_parts(result, "radiator", 1)[1]]
    assert 7 in [number for number, *_ in budget_parts(result, "radiator", 5)[1]]


def test_budget_bars_are_to_scale():
    result = tug()
    root = svg(budget_picture(result, [(0, 0), (1, 0)]))
    rects = root.findall("rect")
    sizes = {rect.find("title").text: float(rect.get("width")) for rect in rects}
    ram = next(width for title, width in sizes.items() if "480 Pa" in title)
    fan = next(width for title, width in sizes.items() if title == "fan: 12 Pa")
    assert fan / ram == pytest.approx(12 / 480, abs=0.002)
    drives = sum(float(r.get("width")) for r in rects[:3])
    assert drives == pytest.approx(sum(float(r.get("width")) for r in rects[3:7]), abs=0.5)
    assert max(float(r.get("x")) + float(r.get("width")) for r in rects) <= BAR_WIDTH + 0.5
    assert [r.get("class") for r in rects].count("core-part") == 2
