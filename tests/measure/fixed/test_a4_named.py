"""What is named of badly tuned reeds, where their A4 lies, and what is asked for to tell more."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from station.measure.fixed.a4 import InstrumentPitch, instrument_pitch
from station.measure.fixed.expected import Expected
from station.measure.fixed.offsets import sounded
from station.measure.fixed.posterior import posterior
from station.music.names import parse_note
from station.music.temperaments import PITCH_CLASSES, TEMPERAMENTS, temperament_cents
from tests.support.harps import (
    KEYBOARD,
    SCATTERS,
    Harp,
    bets_on,
    cents_of,
    fixed_note,
    open_a4_cents,
    random_harp,
)

EVENLY, GAUSSIAN = SCATTERS
MANY = 30
NEAR_CENTS = 0.2
WELL_TEMPERED = ("Werckmeister III", "Vallotti", "Young")


def heard(harp: Harp) -> InstrumentPitch:
    found = instrument_pitch(harp.notes())
    assert found is not None
    return found


def harps(name, reading, trials, count=10):
    rng = np.random.default_rng([2025, count, TEMPERAMENTS.index(name)])
    return [random_harp(rng, name, count, SCATTERS[reading][0]) for _ in range(trials)]


def test_of_gaussian_errors_of_two_cents_as_many_are_named_as_an_observer_knows():
    all_harps = [harp for name in WELL_TEMPERED for harp in harps(name, GAUSSIAN, MANY)]

    right = sum(heard(harp).temperament == harp.name for harp in all_harps)
    knows = sum(bets_on(harp, GAUSSIAN) == harp.name for harp in all_harps)

    # The observer knows how far reeds scatter, by which law, and what is called A.
    assert right >= 0.84 * knows


@pytest.mark.parametrize("name", ["just", "quarter-comma meantone", "Pythagorean"])
def test_a4_of_ten_notes_named_rightly_is_that_of_the_reeds_as_they_are(name):
    off = [
        cents_of(found) - open_a4_cents(harp, found)
        for harp in harps(name, EVENLY, MANY)
        if (found := heard(harp)).temperament == name
    ]

    assert len(off) >= MANY - 2
    assert np.sum(np.abs(off) >= NEAR_CENTS) <= 1


def test_roots_that_no_note_tells_apart_have_one_a4_between_theirs():
    # Without an A the wolf of these eleven pitch classes may lie on either side of it: the chain
    # of root F# begins with A, that of C# ends with it, 41 cents farther up.
    table = np.array(temperament_cents("quarter-comma meantone", "F#"))
    notes = [fixed_note(m, table[m % 12]) for m in range(58, 69)]

    found = instrument_pitch(notes)
    with_a = instrument_pitch([*notes, fixed_note(69, table[9])])

    assert (found.temperament, found.root) == ("quarter-comma meantone", None)
    assert cents_of(found) == pytest.approx(-41.06 / 2, abs=0.01)
    assert found.uncertainty_cents > 20.0
    assert not found.enough
    assert found.play_next[0].startswith("A") and "#" not in found.play_next[0]
    assert (with_a.root, cents_of(with_a)) == ("F#", pytest.approx(0.0, abs=0.01))


def test_five_notes_that_are_far_apart_are_named_from_440_hz():
    # An accordion's, of a free sound font: Werckmeister's at 415 Hz would fit them a little better.
    cents = {48: -3.4, 55: -3.4, 60: -7.1, 64: 11.6, 69: 11.9}
    notes = [fixed_note(midi, off) for midi, off in cents.items()]

    found = instrument_pitch(notes)

    assert [note.midi for note in found.notes] == list(cents)
    assert abs(cents_of(found)) < 20.0


def test_reeds_that_were_told_apart_stay_so_when_they_are_heard_far_less_surely():
    apart = replace(fixed_note(60, 4.0, unsure=0.05), end_s=61.6)
    unclear = replace(fixed_note(60, -4.0, unsure=3.5), end_s=62.0)
    surer = replace(fixed_note(60, 4.3, unsure=0.1), end_s=62.0)

    assert [note.cents for note in sounded([apart, unclear])] == [pytest.approx(4.0)]
    assert [note.cents for note in sounded([apart, surer])] == [pytest.approx(4.3)]


# -- what to play next -----------------------------------------------------------


def test_notes_on_which_the_leading_rivals_agree_tell_nothing():
    table = temperament_cents("Vallotti")
    rng = np.random.default_rng(4)
    midi = [60, 62, 64, 67, 69, 71, 72, 74, 76, 79]
    heard_notes = sounded([fixed_note(m, table[m % 12] + rng.normal(0.0, 1.0)) for m in midi])
    known = np.full(12, np.nan)

    tells = Expected(posterior(heard_notes), known).information()

    # Vallotti and Young agree on these ten, and differ by 3.9 cents on all others.
    agreed = sorted({m % 12 for m in midi})
    others = sorted(set(range(12)) - set(agreed))
    assert tells.min() >= 0.0
    assert tells[agreed].max() < 0.5 * tells[others].min()


def test_a_second_note_of_the_same_pitch_class_tells_less_than_the_first_did():
    table = temperament_cents("Vallotti")
    midi = [60, 62, 64, 67, 69, 71]
    expected = Expected(
        posterior(sounded([fixed_note(m, table[m % 12]) for m in midi])), np.full(12, np.nan)
    )

    first = expected.information()
    place = int(first.argmax())
    second = expected.information_after(place)

    assert 0.0 <= second[place] < first[place]


def played_as_asked(whole: Harp, most: int) -> InstrumentPitch:
    """What is told of an instrument after so many notes at most, played as they are asked for."""
    reeds = dict(zip(whole.midi, whole.errors, strict=True))
    played = [60, 67, 76]
    while True:
        errors = tuple(reeds[midi] for midi in played)
        found = heard(Harp(whole.name, whole.root, whole.a4_hz, tuple(played), errors))
        if not found.play_next or len(played) >= most:
            return found
        wanted = {parse_note(each) for each in found.play_next} & set(reeds)
        rest = [midi for midi in reeds if midi not in played]
        played = sorted({*played, *(wanted or rest[:1])})


def test_ten_notes_played_as_asked_tell_what_ten_at_random_do_not():
    right = 0
    for name in ("equal", *WELL_TEMPERED):
        rng = np.random.default_rng([6, TEMPERAMENTS.index(name)])
        scatter = SCATTERS[GAUSSIAN][0]
        for _ in range(6):
            whole = random_harp(rng, name, len(KEYBOARD), scatter, a4_hz=(432.0, 446.0))
            right += played_as_asked(whole, 10).temperament == name

    # Betting on ten at random an observer who knows the errors' law is right 21 times in 24.
    assert right >= 22


def test_a_whole_diatonic_harp_tuned_just_has_its_key_and_an_a4_no_third_drags():
    steps = (0, 2, 4, 7, 11, 12, 14, 16, 17, 19, 21, 23, 24, 26, 28, 29, 31, 33, 36)
    rng = np.random.default_rng(13)
    for key in range(12):
        midi = tuple(55 + key + step for step in steps)
        errors = tuple(rng.uniform(-2.0, 2.0, len(midi)).tolist())
        harp = Harp("just", PITCH_CLASSES[(7 + key) % 12], 442.0, midi, errors)

        found = heard(harp)

        assert (found.temperament, found.root) == ("just", harp.root)
        assert abs(cents_of(found) - harp.best_a4_cents(found)) < NEAR_CENTS


def test_new_pitch_classes_are_asked_for_until_there_are_enough_for_a_name():
    # Four pitch classes on both sides of the wolf: meantone beyond doubt, but no name yet.
    table = temperament_cents("quarter-comma meantone", "G")
    midi = (48, 51, 53, 56, 60, 65, 68)
    found = instrument_pitch([fixed_note(m, table[m % 12], unsure=0.3) for m in midi])

    asked = {parse_note(name) % 12 for name in found.play_next}

    assert len(asked) == 2
    assert not asked & {m % 12 for m in midi}
