"""Pitch arithmetic and note names against values from outside the project."""

from __future__ import annotations

import librosa
import numpy as np
import pytest

from station.music import (
    A4_MAX_HZ,
    A4_MIN_HZ,
    hz_to_midi,
    midi_to_hz,
    nearest_note,
    note_name,
    parse_note,
)

ALL_MIDI = range(128)
REFERENCES_HZ = [*range(390, 471, 5), 415.3, 441.2, 442.0, 443.0, 466.16]

# B. H. Suits, Michigan Technological University, "Frequencies for equal-tempered
# scale, A4 = 440 Hz" (phy.mtu.edu/~suits/notefreqs.html): C to B, hertz, two decimals.
SUITS_HZ = {
    0: "16.35 17.32 18.35 19.45 20.60 21.83 23.12 24.50 25.96 27.50 29.14 30.87",
    1: "32.70 34.65 36.71 38.89 41.20 43.65 46.25 49.00 51.91 55.00 58.27 61.74",
    2: "65.41 69.30 73.42 77.78 82.41 87.31 92.50 98.00 103.83 110.00 116.54 123.47",
    3: "130.81 138.59 146.83 155.56 164.81 174.61 185.00 196.00 207.65 220.00 233.08 246.94",
    4: "261.63 277.18 293.66 311.13 329.63 349.23 369.99 392.00 415.30 440.00 466.16 493.88",
    5: "523.25 554.37 587.33 622.25 659.26 698.46 739.99 783.99 830.61 880.00 932.33 987.77",
}
SUITS_NAMES = ["C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B"]

# OEIS A329207 to A329218: the octave from middle C in equal temperament, hertz.
OEIS_HZ = {
    "C4": 261.6255653005,
    "C#4": 277.1826309768,
    "D4": 293.6647679174,
    "D#4": 311.1269837220,
    "E4": 329.6275569128,
    "F4": 349.2282314330,
    "F#4": 369.9944227116,
    "G4": 391.9954359817,
    "G#4": 415.3046975799,
    "A#4": 466.1637615180,
    "B4": 493.8833012561,
}

# OEIS A320304: hertz of the lowest MIDI note numbers, from 0 (C-1) to 12 (C0).
OEIS_LOWEST_HZ = [
    8.1758, 8.6620, 9.1770, 9.7227, 10.3009, 10.9134, 11.5623, 12.2499, 12.9782, 13.7500,
    14.5676, 15.4339, 16.3516,
]  # fmt: skip

# engineeringtoolbox.com, "Notes, Octaves and Frequencies": octaves 6 to 8, four figures.
TOOLBOX_HZ = {
    6: "1047 1109 1175 1245 1319 1397 1480 1568 1661 1760 1865 1976",
    7: "2093 2217 2349 2489 2637 2794 2960 3136 3322 3520 3729 3951",
    8: "4186 4435 4699 4978 5274 5588 5920 6272 6645 7040 7459 7902",
}


def test_a4_is_440_hz_as_iso_16_1975_sets_it() -> None:
    assert midi_to_hz(parse_note("A4")) == 440.0


@pytest.mark.parametrize("octave", SUITS_HZ)
def test_frequencies_agree_with_the_table_of_suits(octave: int) -> None:
    for name, printed in zip(SUITS_NAMES, SUITS_HZ[octave].split(), strict=True):
        hz = midi_to_hz(parse_note(f"{name}{octave}"))

        assert f"{hz:.2f}" == printed, f"{name}{octave}"


@pytest.mark.parametrize("octave", TOOLBOX_HZ)
def test_high_octaves_agree_with_the_engineering_toolbox(octave: int) -> None:
    for name, printed in zip(SUITS_NAMES, TOOLBOX_HZ[octave].split(), strict=True):
        assert f"{midi_to_hz(parse_note(f'{name}{octave}')):.0f}" == printed, f"{name}{octave}"


