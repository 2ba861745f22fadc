"""What damping changed between two taps, on synthetic drums whose modes are known."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from station.measure.drums.damping import compare
from station.measure.drums.tap import tap
from station.measure.drums.types import Mode, Stroke, Tap
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


def scattered(rng: np.random.Generator, ring_s: float, level_db: float) -> Tap:
    """Five strokes by a hand that hits the overtone now harder, now softer."""
    strokes = []
    for at_s in range(5):
        own = Mode(100.0, 1.0, 0.0, 1.0 * (1 + 0.05 * rng.normal()))
        over = Mode(159.0, 1.0, level_db + rng.normal(), ring_s * (1 + 0.05 * rng.normal()))
        strokes.append(Stroke(1, at_s, own, over, None, (own, over), None, "good", None, False))
    said = tap(strokes)
    assert said is not None
    return said


def test_a_change_is_as_unsure_as_strokes_of_one_drum_are_apart() -> None:
    rng = np.random.default_rng(5)
    inside = []

    for _ in range(300):
        over = compare(scattered(rng, 0.8, -6.0), scattered(rng, 0.5, -10.0)).changes[1]
        assert over.level_db is not None
        assert over.level_sd_db is not None
        assert over.ring_ms is not None
        assert over.ring_sd_ms is not None
        inside.append(abs(over.level_db + 4.0) < 2 * over.level_sd_db)
        inside.append(abs(over.ring_ms + 300.0) < 2 * over.ring_sd_ms)

    # 95 of 100 for a known spread; that of five strokes is itself unsure.
    assert 0.85 < np.mean(inside) < 0.97


def test_one_stroke_alone_tells_no_scatter() -> None:
    own, over = Mode(100.0, 1.0, 0.0, 1.0), Mode(159.0, 1.0, -6.0, 0.8)
    one = tap([Stroke(1, 0.0, own, over, None, (own, over), None, "good", None, False)])
    assert one is not None

    changed = compare(one, one)

    assert [each.level_sd_db for each in changed.changes] == [None, None]
    assert [each.ring_sd_ms for each in changed.changes] == [None, None]
