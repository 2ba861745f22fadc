"""Two and three notes at once, ranks in octaves, partials that coincide."""

from __future__ import annotations

import pytest

from tests.support.reeds import Voice, hear, hz_of, midi_of, sound
from tests.support.strings import cents

CHORDS = [
    (60, 64, 67), (57, 60, 64), (55, 59, 62), (65, 69, 72), (67, 71, 74), (72, 76, 79),
    (60, 64), (60, 63), (60, 67), (60, 65), (60, 69), (62, 71), (55, 64, 72), (64, 67, 72),
]  # fmt: skip


@pytest.mark.parametrize("chord", CHORDS)
@pytest.mark.parametrize("slope", [0.7, 1.3])
def test_every_note_of_a_chord_is_heard_at_its_pitch(chord: tuple[int, ...], slope: float) -> None:
    off_cents = (0.0, 3.1, -2.3)
    truth = [hz_of(midi + off / 100) for midi, off in zip(chord, off_cents, strict=False)]

    notes = hear(sound(*(Voice(hz, 0.07, slope=slope) for hz in truth)))

    assert [round(midi_of(note.hz)) for note in notes] == list(chord)
    for note, hz in zip(notes, truth, strict=True):
        assert abs(cents(note.hz, hz)) < max(0.1, 4 * note.uncertainty_cents)
        assert abs(cents(note.hz, hz)) < 0.5


@pytest.mark.parametrize("ranks", [(1.0, 2.0), (1.0, 2.0, 4.0), (1.0, 4.0), (0.5, 1.0, 2.0)])
def test_ranks_in_octaves_are_one_note(ranks: tuple[float, ...]) -> None:
    notes = hear(sound(*(Voice(hz_of(60) * rank, 0.07) for rank in ranks)))

    assert len(notes) == 1
    assert abs(cents(notes[0].hz, hz_of(60) * ranks[0])) < 0.1


def test_an_octave_is_heard_as_its_lower_note_at_least() -> None:
    notes = hear(sound(Voice(hz_of(60)), Voice(hz_of(72) * 1.001)))

    assert abs(cents(notes[0].hz, hz_of(60))) < 0.3
    assert {round(midi_of(note.hz)) for note in notes} <= {60, 72}


def test_a_note_held_while_others_change_is_heard_with_each_of_them() -> None:
    held = Voice(hz_of(55), end_s=2.9)
    upper = [
        Voice(hz_of(midi), start_s=0.3 + 0.9 * i, end_s=1.2 + 0.9 * i)
        for i, midi in enumerate((71, 72, 76))
    ]

    notes = hear(sound(held, *upper, length_s=3.3))

    heard = {round(midi_of(note.hz)) for note in notes}
    assert heard == {55, 71, 72, 76}
    assert all(abs(100 * (midi_of(note.hz) - round(midi_of(note.hz)))) < 0.3 for note in notes)


def test_two_notes_of_two_reeds_each_are_two_notes() -> None:
    voices = [Voice(hz_of(midi) * ratio, 0.05) for midi in (60, 67) for ratio in (0.997, 1.003)]

    notes = hear(sound(*voices))

    assert [round(midi_of(note.hz)) for note in notes] == [60, 67]
    for note in notes:
        assert abs(100 * (midi_of(note.hz) - round(midi_of(note.hz)))) < 1.5