@pytest.mark.parametrize("name", OEIS_HZ)
def test_the_middle_octave_agrees_with_oeis_to_ten_decimals(name: str) -> None:
    # Decimals there are cut off, not rounded: the value lies above the printed one.
    assert -1e-12 <= midi_to_hz(parse_note(name)) - OEIS_HZ[name] < 1e-10


def test_the_lowest_midi_notes_agree_with_oeis() -> None:
    # Some entries there are rounded and one is cut off: one unit of the last place.
    ours = [midi_to_hz(midi) for midi in range(13)]

    np.testing.assert_allclose(ours, OEIS_LOWEST_HZ, rtol=0, atol=1e-4)


# MIDI 1.0 Detailed Specification: 60 is middle C; the ends of the piano's keyboard
# (A0 = 21, C8 = 108) and of the range (0 and 127) are from memory.
@pytest.mark.parametrize(
    ("name", "midi"), [("C4", 60), ("A4", 69), ("A0", 21), ("C8", 108), ("C-1", 0), ("G9", 127)]
)
def test_note_numbers_are_those_of_midi(name: str, midi: int) -> None:
    assert parse_note(name) == midi
    assert note_name(midi) == name


# librosa 0.10 and later: midi_to_hz, hz_to_midi, note_to_hz, midi_to_note, A4_to_tuning.
def test_every_midi_note_has_the_frequency_librosa_gives() -> None:
    ours = [midi_to_hz(midi) for midi in ALL_MIDI]

    np.testing.assert_allclose(ours, librosa.midi_to_hz(np.arange(128)), rtol=1e-13)


@pytest.mark.parametrize("a4_hz", REFERENCES_HZ)
def test_every_midi_note_agrees_with_librosa_at_other_references(a4_hz: float) -> None:
    # librosa tells the reference as a fraction of a semitone from 440 Hz.
    numbers = np.arange(128) + librosa.A4_to_tuning(a4_hz)

    ours_hz = [midi_to_hz(midi, a4_hz) for midi in ALL_MIDI]
    ours_midi = [hz_to_midi(hz, a4_hz) for hz in librosa.midi_to_hz(numbers)]

    np.testing.assert_allclose(ours_hz, librosa.midi_to_hz(numbers), rtol=1e-12)
    np.testing.assert_allclose(ours_midi, np.arange(128), atol=1e-10)


def test_fractions_of_a_semitone_agree_with_librosa() -> None:
    hz = np.geomspace(16.0, 5000.0, 500)

    np.testing.assert_allclose(
        [hz_to_midi(each) for each in hz], librosa.hz_to_midi(hz), atol=1e-11
    )


@pytest.mark.parametrize("midi", ALL_MIDI)
def test_names_are_those_of_librosa(midi: int) -> None:
    theirs = librosa.midi_to_note(midi, unicode=False)

    assert note_name(midi) == theirs
    assert midi_to_hz(parse_note(theirs)) == pytest.approx(librosa.note_to_hz(theirs), rel=1e-13)


@pytest.mark.parametrize("octave", range(9))
@pytest.mark.parametrize("letter", "CDEFGAB")
@pytest.mark.parametrize("sign", ["#", "b", "##", "bb", "♯", "♭"])
def test_every_accidental_is_read_as_librosa_reads_it(octave: int, letter: str, sign: str) -> None:
    written = f"{letter}{sign}{octave}"

    assert parse_note(written) == librosa.note_to_midi(written)


@pytest.mark.parametrize("a4_hz", [A4_MIN_HZ, 440.0, A4_MAX_HZ])
def test_the_nearest_note_is_the_one_librosa_rounds_to(a4_hz: float) -> None:
    numbers = np.linspace(12.03, 111.96, 700)

    for number in numbers:
        found = nearest_note(float(librosa.midi_to_hz(number)) * a4_hz / 440.0, a4_hz)

        assert note_name(found.midi) == librosa.midi_to_note(number, unicode=False)
        assert found.cents == pytest.approx(100.0 * (number - round(number)), abs=1e-7)
