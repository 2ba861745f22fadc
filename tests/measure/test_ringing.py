"""A drum over a ringing string does not strike it; a hand does."""

from __future__ import annotations

import numpy as np
import pytest

from tests.support.drums import Kick, below, snare
from tests.support.strings import Floats, StiffString, after_silence, cents, hear_all

RATE_HZ = 48000
STRINGS_HZ = [41.203, 55.0, 82.407, 110.0, 146.832, 246.942, 329.628]


def strokes(size: int, at_s: tuple[float, ...], seed: int) -> Floats:
    """Kick and snare together, over and over."""
    x = np.zeros(size)
    for start in (round(each * RATE_HZ) for each in at_s):
        for drum in (Kick().sound(RATE_HZ), snare(RATE_HZ, seed)):
            heard = drum[: size - start]
            x[start : start + heard.size] += heard
    return x


@pytest.mark.parametrize("hz", STRINGS_HZ)
def test_drum_strokes_over_a_ringing_string_do_not_split_its_note(hz: float) -> None:
    for seed in range(3):
        x = StiffString(hz, 1e-4, ring_s=2.0).sound(RATE_HZ, 2.5, seed)
        drums = strokes(x.size, (0.7, 1.3), seed)
        x = x + below(drums, x, 12.0)

        readings, notes, _ = hear_all(after_silence(x, RATE_HZ, hiss_db=-80), RATE_HZ)

        assert len(notes) == 1
        assert notes[0].onset_s == pytest.approx(0.5, abs=0.03)
        assert notes[0].end_s > 2.5
        assert abs(cents(notes[0].hz, hz)) < 0.5
        assert max(abs(cents(reading.hz, hz)) for reading in readings) < 5


@pytest.mark.parametrize("hz", STRINGS_HZ)
def test_the_same_string_struck_anew_as_loud_is_two_notes(hz: float) -> None:
    for seed in range(3):
        string = StiffString(hz, 1e-4, ring_s=2.0)
        first, second = string.sound(RATE_HZ, 0.8, seed), string.sound(RATE_HZ, 1.2, seed + 50)

        x = after_silence(np.concatenate((first, second)), RATE_HZ, hiss_db=-80)
        _, notes, _ = hear_all(x, RATE_HZ)

        assert [note.onset_s for note in notes] == pytest.approx([0.5, 1.3], abs=0.05)
        assert max(abs(cents(note.hz, hz)) for note in notes) < 0.5
