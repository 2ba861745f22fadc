"""How far readings lag behind a peg that begins to turn by 30 cents a second.

    .venv/bin/python -m tests.bench.bench_glissando [TAKES] [FIRST SEED]

Stiff strings, in noise 60, 40 and 30 dB under their first half second; two turns up, two down. The
worst lag in cents from 0.1 to 0.25 s after the turn begins, and later while it goes on. Then low
strings of which everything is drawn from a seed: how many of TAKES turns lag by 3 cents or more.
"""

from __future__ import annotations

import sys

import numpy as np

from tests.measure.test_moving import PEG_CENTS_S, PLUCK_S, RATE_HZ, moving
from tests.support.strings import Floats, cents, hear_all

STRINGS_HZ = (30.87, 34.0, 36.7, 41.2, 55.0, 82.4, 196.0)
SNRS_DB = (60, 40, 30)


LOW_HZ = (30.87, 45.0)
LAG_CENTS = 3.0


def lags(
    x: Floats, hz: float, pitch: Floats, snr_db: float, seed: int
) -> list[tuple[float, float]]:
    """Seconds since the pluck of `x`, and how far readings in noise are off its `pitch`."""
    noise_power = np.mean(x[: RATE_HZ // 2] ** 2) / 10 ** (snr_db / 10)
    x = np.concatenate((np.zeros(round(PLUCK_S * RATE_HZ)), x))
    x += np.sqrt(noise_power) * np.random.default_rng(seed).normal(size=x.size)
    t = np.arange(pitch.size) / RATE_HZ
    since = [(r.at_s - PLUCK_S, cents(r.hz, hz)) for r in hear_all(x, RATE_HZ)[0]]
    return [(at_s, abs(off - np.interp(at_s, t, pitch))) for at_s, off in since]


def worst(heard: list[tuple[float, float]], began: float) -> tuple[float, float]:
    """The worst lag soon after the turn began, and later; nan where nothing was read."""
    since = [(at_s - began, lag) for at_s, lag in heard]
    soon = max((lag for at_s, lag in since if 0.099 < at_s < 0.25), default=np.nan)
    return soon, max((lag for at_s, lag in since if 0.25 <= at_s < 0.6), default=np.nan)


def turned(hz: float, snr_db: float, cents_a_s: float, began: float) -> tuple[float, float]:
    """The worst lags of a usual string."""
    t = np.arange(round(1.8 * RATE_HZ)) / RATE_HZ
    pitch = cents_a_s * np.clip(t - began, 0, 0.7)
    return worst(lags(moving(hz, pitch, seed=0), hz, pitch, snr_db, 0), began)


def drawn(seed: int, snr_db: float) -> tuple[float, float]:
    """The worst lags of a low string of any stiffness, ring and number of partials."""
    rng = np.random.default_rng([seed, 77])
    hz = float(np.exp(rng.uniform(*np.log(LOW_HZ))))
    stiffness, ring_s = rng.uniform(0, 3e-4), np.exp(rng.uniform(np.log(0.5), np.log(3)))
    partials, began = int(rng.integers(10, 21)), rng.uniform(0.3, 1.0)
    t = np.arange(round((began + 0.6) * RATE_HZ)) / RATE_HZ
    pitch = rng.choice([-1, 1]) * PEG_CENTS_S * np.clip(t - began, 0, None)
    own_t = np.cumsum(2 ** (pitch / 1200)) / RATE_HZ
    x = np.zeros(t.size)
    for k in range(1, partials + 1):
        f = hz * k * np.sqrt((1 + stiffness * k**2) / (1 + stiffness))
        phase = 2 * np.pi * f * own_t + rng.uniform(0, 2 * np.pi)
        x += 0.2 / k * np.exp(-t * np.sqrt(k) / ring_s) * np.cos(phase)
    return worst(lags(x, hz, pitch, snr_db, seed), began)


def main() -> None:
    """Print both tables."""
    takes = int(sys.argv[1]) if len(sys.argv) > 1 else 60
    first = int(sys.argv[2]) if len(sys.argv) > 2 else 1000
    print("string, Hz" + "".join(f"   {snr_db} dB: soon later" for snr_db in SNRS_DB))
    for hz in STRINGS_HZ:
        row = f"{hz:10}"
        for snr_db in SNRS_DB:
            turns = [(sign * PEG_CENTS_S, began) for sign in (1, -1) for began in (0.5, 0.8)]
            soon, later = np.max([turned(hz, snr_db, *turn) for turn in turns], axis=0)
            row += f"{soon:14.2f}{later:6.2f}"
        print(row, flush=True)
    for snr_db in SNRS_DB:
        soon, later = np.transpose([drawn(seed, snr_db) for seed in range(first, first + takes)])
        print(
            f"{takes} low strings, {snr_db} dB: soon {np.nanmax(soon):.2f} (half of them under"
            f" {np.nanmedian(soon):.2f}), {np.count_nonzero(soon >= LAG_CENTS)} by {LAG_CENTS:g} or"
            f" more, {np.count_nonzero(np.isnan(soon))} unread; later {np.nanmax(later):.2f}",
            flush=True,
        )


if __name__ == "__main__":
    main()
