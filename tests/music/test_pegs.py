"""Turns of a peg, calculated by hand."""

from __future__ import annotations

import math

import pytest

from station.music.pegs import (
    LEAST_SCATTER,
    REPORTS_LEAST,
    Report,
    change_of_square,
    learn,
)

# Equal temperament at A4 = 440 Hz: f^2 of a note is 440^2 * 2^((midi - 69) / 6).
E2, D2, C2 = (440.0 * 2.0 ** ((midi - 69) / 12.0) for midi in (40, 38, 36))


def answers(*turns: float, from_hz: float = E2, to_hz: float = D2) -> list[Report]:
    return [Report(change_of_square(from_hz, to_hz), each) for each in turns]


def test_the_square_of_the_frequency_changes_as_the_pull_does() -> None:
    # 82.4069^2 - 73.4162^2 = 6790.90 - 5389.94
    assert change_of_square(E2, D2) == pytest.approx(1400.96, abs=0.01)
    assert change_of_square(D2, E2) == change_of_square(E2, D2)


def test_the_next_tone_down_takes_fewer_turns_than_the_one_before() -> None:
    peg = learn(answers(1.5, 1.5, 1.5))
    assert peg is not None

    down = peg.forecast(E2, D2)
    further = peg.forecast(D2, C2)

    assert down is not None
    assert further is not None
    assert down.turns == pytest.approx(1.5)
    # (D2^2 - C2^2) / (E2^2 - D2^2) = 2^(-2/6): a tone lower, all squares are that much smaller.
    assert further.turns == pytest.approx(1.5 * 2.0 ** (-1 / 3))


def test_one_odd_answer_in_four_moves_nothing() -> None:
    peg = learn(answers(1.0, 1.0, 5.0, 1.0))
    assert peg is not None

    found = peg.forecast(E2, D2)

    assert found is not None
    assert found.turns == pytest.approx(1.0)


def test_larger_changes_count_for_more() -> None:
    # Half a turn for 1401 Hz^2 and 2.5 turns for E2 to C2, 2513 Hz^2, are 0.357 and 0.995 for
    # 1000 Hz^2. Half of the weight, 1957, is passed within the second.
    peg = learn([*answers(0.5), *answers(2.5, to_hz=C2)])

    assert peg is not None
    assert peg.turns_per_hz2 == pytest.approx(2.5 / change_of_square(E2, C2))


def test_nothing_is_said_before_there_are_answers_enough() -> None:
    assert learn([]) is None
    for count in range(1, REPORTS_LEAST):
        peg = learn(answers(*[1.5] * count))
        assert peg is not None
        assert peg.forecast(E2, D2) is None


def test_nothing_is_said_while_the_answers_disagree() -> None:
    peg = learn(answers(0.5, 1.5, 3.0))
    assert peg is not None

    assert peg.forecast(E2, D2) is None


def test_the_spread_is_that_of_the_answers_and_of_what_they_make() -> None:
    # Equal answers: the scatter is what rounding and the hand leave, sqrt(1/192 + 1/100) turns;
    # the mean's share of it is sqrt(pi/2) / sqrt(4) for four equal changes.
    peg = learn(answers(1.5, 1.5, 1.5, 1.5))
    assert peg is not None
    found = peg.forecast(E2, D2)

    assert pytest.approx(math.sqrt(1 / 192 + 1 / 100)) == LEAST_SCATTER
    assert found is not None
    assert found.spread == pytest.approx(LEAST_SCATTER * math.sqrt(1 + math.pi / 8))


def test_answers_scattered_about_a_true_peg_find_it() -> None:
    # One turn for 934 Hz^2, told to the nearest quarter, for tones and semitones up and down.
    true = 1.0 / 934.0
    steps = [(E2, D2), (D2, E2), (E2, C2), (C2, D2), (D2, C2), (C2, E2)]
    told = [
        Report(change_of_square(*step), round(4 * true * change_of_square(*step)) / 4)
        for step in steps
    ]

    peg = learn(told)

    assert peg is not None
    assert abs(peg.turns_per_hz2 - true) < 2.0 * peg.uncertainty
