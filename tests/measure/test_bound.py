"""How near a settled note comes to the Cramer-Rao bound of its first half second."""

from __future__ import annotations

import numpy as np
import pytest

from tests.support.bound import pitch_bound_cents
from tests.support.strings import StiffString, cents, hear_all

RATE_HZ = 48000
BOUND_S = 0.5
TAKES = 6


@pytest.mark.parametrize("snr_db", [40, 20])
@pytest.mark.parametrize("midi", [23, 28, 40, 50, 59, 64, 76])
def test_a_settled_note_is_within_twice_the_bound_and_knows_it(midi: int, snr_db: int) -> None:
    rng = np.random.default_rng(midi)
    over_bound, over_claim = [], []
    for seed in range(TAKES):
        hz = 440 * 2 ** ((midi - 69 + rng.uniform(-0.45, 0.45)) / 12)
        string = StiffString(hz, rng.uniform(0, 3e-4))
        x = string.sound(RATE_HZ, 2.0, seed)
        noise_power = np.mean(x[: round(BOUND_S * RATE_HZ)] ** 2) / 10 ** (snr_db / 10)
        bound_cents = pitch_bound_cents(string, RATE_HZ, BOUND_S, noise_power, seed)
        x = np.concatenate((np.zeros(RATE_HZ // 2), x))
        x += np.sqrt(noise_power) * np.random.default_rng(seed + 1000).normal(size=x.size)
        _, notes, _ = hear_all(x, RATE_HZ)
        assert len(notes) == 1
        error_cents = cents(notes[0].hz, hz)
        over_bound.append(error_cents / bound_cents)
        over_claim.append(error_cents / notes[0].uncertainty_cents)
    assert np.sqrt(np.mean(np.square(over_bound))) < 2.0
    assert 0.25 < np.sqrt(np.mean(np.square(over_claim))) < 2.0  # six takes: wide, not loose
