"""Keys as players spell them. Scales and triads: any textbook of harmony (common practice)."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.errors import NoteNameError
from station.music.keys import STEPS, class_in, interval_name, make_key, parse_key
from station.music.names import parse_note

TONICS = [f"{letter}{sign}" for letter in "ABCDEFG" for sign in ("", "#", "b")]
tonics, scales = st.sampled_from(TONICS), st.sampled_from(sorted(STEPS))


@pytest.mark.parametrize(
    ("written", "notes"),
    [
        ("C major", "C D E F G A B"),
        ("F# major", "F# G# A# B C# D# E#"),
        ("Bb major", "Bb C D Eb F G A"),
        ("E minor", "E F# G A B C D"),
        ("C natural minor", "C D Eb F G Ab Bb"),
        ("A harmonic minor", "A B C D E F G#"),
        ("G# harmonic minor", "G# A# B C# D# E F##"),
        ("D dorian", "D E F G A B C"),
        ("Eb dorian", "Eb F Gb Ab Bb C Db"),
        ("G mixolydian", "G A B C D E F"),
    ],
)
def test_a_scale_is_spelled_with_one_note_of_each_letter(written, notes):
    key = parse_key(written)

    assert [degree.name for degree in key.degrees] == notes.split()
    assert [degree.number for degree in key.degrees] == [1, 2, 3, 4, 5, 6, 7]


@pytest.mark.parametrize(
    ("written", "romans"),
    [
        ("C major", "I ii iii IV V vi vii°"),
        ("A minor", "i ii° III iv v VI VII"),
        ("A harmonic minor", "i ii° III+ iv V VI vii°"),
        ("D dorian", "i ii III IV v vi° VII"),
        ("G mixolydian", "I ii iii° IV v vi VII"),
    ],
)
def test_triads_of_each_degree_have_the_textbooks_quality(written, romans):
    key = parse_key(written)

    assert [key.triad(number).roman for number in range(1, 8)] == romans.split()


def test_a_triad_has_its_notes_spelled_in_the_key():
    triad = parse_key("A harmonic minor").triad(3)

    assert triad.quality == "augmented"
    assert [note.name for note in triad.notes] == ["C", "E", "G#"]


@pytest.mark.parametrize(
    ("written", "tonic", "scale"),
    [
        ("Em", "E", "minor"),
        ("E", "E", "major"),
        ("bm", "B", "minor"),
        ("  e♭   Dorian ", "Eb", "dorian"),
        ("F♯ HARMONIC minor", "F#", "harmonic minor"),
    ],
)
def test_short_forms_and_typographic_signs_are_taken(written, tonic, scale):
    key = parse_key(written)

    assert (key.tonic, key.scale) == (tonic, scale)


@pytest.mark.parametrize(
    ("note", "role"),
    [("E2", "root"), ("G3", "third"), ("B3", "fifth"), ("C3", "scale tone"), ("G#3", "outside")],
)
def test_a_note_has_its_role_in_any_octave(note, role):
    assert parse_key("E minor").role(parse_note(note)) == role


def test_an_octave_number_stays_with_its_letter():
    assert parse_key("Gb major").note(parse_note("B3")) == "Cb4"
    assert parse_key("C# major").note(parse_note("C4")) == "B#3"
    assert parse_key("E minor").note(parse_note("D#3")) == "D#3"


def test_keys_are_named_in_german_and_solfege():
    key = parse_key("Bb mixolydian")

    assert key.label() == "Bb mixolydian"
    assert key.label("german") == "B mixolydian"
    assert key.label("solfege") == "Sib mixolydian"
    assert class_in("F##", "german") == "Fisis"


@pytest.mark.parametrize(
    ("semitones", "name"),
    [
        (0, "unison"),
        (12, "octave"),
        (24, "octave"),
        (7, "fifth"),
        (15, "minor third"),
        (6, "tritone"),
    ],
)
def test_intervals_are_named_without_their_octaves(semitones, name):
    assert interval_name(semitones) == name


@given(tonics, scales)
def test_every_key_has_seven_notes_that_stand_where_its_steps_say(tonic, scale):
    key = make_key(tonic, scale)
    start = parse_note(f"{tonic}4")

    assert [d.pitch_class for d in key.degrees] == [(start + s) % 12 for s in STEPS[scale]]
    assert {degree.name[0] for degree in key.degrees} == set("ABCDEFG")
    for degree in key.degrees:
        assert parse_note(f"{degree.name}4") % 12 == degree.pitch_class


@given(tonics, scales, st.integers(12, 115))
def test_a_note_named_in_a_key_is_that_note(tonic, scale, midi):
    assert parse_note(make_key(tonic, scale).note(midi)) == midi


@pytest.mark.parametrize(
    ("written", "told"),
    [
        ("E minro", "did you mean minor"),
        ("H minor", "write a tonic and a scale"),
        ("EM", "write a tonic and a scale"),
        ("", "write a tonic and a scale"),
        (7, "is not text"),
    ],
)
def test_what_is_no_key_is_refused_in_one_line(written, told):
    with pytest.raises(NoteNameError, match=told) as refused:
        parse_key(written)

    assert "\n" not in str(refused.value)


def test_parts_that_make_no_key_are_refused():
    with pytest.raises(NoteNameError, match="scale 'blues' is not known"):
        make_key("E", "blues")
    with pytest.raises(NoteNameError, match="tonic 'H'"):
        make_key("H", "major")
    with pytest.raises(NoteNameError, match="degrees 1 to 7"):
        parse_key("E minor").triad(8)
