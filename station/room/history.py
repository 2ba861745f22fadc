"""Every reference the band had, with its evidence: the log's values and how they are written.

An entry is made whenever a reference is adopted, set outright or undone.
Pure; `store_log` keeps the entries.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields
from typing import Any, Literal

from station.measure.fixed.instrument import odds_words

ChangeKind = Literal["adopted", "undone", "set"]

LOG_MAX = 1000
COLUMNS = (
    "serial", "at", "a4_hz", "kind", "by", "source", "agreed", "away", "measured", "evidence",
)  # fmt: skip
_FORMULA_SIGNS = ("=", "+", "-", "@", "\t", "\r")


@dataclass(frozen=True, slots=True)
class LogEntry:
    """One change of the reference.

    ``serial`` grows by one with every change. ``at`` is wall-clock time, ISO
    8601 text in UTC. ``agreed`` and ``away`` are names of players: who said yes,
    and who was asked but had left. ``evidence`` is the JSON data of the
    instruments, or of the compromise, it was taken from.
    """

    serial: int
    at: str
    a4_hz: float
    kind: ChangeKind
    by: str
    source: str
    agreed: tuple[str, ...] = ()
    away: tuple[str, ...] = ()
    evidence: dict[str, Any] | None = None

    def as_json(self) -> dict[str, Any]:
        values = {field.name: getattr(self, field.name) for field in fields(self)}
        return {**values, "agreed": list(self.agreed), "away": list(self.away)}


def merged(stored: Iterable[LogEntry], recent: Iterable[LogEntry]) -> list[LogEntry]:
    """Entries from the store and those not yet in it, newest first, each once."""
    by_serial = {entry.serial: entry for entry in (*stored, *recent)}
    return [by_serial[serial] for serial in sorted(by_serial, reverse=True)]


def to_json(entries: Iterable[LogEntry]) -> list[dict[str, Any]]:
    """The entries as JSON data, in the order given."""
    return [entry.as_json() for entry in entries]


def to_csv(entries: Iterable[LogEntry]) -> str:
    """The entries as a table (RFC 4180) with a header.

    A cell that a spreadsheet would take for a formula begins with an
    apostrophe, so that a name somebody typed is never run.
    """
    table = io.StringIO()
    writer = csv.writer(table)
    writer.writerow(COLUMNS)
    for entry in entries:
        writer.writerow([_plain_cell(cell) for cell in _cells(entry)])
    return table.getvalue()


def measured_words(evidence: dict[str, Any] | None) -> list[str]:
    """A few words on each instrument in the evidence; none where there is none, or it is odd."""
    instruments = (evidence or {}).get("instruments")
    rows = instruments if isinstance(instruments, Sequence) else ()
    return [text for text in map(_instrument_words, rows) if text]


def _instrument_words(row: Any) -> str:
    try:
        words = f"{row['name']} {row['a4_hz']:.2f} Hz ± {row['uncertainty_cents']:.2g} cents"
        temperament, root = row["temperament"], row["root"]
    except (KeyError, TypeError, ValueError):
        return ""
    if not temperament:
        return words
    return f"{words}, {_tuned(temperament, root)}{_odds_words(row.get('evidence'))}"


def _tuned(temperament: Any, root: Any) -> str:
    return f"{temperament} in {root}" if root else str(temperament)


def _odds_words(evidence: Any) -> str:
    """`` (86 %, 6 to 1 against Young)``; nothing where that was not kept, or is odd."""
    try:
        shares = [float(each["probability"]) for each in evidence]
        odds = odds_words(shares)
        against = f", {odds} against {evidence[1]['temperament']}" if odds else ""
        return f" ({min(100.0 * shares[0], 99.9):.3g} %{against})"
    except (IndexError, KeyError, TypeError, ValueError, ZeroDivisionError):
        return ""


def _cells(entry: LogEntry) -> list[str]:
    return [
        str(entry.serial),
        entry.at,
        f"{entry.a4_hz:.4f}",
        entry.kind,
        entry.by,
        entry.source,
        "; ".join(entry.agreed),
        "; ".join(entry.away),
        "; ".join(measured_words(entry.evidence)),
        "" if entry.evidence is None else json.dumps(entry.evidence, ensure_ascii=False),
    ]


def _plain_cell(cell: str) -> str:
    return f"'{cell}" if cell.startswith(_FORMULA_SIGNS) else cell
