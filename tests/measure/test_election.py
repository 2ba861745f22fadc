"""What a note is that has ended, is settled by those who heard it, and must be a string."""

from __future__ import annotations

import numpy as np
import pytest

from station.measure.election import elected
from station.measure.fit import Fit
from tests.support.strings import Floats, cents, noise

RATE_HZ = 12000
LENGTH_S = 1.2
STRING_HZ = 245.3
NO_STIFFNESS = 0.0


def followed_as(hz: float) -> Fit:
    return Fit(hz, NO_STIFFNESS, 0.1, 4, 0.95)


def line(*tones: tuple[float, float], hiss_db: float = -70.0) -> Floats:
    """Tones of so many hertz, so loud, in a little hiss."""
    t = np.arange(round(LENGTH_S * RATE_HZ)) / RATE_HZ
    x = sum(loud * np.cos(2 * np.pi * hz * t + hz) for hz, loud in tones)
    return np.asarray(x + noise(t.size, hiss_db, 1), np.float32)


def string(hz: float, partials: int, loud: float = 0.1) -> list[tuple[float, float]]:
    return [(k * hz, loud / k) for k in range(1, partials + 1)]


@pytest.mark.parametrize("part", [2, 3, 5])
def test_a_kick_at_a_fraction_of_a_strings_pitch_makes_it_no_lower_note(part: int) -> None:
    x = line(*string(STRING_HZ, 5, 0.03), (1.0005 * STRING_HZ / part, 0.1))

    hz, _ = elected(x, RATE_HZ, followed_as(STRING_HZ), [])

    assert abs(cents(hz, STRING_HZ)) < 5


@pytest.mark.parametrize("wrongly_as", [2.0, 3.0, 0.5])
def test_a_string_followed_as_another_note_is_what_all_places_say(wrongly_as: float) -> None:
    x = line(*string(STRING_HZ, 12))

    hz, _ = elected(x, RATE_HZ, followed_as(wrongly_as * STRING_HZ), [])

    assert abs(cents(hz, STRING_HZ)) < 5


def test_who_heard_it_as_the_same_note_three_times_need_not_ask_again() -> None:
    known = followed_as(2 * STRING_HZ)

    hz, _ = elected(line(*string(STRING_HZ, 12)), RATE_HZ, known, [known.hz] * 3)

    assert hz == known.hz
