"""How near to the bound strings come that die away soon.

    .venv/bin/python -m tests.bench.bench_short [TAKES]

Low strings whose first partial falls to 1/e in 0.25 to 1 s, the k-th sqrt(k) times as fast, with
white noise 40 and 20 dB under the power of their first half second: rms of the settled note's
error over the Cramer-Rao bound of that half second, in brackets over its uncertainty.
"""

from __future__ import annotations

import sys

import numpy as np

from tests.support.bound import pitch_bound_cents
from tests.support.strings import StiffString, cents, hear_all

RATE_HZ = 48000
NOTES = {"B0": 23, "E1": 28, "A1": 33, "E2": 40}
RINGS_S = (0.25, 0.35, 0.6, 1.0)
SNRS_DB = (40, 20)


def take(midi: int, ring_s: float, snr_db: float, seed: int) -> tuple[float, float]:
    """One pluck: the error over the bound, and over the uncertainty published."""
    rng = np.random.default_rng(seed + midi)
    hz = 440 * 2 ** ((midi - 69 + rng.uniform(-0.45, 0.45)) / 12)
    string = StiffString(hz, 1e-4, ring_s=ring_s)
    x = string.sound(RATE_HZ, max(1.0, 2.5 * ring_s), seed)
    noise_power = float(np.mean(x[: RATE_HZ // 2] ** 2)) / 10 ** (snr_db / 10)
    bound_cents = pitch_bound_cents(string, RATE_HZ, 0.5, noise_power, seed)
    x = np.concatenate((np.zeros(RATE_HZ // 2), x))
    x += np.sqrt(noise_power) * np.random.default_rng(seed + 1000).normal(size=x.size)
    (note,) = hear_all(x, RATE_HZ)[1]
    error = cents(note.hz, hz)
    return error / bound_cents, error / note.uncertainty_cents


def main() -> None:
    """Print the table."""
    takes = int(sys.argv[1]) if len(sys.argv) > 1 else 12
    print("ring, s  SNR" + "".join(f"{name:>14}" for name in NOTES))
    for ring_s in RINGS_S:
        for snr_db in SNRS_DB:
            row = f"{ring_s:7}{snr_db:5}"
            for midi in NOTES.values():
                heard = [take(midi, ring_s, snr_db, seed) for seed in range(takes)]
                bound, unsure = np.sqrt(np.mean(np.square(heard), axis=0))
                row += f"{bound:8.2f} ({unsure:.1f})"
            print(row, flush=True)


if __name__ == "__main__":
    main()
