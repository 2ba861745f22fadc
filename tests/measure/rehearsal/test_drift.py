"""One player's strings, from notes made by hand: what is told of each."""

from __future__ import annotations

import math

import numpy as np
import pytest

from station.measure.rehearsal.drift import PlayerDrift

GUITAR = tuple((number, midi, 0.0) for number, midi in enumerate((64, 59, 55, 50, 45, 40), 1))
PRESS_CENTS = 4.0


def tuned(drift: PlayerDrift, at_s: float = 0.0, offsets: dict[int, float] | None = None) -> None:
    for number, _, _ in GUITAR:
        cents = (offsets or {}).get(number, 0.0)
        drift.hear_tuned(number, cents, 0.2, at_s + number, moved=True)


def song(
    drift: PlayerDrift,
    begin: float,
    length_s: float = 80.0,
    offsets: dict[int, float] | None = None,
    seed: int = 0,
    capo: int = 0,
) -> None:
    """Three notes a second on all strings, open and fretted, each string as far off as told."""
    rng = np.random.default_rng([seed, int(begin)])
    for step in range(int(3 * length_s)):
        number, midi, offset = GUITAR[int(rng.integers(0, 6))]
        fret = int(rng.choice([0, 0, 1, 2, 3, 4, 5, 7]))
        cents = offset + (offsets or {}).get(number, 0.0) + rng.normal(0, 0.4)
        cents += (PRESS_CENTS + rng.normal(0, 1.0)) if fret else 0.0
        drift.hear_played(midi + capo + fret + cents / 100, 0.05, begin + step / 3, 0.4)
    drift.pause()


def cents_of(drift: PlayerDrift) -> dict[int, float]:
    return {each.string: each.cents for each in drift.solve()}


def test_a_guitar_that_frets_sharp_has_not_drifted() -> None:
    drift = PlayerDrift(GUITAR)

    tuned(drift)
    song(drift, 20.0)
    song(drift, 120.0)

    assert all(abs(cents) < 1.5 for cents in cents_of(drift).values())


@pytest.mark.parametrize("cents", [-20.0, -8.0, 8.0])
@pytest.mark.parametrize("string", [1, 3, 6])
def test_the_string_that_slipped_is_named_and_no_other(string: int, cents: float) -> None:
    drift = PlayerDrift(GUITAR)

    tuned(drift)
    song(drift, 20.0)
    song(drift, 120.0, offsets={string: cents})

    told = cents_of(drift)
    assert told.pop(string) == pytest.approx(cents, abs=1.5)
    assert all(abs(other) < 2.0 for other in told.values())


def test_solved_after_every_song_it_comes_to_what_it_comes_to_at_once() -> None:
    step_by_step, at_once = PlayerDrift(GUITAR), PlayerDrift(GUITAR)
    slips = [{}, {5: -9.0}, {5: -9.0, 2: 12.0}, {2: 12.0}]

    for drift in (step_by_step, at_once):
        tuned(drift)
    for number, offsets in enumerate(slips):
        for drift in (step_by_step, at_once):
            if number == 3:  # string 5 was tuned in the gap
                drift.hear_tuned(5, 0.2, 0.2, 330.0, moved=True)
            song(drift, 20.0 + 110.0 * number, offsets=offsets)
        cents_of(step_by_step)

    assert cents_of(step_by_step) == pytest.approx(cents_of(at_once), abs=0.5)
    assert cents_of(at_once)[2] == pytest.approx(12.0, abs=1.5)
    assert cents_of(at_once)[5] == pytest.approx(0.0, abs=1.5)


def test_a_string_tuned_again_begins_anew() -> None:
    drift = PlayerDrift(GUITAR)
    tuned(drift)
    song(drift, 20.0)
    song(drift, 120.0, offsets={2: -15.0})

    drift.hear_tuned(2, 0.3, 0.2, 210.0, moved=True)
    at_once = cents_of(drift)[2]
    song(drift, 230.0)

    assert at_once == pytest.approx(0.0, abs=0.1)
    assert cents_of(drift)[2] == pytest.approx(0.0, abs=1.5)


