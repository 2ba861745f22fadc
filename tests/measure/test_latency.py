"""How soon a pluck is read, in sound time, and how steadily from then on."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from tests.support.strings import Floats, cents, hear_all, noise

RATE_HZ = 48000
PLUCK_S = 0.5
GLIDE_CENTS, GLIDE_S = 4.0, 0.1
STRINGS = {
    "B0": 23, "E1": 28, "A1": 33, "D2": 38, "E2": 40, "A2": 45,
    "D3": 50, "G3": 55, "B3": 59, "E4": 64, "A4": 69, "E5": 76,
}  # fmt: skip


def gliding(hz: float, inharmonicity: float, seed: int) -> Floats:
    """A pluck of a stiff string (Fletcher 1964) that starts GLIDE_CENTS sharp, 30 dB over hiss."""
    rng = np.random.default_rng(seed)
    t = np.arange(round(1.1 * RATE_HZ)) / RATE_HZ
    own_t = np.cumsum(2 ** (GLIDE_CENTS * np.exp(-t / GLIDE_S) / 1200)) / RATE_HZ
    x = np.zeros(t.size)
    for k in range(1, 31):
        f = hz * k * np.sqrt((1 + inharmonicity * k**2) / (1 + inharmonicity))
        phase = rng.uniform(0, 2 * np.pi)
        if f < 0.45 * RATE_HZ:
            x += 0.2 / k * np.exp(-t * np.sqrt(k) / 1.5) * np.cos(2 * np.pi * f * own_t + phase)
    hiss_db = 10 * np.log10(np.mean(x[: RATE_HZ // 2] ** 2)) - 30
    whole = np.concatenate((np.zeros(round(PLUCK_S * RATE_HZ)), x))
    return np.asarray(whole + noise(whole.size, float(hiss_db), seed + 1))


@pytest.mark.parametrize("take", range(2))
@pytest.mark.parametrize("name", STRINGS)
def test_a_pluck_is_read_within_four_periods_and_35_ms_and_every_20_ms_from_then_on(
    name: str, take: int
) -> None:
    midi = STRINGS[name]
    rng = np.random.default_rng(1000 * midi + take)
    hz = 440 * 2 ** ((midi - 69 + rng.uniform(-0.45, 0.45)) / 12)

    readings, _, _ = hear_all(gliding(hz, rng.uniform(0, 3e-4), 1000 * midi + take), RATE_HZ)

    times_s = [reading.at_s - PLUCK_S for reading in readings]
    assert 0 < times_s[0] < 4 / hz + 0.035
    assert times_s[-1] > 0.8
    early_s = [at_s for at_s in times_s if at_s < 0.83]
    assert max(later - sooner for sooner, later in pairwise(early_s)) < 0.020 + 1e-6
    for reading, at_s in zip(readings, times_s, strict=True):
        sharp_cents = GLIDE_CENTS * np.exp(-at_s / GLIDE_S)
        assert abs(cents(reading.hz, hz) - sharp_cents) < 5
