"""Lengths, gauges, forces, unit weights and degrees as players write them."""

from __future__ import annotations

import pytest

from station.errors import WireError
from station.music.wire_units import (
    INCH_M,
    POUND_FORCE_N,
    POUND_PER_INCH_KG_M,
    gauge_text,
    parse_degrees,
    parse_force,
    parse_gauge,
    parse_length,
    parse_unit_weight,
    thousandths,
)


def test_conversions_are_exact() -> None:
    # NIST SP 811, appendix B: 1 in = 25.4 mm, 1 lbf = 4.448 221 615 260 5 N, both exact;
    # 1 lb/in = 17.857 97 kg/m.
    assert INCH_M == 0.0254
    assert pytest.approx(4.4482216152605, rel=1e-15) == POUND_FORCE_N
    assert pytest.approx(17.85797, rel=1e-6) == POUND_PER_INCH_KG_M


@pytest.mark.parametrize(
    "text", [".010", "0.010", "10", "010", "0.010in", '.010"', "0.254mm", " 10 "]
)
def test_a_gauge_of_ten_is_read_however_it_is_written(text: str) -> None:
    assert parse_gauge(text) == pytest.approx(0.254e-3, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "mm"),
    [("10.5", 0.2667), (".0085", 0.2159), ("105", 2.667), ("4", 0.1016), ("1mm", 1.0)],
)
def test_other_gauges_are_read(text: str, mm: float) -> None:
    assert parse_gauge(text) * 1e3 == pytest.approx(mm, rel=1e-9)


@pytest.mark.parametrize(
    "text", ["25.5in", '25.5"', "25.5 inches", "647.7mm", "64.77 cm", "0.6477m"]
)
def test_a_scale_length_is_read_in_every_unit(text: str) -> None:
    assert parse_length(text) == pytest.approx(0.6477, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "newtons"),
    [("72N", 72.0), ("16lb", 16 * 4.4482216152605), ("16 lbs", 71.171545844168), ("1kg", 9.80665)],
)
def test_a_pull_is_read_in_every_unit(text: str, newtons: float) -> None:
    assert parse_force(text) == pytest.approx(newtons, rel=1e-12)


@pytest.mark.parametrize("text", ["0.00672kg/m", "6.72g/m", "6.72 mg/mm", "0.000376302566lb/in"])
def test_a_unit_weight_is_read_in_every_unit(text: str) -> None:
    assert parse_unit_weight(text) == pytest.approx(6.72e-3, rel=1e-6)


@pytest.mark.parametrize(
    ("text", "degrees"), [("-8", -8.0), ("+3.5C", 3.5), ("-14.4F", -8.0), ("0", 0.0)]
)
def test_a_change_of_temperature_is_read(text: str, degrees: float) -> None:
    assert parse_degrees(text) == pytest.approx(degrees, abs=1e-12)


@pytest.mark.parametrize(
    ("parse", "text", "said"),
    [
        (parse_gauge, "", "write a number and its unit"),
        (parse_gauge, "x", "write a number and its unit"),
        (parse_gauge, "nan", "write a number and its unit"),
        (parse_gauge, "1e400", "write a number and its unit"),
        (parse_gauge, "0.25", "inches or mm?"),
        (parse_gauge, "2", "inches or mm?"),
        (parse_gauge, "0", "strings are .004 to .200 inch"),
        (parse_gauge, "-.010", "strings are .004 to .200 inch"),
        (parse_gauge, "3.9", "inches or mm?"),
        (parse_gauge, "201", "strings are .004 to .200 inch"),
        (parse_gauge, "10lb", "is not in in"),
        (parse_length, "25.5", "has no unit"),
        (parse_length, "25.5ft", "is not in in"),
        (parse_length, "-25.5in", "is the unit right?"),
        (parse_length, "25.5mm", "is the unit right?"),
        (parse_length, "648in", "is the unit right?"),
        (parse_force, "16", "has no unit"),
        (parse_force, "0lb", "more than 0"),
        (parse_force, "500lb", "at most 2000 N"),
        (parse_unit_weight, "6.7", "has no unit"),
        (parse_unit_weight, "6.7kg/m", "strings weigh"),
        (parse_degrees, "cold", "write a number and its unit"),
        (parse_degrees, "-8R", "is not in c"),
        (parse_degrees, "-61", "at most 60 degrees"),
    ],
)  # fmt: skip
def test_what_cannot_be_meant_is_said_in_one_line(parse, text: str, said: str) -> None:
    with pytest.raises(WireError) as fault:
        parse(text)

    assert said in str(fault.value)
    assert repr(text) in str(fault.value)
    assert "\n" not in str(fault.value)


def test_what_is_not_text_is_refused() -> None:
    with pytest.raises(WireError, match="is not text"):
        parse_gauge(10)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("mils", "text"), [(10, ".010"), (10.5, ".0105"), (9, ".009"), (100, ".100"), (46, ".046")]
)
def test_a_gauge_is_written_as_the_trade_does(mils: float, text: str) -> None:
    gauge_m = mils * 1e-3 * INCH_M

    assert gauge_text(gauge_m) == text
    assert thousandths(gauge_m) == pytest.approx(mils)
    assert parse_gauge(text) == pytest.approx(gauge_m)
