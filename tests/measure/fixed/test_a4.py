"""A4 of an instrument: what is told from one note to a whole keyboard, and what is not."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from station.measure.fixed.a4 import (
    ENOUGH_CENTS,
    InstrumentPitch,
    instrument_pitch,
)
from station.measure.fixed.claim import FEW_CLASSES, SURE
from station.measure.fixed.types import FixedNote, Reed
from station.music.names import parse_note
from station.music.temperaments import PITCH_CLASSES, temperament_cents
from tests.support.harps import cents_of, fixed_note

NATURALS = [60, 62, 64, 65, 67, 69, 71, 72, 74, 76]
CHROMATIC = list(range(57, 79))
HARP_STEPS = (0, 4, 7, 12, 16, 19, 24, 2, 11, 14, 5, 9, 17, 21)
"""The reeds of a ten-hole harp above its key note."""


def heard(notes: list[FixedNote]) -> InstrumentPitch:
    found = instrument_pitch(notes)
    assert found is not None
    return found


def cents_apart(found: InstrumentPitch, a4_hz: float) -> float:
    return 1200.0 * math.log2(found.a4_hz / a4_hz)


def scattered(midi: list[int], a4_hz: float, seed: int, cents: float = 1.0) -> list[FixedNote]:
    errors = np.random.default_rng(seed).uniform(-cents, cents, len(midi))
    return [fixed_note(m, float(e), a4_hz) for m, e in zip(midi, errors, strict=True)]


def railsback(midi: int) -> float:
    """Stretch of a grand piano as Railsback's figure has it, cents (see `posterior`)."""
    octaves = (midi - 69) / 12.0
    return 1.2 * octaves + 0.35 * octaves**3


def just_harp(key: int, a4_hz: float, seed: int, ratios: dict[int, float]) -> list[FixedNote]:
    """Reeds off by 1 cent at random; ``ratios`` replaces cents of steps above the key note."""
    table = temperament_cents("just", PITCH_CLASSES[key])
    rng = np.random.default_rng(seed)
    return [
        fixed_note(
            60 + key + step,
            ratios.get(step % 12, table[(key + step) % 12]) + rng.uniform(-1.0, 1.0),
            a4_hz,
        )
        for step in HARP_STEPS
    ]


# -- little ----------------------------------------------------------------------


def test_without_a_usable_note_there_is_no_pitch():
    good = fixed_note(69)

    assert instrument_pitch([]) is None
    for bad in (
        replace(good, hz=0.0),
        replace(good, hz=-1.0),
        replace(good, hz=math.nan),
        replace(good, hz=math.inf),
        replace(good, hz=1e6),
        replace(good, uncertainty_cents=math.inf),
        replace(good, uncertainty_cents=math.nan),
        replace(good, uncertainty_cents=200.0),
    ):
        assert instrument_pitch([bad]) is None


def test_one_a_is_told_as_it_is_but_with_the_doubt_of_an_unknown_temperament():
    found = heard([fixed_note(69, 0.0, 441.2)])

    assert found.a4_hz == pytest.approx(441.2, abs=0.05)
    assert found.uncertainty_cents > 2.0  # of just instruments the A may be any degree
    assert (found.temperament, found.root, found.enough) == (None, None, False)
    assert found.spread_cents is None
    assert "from one note" in found.says


def test_one_other_note_leaves_a4_open_by_what_temperaments_differ():
    found = heard([fixed_note(60, 0.0, 441.2)])

    assert abs(cents_apart(found, 441.2)) < 8.0
    assert 4.0 < found.uncertainty_cents < 15.0
    assert not found.enough


@pytest.mark.parametrize("a4_hz", [415.0, 440.3, 466.0])
def test_a_tuning_fork_is_its_own_a4(a4_hz):
    found = heard([fixed_note(69, 0.0, a4_hz, partials=1)])

    (note,) = found.notes
    assert found.a4_hz == pytest.approx(a4_hz)
    assert found.uncertainty_cents == pytest.approx(0.1)
    assert (note.note, note.cents) == ("A4", 0.0)
    assert "tuning fork" in found.says


def test_only_a_fork_near_440_ends_the_listening():
    # 466 Hz may as well be an A#4 of an organ's purest stop.
    assert heard([fixed_note(69, 0.0, 441.0, partials=1)]).enough
    assert not heard([fixed_note(69, 0.0, 466.2, partials=1)]).enough


