"""Run by the store's tests, killed at any moment: agrees on one reference after another.

Says on standard output which one it is about to store (``try 7``) and which
it has stored (``kept 7``). ``reference_for`` and the roll call it writes are
functions of the number, so the reader can tell what belongs together.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import Any

from station.room.history import LogEntry
from station.room.store import open_store

STRINGS = 12


def a4_of(number: int) -> float:
    return 400.0 + number % 600 / 10.0


def state_of(number: int) -> dict[str, Any]:
    """A state in which the reference, every string and every part carry the number."""
    return {
        "reference": {
            "serial": number,
            "a4_hz": a4_of(number),
            "set_at": "",
            "by": f"vote {number}",
            "source": "test",
            "agreed": [f"voter {number}"],
        },
        "strings": [
            {
                "player": "oda",
                "string": string,
                "midi": 40 + string,
                "offset_cents": 0.0,
                "roll": "in",
                "cents": float(number),
                "uncertainty_cents": 0.1,
                "verdict": "in",
            }
            for string in range(1, STRINGS + 1)
        ],
        "players": [],
        "agreement": {"next_id": number},
        "measured": [number] if number % 2 else [],
        "steps": [],
        "log": [entry_of(number).as_json()],
    }


def entry_of(number: int) -> LogEntry:
    """The log's entry that belongs to the reference of that number."""
    name = f"voter {number}"
    evidence = {"number": number}
    return LogEntry(
        number, "", a4_of(number), "adopted", f"vote {number}", "test", (name,), (), evidence
    )


def main() -> None:
    opened = open_store(Path(sys.argv[1]), "writer")
    number = 0 if opened.state is None else opened.state["reference"]["serial"]
    while True:
        number += 1
        os.write(1, b"try %d\n" % number)
        opened.store.save(state_of(number))
        os.write(1, b"kept %d\n" % number)


if __name__ == "__main__":
    main()
