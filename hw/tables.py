"""The tables of the wiring guide, made from the code's own numbers.

In the guide each stands between ``<!-- table: name -->`` and ``<!-- end -->``.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import astuple

from hw.line_levels import (
    BLOCKING_F,
    CONSUMER_DBV,
    LOWEST_HZ,
    PADS,
    SOURCE_OHM,
    STUDIO_DBU,
    STUDIO_PEAK_DBU,
    corner_hz,
    dbu_to_v,
    dbv_to_v,
    high_pass_db,
    pad_db,
    pad_input_ohm,
    v_to_dbu,
    v_to_dbv,
)
from station.lamps.electrics import (
    DIODES,
    FORWARD_V,
    PIN_LIMIT_MA,
    SUPPLY_V,
    TOTAL_LIMIT_MA,
    WANTED_MA,
    currents,
    series_resistor_ohm,
)
from station.lamps.pins import (
    BAND,
    COLUMN,
    GROUND_OF_BUTTONS,
    GROUND_OF_LAMPS,
    HEADER_OF,
    QUIET_BUTTON,
    REFERENCE_BUTTON,
)
from station.lamps.wiring import COUNTS, NOT_FOR_BUTTONS, NOT_FOR_LAMPS, SPOKEN_FOR

Row = Sequence[object]
MARK = re.compile(r"(<!-- table: ([a-z-]+) -->\n).*?(<!-- end -->)", re.DOTALL)


def with_tables(guide: str) -> str:
    """The guide with every table made anew; raises KeyError for one nobody makes."""
    return MARK.sub(lambda found: f"{found[1]}{TABLES[found[2]]()}{found[3]}", guide)


def pins() -> str:
    """What goes to which pin."""
    rows: list[Row] = [
        (lamp.name, lamp.colour, lamp.bcm, lamp.header, f"{lamp.resistor_ohm} Ω")
        for lamp in (*reversed(COLUMN), BAND)
    ]
    rows += [
        (f"button: {push.name}", "", push.bcm, push.header, "none")
        for push in (QUIET_BUTTON, REFERENCE_BUTTON)
    ]
    rows.append(("ground of the lamps", "", "", GROUND_OF_LAMPS, ""))
    rows.append(("ground of the buttons", "", "", GROUND_OF_BUTTONS, ""))
    return _table(("lamp or button", "colour", "GPIO", "header pin", "resistor"), rows)


def resistors() -> str:
    """How each colour's resistor comes about."""
    rows = []
    for colour, forward_v in FORWARD_V.items():
        wanted_ma = WANTED_MA[colour]
        exact_ohm = 1000.0 * (SUPPLY_V - forward_v) / wanted_ma
        ohm = series_resistor_ohm(forward_v, wanted_ma)
        sum_ = f"({SUPPLY_V:g} V - {forward_v:g} V) / {wanted_ma:g} mA = {exact_ohm:.0f} Ω"
        rows.append((colour, sum_, f"{ohm} Ω"))
    return _table(("colour", "Ohm's law", "next E12 value"), rows)


def budget() -> str:
    """What flows, at the least, usually and at the most."""
    lamps = (*COLUMN, BAND)
    rows: list[Row] = []
    totals = [0.0, 0.0, 0.0]
    for colour in DIODES:
        count = sum(lamp.colour == colour for lamp in lamps)
        flows = currents(colour, series_resistor_ohm(FORWARD_V[colour], WANTED_MA[colour]))
        each = (flows.least_ma, flows.usual_ma, flows.most_ma)
        totals = [total + count * one for total, one in zip(totals, each, strict=True)]
        diode = DIODES[colour]
        rows.append(
            (
                f"{colour}, {count} of them",
                f"{diode.lowest_v:g} to {diode.highest_v:g} V",
                *(f"{one:.1f} mA" for one in each),
            )
        )
    rows.append(("all eight, fully lit", "", *(f"{total:.1f} mA" for total in totals)))
    rows.append(
        ("limit of a pin / of all", "", "", "", f"{PIN_LIMIT_MA:g} / {TOTAL_LIMIT_MA:g} mA")
    )
    return _table(("lamps", "rated at 20 mA", "at the least", "usually", "at the most"), rows)