def test_two_notes_claim_nothing():
    found = heard([fixed_note(69), fixed_note(76)])

    assert found.temperament is None
    assert not found.enough
    assert len(found.play_next) == 2
    assert len(found.evidence) == 4


@pytest.mark.parametrize("count", range(1, FEW_CLASSES))
def test_equal_is_not_claimed_from_a_few_notes_however_exact(count):
    found = heard([fixed_note(midi, unsure=0.02) for midi in NATURALS[:count]])

    assert found.temperament is None


def test_few_scattered_notes_of_an_equal_instrument_are_not_called_equal():
    named = [
        heard(scattered(CHROMATIC[seed : seed + 5], 441.0, seed, cents=2.0)).temperament
        for seed in range(12)
    ]

    assert named == [None] * 12


# -- enough ----------------------------------------------------------------------


def test_an_equal_instrument_gives_the_mean_of_its_reeds():
    notes = scattered(CHROMATIC, 441.3, 3, cents=2.0)
    offsets = [1200.0 * math.log2(n.hz / 440.0) - 100.0 * (n.onset_s - 69) for n in notes]

    found = heard(notes)

    assert cents_of(found) == pytest.approx(np.mean(offsets), abs=0.03)
    assert (found.temperament, found.root) == ("equal", None)
    assert found.enough
    assert found.uncertainty_cents <= ENOUGH_CENTS
    assert found.spread_cents == pytest.approx(np.std(offsets), rel=0.4)
    assert found.play_next == ()


def test_the_least_sure_note_weighs_least():
    exact = [fixed_note(midi, 0.0, 440.0) for midi in CHROMATIC]
    exact[5] = fixed_note(CHROMATIC[5], 8.0, 440.0, unsure=8.0)

    assert abs(cents_of(heard(exact))) < 0.05


@pytest.mark.parametrize("key", range(12))
def test_thirds_of_a_just_harp_do_not_drag_a4_in_any_key(key):
    notes = just_harp(key, 442.0, key, {})
    mean = np.mean([1200 * math.log2(n.hz / 442.0) - 100 * (n.onset_s - 69) for n in notes])

    found = heard(notes)

    assert mean < -3.0  # what an average would be off
    # A4 by least squares from 14 reeds within 1 cent: 0.58 / sqrt(14) = 0.15 cents, times 3.
    assert abs(cents_apart(found, 442.0)) < 0.45
    assert found.evidence[0].temperament == "just"
    assert found.root in (PITCH_CLASSES[key], None)


@pytest.mark.parametrize(
    "ratios",
    [{9: 5.865}, {5: -29.219, 9: 5.865}, {5: 19.551, 9: 5.865}],
    ids=["27/16", "21/16 and 27/16", "27/20 and 27/16"],
)
def test_other_ratios_of_harp_makers_are_just_as_well(ratios):
    found = heard(just_harp(0, 441.0, 1, ratios))

    assert (found.temperament, found.root) == ("just", "C")
    assert abs(cents_apart(found, 441.0)) < 0.45
    assert not any(note.bad for note in found.notes)


@pytest.mark.parametrize("name", ["Werckmeister III", "Vallotti", "Young"])
def test_a_well_tempered_keyboard_at_415_hz_is_recognised_with_its_own_note_names(name):
    table = temperament_cents(name)
    notes = [fixed_note(m, table[m % 12], 415.0) for m in CHROMATIC]

    found = heard(notes)

    assert (found.temperament, found.root) == (name, "C")
    assert found.a4_hz == pytest.approx(415.0, abs=0.01)
    assert [note.midi for note in found.notes] == CHROMATIC


def test_an_equal_instrument_at_415_hz_is_named_from_440():
    found = heard([fixed_note(m, 0.0, 415.305) for m in CHROMATIC])

    assert found.a4_hz == pytest.approx(440.0, abs=0.01)
    assert [note.midi for note in found.notes] == [m - 1 for m in CHROMATIC]


@pytest.mark.parametrize("cents", [-47.0, 47.0, 50.0])
def test_near_a_quarter_tone_the_other_names_are_told_as_well(cents):
    found = heard(scattered(CHROMATIC, 440.0 * 2 ** (cents / 1200), 1))

    near = min(abs(cents_of(found) - each) for each in (cents, cents - 100.0, cents + 100.0))
    assert near < 0.5
    assert abs(cents_of(found)) < 51.0
    assert "with every note named a semitone" in found.says


