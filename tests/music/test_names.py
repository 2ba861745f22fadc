"""Note names in three systems."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.errors import NoteNameError
from station.music import Accidental, NamingSystem, note_in, note_name, parse_note, pretty

midis = st.integers(0, 127)
systems = st.sampled_from(["english", "german", "solfege"])
accidentals = st.sampled_from(["sharp", "flat"])

# The German names of the octave from middle C (c' in German): German school usage,
# common practice, no source. B is B flat, H is B natural.
GERMAN_FLATS = ["C4", "Des4", "D4", "Es4", "E4", "F4", "Ges4", "G4", "As4", "A4", "B4", "H4"]
GERMAN_SHARPS = ["C4", "Cis4", "D4", "Dis4", "E4", "F4", "Fis4", "G4", "Gis4", "A4", "Ais4", "H4"]
# Fixed-do names as sung in Italy, Spain and France: common practice, no source.
SOLFEGE_FLATS = [
    "Do4", "Reb4", "Re4", "Mib4", "Mi4", "Fa4", "Solb4", "Sol4", "Lab4", "La4", "Sib4", "Si4",
]  # fmt: skip
SOLFEGE_SHARPS = [
    "Do4", "Do#4", "Re4", "Re#4", "Mi4", "Fa4", "Fa#4", "Sol4", "Sol#4", "La4", "La#4", "Si4",
]  # fmt: skip
ENGLISH_FLATS = ["C4", "Db4", "D4", "Eb4", "E4", "F4", "Gb4", "G4", "Ab4", "A4", "Bb4", "B4"]
ENGLISH_SHARPS = ["C4", "C#4", "D4", "D#4", "E4", "F4", "F#4", "G4", "G#4", "A4", "A#4", "B4"]


@given(midis, systems, accidentals)
def test_a_written_name_is_read_back_as_the_same_note(
    midi: int, system: NamingSystem, prefer: Accidental
) -> None:
    assert parse_note(note_name(midi, system, prefer), system) == midi


@given(midis, st.sampled_from(["english", "solfege"]), accidentals)
def test_a_pretty_name_is_read_back_as_the_same_note(
    midi: int, system: NamingSystem, prefer: Accidental
) -> None:
    printed = pretty(note_name(midi, system, prefer))

    assert "#" not in printed
    assert parse_note(printed, system) == midi


@given(midis, systems)
def test_an_octave_changes_the_number_and_nothing_else(midi: int, system: NamingSystem) -> None:
    low, high = midi % 12 + 48, midi % 12 + 60

    assert note_name(low, system).replace("3", "4") == note_name(high, system)


@given(midis, systems, accidentals)
def test_machine_names_are_plain_ascii(midi: int, system: NamingSystem, prefer: Accidental) -> None:
    assert note_name(midi, system, prefer).isascii()


@given(st.text(max_size=12), systems)
def test_any_text_is_a_note_or_one_clear_line(text: str, system: NamingSystem) -> None:
    try:
        midi = parse_note(text, system)
    except NoteNameError as fault:
        assert len(str(fault).splitlines()) == 1
    else:
        assert 0 <= midi <= 127


@pytest.mark.parametrize(
    ("system", "prefer", "names"),
    [
        ("english", "sharp", ENGLISH_SHARPS),
        ("english", "flat", ENGLISH_FLATS),
        ("german", "sharp", GERMAN_SHARPS),
        ("german", "flat", GERMAN_FLATS),
        ("solfege", "sharp", SOLFEGE_SHARPS),
        ("solfege", "flat", SOLFEGE_FLATS),
    ],
)
def test_the_middle_octave_is_named_as_the_system_names_it(
    system: NamingSystem, prefer: Accidental, names: list[str]
) -> None:
    assert [note_name(midi, system, prefer) for midi in range(60, 72)] == names
    assert [parse_note(name, system) for name in names] == list(range(60, 72))


@pytest.mark.parametrize(
    ("text", "midi"),
    [
        ("E2", 40), ("Eb3", 51), ("C#4", 61), ("F♯3", 54), ("B♭2", 46), ("e2", 40), ("eb3", 51),
        ("b3", 59), ("bb3", 58), ("Cb4", 59), ("B#3", 60), ("Fx3", 55), ("F##3", 55),
        ("Bbb3", 57), ("C-1", 0), (" A4 ", 69),
    ],
)  # fmt: skip
def test_english_names_are_read(text: str, midi: int) -> None:
    assert parse_note(text) == midi


@pytest.mark.parametrize(
    ("text", "midi"),
    [
        ("H3", 59), ("B3", 58), ("Heses3", 57), ("Ces4", 59), ("His3", 60), ("As3", 56),
        ("Ases3", 55), ("Es3", 51), ("Eses3", 50), ("Fisis3", 55), ("A4", 69),
    ],
)  # fmt: skip
def test_german_names_are_read(text: str, midi: int) -> None:
    assert parse_note(text, "german") == midi


@pytest.mark.parametrize(
    ("text", "midi"),
    [
        ("La4", 69), ("la4", 69), ("LA4", 69), ("Ré3", 50), ("Sol#2", 44), ("Lab2", 44),
        ("Si♭2", 46), ("Dob4", 59), ("Si#3", 60),
    ],
)  # fmt: skip
def test_solfege_names_are_read_with_a_fixed_do(text: str, midi: int) -> None:
    assert parse_note(text, "solfege") == midi


@pytest.mark.parametrize(
    ("text", "system", "expected"),
    [
        ("H3", "english", "'H3'.*letter A to G.*German for B3"),
        ("Cis4", "english", "German for C#4"),
        ("La4", "english", "solfege for A4"),
        ("E", "english", "octave number is missing"),
        ("", "english", "note is empty"),
        ("EB3", "english", "did you mean Eb3"),
        ("a1", "german", "capital.*did you mean A1"),
        ("Hes3", "german", "not known in German"),
        ("Ti4", "solfege", "not known in solfege"),
        ("G#9", "english", "out of range.*C-1.*G9"),
        ("Cb-1", "english", "out of range"),
        ("C44", "english", "out of range"),
        ("loud", "english", "Eb3"),
        ("E2\nA2", "english", "not known"),
        (40, "english", "40 is not text"),
        ("E٢", "english", "not known"),
        ("A4", "byzantine", "naming system 'byzantine'.*english, german, solfege"),
    ],
)
def test_what_is_no_note_is_refused_in_one_line(text: str, system: str, expected: str) -> None:
    with pytest.raises(NoteNameError, match=expected) as caught:
        parse_note(text, system)  # type: ignore[arg-type]

    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("midi", [-1, 128, 60.5, float("nan")])
def test_a_number_without_a_name_is_refused(midi: int) -> None:
    with pytest.raises(NoteNameError, match=r"out of range|whole number"):
        note_name(midi)


def test_only_sharps_and_flats_may_be_preferred() -> None:
    with pytest.raises(NoteNameError, match="sharp or flat"):
        note_name(61, prefer="natural")  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("machine", "printed"),
    [
        ("C#4", "C♯4"), ("Eb3", "E♭3"), ("Bb2", "B♭2"), ("B2", "B2"), ("Sib2", "Si♭2"),
        ("Sol#-1", "Sol♯-1"), ("Bb-1", "B♭-1"), ("Bbb3", "B♭♭3"), ("Bb", "B♭"), ("Cis4", "Cis4"),
    ],
)  # fmt: skip
def test_pretty_names_carry_typographic_signs(machine: str, printed: str) -> None:
    assert pretty(machine) == printed


@given(midis, systems, accidentals)
def test_a_note_is_spelled_the_same_in_another_system(
    midi: int, system: NamingSystem, prefer: Accidental
) -> None:
    assert note_in(note_name(midi, "english", prefer), system) == note_name(midi, system, prefer)


@given(
    st.sampled_from("CDEFGABcdefgab"),
    st.sampled_from(["", "#", "##", "x", "♯", "b", "bb", "♭"]),
    st.integers(1, 8),
    systems,
)
def test_however_a_note_is_written_it_stays_the_same_note(
    letter: str, sign: str, octave: int, system: NamingSystem
) -> None:
    written = f"{letter}{sign}{octave}"

    assert parse_note(note_in(written, system), system) == parse_note(written)


# Common practice, no source.
@pytest.mark.parametrize(
    ("written", "english", "german", "solfege"),
    [
        ("Eb2", "Eb2", "Es2", "Mib2"),
        ("Bb3", "Bb3", "B3", "Sib3"),
        ("B3", "B3", "H3", "Si3"),
        ("ab1", "Ab1", "As1", "Lab1"),
        ("Cb4", "Cb4", "Ces4", "Dob4"),
        ("B#3", "B#3", "His3", "Si#3"),
        ("Bbb3", "Bbb3", "Heses3", "Sibb3"),
        ("Abb3", "Abb3", "Ases3", "Labb3"),
        ("Fx-1", "F##-1", "Fisis-1", "Fa##-1"),
        (" f♯03 ", "F#3", "Fis3", "Fa#3"),
    ],
)
def test_known_notes_in_the_three_systems(
    written: str, english: str, german: str, solfege: str
) -> None:
    assert note_in(written, "english") == english
    assert note_in(written, "german") == german
    assert note_in(written, "solfege") == solfege


def test_what_is_no_english_note_has_no_other_name() -> None:
    with pytest.raises(NoteNameError, match="German for"):
        note_in("Es2", "solfege")
    with pytest.raises(NoteNameError, match="choose one of"):
        note_in("E2", "latin")  # type: ignore[arg-type]
