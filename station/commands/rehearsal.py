"""`station rehearsal`: the record of past rehearsals, listed, shown and taken out."""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path

from station.commands.serve import read_settings
from station.errors import StorageError
from station.record.model import Rehearsal, Row
from station.record.report import to_csv, to_html
from station.record.store import RECORD_NAME, RecordStore


def open_record(config: Path | None) -> RecordStore:
    """The record these settings keep; raises StorageError where there is none."""
    return RecordStore(read_settings(config).data_dir() / RECORD_NAME, only_read=True)


def run_list(config: Path | None, as_json: bool) -> None:
    """A line for each rehearsal, newest first."""
    for each in open_record(config).rehearsals():
        print(_as_json(each) if as_json else _as_text(each))  # noqa: T201


def run_show(config: Path | None, number: int | None, as_json: bool) -> None:
    """One rehearsal in words, or every row as JSON."""
    record = open_record(config)
    chosen = record.rehearsal(number)
    rows = record.rows(chosen.number)
    if as_json:
        print(_as_json(chosen))  # noqa: T201
        for row in rows:
            told = {key: value for key, value in asdict(row).items() if value not in (None, "")}
            print(json.dumps(told, ensure_ascii=False))  # noqa: T201
        return
    print(_as_text(chosen))  # noqa: T201
    for line in in_words(chosen, rows):
        print(line)  # noqa: T201


def run_export(config: Path | None, number: int | None, out: Path | None, as_csv: bool) -> None:
    """Write the report, or the table, to a file or to standard output."""
    record = open_record(config)
    chosen = record.rehearsal(number)
    rows = record.rows(chosen.number)
    text = to_csv(rows) if as_csv else to_html(chosen, rows)
    if out is None:
        print(text, end="")  # noqa: T201
        return
    try:
        out.write_text(text, encoding="utf-8", newline="")
    except OSError as error:
        raise StorageError(f"{out}: cannot be written: {error.strerror}") from error


def in_words(rehearsal: Rehearsal, rows: list[Row]) -> list[str]:
    """What was noted but the readings, a line each."""
    return [
        f"{row.at_s / 60:6.1f} min  {_said(rehearsal, row)}"
        for row in rows
        if row.kind != "reading"
    ]


def _said(rehearsal: Rehearsal, row: Row) -> str:
    who = rehearsal.players.get(row.player, row.player)
    which = "all strings" if row.string is None else f"string {row.string}"
    if row.kind == "reference":
        return f"the reference is {row.hz:.2f} Hz ({row.word})"
    if row.kind == "gap":
        return f"a gap of {(row.end_s or row.at_s) - row.at_s:.0f} s"
    cents = "" if row.cents is None else f"{row.cents:+.1f} cents"
    if row.kind == "drift":
        return f"{f'{who}, {which}' if row.player else 'the whole band'}: had drifted {cents}"
    return f"{who}, {which}: {row.word} ({cents})"


def _as_json(rehearsal: Rehearsal) -> str:
    return json.dumps({"kind": "rehearsal", **rehearsal.as_json()}, ensure_ascii=False)


def _as_text(rehearsal: Rehearsal) -> str:
    names = ", ".join(rehearsal.players.values()) or "nobody"
    began = rehearsal.began_at.replace("T", " ").removesuffix("Z")
    return f"{rehearsal.number:4d}  {began} UTC  {rehearsal.lasted_s / 60:4.0f} min  {names}"