def free() -> str:
    """Which GPIO may have a lamp or a button of one's own, and who else may want it."""
    alike: dict[Row, list[int]] = {}
    for bcm in sorted(HEADER_OF):
        wanted = SPOKEN_FOR.get(bcm, "read at the start" if bcm in NOT_FOR_BUTTONS else "nobody")
        answers = tuple("no" if bcm in none else "yes" for none in (NOT_FOR_LAMPS, NOT_FOR_BUTTONS))
        alike.setdefault((*answers, wanted), []).append(bcm)
    rows: list[Row] = [(", ".join(map(str, pins)), *answer) for answer, pins in alike.items()]
    return _table(("GPIO", "a lamp", "a button", "who else wants it"), rows)


def smaller() -> str:
    """What flows through columns of each length, with and without the band lamp."""
    rows: list[Row] = []
    for count in COUNTS:
        half = (len(COLUMN) - count) // 2
        column = COLUMN[half : len(COLUMN) - half]
        for name, lamps in (("", column), (" and the band lamp", (*column, BAND))):
            flows = [currents(lamp.colour, lamp.resistor_ohm) for lamp in lamps]
            sums = [sum(values) for values in zip(*map(astuple, flows), strict=True)]
            rows.append((f"{count} lamps{name}", *(f"{one:.1f} mA" for one in sums)))
    return _table(("fully lit", "at the least", "usually", "at the most"), rows)


def levels() -> str:
    """The nominal levels."""
    rows = []
    for name, volts in (
        (f"consumer, {CONSUMER_DBV:g} dBV", dbv_to_v(CONSUMER_DBV)),
        (f"studio, {STUDIO_DBU:+g} dBu", dbu_to_v(STUDIO_DBU)),
        (f"studio, at the loudest {STUDIO_PEAK_DBU:+g} dBu", dbu_to_v(STUDIO_PEAK_DBU)),
    ):
        rows.append((name, f"{volts:.3f} V", f"{v_to_dbv(volts):+.1f}", f"{v_to_dbu(volts):+.1f}"))
    return _table(("level", "rms", "dBV", "dBu"), rows)


def pads() -> str:
    """What each pad does."""
    rows = []
    for name, (series, shunt) in PADS.items():
        loaded = pad_db(series, shunt)
        seen = pad_input_ohm(series, shunt)
        corner = corner_hz(seen, BLOCKING_F)
        rows.append(
            (
                name,
                f"{series / 1000:g} kΩ, {shunt / 1000:g} kΩ",
                f"{loaded:.1f} dB ({pad_db(series, shunt, source_ohm=SOURCE_OHM):.1f})",
                f"{seen / 1000:.1f} kΩ",
                f"{v_to_dbv(dbu_to_v(STUDIO_DBU)) + loaded:.1f} dBV",
                f"{v_to_dbv(dbu_to_v(STUDIO_PEAK_DBU)) + loaded:+.1f} dBV",
                f"{corner:.1f} Hz, {high_pass_db(LOWEST_HZ, corner):.2f} dB",
            )
        )
    head = (
        "pad", "R1, R2", "takes away (from 600 Ω)", "source sees", "+4 dBu becomes",
        "+24 dBu becomes", "corner; at 27.5 Hz",
    )  # fmt: skip
    return _table(head, rows)


def _table(head: Sequence[str], rows: Sequence[Row]) -> str:
    lines = [head, ["---"] * len(head), *rows]
    return "".join(f"| {' | '.join(str(cell) for cell in line)} |\n" for line in lines)


TABLES: dict[str, Callable[[], str]] = {
    "pins": pins,
    "resistors": resistors,
    "budget": budget,
    "free": free,
    "smaller": smaller,
    "levels": levels,
    "pads": pads,
}
