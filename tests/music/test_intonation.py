"""The fretted 12th, cents made millimetres, and the neck fret by fret."""

from __future__ import annotations

import math

import pytest

from station.errors import IntonationError
from station.music.intonation import (
    PRESS_CENTS,
    Sounded,
    cents_per_mm,
    fret_of,
    harmonic_excess_cents,
    neck,
    parse_scale,
    saddle,
    saddle_mm,
)


def note(cents: float, base_hz: float = 110.0, sd: float = 0.1) -> Sounded:
    return Sounded(base_hz * 2 ** (cents / 1200), sd)


def test_five_cents_sharp_at_648_mm_is_1_88_mm_by_hand():
    # First order: 1200 / ln 2 / 648 = 2.6717 cents a mm, 5 / 2.6717 = 1.871 mm.
    # Exactly: r = 2 x 2^(-5/1200) = 1.994232, x = 648 (1 - r/2) / (r - 1) = 1.880 mm.
    assert cents_per_mm(648) == pytest.approx(2.6717, abs=1e-4)
    assert saddle_mm(5.0, 648) == pytest.approx(1.880, abs=0.001)
    assert saddle_mm(-5.0, 648) == pytest.approx(-1.863, abs=0.001)
    assert saddle_mm(0.0, 648) == 0.0


@pytest.mark.parametrize("cents", [-30.0, -3.0, 4.0, 25.0])
def test_a_saddle_moved_so_far_puts_the_fretted_note_right(cents):
    scale_mm = 864.0
    x = saddle_mm(cents, scale_mm)

    after = 1200 * math.log2((scale_mm + x) / (scale_mm / 2 + x))

    assert after + cents == pytest.approx(1200, abs=1e-9)


@pytest.mark.parametrize(
    ("text", "mm"),
    [("648", 648), ("648 mm", 648), ("25.5in", 647.7), ("34 inches", 863.6), ('30"', 762)],
)
def test_scale_lengths_are_read_in_mm_and_inches(text, mm):
    assert parse_scale(text) == pytest.approx(mm)


@pytest.mark.parametrize("text", ["", "long", "25.5", "nan", "inf", "-648", "9000", "1e400"])
def test_scale_lengths_no_string_has_are_refused_in_one_line(text):
    with pytest.raises(IntonationError) as caught:
        parse_scale(text)

    assert "\n" not in str(caught.value)


def test_a_sharp_fretted_note_wants_the_saddle_back():
    said = saddle(
        [note(0.0), note(0.1), note(-0.1)], [note(1205), note(1205.4), note(1204.6)], scale_mm=648
    )

    assert said.cents == pytest.approx(5.0, abs=0.01)
    assert said.mm == pytest.approx(1.88, abs=0.01)
    assert (said.direction, said.enough, said.takes) == ("back", True, 3)
    # Scatter 0.4 of three takes, Student's 1.32: 0.305 cents; with the open strings' 0.076: 0.314.
    assert said.uncertainty_cents == pytest.approx(0.314, abs=0.005)
    assert said.mm_uncertainty == pytest.approx(0.314 / 2.6717, abs=0.01)


def test_a_flat_one_wants_it_forward_and_a_right_one_is_left():
    flat = saddle([note(0)] * 3, [note(1195)] * 3, scale_mm=648)
    right = saddle([note(0)] * 3, [note(1200.4)] * 3, scale_mm=648)

    assert flat.direction == "forward"
    assert right.direction == "in"


def test_one_press_is_as_sure_as_presses_are_and_not_enough():
    said = saddle([note(0)], [note(1203)], scale_mm=648)

    assert not said.enough
    assert said.uncertainty_cents == pytest.approx(PRESS_CENTS, rel=0.02)


def test_the_harmonic_is_a_unison_and_a_stiff_string_is_sharper_than_the_octave():
    said = saddle([note(1200)] * 3, [note(1204)] * 3, "harmonic", 648)

    assert said.cents == pytest.approx(4.0)
    # 600 log2(1.0004 / 1.0001), by hand 0.2596 cents; a fretted stiff string stands there too.
    assert harmonic_excess_cents(1e-4) == pytest.approx(0.2596, abs=0.0005)


def test_what_is_no_twelfth_fret_is_refused():
    for wrong in (note(1300), note(700)):
        with pytest.raises(IntonationError):
            saddle([note(0)], [wrong], scale_mm=648)
    with pytest.raises(IntonationError):
        saddle([], [note(1200)])
    with pytest.raises(IntonationError):
        saddle([note(0)], [])


def test_more_than_a_saddle_moves_is_said():
    assert saddle([note(0)] * 3, [note(1260)] * 3, scale_mm=648).beyond


def test_without_a_scale_length_only_cents_are_told():
    said = saddle([note(0)] * 3, [note(1205)] * 3)

    assert (said.mm, said.direction) == (None, None)
    assert said.cents == pytest.approx(5.0)


def test_the_neck_is_told_fret_by_fret_against_the_open_string():
    rows = neck(
        [note(0.0), note(1.0)],
        {1: [note(108.5)], 12: [note(1203.5), note(1202.5)], 7: [note(700.5)]},
    )

    assert [row.fret for row in rows] == [1, 7, 12]
    assert [row.cents for row in rows] == pytest.approx([8.0, 0.0, 2.5])
    assert [row.takes for row in rows] == [1, 1, 2]
    with pytest.raises(IntonationError):
        neck([], {1: [note(100)]})


@pytest.mark.parametrize(
    ("cents", "fret"),
    [(0, 0), (-20, 0), (110, 1), (1200, 12), (2400, 24), (2520, None), (-150, None), (750, None)],
)
def test_pitches_belong_to_the_nearest_fret_or_none(cents, fret):
    assert fret_of(110 * 2 ** (cents / 1200), 110) == fret
