"""`station reference --history`: every reference the band had, and what each was taken from."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path

from station.commands.serve import read_settings
from station.errors import UsageError
from station.keeping import STORE_NAME
from station.room.history import LogEntry, measured_words, to_csv, to_json
from station.room.store_log import read_log

NONE_YET = "No reference has been agreed on or set yet."
_KIND_WORDS = {"adopted": "agreed on", "undone": "taken back", "set": "set"}


def run_history(config: Path | None, as_json: bool, as_csv: bool) -> None:
    """Print the log of the station these settings describe, newest first.

    The station may be running. Raises SettingsError, UsageError for two formats
    at once, StorageError where there is nothing that can be read.
    """
    if as_json and as_csv:
        raise UsageError("--json and --csv are two formats: choose one")
    entries = read_log(read_settings(config).data_dir() / STORE_NAME)
    if as_json:
        lines = [json.dumps(row, ensure_ascii=False) for row in to_json(entries)]
        sys.stdout.writelines(f"{line}\n" for line in lines)
    elif as_csv:
        sys.stdout.write(to_csv(entries))
    else:
        sys.stdout.writelines(f"{line}\n" for line in told(entries))


def told(entries: Sequence[LogEntry]) -> Iterator[str]:
    """The log for people, a few lines an entry."""
    if not entries:
        yield NONE_YET
    for entry in entries:
        by = f" by {entry.by}" if entry.by else ""
        when = entry.at or "time unknown"
        yield f"{when}  A4 = {entry.a4_hz:.2f} Hz  {_KIND_WORDS[entry.kind]}{by}"
        if entry.source:
            yield f"    {entry.source}"
        if entry.agreed:
            yield f"    said yes: {', '.join(entry.agreed)}"
        if entry.away:
            yield f"    was asked, but had left: {', '.join(entry.away)}"
        for words in measured_words(entry.evidence):
            yield f"    {words}"