def test_a_string_turned_between_two_plucks_was_tuned() -> None:
    drift = PlayerDrift(GUITAR)
    tuned(drift)
    song(drift, 20.0, offsets={4: -9.0})

    drift.hear_tuned(4, -9.0, 0.2, 110.0, moved=False)
    checked = cents_of(drift)[4]
    drift.hear_tuned(4, 0.1, 0.2, 114.0, moved=False)

    assert checked == pytest.approx(-9.0, abs=1.0)
    assert cents_of(drift)[4] == pytest.approx(0.0, abs=0.1)


def test_bends_struck_bent_do_not_count() -> None:
    drift, rng = PlayerDrift(GUITAR), np.random.default_rng(3)
    tuned(drift)
    song(drift, 20.0)

    for step in range(40):
        drift.hear_played(67 + rng.normal(0.05, 0.15), 0.05, 101.0 + step / 3, 0.6)
    song(drift, 120.0)

    assert all(abs(cents) < 2.0 for cents in cents_of(drift).values())


def test_offsets_wanted_by_the_player_are_no_drift_and_a_capo_is_the_nut() -> None:
    wanted = tuple((number, midi + 2, 10.0 if number == 6 else 0.0) for number, midi, _ in GUITAR)
    drift = PlayerDrift(wanted)

    for number, _, _ in wanted:
        drift.hear_tuned(number, 0.0, 0.2, float(number), moved=True)
    song(drift, 20.0, offsets={6: 10.0}, capo=2)

    assert all(abs(cents) < 1.5 for cents in cents_of(drift).values())


def test_strings_of_one_pitch_are_told_together() -> None:
    drift = PlayerDrift([(1, 64, 0.0), (2, 64, 0.0), (3, 59, 0.0)])

    for step in range(60):
        drift.hear_played(64.0, 0.05, 10.0 + step, 0.6)
    told = {each.string: each for each in drift.solve()}

    assert set(told) == {1, 3}
    assert told[1].alike == (2,)
    assert told[3].notes < 0.3 * told[1].notes


def test_strings_that_kept_their_target_carry_their_drift_into_another_tuning() -> None:
    drift = PlayerDrift(GUITAR)
    tuned(drift)
    song(drift, 20.0)
    song(drift, 120.0, offsets={2: -9.0})
    found = drift.solve()

    lowered = PlayerDrift([*GUITAR[:5], (6, 38, 0.0)])
    lowered.carry([each for each in found if each.string != 6], 210.0)
    for step in range(120):
        lowered.hear_played(59 - 0.09 + (0.04 if step % 2 else 0.0), 0.05, 220.0 + step / 3, 0.6)
        lowered.hear_played(55.0, 0.05, 220.1 + step / 3, 0.6)

    told = {each.string: each for each in lowered.solve()}
    assert told[2].cents == pytest.approx(-9.0, abs=2.5)
    assert told[2].since_s == pytest.approx(2.0)
    assert told[6].since_s > 200.0


def test_an_evening_of_many_hours_keeps_what_counts() -> None:
    drift = PlayerDrift(GUITAR)
    tuned(drift)

    for hour in range(40):
        song(drift, 20.0 + 300 * hour, 40.0, offsets={5: -0.3 * hour}, seed=hour)

    told = {each.string: each for each in drift.solve()}
    assert told[5].cents == pytest.approx(-11.7, abs=2.5)
    assert told[5].since_s == pytest.approx(5.0)


def test_nothing_impossible_is_believed_and_nothing_is_told_of_nothing() -> None:
    drift = PlayerDrift(GUITAR)
    assert drift.solve() == []

    for midi in (math.nan, math.inf, -5.0, 12.0, 127.0, 64.5):
        drift.hear_played(midi, 0.05, 1.0, 0.3)
    drift.hear_tuned(1, math.nan, 0.1, 1.0, moved=True)
    drift.hear_tuned(9, 0.0, 0.1, 1.0, moved=True)

    assert all(abs(each.cents) < 1e-6 for each in drift.solve())
    assert PlayerDrift([]).solve() == []


def test_a_task_is_not_changed_by_what_is_heard_after() -> None:
    drift = PlayerDrift(GUITAR)
    tuned(drift)
    song(drift, 20.0)
    task = drift.task()

    song(drift, 120.0, offsets={3: -12.0})

    assert abs({each.string: each.cents for each in task()}[3]) < 1.5
    assert cents_of(drift)[3] == pytest.approx(-12.0, abs=1.5)
