"""What a card that runs fast or slow does to a pitch, and back."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from station.measure.correction import corrected
from station.measure.fixed.types import FixedNote, Reed
from station.measure.types import Gap, Level, Note, Reading

FACTOR = 1.0001
UNSURE_CENTS = 0.04

READING = Reading(1, 2.0, 110.0, 0.03, 1e-4, 12, 1.5, clipped=True, moving=True)
NOTE = Note(2, 0.5, 2.0, 220.0, 0.03, 1e-4, 9)
FIXED = FixedNote(
    1, 0.0, 1.0, 440.5, 0.03, 0.0, 5, (Reed(440.0, 0.03, 0.0), Reed(441.0, 0.03, -3.0)), 1.0
)


@pytest.mark.parametrize("heard", [READING, NOTE, FIXED])
def test_pitch_is_scaled_and_its_uncertainty_joined_in_quadrature(heard):
    done = corrected(heard, FACTOR, UNSURE_CENTS)

    assert done.hz == heard.hz * FACTOR
    assert done.uncertainty_cents == pytest.approx(0.05)  # 3, 4, 5
    assert type(done) is type(heard)


@pytest.mark.parametrize("heard", [READING, NOTE])
def test_nothing_else_of_a_reading_or_note_changes(heard):
    done = corrected(heard, FACTOR, UNSURE_CENTS)

    assert replace(done, hz=heard.hz, uncertainty_cents=heard.uncertainty_cents) == heard


def test_every_reed_and_the_beat_go_along():
    done = corrected(FIXED, FACTOR, UNSURE_CENTS)

    assert [reed.hz for reed in done.reeds] == [440.0 * FACTOR, 441.0 * FACTOR]
    assert [reed.level_db for reed in done.reeds] == [0.0, -3.0]
    assert all(reed.uncertainty_cents == pytest.approx(0.05) for reed in done.reeds)
    assert done.beat_hz == FACTOR


def test_a_plain_fixed_note_has_no_beat_afterwards_either():
    plain = replace(FIXED, reeds=FIXED.reeds[:1], beat_hz=None)

    assert corrected(plain, FACTOR, UNSURE_CENTS).beat_hz is None


@pytest.mark.parametrize(
    "heard", [Level(1, 1.0, -20.0, -10.0, 0.0, False, "signal"), Gap(1, 1.0, 480)]
)
def test_levels_and_gaps_stay_as_they_are(heard):
    assert corrected(heard, FACTOR, UNSURE_CENTS) is heard


def test_a_card_100_ppm_fast_hears_a_tone_a_sixth_of_a_cent_flat_and_is_put_right():
    true_hz = 440.0
    flat = replace(NOTE, hz=true_hz / FACTOR)  # as many frames too many in each period

    done = corrected(flat, FACTOR, 0.0)

    assert 1200 * math.log2(flat.hz / true_hz) == pytest.approx(-0.1731, abs=1e-4)
    assert done.hz == pytest.approx(true_hz, rel=1e-12)
