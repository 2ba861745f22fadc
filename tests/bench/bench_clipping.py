"""What is read of strings that overdrive their input.

    .venv/bin/python -m tests.bench.bench_clipping [TAKES]

Stiff strings from B0 to E5 (B up to 3e-4), with noise 30 or 40 dB under their first half second,
clipped at a share of their peak. Prints how many readings there are, how many of them are more
than a cent off, the worst, the rms of error over uncertainty, and the notes' rms and worst error.
"""

from __future__ import annotations

import sys

import numpy as np

from tests.support.strings import StiffString, cents, hear_all

RATE_HZ = 48000
NOTES = (23, 28, 33, 40, 45, 55, 64, 76)
OVERDRIVEN = (1.2, 2.0, 3.3, 5.0, 10.0, 20.0)


def take(midi: int, times: float, seed: int) -> tuple[list[float], list[float], list[float]]:
    """Errors of the readings, these over their uncertainties, and errors of the notes."""
    rng = np.random.default_rng(100 * seed + midi)
    hz = 440 * 2 ** ((midi - 69 + rng.uniform(-0.45, 0.45)) / 12)
    x = StiffString(hz, rng.uniform(0, 3e-4)).sound(RATE_HZ, 1.8, seed)
    x = np.concatenate((np.zeros(RATE_HZ // 2), x / np.abs(x).max()))
    power = np.mean(x[RATE_HZ // 2 : RATE_HZ] ** 2)
    x += rng.normal(size=x.size) * np.sqrt(power / 10 ** ((3, 4)[seed % 2]))
    readings, notes, _ = hear_all(np.clip(times * x, -1, 1), RATE_HZ)
    off = [cents(reading.hz, hz) for reading in readings]
    over = [by / each.uncertainty_cents for by, each in zip(off, readings, strict=True)]
    return off, over, [cents(note.hz, hz) for note in notes]


def main() -> None:
    """Print the table."""
    takes = int(sys.argv[1]) if len(sys.argv) > 1 else 3
    print("times  readings  wrong  worst  /unsure    notes    rms  worst")
    for times in OVERDRIVEN:
        heard = [take(midi, times, seed) for midi in NOTES for seed in range(takes)]
        off, over, notes = (np.concatenate(each) for each in zip(*heard, strict=True))
        wrong, worst = int(np.count_nonzero(np.abs(off) > 1)), np.abs(off).max(initial=0)
        unsure, rms = np.sqrt(np.mean(over**2)), np.sqrt(np.mean(notes**2))
        print(
            f"{times:5}{off.size:10}{wrong:7}{worst:7.2f}{unsure:9.2f}"
            f"{notes.size:9}{rms:7.3f}{np.abs(notes).max():7.2f}",
            flush=True,
        )


if __name__ == "__main__":
    main()
