"""How far readings lag behind a peg that begins to turn by 30 cents a second.

    .venv/bin/python -m tests.bench.bench_glissando

Stiff strings, in noise 60, 40 and 30 dB under their first half second; two turns up, two down. The
worst lag in cents from 0.1 to 0.25 s after the turn begins, and later while it goes on.
"""

from __future__ import annotations

import numpy as np

from tests.measure.test_moving import PEG_CENTS_S, PLUCK_S, RATE_HZ, moving
from tests.support.strings import cents, hear_all

STRINGS_HZ = (30.87, 34.0, 36.7, 41.2, 55.0, 82.4, 196.0)
SNRS_DB = (60, 40, 30)


def lags(hz: float, snr_db: float, cents_a_s: float, began: float) -> list[tuple[float, float]]:
    """Seconds since the turn began, and how far readings are off."""
    t = np.arange(round(1.8 * RATE_HZ)) / RATE_HZ
    pitch = cents_a_s * np.clip(t - began, 0, 0.7)
    x = moving(hz, pitch, seed=0)
    noise_power = np.mean(x[: RATE_HZ // 2] ** 2) / 10 ** (snr_db / 10)
    x = np.concatenate((np.zeros(round(PLUCK_S * RATE_HZ)), x))
    x += np.sqrt(noise_power) * np.random.default_rng(0).normal(size=x.size)
    since = [(r.at_s - PLUCK_S, cents(r.hz, hz)) for r in hear_all(x, RATE_HZ)[0]]
    return [(at_s - began, abs(off - np.interp(at_s, t, pitch))) for at_s, off in since]


def main() -> None:
    """Print the table."""
    print("string, Hz" + "".join(f"   {snr_db} dB: soon later" for snr_db in SNRS_DB))
    for hz in STRINGS_HZ:
        row = f"{hz:10}"
        for snr_db in SNRS_DB:
            turns = [(sign * PEG_CENTS_S, began) for sign in (1, -1) for began in (0.5, 0.8)]
            heard = [each for turn in turns for each in lags(hz, snr_db, *turn)]
            soon = max(lag for at_s, lag in heard if 0.099 < at_s < 0.25)
            later = max(lag for at_s, lag in heard if 0.25 <= at_s < 0.7)
            row += f"{soon:14.2f}{later:6.2f}"
        print(row, flush=True)


if __name__ == "__main__":
    main()
