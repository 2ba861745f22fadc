"""What damping changed between two taps, on synthetic drums whose modes are known."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from station.measure.drums.damping import compare
from station.measure.drums.tap import tap
from station.measure.drums.types import Tap
from tests.support.drum_strokes import Drum, Ringing, heard, take

OPEN = Drum((Ringing(100, 0.5, 1.6), Ringing(159, 0.2, 1.0), Ringing(231, 0.12, 0.8)))


def tapped(drum: Drum) -> Tap:
    strokes = [(0.4 + 2.8 * at, replace(drum, seed=at).sound(2.6)) for at in range(3)]
    said = tap(heard(take(strokes, 9.0)))
    assert said is not None
    return said


def test_a_drum_left_alone_has_not_changed() -> None:
    changed = compare(tapped(OPEN), tapped(replace(OPEN, seed=7)))

    assert abs(changed.cents) < 0.5
    assert len(changed.changes) == 3
    for change in changed.changes:
        assert abs(change.level_db or 0.0) < 0.5
        assert abs(change.ring_ms or 0.0) < 20


def test_each_mode_has_its_own_decibels_and_milliseconds() -> None:
    muffled = Drum((Ringing(99.5, 0.5, 0.9), Ringing(158.2, 0.1, 0.4), Ringing(230, 0.06, 0.4)))

    changed = compare(tapped(OPEN), tapped(muffled))

    assert changed.cents == pytest.approx(1200 * math.log2(99.5 / 100), abs=1.0)
    first, second, third = changed.changes
    assert first.level_db == 0.0
    assert first.ring_ms == pytest.approx(-700, rel=0.1)
    assert second.ring_ms == pytest.approx(-600, rel=0.1)
    assert third.ring_ms == pytest.approx(-400, rel=0.1)
    # Levels are told 30 ms after the stroke, when a faster decay has already taken its share.
    taken_db = 60 * 0.03 * (1 / 0.4 - 1 / 1.0 - 1 / 0.9 + 1 / 1.6)
    assert second.level_db == pytest.approx(20 * math.log10(0.1 / 0.2) - taken_db, abs=0.7)
    assert second.sound_db == pytest.approx(second.level_db + 10 * math.log10(0.4 / 1.0), abs=0.5)


def test_a_mode_that_damping_took_away_is_gone_and_one_that_came_is_new() -> None:
    without = Drum((Ringing(100, 0.5, 1.6), Ringing(159, 0.2, 1.0)))

    gone = compare(tapped(OPEN), tapped(without)).changes[-1]
    new = compare(tapped(without), tapped(OPEN)).changes[-1]

    assert gone.after is None
    assert new.before is None
    assert gone.before is not None
    assert new.after is not None
    assert gone.before.hz == pytest.approx(231, rel=0.002)
    assert new.after.hz == pytest.approx(231, rel=0.002)
    assert (gone.level_db, gone.ring_ms, new.sound_db) == (None, None, None)


def test_modes_are_matched_though_the_whole_drum_was_retuned() -> None:
    up = 2 ** (150 / 1200)
    higher = Drum(tuple(replace(mode, hz=up * mode.hz) for mode in OPEN.modes))

    changed = compare(tapped(OPEN), tapped(higher))

    assert changed.cents == pytest.approx(150, abs=1)
    assert [change.cents for change in changed.changes] == pytest.approx([150] * 3, abs=3)
