"""Which string was struck while another rings on, one that holds all partials of the new one.

    .venv/bin/python -m tests.bench.bench_over [TAKES] [FIRST SEED] [DB ...]

Stiff strings within 5 cents of their notes, stiffness, decay and number of partials drawn from a
seed. The new one is so many decibels from what rings, rms against rms over the first 0.3 s.
`right`: a note of the new string begins at its stroke; `misnamed` counts the readings after it that
are of another pitch.
"""

from __future__ import annotations

import sys
from typing import NamedTuple

import numpy as np

from tests.support.strings import Floats, StiffString, cents, hear_all, noise

RATE_HZ = 48000
RINGS_S = 2.0
AGAINST_S = 0.3
SOON_S = 0.06
# MIDI notes: what rings, what is struck.
PAIRS = {
    "B3 over E2": (40, 59),
    "E4 over A2": (45, 64),
    "E4 over E2": (40, 64),
    "D4 over G2": (43, 62),
    "E3 over E2": (40, 52),
    "A3 over A2": (45, 57),
}


class Mix(NamedTuple):
    """Two strings' sound, their pitches, and when the second is struck."""

    x: Floats
    low_hz: float
    new_hz: float
    struck_s: float


def mix(name: str, level_db: float, seed: int) -> Mix:
    """The new string of a pair `level_db` above what rings of the other."""
    rng = np.random.default_rng([seed, *PAIRS[name]])
    low_hz, new_hz = (440 * 2 ** ((m - 69 + rng.uniform(-0.05, 0.05)) / 12) for m in PAIRS[name])
    low = StiffString(
        low_hz,
        rng.uniform(3e-5, 1.5e-4),
        rng.uniform(1, 3),
        rng.uniform(0.1, 0.3),
        int(rng.integers(10, 31)),
    )
    new = StiffString(
        new_hz, rng.uniform(2e-5, 1e-4), rng.uniform(0.8, 2.5), partials=int(rng.integers(8, 25))
    )
    wait_s = rng.uniform(0.8, 2.0)
    x = low.sound(RATE_HZ, wait_s + RINGS_S, 2 * seed + 1)
    y = new.sound(RATE_HZ, RINGS_S, 2 * seed + 2)
    stroke, against = round(wait_s * RATE_HZ), round(AGAINST_S * RATE_HZ)
    ratio = np.mean(x[stroke : stroke + against] ** 2) / np.mean(y[:against] ** 2)
    rings = x[stroke:]
    rings += np.sqrt(ratio) * 10 ** (level_db / 20) * y[: rings.size]
    lead = RATE_HZ // 2
    x = np.concatenate((np.zeros(lead), x))
    return Mix(x + noise(x.size, -80, seed), low_hz, new_hz, wait_s + lead / RATE_HZ)


def main() -> None:
    """One row for each pair and level."""
    takes = int(sys.argv[1]) if len(sys.argv) > 1 else 20
    first = int(sys.argv[2]) if len(sys.argv) > 2 else 3000
    levels = [float(each) for each in sys.argv[3:]] or [6.0, 0.0, -6.0, -12.0]
    print(f"{'':12}{'dB':>6}{'right':>10}{'readings':>10}{'misnamed':>10}{'worst note, cents':>20}")
    for level_db in levels:
        for name in PAIRS:
            right = read = misnamed = 0
            worst_cents = 0.0
            for seed in range(first, first + takes):
                made = mix(name, level_db, seed)
                readings, notes, _ = hear_all(made.x, RATE_HZ)
                off = [
                    abs(cents(note.hz, made.new_hz))
                    for note in notes
                    if abs(note.onset_s - made.struck_s) < SOON_S
                ]
                right += bool(off) and off[0] < 50
                worst_cents = max([worst_cents, *(each for each in off if each < 50)])
                after = [r for r in readings if r.onset_s > made.struck_s - SOON_S]
                read += len(after)
                misnamed += sum(abs(cents(r.hz, made.new_hz)) > 50 for r in after)
            print(
                f"{name:12}{level_db:6.0f}{right:6} of{takes:4}{read:7}{misnamed:10}"
                f"{worst_cents:17.2f}",
                flush=True,
            )


if __name__ == "__main__":
    main()
