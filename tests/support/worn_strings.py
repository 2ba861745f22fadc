"""One string, plucked again and again: as on its first day, dull, or false."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tests.support.strings import Floats

RATE_HZ = 8_000
LENGTH_S = 2.0


@dataclass(frozen=True)
class Worn:
    """A stiff string whose partial k falls as exp(-(1 + 0.25 (k - 1)) t / ring_s), times
    `upper_times` from the fourth on.

    Every pluck is at another place, and every fall scatters by `scatter` of its logarithm.
    `split_cents`: every partial (or `split_only` alone) is two lines so far apart, 0.6 to 0.4.
    `uneven_cents`: partials stand so far off the law of stiff strings, up and down in turn.
    """

    hz: float
    stiffness: float = 8e-5
    ring_s: float = 2.5
    upper_times: float = 1.0
    split_cents: float = 0.0
    split_only: int | None = None
    uneven_cents: float = 0.0
    scatter: float = 0.05

    def fall_per_s(self, k: int) -> float:
        """How fast partial k dies away."""
        return (1 + 0.25 * (k - 1)) / self.ring_s * (self.upper_times if k >= 4 else 1.0)

    def pluck(self, seed: int, snr_db: float = 40) -> Floats:
        """One pluck with its glide, shape (n,), white noise under its first half second."""
        rng = np.random.default_rng(seed)
        t = np.arange(round(RATE_HZ * LENGTH_S)) / RATE_HZ
        bend = 0.1 * (1 - np.exp(-t / 0.1)) * (2 ** (4 / 1200) - 1)
        place = rng.uniform(0.1, 0.25)
        x = np.zeros(t.size)
        for k in range(1, 20):
            stretch = np.sqrt((1 + self.stiffness * k * k) / (1 + self.stiffness))
            f = self.hz * k * stretch * 2 ** (self.uneven_cents * (-1) ** k / 1200)
            fall = self.fall_per_s(k) * np.exp(rng.normal(0, self.scatter))
            if f > 0.4 * RATE_HZ:
                break
            level = abs(np.sin(np.pi * k * place)) / k
            split = self.split_cents if self.split_only in (None, k) else 0.0
            for cents, share in ((0.0, 0.6), (split, 0.4)) if split else ((0.0, 1.0),):
                turns = f * 2 ** (cents / 1200) * (t + bend)
                phase = rng.uniform(0, 2 * np.pi)
                x += share * level * np.exp(-fall * t) * np.cos(2 * np.pi * turns + phase)
        power = np.mean(x[: RATE_HZ // 2] ** 2) / 10 ** (snr_db / 10)
        return x + np.sqrt(power) * rng.normal(size=t.size)
