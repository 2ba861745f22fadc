"""How often the temperament of a random instrument is told, and A4 with it.

    .venv/bin/python -m tests.bench.bench_harps [TRIALS] [--diatonic]

Instruments of every temperament with random roots, A4 from 412 to 446 Hz and random notes
between C3 and C6 (with --diatonic only those of one major scale), their reeds off by 2 cents at
random: evenly within 2 cents either way, or Gaussian with that standard deviation.

`right`, `none`, `wrong`: names told, in percent. `A4`: A4 within 0.2 cents of the A4 that best
fits the reeds as they are (least squares under the true temperament; the A4 they were meant to
have cannot be found better than to sigma / sqrt n). `A4 of right`: the same among the rightly
named. `limit`: how often an ideal observer has the right name who knows sigma and bets on the
likelier temperament, however little; `limit sure`: how often with the station's own demand, a
probability of 0.96; `limit A4`: how often that observer's A4 is as near, roots that cannot be told
apart averaged (it does not know that most just instruments have one key's notes alone: the naturals
of just C are those of just G, 2 cents off, but for a ratio). What the station lacks to all that
is the price of not knowing sigma and of bad reeds, other ratios and stretched octaves being
possible. At the end the time for one instrument.
"""

from __future__ import annotations

import argparse
import time

import numpy as np

from station.measure.fixed.a4 import CLAIM, instrument_pitch
from station.music.temperaments import TEMPERAMENTS, TemperamentName
from tests.support.harps import SCATTERS, Scatter, cents_of, ideal_observer, random_harp

COUNTS = (10, 12, 16, 20, 24, 36)
NEAR_CENTS = 0.2
COLUMNS = ("right", "none", "wrong", "A4", "A4 of right", "limit", "limit sure", "limit A4")


def shares(
    name: TemperamentName, count: int, scatter: Scatter, sigma: float, trials: int, diatonic: bool
) -> dict[str, float]:
    """Each column in percent."""
    rng = np.random.default_rng([count, TEMPERAMENTS.index(name)])
    rows = []
    for _ in range(trials):
        harp = random_harp(rng, name, count, scatter, diatonic=diatonic)
        found = instrument_pitch(harp.notes())
        if found is None:
            raise SystemExit(f"no pitch at all from {harp}")
        best = harp.best_a4_cents(found)
        near = best is not None and abs(cents_of(found) - best) < NEAR_CENTS
        right = found.temperament == name
        ideal = ideal_observer(harp, sigma, 0 if best is None else harp.steps(found))
        ideal_near = best is not None and abs(ideal.a4_cents - best) < NEAR_CENTS
        told = ideal.name == name
        none = found.temperament is None
        sure = told and ideal.probability >= CLAIM
        rows.append(
            (right, none, not (right or none), near, near and right, told, sure, ideal_near)
        )
    means = 100.0 * np.array(rows, dtype=float).mean(axis=0)
    means[4] *= 100.0 / max(means[0], 1e-9)
    return dict(zip(COLUMNS, means.tolist(), strict=True))


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("trials", type=int, nargs="?", default=100)
    parser.add_argument("--diatonic", action="store_true")
    wanted = parser.parse_args()
    began, heard = time.perf_counter(), 0
    for reading, (scatter, sigma) in SCATTERS.items():
        print(f"\n{reading}, {wanted.trials} instruments each, percent")
        print(f"{'':24}{'notes':>6}" + "".join(f"{each:>13}" for each in COLUMNS))
        for name in TEMPERAMENTS:
            for count in COUNTS:
                found = shares(name, count, scatter, sigma, wanted.trials, wanted.diatonic)
                print(f"{name:24}{count:6}" + "".join(f"{found[each]:13.1f}" for each in COLUMNS))
                heard += wanted.trials
    took_ms = 1e3 * (time.perf_counter() - began) / heard
    print(f"\n{took_ms:.1f} ms an instrument, the ideal observer included")


if __name__ == "__main__":
    main()
