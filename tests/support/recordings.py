"""Recordings of several players, each on a line of their own, and what a file says of them."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import soundfile

from tests.support.soundfont import Strike, render

# General MIDI 1 sound set, counted from 0: steel-string guitar, finger-plucked electric bass.
GUITAR, BASS = 25, 33
# Open strings from the lowest, MIDI note numbers (equal temperament, MIDI 69 = A4).
GUITAR_STRINGS = (40, 45, 50, 55, 59, 64)
BASS_STRINGS = (28, 33, 38, 43)
RATE_HZ = 48_000


def record(path: Path, *lines: list[Strike]) -> Path:
    """Render each list of strikes and put them side by side: line 1, line 2, ..."""
    takes = []
    for number, strikes in enumerate(lines, start=1):
        take = render(path.with_name(f"{path.stem}-{number}.wav"), strikes, RATE_HZ)
        samples, _ = soundfile.read(take, dtype="int16")
        takes.append(samples[:, 0])  # rendered in the middle: both channels are the same
        take.unlink()
    whole = np.zeros((max(map(len, takes)), len(takes)), np.int16)
    for place, take in enumerate(takes):
        whole[: len(take), place] = take
    soundfile.write(path, whole, RATE_HZ, subtype="PCM_16")
    return path


def strings_in_turn(
    program: int, strings: tuple[int, ...], every_s: float, bend_cents: float
) -> list[Strike]:
    """The open strings one after the other, each bent by so many cents."""
    return [
        Strike(program, midi, 0.3 + place * every_s, every_s - 0.1, bend_cents=bend_cents)
        for place, midi in enumerate(strings)
    ]


def heard_in_file(path: Path, tuning: str, line: int, a4_hz: float = 440.0) -> list[dict[str, Any]]:
    """What ``station hear --json`` says of one line of a file: readings and notes."""
    command = [sys.executable, "-m", "station.cli", "hear", "--json", "--tuning", tuning]
    done = subprocess.run(
        [*command, "--a4", f"{a4_hz:g}", str(path)],
        check=True,
        capture_output=True,
        text=True,
        timeout=120,
    )
    said = [json.loads(row) for row in done.stdout.splitlines()]
    return [each for each in said if each["line"] == line]
