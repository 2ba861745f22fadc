"""The report: one page, nothing to fetch, whatever people are called."""

from __future__ import annotations

import csv
import io
import itertools
import re
import xml.etree.ElementTree as ET

import pytest

from station.record.model import ROW_KEYS, Rehearsal, Row
from station.record.plots import Line, pitch_plot, span_plot
from station.record.report import to_csv, to_html
from tests.record.test_recorder import recorded
from tests.support.evenings import PLAYERS

EVENING = Rehearsal(4, "2031-05-04T18:00:00Z", 3600.0, "Cellar room", PLAYERS)


def drawings(page: str) -> list[ET.Element]:
    return [ET.fromstring(each) for each in re.findall(r"<svg.*?</svg>", page, re.S)]


def test_a_report_tells_the_evening_in_order():
    page = to_html(EVENING, recorded(60))

    headings = re.findall(r"<h2>(.*?)</h2>", page)
    assert headings == [
        "The reference", "Roll call", "Tove", "Brannock", "The band together", "Gaps",
    ]  # fmt: skip
    assert "2031-05-04 18:00:00 UTC, 60 minutes" in page
    assert "441.30 Hz" in page
    assert len(drawings(page)) == 5


def test_nothing_is_fetched_and_nothing_runs():
    page = to_html(EVENING, recorded(60))

    assert not re.search(r"https?:|<script|<img|<link|url\(|@import", page)
    assert "@page { size: A4" in page


def test_a_drawing_puts_higher_pitch_higher_and_later_to_the_right():
    drawn = ET.fromstring(
        pitch_plot([Line("6", [(0.0, -10.0), (1800.0, 10.0)])], 3600.0, unit="cents")
    )

    (low, high) = drawn.findall("circle")
    assert float(high.get("cy", 0)) < float(low.get("cy", 0))
    assert float(high.get("cx", 0)) > float(low.get("cx", 0))
    # Half of the hour is half of the plot's width.
    left, right = float(low.get("cx", 0)), 680.0 - 44.0
    assert float(high.get("cx", 0)) == pytest.approx((left + right) / 2, abs=0.1)


def test_labels_of_lines_that_end_together_do_not_lie_on_each_other():
    drawn = ET.fromstring(
        pitch_plot([Line(name, [(0.0, 0.0), (60.0, 0.01)]) for name in "abcdef"], 60.0, unit="Hz")
    )
    heights = sorted(
        float(t.get("y", 0)) for t in drawn.findall("text") if (t.text or "") in "abcdef"
    )

    assert min(b - a for a, b in itertools.pairwise(heights)) >= 10.9


@pytest.mark.parametrize("name", ["<b>Tove</b>", 'Tove & "Co"', "=1+1", "O'Dell"])
def test_names_are_text_and_never_markup(name):
    rehearsal = Rehearsal(1, "2031-05-04T18:00:00Z", 600.0, name, {"tove": name})
    rows = [Row("reading", 1.0, "tove", 6, -1.0, 0.1), Row("check", 1.0, "tove", 6, word="in")]

    page = to_html(rehearsal, rows)

    assert "<b>" not in page
    assert len(drawings(page)) == 2


def test_an_evening_without_anything_is_a_page_all_the_same():
    page = to_html(Rehearsal(1, "", 0.0), [])

    assert "<h1>Rehearsal room</h1>" in page
    assert drawings(page) == []


@pytest.mark.parametrize("lasted_s", [0.0, 1.0, 60.0, 5e4])
def test_drawings_stand_whatever_the_length(lasted_s):
    for text in (
        pitch_plot([Line("x", [(0.0, 440.0)], steps=True)], lasted_s, unit="Hz"),
        pitch_plot([], lasted_s, unit="Hz"),
        span_plot([("Tove", [(0.0, "in"), (lasted_s, "out")])], lasted_s),
    ):
        numbers = [float(n) for n in re.findall(r'c[xy]="([-\d.]+)"', text)]
        assert all(0.0 <= n <= 680.0 for n in numbers)


def test_the_table_holds_every_row_and_runs_nothing():
    rows = [Row("reference", 0.0, hz=441.3, word="=cmd()"), Row("gap", 3.0, end_s=33.5)]

    table = list(csv.reader(io.StringIO(to_csv(rows))))

    assert tuple(table[0]) == ROW_KEYS
    assert table[1][ROW_KEYS.index("word")] == "'=cmd()"
    assert table[2][ROW_KEYS.index("end_s")] == "33.5"


def test_a_drift_is_told_once_with_its_course_and_one_after_a_tuning_as_another():
    at_s = [600.0 * gap for gap in range(1, 7)]
    drifts = [
        Row("drift", at_s[0], "tove", 6, -6.0, 0.7),
        Row("drift", at_s[1], "tove", 6, -8.5, 0.7),
        Row("drift", at_s[2], "tove", 6, -9.9, 0.6),
        Row("drift", at_s[4], "tove", 6, 7.0, 0.8),
    ]
    band = [Row("drift", each, cents=0.0, uncertainty_cents=0.3) for each in at_s]

    page = to_html(EVENING, sorted([*drifts, *band], key=lambda row: row.at_s))

    told = re.findall(r"<tr><td>string 6</td><td>(.*?)</td><td class=number>(.*?)</td>", page)
    assert told == [
        ("10 min to 30 min", "-6.0, -8.5, -9.9 &plusmn;0.6 cents"),
        ("50 min", "+7.0 &plusmn;0.8 cents"),
    ]


def test_labels_stand_in_the_order_of_their_lines_and_inside_the_plot():
    lines = [
        Line(name, [(0.0, 0.0), (60.0, cents)])
        for name, cents in zip("abcdef", (0, 0.2, 9, 0.1, -9, 8.9), strict=True)
    ]

    drawn = ET.fromstring(pitch_plot(lines, 60.0, unit="cents", height=170.0))

    heights = {
        each.text: float(each.get("y", 0)) for each in drawn.iter("text") if each.text in "abcdef"
    }
    assert sorted(heights, key=heights.__getitem__) == ["c", "f", "b", "d", "a", "e"]
    assert all(10.0 < y < 152.0 for y in heights.values())
    assert all(b - a >= 10.9 for a, b in itertools.pairwise(sorted(heights.values())))
