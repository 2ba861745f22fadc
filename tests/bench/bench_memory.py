"""What a listener keeps over an evening, and what each further line costs.

    .venv/bin/python -m tests.bench.bench_memory [MINUTES]

An evening of plucked strings with pauses and hiss, the same each time it is played,
is heard as fast as it goes: resident memory after every five minutes of sound, and
its growth since the first of them, by when everything has been asked of the listener
once. Then one, two, four and eight lines of two minutes, block by block in turn:
processor time a line, over that of one line alone. Linear would be 1.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator

import numpy as np
import psutil

from station.measure.listener import Listener
from station.measure.types import Note
from tests.support.strings import Floats, StiffString, noise

RATE_HZ = 48000
BLOCK = 1024
MINUTES = 60.0
REPORT_MIN = 5.0
COST_S = 120.0
LINES = (1, 2, 4, 8)
# Open strings of bass and guitar, MIDI note numbers.
STRINGS = (23, 28, 33, 38, 43, 40, 45, 50, 55, 59, 64)
PART_S = 60.0


def evening(seed: int) -> Iterator[Floats]:
    """Strokes at random, a minute at a time, without end; the strings are made once."""
    rng = np.random.default_rng(seed)
    plucks = [
        StiffString(440 * 2 ** ((midi - 69) / 12), 8e-5, level=0.1).sound(RATE_HZ, 3.0, midi)
        for midi in STRINGS
    ]
    hiss = noise(round(PART_S * RATE_HZ), -75.0, seed)
    while True:
        x = hiss.copy()
        at_s = rng.uniform(0, 1)
        while at_s < PART_S - 0.5:
            every_s = rng.choice([0.4, 0.8, 1.5, 2.5, 8.0])
            start, stop = round(at_s * RATE_HZ), round(min(at_s + every_s, PART_S) * RATE_HZ)
            pluck = rng.uniform(0.05, 1.0) * plucks[rng.integers(len(plucks))][: stop - start]
            x[start : start + pluck.size] += pluck
            at_s += every_s
        yield x.astype(np.float32)


def print_memory(minutes: float) -> None:
    """Listen to `minutes` of one line; print what the process holds."""
    own = psutil.Process()
    listener, parts = Listener(RATE_HZ), evening(seed=1)
    first_mb, heard_s, notes = None, 0.0, 0
    print("minutes of sound   notes   rss, MB   growth, MB")
    while heard_s < 60 * minutes:
        samples = next(parts)
        for start in range(0, samples.size, BLOCK):
            said = listener.push(samples[start : start + BLOCK])
            notes += sum(isinstance(each, Note) for each in said)
        heard_s += samples.size / RATE_HZ
        if heard_s % (60 * REPORT_MIN) < 1e-6 or heard_s >= 60 * minutes:
            rss_mb = own.memory_info().rss / 1e6
            first_mb = rss_mb if first_mb is None else first_mb
            grown_mb = rss_mb - first_mb
            print(f"{heard_s / 60:16.0f}{notes:8}{rss_mb:10.2f}{grown_mb:+13.2f}", flush=True)


def cost_s(lines: int) -> float:
    """Processor seconds a line takes for COST_S of sound when so many lines are heard."""
    sounds = []
    for line in range(lines):
        parts = evening(seed=1)
        whole = np.concatenate([next(parts) for _ in range(round(COST_S / PART_S))])
        sounds.append(np.roll(whole, line * RATE_HZ * 7))  # all alike, not all at once
    listeners = [Listener(RATE_HZ, line + 1) for line in range(lines)]
    began_s = time.process_time()
    for start in range(0, sounds[0].size, BLOCK):
        for listener, sound in zip(listeners, sounds, strict=True):
            listener.push(sound[start : start + BLOCK])
    return (time.process_time() - began_s) / lines


def print_cost() -> None:
    """Processor time a line with more and more lines."""
    cost_s(1)  # not counted: what is made once, on first use
    alone_s = cost_s(1)
    print("\nlines   processor time a line, s per minute of sound   over one line's")
    for lines in LINES:
        each_s = alone_s if lines == 1 else cost_s(lines)
        print(f"{lines:5}{each_s / COST_S * 60:49.2f}{each_s / alone_s:18.2f}", flush=True)


def main() -> None:
    """Print both tables."""
    print_memory(float(sys.argv[1]) if len(sys.argv) > 1 else MINUTES)
    print_cost()


if __name__ == "__main__":
    main()
