"""One pitch from all partials: synthetic strings of known pitch and stiffness."""

from __future__ import annotations

import numpy as np
import pytest

from station.measure.fit import Guess, fit_segment, partial_frequencies
from tests.support.strings import StiffString, cents, noise

RATE_HZ = 16000
OPEN_STRINGS_HZ = [30.868, 41.203, 55.0, 82.407, 110.0, 196.0, 329.628, 659.255]


@pytest.mark.parametrize("target_hz", OPEN_STRINGS_HZ)
def test_a_detuned_stiff_string_is_read_to_a_hundredth_of_a_cent(target_hz: float) -> None:
    rng = np.random.default_rng(round(target_hz))
    for seed in range(4):
        hz = target_hz * 2 ** (rng.uniform(-45, 45) / 1200)
        stiffness = rng.uniform(0, 3e-4)
        x = StiffString(hz, stiffness).sound(RATE_HZ, 1.0, seed) + noise(RATE_HZ, -60, seed)
        fit = fit_segment(x, RATE_HZ, Guess(target_hz, 1e-4, cents=50))
        assert fit is not None
        assert abs(cents(fit.hz, hz)) < 0.02
        assert fit.inharmonicity == pytest.approx(stiffness, abs=5e-6)
        assert fit.tonal > 0.98


def test_the_first_partial_of_the_formula_is_the_pitch_itself() -> None:
    k = np.arange(1.0, 6)
    f = partial_frequencies(100.0, 2e-4, k)
    assert f[0] == pytest.approx(100.0)
    # f_k = k F sqrt(1 + B k^2), worked by hand: F = 99.990001, f_5 = 501.199...
    assert f[4] == pytest.approx(5 * 99.99000149975003 * np.sqrt(1 + 2e-4 * 25))


def test_the_uncertainty_says_how_large_errors_are() -> None:
    errors = []
    for seed in range(60):
        x = StiffString(110.0, 1e-4).sound(RATE_HZ, 0.4, seed)
        x += noise(x.size, -30, seed + 1000)
        fit = fit_segment(x, RATE_HZ, Guess(110.3))
        assert fit is not None
        errors.append(cents(fit.hz, 110.0) / fit.uncertainty_cents)
    assert 0.4 < np.sqrt(np.mean(np.square(errors))) < 2.0


def test_noise_alone_is_not_tonal() -> None:
    for seed in range(10):
        fit = fit_segment(noise(RATE_HZ // 4, -20, seed), RATE_HZ, Guess(110.0))
        assert fit is None or fit.tonal < 0.7


def test_less_than_four_and_a_half_periods_give_nothing() -> None:
    x = StiffString(82.4).sound(RATE_HZ, 0.05)
    assert fit_segment(x, RATE_HZ, Guess(82.4)) is None


def test_a_guess_half_a_semitone_off_still_leads_to_the_pitch() -> None:
    x = StiffString(146.832, 5e-5).sound(RATE_HZ, 0.5)
    for off_cents in (-40, -20, 20, 40):
        fit = fit_segment(x, RATE_HZ, Guess(146.832 * 2 ** (off_cents / 1200), cents=50))
        assert fit is not None
        assert abs(cents(fit.hz, 146.832)) < 0.05


def test_one_partial_out_of_place_is_left_out() -> None:
    x = StiffString(110.0, 1e-4).sound(RATE_HZ, 0.5)
    t = np.arange(x.size) / RATE_HZ
    # Another string's partial, 6 cents above this one's fifth and as loud as its first.
    x += 0.3 * np.cos(2 * np.pi * 5 * 110.0 * 2 ** (6 / 1200) * t)
    fit = fit_segment(x, RATE_HZ, Guess(110.0))
    assert fit is not None
    assert abs(cents(fit.hz, 110.0)) < 0.2
