"""Strings that ring on under the one just struck, and strings struck at once."""

from __future__ import annotations

import numpy as np
import pytest

from tests.support.strings import StiffString, after_silence, cents, hear_all, noise

RATE_HZ = 48000
GUITAR_HZ = (82.407, 110.0, 146.832, 195.998, 246.942, 329.628)
EVERY_S = 1.5


# Up and down, as players tune. What is new over a string that has all its partials is in
# `test_newly_struck.py`.
@pytest.mark.parametrize("order", [(0, 1, 2, 3, 4, 5), (5, 4, 3, 2, 1, 0)])
def test_each_string_is_itself_though_the_others_ring_on(order: tuple[int, ...]) -> None:
    x = np.zeros(round(RATE_HZ * (EVERY_S * len(order) + 1)))
    for place, string in enumerate(order):
        start = round(place * EVERY_S * RATE_HZ)
        sound = StiffString(GUITAR_HZ[string], 6e-5, level=0.1)
        x[start:] += sound.sound(RATE_HZ, (x.size - start) / RATE_HZ, place)
    readings, notes, _ = hear_all(after_silence(x, RATE_HZ), RATE_HZ)
    played = [GUITAR_HZ[string] for string in order]
    assert all(min(abs(cents(r.hz, hz)) for hz in played) < 20 for r in readings)
    for note in notes:
        place = round((note.onset_s - 0.5) / EVERY_S)
        assert abs(cents(note.hz, played[place])) < 1
    assert len(notes) >= len(order) - 1


# MIDI notes struck at once.
CHORDS = {
    "E major, six strings": (40, 47, 52, 56, 59, 64),
    "A minor, five strings": (45, 52, 57, 60, 64),
    "a fifth": (45, 52),
    "a fourth": (45, 50),
    "a major third": (57, 61),
    "G major triad": (55, 59, 62),
}


@pytest.mark.parametrize("name", CHORDS)
def test_a_chord_is_never_a_note_below_all_of_its_own(name: str) -> None:
    midi = CHORDS[name]
    rng = np.random.default_rng(len(name))
    x = sum(
        StiffString(440 * 2 ** ((each - 69) / 12), 5e-5, level=0.1).sound(
            RATE_HZ, 2.5, int(rng.integers(1000))
        )
        for each in midi
    )
    readings, notes, _ = hear_all(after_silence(np.asarray(x), RATE_HZ), RATE_HZ)
    lowest_hz = 440 * 2 ** ((min(midi) - 69) / 12)
    assert [r.hz for r in readings if r.hz < 0.9 * lowest_hz] == []
    assert [note.hz for note in notes if note.hz < 0.9 * lowest_hz] == []


def test_hiss_does_not_hide_which_string_was_struck() -> None:
    x = StiffString(110.0, 6e-5, level=0.1).sound(RATE_HZ, 3.0, 1)
    x[RATE_HZ:] += StiffString(146.832, 6e-5, level=0.1).sound(RATE_HZ, 2.0, 2)
    _, notes, _ = hear_all(after_silence(x, RATE_HZ) + noise(x.size + RATE_HZ // 2, -55), RATE_HZ)
    assert [round(cents(n.hz, hz)) for n, hz in zip(notes, (110.0, 146.832), strict=True)] == [0, 0]