def test_a_scale_of_quarter_tones_is_no_twelve_note_scale():
    notes = [fixed_note(m, 50.0 * (place % 2)) for place, m in enumerate(CHROMATIC)]

    found = heard(notes)

    assert (found.temperament, found.enough, found.fits) == (None, False, False)
    assert "no twelve-note scale" in found.says
    assert not any(note.bad for note in found.notes)


def test_offsets_that_repeat_in_every_octave_and_have_no_name_are_offsets():
    own = (6, -9, 8, -11, 4, 12, -8, 9, -12, 0, 10, -7)
    notes = [fixed_note(m, own[m % 12] - np.mean(own)) for m in range(48, 84)]

    found = heard(notes)

    assert (found.temperament, found.root) == ("per-note offsets", None)
    assert abs(cents_of(found)) < 3.0 * found.uncertainty_cents
    assert found.uncertainty_cents > 1.0  # free offsets have no anchor


# -- pianos ----------------------------------------------------------------------


@pytest.mark.parametrize("inharmonicity", [0.0, 4e-4])
def test_a_stretched_piano_gives_a4_where_its_own_a4_is(inharmonicity):
    keys = list(range(24, 106, 3)) + list(range(57, 81, 2))
    rng = np.random.default_rng(8)
    notes = [
        fixed_note(m, railsback(m) + rng.normal(0.0, 0.5), 441.0, inharmonicity=inharmonicity)
        for m in sorted(set(keys))
    ]

    found = heard(notes)

    assert abs(cents_apart(found, 441.0)) < 0.5
    assert found.temperament == "equal"
    assert found.stretch_cents_per_octave == pytest.approx(
        (railsback(105) - railsback(24)) / (81 / 12), abs=0.3
    )
    assert not any(note.bad for note in found.notes)


def test_five_notes_of_a_piano_give_its_a4():
    keys = (45, 57, 64, 69, 76)
    notes = [fixed_note(m, railsback(m), 442.0, inharmonicity=4e-4) for m in keys]

    found = heard(notes)

    assert abs(cents_apart(found, 442.0)) < 0.3


def test_an_instrument_of_pure_octaves_has_no_stretch():
    assert heard(scattered(list(range(48, 84)), 440.0, 2)).stretch_cents_per_octave is None


# -- bad reeds -------------------------------------------------------------------


@pytest.mark.parametrize("off", [-40.0, -22.0, -15.0, 15.0, 22.0, 40.0])
def test_one_bad_reed_is_found_and_not_heard(off):
    notes = scattered(CHROMATIC, 441.0, 4)
    others = heard(notes[:7] + notes[8:])
    notes[7] = fixed_note(CHROMATIC[7], off, 441.0)

    found = heard(notes)

    assert [note.midi for note in found.notes if note.bad] == [CHROMATIC[7]]
    assert cents_of(found) == pytest.approx(cents_of(others), abs=0.05)
    assert found.temperament == "equal"
    assert f"{abs(off):.0f} cents {'sharp' if off > 0 else 'flat'} and left out" in found.says


def test_two_bad_reeds_of_a_just_harp_are_found():
    notes = just_harp(7, 440.0, 5, {})
    for place, off in ((2, 31.0), (9, -24.0)):
        notes[place] = replace(notes[place], hz=notes[place].hz * 2 ** (off / 1200))

    found = heard(notes)

    bad = {note.midi for note in found.notes if note.bad}
    assert bad == {round(notes[2].onset_s), round(notes[9].onset_s)}
    assert found.temperament == "just"
    assert abs(cents_of(found)) < 0.6


def test_good_reeds_are_not_called_bad():
    called = sum(
        note.bad
        for seed in range(20)
        for note in heard(scattered(CHROMATIC, 440.0, seed, cents=2.0)).notes
    )

    assert called == 0


# -- takes, chords, reeds --------------------------------------------------------


def test_a_note_told_again_replaces_what_was_told_before():
    rough = fixed_note(69, 4.0, unsure=3.0, onset_s=1.0)
    surer = fixed_note(69, 0.0, unsure=0.1, onset_s=1.0)

    (note,) = heard([rough, surer]).notes

    assert (note.times, note.cents) == (1, pytest.approx(0.0, abs=1e-6))


