"""A rehearsal's report: one HTML page that prints to A4, with nothing to fetch. Pure."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from dataclasses import astuple
from html import escape

from station.record.model import ROW_KEYS, Rehearsal, Row
from station.record.plots import Line, pitch_plot, span_plot

IN_CENTS = 2.0
COURSE_STEPS = 5  # so many steps of a drift are told, and of a longer one its course in four
STYLE = """
@page { size: A4; margin: 16mm 14mm }
body { font: 11pt/1.4 system-ui, sans-serif; color: #111; background: #fff;
       max-width: 182mm; margin: 8mm auto; padding: 0 4mm }
h1 { font-size: 18pt; margin: 0 } h2 { font-size: 12pt; margin: 7mm 0 1mm }
section { break-inside: avoid } p { margin: 1mm 0 }
table { border-collapse: collapse; width: 100% }
th, td { text-align: left; padding: 0.6mm 2mm 0.6mm 0 }
tr { border-bottom: 0.2mm solid #bbb } .number { text-align: right }
svg { width: 100%; height: auto; display: block } svg text { font-size: 9px; fill: #333 }
svg .end { text-anchor: end } svg .middle { text-anchor: middle }
svg .rule { stroke: #ccc; fill: none } svg .band { fill: #e8eef6 } svg .gap { fill: #f3f0e8 }
svg .lead { stroke: #888; fill: none; stroke-width: 0.6 }
svg .line { stroke: #123; fill: none; stroke-width: 1.3 } svg .point { fill: #123 }
svg .in { fill: #123; stroke: #123 } svg .out { fill: #fff; stroke: #123; stroke-width: 1.5 }
@media print { body { margin: 0; padding: 0; max-width: none } }
"""


def to_html(rehearsal: Rehearsal, rows: Sequence[Row]) -> str:
    """The whole page. Names and texts come from people and are escaped."""
    room = escape(rehearsal.room or "Rehearsal room")
    when = escape(_day(rehearsal.began_at))
    parts = [
        f"<h1>{room}</h1><p>{when} UTC, {_minutes(rehearsal.lasted_s)}</p>",
        _reference(rehearsal, rows),
        _roll_call(rehearsal, rows),
        *_drifts(rehearsal, rows),
        _gaps(rehearsal, rows),
    ]
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{room}, {when}</title><style>{STYLE}</style></head>"
        f"<body>{''.join(parts)}</body></html>\n"
    )


def to_csv(rows: Iterable[Row]) -> str:
    """Every row as comma-separated values (RFC 4180), the keys first."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(ROW_KEYS)
    for row in rows:
        writer.writerow(["" if value is None else _safe(value) for value in astuple(row)])
    return out.getvalue()


def _safe(value: object) -> object:
    """Text that a spreadsheet would run as a formula is kept text by a leading apostrophe."""
    return f"'{value}" if isinstance(value, str) and value[:1] in ("=", "+", "-", "@") else value


def _reference(rehearsal: Rehearsal, rows: Sequence[Row]) -> str:
    told = [row for row in rows if row.kind == "reference" and row.hz is not None]
    if not told:
        return ""
    points = [(row.at_s, float(row.hz or 0.0)) for row in told]
    plot = pitch_plot(
        [Line("A4", points, steps=True)],
        rehearsal.lasted_s,
        unit="Hz",
        height=110.0,
        title="the reference over the evening",
    )
    cells = "".join(
        f"<tr><td>{_clock(row.at_s)}</td><td class=number>{row.hz:.2f} Hz</td>"
        f"<td>{escape(row.word)}</td></tr>"
        for row in told
    )
    return f"<section><h2>The reference</h2>{plot}<table>{cells}</table></section>"


def _roll_call(rehearsal: Rehearsal, rows: Sequence[Row]) -> str:
    checks = [row for row in rows if row.kind == "check"]
    if not checks:
        return ""
    marks = [
        (name, [(row.at_s, row.word) for row in checks if row.player == player])
        for player, name in rehearsal.players.items()
    ]
    shown = [(name, found) for name, found in marks if found]
    plot = span_plot(shown, rehearsal.lasted_s)
    return (
        "<section><h2>Roll call</h2><p>A filled mark: a string came in. An open one: it was found"
        f" out.</p>{plot}</section>"
    )


def _drifts(rehearsal: Rehearsal, rows: Sequence[Row]) -> list[str]:
    gaps = [(row.at_s, row.end_s) for row in rows if row.kind == "gap" and row.end_s is not None]
    told_s = sorted({row.at_s for row in rows if row.kind == "drift"})
    sections = []
    for player, name in rehearsal.players.items():
        heard = [row for row in rows if row.player == player and row.kind in ("reading", "drift")]
        lines = _lines(heard)
        if not lines:
            continue
        plot = pitch_plot(
            lines,
            rehearsal.lasted_s,
            unit="cents",
            height=170.0,
            band=(-IN_CENTS, IN_CENTS),
            gaps=gaps,
            title=f"{name}'s strings over the evening",
        )
        sections.append(f"<section><h2>{escape(name)}</h2>{plot}{_found(heard, told_s)}</section>")
    common = [
        (r.at_s, r.cents)
        for r in rows
        if r.kind == "drift" and not r.player and r.cents is not None
    ]
    if common:
        plot = pitch_plot(
            [Line("all", common)], rehearsal.lasted_s, unit="cents", height=110.0,
            band=(-IN_CENTS, IN_CENTS), title="the whole band over the evening",
        )  # fmt: skip
        sections.append(f"<section><h2>The band together</h2>{plot}</section>")
    return sections


def _lines(heard: Sequence[Row]) -> list[Line]:
    numbers = sorted({row.string for row in heard if row.string is not None}, reverse=True)
    lines = [
        Line(
            str(number),
            [(r.at_s, r.cents) for r in heard if r.string == number and r.cents is not None],
        )
        for number in numbers
    ]
    whole = [(r.at_s, r.cents) for r in heard if r.string is None and r.cents is not None]
    return [*lines, *([Line("all", whole)] if whole else [])]


def _found(heard: Sequence[Row], told_s: Sequence[float]) -> str:
    """In words what was found to have drifted: each drift once, from gap to gap.

    `told_s` are the times of all gaps at which anything was told of drifts: a string that is not
    listed at one of them was tuned before it, and what follows is another drift.
    """
    drifts: list[list[Row]] = []
    for row in (each for each in heard if each.kind == "drift" and each.cents is not None):
        open_ = next((d for d in drifts if d[-1].string == row.string), None)
        if open_ is not None and not any(open_[-1].at_s < at_s < row.at_s for at_s in told_s):
            open_.append(row)
        else:
            drifts.insert(0, [row])
    drifts.sort(key=lambda drift: drift[0].at_s)
    cells = "".join(map(_drift_cells, drifts))
    return f"<p>Had drifted, as heard at gaps:</p><table>{cells}</table>" if cells else ""


def _drift_cells(drift: Sequence[Row]) -> str:
    first, last = drift[0], drift[-1]
    when = _clock(first.at_s)
    course = f"{first.cents:+.1f}"
    if len(drift) > 1:
        when += f" to {_clock(last.at_s)}"
        steps = drift if len(drift) <= COURSE_STEPS else [*drift[:: len(drift) // 3][:3], last]
        course = ", ".join(f"{row.cents:+.1f}" for row in steps)
    string = "all strings" if first.string is None else f"string {first.string}"
    return (
        f"<tr><td>{string}</td><td>{when}</td>"
        f"<td class=number>{course}{_unsure(last)} cents</td></tr>"
    )


def _unsure(row: Row) -> str:
    return "" if row.uncertainty_cents is None else f" &plusmn;{row.uncertainty_cents:.1f}"


def _gaps(rehearsal: Rehearsal, rows: Sequence[Row]) -> str:
    found = [row for row in rows if row.kind == "gap" and row.end_s is not None]
    if not found:
        return ""
    paused_s = sum(float(row.end_s or 0.0) - row.at_s for row in found)
    return (
        f"<section><h2>Gaps</h2><p>{len(found)} between songs, {_minutes(paused_s)} of"
        f" {_minutes(rehearsal.lasted_s)} altogether.</p></section>"
    )


def _day(began_at: str) -> str:
    return began_at.replace("T", " ").removesuffix("Z")


def _clock(at_s: float) -> str:
    minutes = int(at_s // 60)
    return f"{minutes // 60}:{minutes % 60:02d} h" if minutes >= 60 else f"{minutes} min"


def _minutes(seconds: float) -> str:
    minutes = round(seconds / 60)
    return f"{minutes} minute{'' if minutes == 1 else 's'}"
