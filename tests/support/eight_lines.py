"""Eight players at once: what the station's memory and load are measured with."""

from __future__ import annotations

from pathlib import Path

import psutil

from tests.support.recordings import BASS, BASS_STRINGS, GUITAR, GUITAR_STRINGS, record
from tests.support.soundfont import Strike

LINES = 8
EIGHT_PLAYERS = tuple(
    (name, "bass" if line > 5 else "guitar", line)
    for line, name in enumerate(
        ("Tove", "Brannock", "Ilse", "Yorick", "Maren", "Ossian", "Petra", "Lunt"), start=1
    )
)


def record_eight_lines(path: Path, length_s: float) -> Path:
    """Eight lines that play without a rest, each its own strings, a stroke every 0.8 s."""
    lines = []
    for _, instrument, line in EIGHT_PLAYERS:
        program, strings = (
            (BASS, BASS_STRINGS) if instrument == "bass" else (GUITAR, GUITAR_STRINGS)
        )
        strokes = range(int(length_s / 0.8))
        lines.append(
            [
                Strike(program, strings[(stroke + line) % len(strings)], 0.1 + stroke * 0.8, 0.75)
                for stroke in strokes
            ]
        )
    return record(path, *lines)


def memory_mb(processes: list[psutil.Process]) -> dict[str, float]:
    """Resident memory of these processes in MB (1e6 bytes).

    ``rss`` counts pages they share once for each of them, ``pss`` divides a page among all
    processes of the box that map it, ``uss`` counts what only one of them has.
    """
    told = [process.memory_full_info() for process in processes]
    return {kind: sum(getattr(each, kind) for each in told) / 1e6 for kind in ("rss", "pss", "uss")}