def test_a_note_played_again_is_heard_twice_but_is_no_second_reed():
    once = scattered(CHROMATIC[:8], 440.0, 6)
    twice = [*once, *(replace(note, onset_s=note.onset_s + 100.0) for note in once)]

    first, second = heard(once), heard(twice)

    assert {note.times for note in second.notes} == {2}
    assert second.distinct == first.distinct == 8
    assert second.uncertainty_cents > 0.9 * first.uncertainty_cents


def test_takes_that_disagree_are_less_sure_than_each_says():
    takes = [fixed_note(69, cents, onset_s=cents) for cents in (-4.0, 4.0)]

    (note,) = heard(takes).notes

    # Birge's ratio: weights 100 each, chi square 100 * (16 + 16) = 3200 for one degree of
    # freedom, 0.1 / sqrt 2 * sqrt 3200 = 4.
    assert note.cents == pytest.approx(0.0, abs=1e-6)
    assert note.uncertainty_cents == pytest.approx(4.0)


def test_the_notes_of_a_chord_have_one_onset_and_are_all_heard():
    chord = [fixed_note(m, onset_s=2.0) for m in (60, 64, 67)]

    assert [note.midi for note in heard(chord).notes] == [60, 64, 67]


def test_reeds_and_their_beat_are_handed_on():
    note = replace(
        fixed_note(69), reeds=(Reed(439.0, 0.1, 0.0), Reed(441.0, 0.1, -2.0)), beat_hz=2.0
    )

    (told,) = heard([note]).notes

    assert (told.reeds_hz, told.beat_hz) == ((439.0, 441.0), 2.0)


def test_every_note_is_told_against_equal_temperament_and_its_own():
    found = heard(just_harp(0, 440.0, 2, {}))

    third = next(note for note in found.notes if note.note == "E4")
    assert third.temperament_cents == pytest.approx(-13.686, abs=0.001)
    assert third.cents == pytest.approx(-13.7, abs=1.5)
    assert third.hz == pytest.approx(329.628 * 2 ** (third.cents / 1200), abs=0.1)


def test_the_order_of_notes_does_not_matter():
    notes = scattered(CHROMATIC, 440.0, 9)

    assert heard(notes) == heard(notes[::-1])


# -- advice ----------------------------------------------------------------------


def test_what_to_play_next_would_tell_the_rivals_apart():
    # Vallotti and Young agree on all naturals but F, where they differ by a sixth of a comma.
    table = temperament_cents("Vallotti")
    naturals = [m for m in range(60, 77) if m % 12 in (0, 2, 4, 7, 9, 11)]
    found = heard([fixed_note(m, table[m % 12], unsure=0.05) for m in naturals])
    rivals = {each.temperament for each in found.evidence[:2]}

    apart = {
        name: abs(table[parse_note(name) % 12] - temperament_cents("Young")[parse_note(name) % 12])
        for name in found.play_next
    }

    assert rivals == {"Vallotti", "Young"}
    assert found.temperament is None
    assert max(apart.values()) > 3.0
    assert "Vallotti or Young" in found.says or "Young or Vallotti" in found.says
    assert f"play {found.play_next[0]}" in found.says


def test_hearing_what_was_advised_ends_in_a_claim():
    table = temperament_cents("Werckmeister III")
    rng = np.random.default_rng(11)
    reeds = {m: table[m % 12] + rng.uniform(-1.0, 1.0) for m in range(40, 100)}
    played = [60, 62]
    for _ in range(12):
        found = heard([fixed_note(m, reeds[m], 440.0) for m in played])
        if found.temperament is not None and found.enough:
            break
        assert found.play_next, found.says
        fresh = [parse_note(name) for name in found.play_next]
        assert not set(fresh) & set(played)
        played += fresh

    assert found.temperament == "Werckmeister III"
    assert found.enough


def test_a_claim_rests_on_the_probability_it_states():
    found = heard(scattered(CHROMATIC, 440.0, 1))

    assert found.evidence[0].temperament == found.temperament
    assert SURE <= found.evidence[0].probability <= 1.0
    assert sum(each.probability for each in found.evidence) <= 1.0 + 1e-9
