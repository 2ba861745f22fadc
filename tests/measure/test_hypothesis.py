"""Which note it is: the octave, above all, where strings make it hard."""

from __future__ import annotations

import numpy as np
import pytest

from station.measure.hypothesis import Hypothesis, decide, find_peaks
from tests.support.strings import StiffString, cents, noise

RATE_HZ = 16000


def heard(string: StiffString, length_s: float = 0.17, hiss_db: float = -70) -> Hypothesis:
    x = string.sound(RATE_HZ, length_s, seed=1)
    peaks = find_peaks(x + noise(x.size, hiss_db), RATE_HZ)
    assert peaks is not None
    guess = decide(peaks)
    assert guess is not None
    return guess


@pytest.mark.parametrize("midi", range(23, 89, 3))
def test_every_pitch_from_b0_up_is_heard_in_its_octave(midi: int) -> None:
    hz = 440 * 2 ** ((midi - 69) / 12)
    guess = heard(StiffString(hz, 1e-4))
    assert abs(cents(guess.hz, hz)) < 10
    assert guess.share > 0.9


def test_a_missing_fundamental_does_not_matter() -> None:
    guess = heard(StiffString(41.2, 2e-4, lost=(1,)))
    assert abs(cents(guess.hz, 41.2)) < 10


def test_a_dull_bass_whose_odd_partials_are_20_db_down_keeps_its_octave() -> None:
    weak = tuple((k, 0.1) for k in range(1, 30, 2))
    guess = heard(StiffString(55.0, 1e-4, weak=weak))
    assert abs(cents(guess.hz, 55.0)) < 10


def test_the_open_string_s_ghost_under_a_touched_harmonic_is_not_the_note() -> None:
    ghost = tuple((k, 10 ** (-40 / 20)) for k in range(1, 30, 2))
    guess = heard(StiffString(110.0, 1e-4, weak=ghost))
    assert abs(cents(guess.hz, 220.0)) < 10


@pytest.mark.parametrize("midi", range(40, 77, 4))
def test_a_string_touched_at_a_fifth_of_its_length_may_ring_on_louder_beside_it(midi: int) -> None:
    open_hz = 440 * 2 ** ((midi - 69) / 12) / 5
    ghost = tuple((k, 0.1 * min(1.0, k / 5)) for k in range(1, 31) if k % 5)
    guess = heard(StiffString(open_hz, 1e-5, weak=ghost))
    assert abs(cents(guess.hz, 5 * open_hz)) < 10


def test_odd_partials_alone_are_not_taken_for_a_third_of_them() -> None:
    guess = heard(StiffString(220.0, lost=tuple(range(2, 31, 2))))
    assert abs(cents(guess.hz, 220.0)) < 10


def test_a_lone_sine_is_its_own_note() -> None:
    guess = heard(StiffString(440.0, partials=1))
    assert abs(cents(guess.hz, 440.0)) < 5


def test_digital_silence_has_no_peaks() -> None:
    assert find_peaks(np.zeros(2000), RATE_HZ) is None
