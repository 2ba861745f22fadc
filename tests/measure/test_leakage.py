"""Partials that die away within a window do not disturb each other."""

from __future__ import annotations

import numpy as np

from station.measure.fit import Care, Guess, fit_heard, listen_and_fit
from station.measure.leakage import without_leakage
from tests.support.strings import StiffString, cents

RATE_HZ = 4000
HZ = 41.203


def test_a_string_that_dies_away_within_two_windows_is_read_as_if_it_held() -> None:
    x = StiffString(HZ, 1e-4, ring_s=0.25, partials=20).sound(RATE_HZ, 1.0, seed=1)
    found = listen_and_fit(x, RATE_HZ, Guess(HZ), Care(windows_a_length=2))
    assert found is not None
    heard, fit = found

    alone = fit_heard(without_leakage(x, RATE_HZ, heard))

    assert alone is not None
    assert abs(cents(alone.hz, HZ)) < 2e-5
    assert alone.uncertainty_cents < fit.uncertainty_cents / 20


def test_what_is_no_exponential_is_left_as_it_was() -> None:
    swaying = 1 + 0.3 * np.sin(2 * np.pi * 2.5 * np.arange(RATE_HZ) / RATE_HZ)
    x = swaying * StiffString(HZ, 1e-4, ring_s=1.5, partials=20).sound(RATE_HZ, 1.0, seed=1)
    found = listen_and_fit(x, RATE_HZ, Guess(HZ))
    assert found is not None
    heard, fit = found

    alone = fit_heard(without_leakage(x, RATE_HZ, heard))

    assert alone is not None
    assert abs(cents(alone.hz, fit.hz)) < 3 * fit.uncertainty_cents
