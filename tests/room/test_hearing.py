"""Unison strings: which of them a pitch counts for, and with what verdict."""

from __future__ import annotations

import pytest

from station.measure.types import Note, Reading
from station.music.pitch import midi_to_hz, shift_cents
from station.music.strings import match_string
from station.music.tunings import load_instruments
from station.room.hearing import Attribution, Take, is_evidence, judge
from station.room.model import Player
from station.room.seats import Seat, take_seat

HIGH_E = 64  # strings 1 and 2 of a 12-string guitar (common practice, no source)


def note(midi: int, cents: float) -> Note:
    return Note(1, 0.1, 2.0, shift_cents(midi_to_hz(midi), cents), 0.1, 1e-4, 12)


def reading(midi: int, cents: float, at_s: float = 0.5) -> Reading:
    return Reading(1, at_s, shift_cents(midi_to_hz(midi), cents), 0.1, 1e-4, 12, 0.1)


def take_of(seat: Seat, heard: Reading | Note, before: Take | None, in_cents: float) -> Take:
    assert seat.tuning is not None
    match = match_string(heard.hz, seat.tuning)
    take = judge(heard, Attribution(seat, match), before, in_cents)
    assert take is not None
    return take


def course(offset_cents: float) -> Seat:
    """A 12-string guitar whose second high E is that much off the first."""
    offsets = ((2, offset_cents),) if offset_cents else ()
    return take_seat(
        Player("tove", "Tove", "guitar-12", offsets_cents=offsets), load_instruments(), 2
    )


@pytest.mark.parametrize(
    ("offset", "cents", "takes"),
    [
        (0.0, 0.5, {1: ("in", 0.5), 2: ("in", 0.5)}),
        (1.5, 0.5, {1: ("in", 0.5), 2: ("in", -1.0)}),
        (1.5, 1.0, {2: ("in", -0.5), 1: ("in", 1.0)}),
        (1.5, 3.0, {2: ("in", 1.5), 1: ("slacken", 3.0)}),
        (1.5, -1.0, {1: ("in", -1.0), 2: ("tighten", -2.5)}),
        (2.0, 0.5, {1: ("in", 0.5)}),  # as far apart as the limit: two strings again
        (2.0, 1.5, {2: ("in", -0.5)}),
        (-8.0, -6.5, {2: ("in", 1.5)}),
    ],
)
def test_unison_strings_nearer_than_the_limit_are_heard_together_each_at_its_own_distance(
    offset, cents, takes
):
    take = take_of(course(offset), note(HIGH_E, cents), None, in_cents=2.0)

    heard = {t.string: (t.verdict, round(t.cents, 6)) for t in (take, *take.also)}
    assert heard == takes
    assert take.string == next(iter(takes))


def test_a_finer_limit_tells_nearer_strings_apart():
    seat = course(1.5)

    assert take_of(seat, note(HIGH_E, 0.2), None, in_cents=1.0).also == ()
    assert take_of(seat, note(HIGH_E, 0.2), None, in_cents=1.6).also != ()


def test_readings_that_change_between_alike_strings_are_evidence_all_the_same():
    seat = course(0.4)

    first = take_of(seat, reading(HIGH_E, 0.15, 0.5), None, 2.0)
    second = take_of(seat, reading(HIGH_E, 0.25, 0.52), first, 2.0)

    assert (first.string, second.string) == (1, 2)
    assert is_evidence(reading(HIGH_E, 0.25, 0.52), second, first, 2.0)


def test_readings_that_change_between_strings_told_apart_prove_nothing():
    seat = course(4.0)

    first = take_of(seat, reading(HIGH_E, 1.9, 0.5), None, 2.0)
    second = take_of(seat, reading(HIGH_E, 2.1, 0.52), first, 2.0)

    assert (first.string, second.string) == (1, 2)
    assert not is_evidence(reading(HIGH_E, 2.1, 0.52), second, first, 2.0)


def test_a_verdict_holds_within_a_note_though_the_nearest_target_changes():
    seat = course(1.5)

    first = take_of(seat, reading(HIGH_E, 1.9, 0.5), None, 2.0)  # nearest to string 2
    second = take_of(seat, reading(HIGH_E, 2.6, 0.52), first, 2.0)

    assert {t.string: t.verdict for t in (first, *first.also)} == {2: "in", 1: "in"}
    # 2.6 is past string 1's limit of 2, not past the 3 at which it leaves.
    assert {t.string: t.verdict for t in (second, *second.also)} == {2: "in", 1: "in"}
