"""How fast partials fade and how high they are, from a few periods, and how sure that is."""

from __future__ import annotations

import numpy as np
import pytest

from station.measure.fading import LEAST_PERIODS, changes
from tests.support.strings import Floats

RATE_HZ = 16000
NUMBERS = np.arange(1.0, 9.0)
HISS = 0.01


def partials(hz: float, fades: Floats, off_hz: Floats, samples: int, seed: int) -> Floats:
    """Partials 1/k strong of `hz`, each `off_hz` above its multiple, in HISS."""
    rng = np.random.default_rng(seed)
    t = (np.arange(samples) - (samples - 1) / 2) / RATE_HZ
    angles = 2 * np.pi * np.outer(hz * NUMBERS + off_hz, t) + rng.uniform(0, 7, (8, 1))
    x = np.exp(-np.outer(fades, t)) * np.cos(angles) / NUMBERS[:, None]
    return np.asarray(x.sum(axis=0) + HISS * rng.normal(size=samples))


@pytest.mark.parametrize("periods", [LEAST_PERIODS, 5.5, 9.0])
def test_each_partials_fade_and_frequency_are_as_unsure_as_said(periods: float) -> None:
    fades, off_hz = np.sqrt(NUMBERS), 0.05 * NUMBERS
    samples = round(periods / 100.0 * RATE_HZ)
    taken = [
        changes(partials(100.0, fades, off_hz, samples, seed), RATE_HZ, 100.0 * NUMBERS)
        for seed in range(60)
    ]

    of_fades = np.array([(heard.fades - fades) / heard.sd for heard in taken])
    of_turns = np.array([(heard.turns - 2 * np.pi * off_hz) / heard.sd for heard in taken])

    # 480 numbers, that noise told by sixteen makes a few times larger than a normal's.
    assert 0.85 < np.std(of_fades) < 1.15
    assert 0.85 < np.std(of_turns) < 1.15
    assert abs(np.mean(of_fades)) < 0.15
    assert abs(np.mean(of_turns)) < 0.15


def test_no_sound_of_that_length_tells_much_more_of_them() -> None:
    samples = 1600
    bound = np.sqrt(24 / samples) * HISS * NUMBERS / (samples / RATE_HZ)
    taken = [
        changes(partials(100.0, 0 * NUMBERS, 0 * NUMBERS, samples, i), RATE_HZ, 100.0 * NUMBERS)
        for i in range(40)
    ]

    errors = np.sqrt(np.mean([heard.fades**2 for heard in taken], axis=0))

    assert np.mean(errors / bound) < 1.35


@pytest.mark.parametrize("at", [20, 400, 780])
def test_a_click_anywhere_makes_all_partials_as_unsure_as_it_moves_them(at: int) -> None:
    x = partials(100.0, 0 * NUMBERS, 0 * NUMBERS, 800, 3)
    x[at] += 3.0

    heard = changes(x, RATE_HZ, 100.0 * NUMBERS)

    assert np.max(np.abs(heard.fades) / heard.sd) < 5
    assert np.max(np.abs(heard.turns) / heard.sd) < 5


def test_what_changes_too_much_for_a_straight_line_tells_nothing() -> None:
    x = partials(100.0, 0 * NUMBERS, np.where(NUMBERS == 3, 8.0, 0.0), 1600, 5)

    heard = changes(x, RATE_HZ, 100.0 * NUMBERS)

    assert np.flatnonzero(np.isinf(heard.sd)).tolist() == [2]


def test_what_is_left_is_all_that_is_no_partial() -> None:
    x = partials(100.0, np.sqrt(NUMBERS), 0.05 * NUMBERS, 1600, 7)
    t = np.arange(1600) / RATE_HZ

    left = changes(x + 0.1 * np.sin(2 * np.pi * 150 * t), RATE_HZ, 100.0 * NUMBERS).left

    assert np.std(left) == pytest.approx(np.hypot(0.1 / np.sqrt(2), HISS), rel=0.1)
