"""The ear on recorded instruments: every note right, and a known shift read as that shift.

The recordings are a free sound font's, played by fluidsynth. Its bends come out in whole
cents, not always the nearest (found by trial), so what a bend really was is
measured on the font's ocarina, nearly a sine, by another method (`tests/support/tones.py`).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest
import soundfile

from station.measure.fixed.types import FixedNote
from tests.support.reeds import hear, hz_of, midi_of
from tests.support.soundfont import Strike, render
from tests.support.strings import Floats, cents
from tests.support.tones import tone_hz

FIRST_S, SOUND_S, EVERY_S = 0.3, 1.8, 2.2
BENDS = (25.5, -24.5, 76.0)
OCARINA = 79


@dataclass(frozen=True)
class Take:
    """A General MIDI program (counted from 0), its notes, and where the font puts its lowest rank.

    `flat_cents`: how far off their names the font's own samples may be.
    """

    name: str
    program: int
    notes: tuple[int, ...]
    rank: int = 0
    flat_cents: float = 25.0


TAKES = (
    Take("piano", 0, (33, 45, 60, 64, 69, 76)),
    Take("bright piano", 1, (33, 45, 64, 69, 76)),
    Take("electric piano", 4, (40, 45, 52, 60, 69)),
    Take("drawbar organ", 16, (48, 55, 60, 64, 67, 72), rank=-12),
    Take("percussive organ", 17, (48, 55, 60, 64, 67, 72), rank=-12),
    Take("church organ", 19, (55, 60, 64, 67, 72), rank=-12),
    Take("reed organ", 20, (48, 55, 60, 64, 67, 72)),
    Take("accordion", 21, (48, 50, 53, 55, 60)),
    Take("harmonica", 22, (60, 62, 64, 69, 76, 84, 91), flat_cents=45.0),
    Take("tango accordion", 23, (48, 55, 60, 67, 72), flat_cents=45.0),
)
CHORDS = ((60, 64, 67), (62, 65, 69), (60, 67), (60, 64), (60, 63))
CHORD_TAKES = (
    Take("piano", 0, ()),
    Take("electric piano", 4, ()),
    Take("reed organ", 20, ()),
    Take("harmonica", 22, (), flat_cents=45.0),
)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("fixed")


def _record(path: Path, strikes: list[Strike]) -> tuple[Floats, int]:
    samples, rate_hz = soundfile.read(render(path, strikes, gain=0.5))
    path.unlink()
    return samples[:, 0], rate_hz


@lru_cache(maxsize=64)
def played(folder: Path, take: Take, bend_cents: float) -> tuple[tuple[FixedNote, ...], ...]:
    """What is heard of each note of `take`: only notes that begin with it and last."""
    strikes = [
        Strike(take.program, midi, FIRST_S + i * EVERY_S, SOUND_S, bend_cents=bend_cents)
        for i, midi in enumerate(take.notes)
    ]
    notes = hear(*_record(folder / "take.wav", strikes))
    starts = [FIRST_S + i * EVERY_S for i in range(len(strikes))]
    return tuple(
        tuple(n for n in notes if -0.2 < n.onset_s - start < 0.8 and n.end_s > start + 0.8)
        for start in starts
    )


@lru_cache(maxsize=8)
def played_cents(folder: Path, bend_cents: float) -> float:
    """What fluidsynth makes of a bend."""
    strikes = [
        Strike(OCARINA, 72, FIRST_S, SOUND_S),
        Strike(OCARINA, 72, FIRST_S + EVERY_S, SOUND_S, bend_cents=bend_cents),
    ]
    x, rate_hz = _record(folder / "bend.wav", strikes)
    size = rate_hz
    plain, bent = (
        tone_hz(x[first : first + size].astype(np.float32), rate_hz)
        for first in (round((start + 0.4) * rate_hz) for start in (FIRST_S, FIRST_S + EVERY_S))
    )
    return round(cents(bent, plain))


@pytest.mark.parametrize("take", TAKES, ids=lambda take: take.name)
def test_every_note_is_heard_once_in_its_octave(take: Take, folder: Path) -> None:
    for midi, notes in zip(take.notes, played(folder, take, 0.0), strict=True):
        assert len(notes) == 1, midi
        assert abs(100 * (midi_of(notes[0].hz) - midi - take.rank)) < take.flat_cents


@pytest.mark.parametrize("bend_cents", BENDS)
@pytest.mark.parametrize("take", TAKES, ids=lambda take: take.name)
def test_a_recording_played_higher_by_known_cents_reads_higher_by_just_that(
    take: Take, bend_cents: float, folder: Path
) -> None:
    shift_cents = played_cents(folder, bend_cents)
    errors = []

    for plain, bent in zip(
        played(folder, take, 0.0), played(folder, take, bend_cents), strict=True
    ):
        errors.append(abs(cents(bent[0].hz, plain[0].hz) - shift_cents))

    assert abs(shift_cents - bend_cents) <= 1.0
    assert float(np.median(errors)) < 0.1
    assert max(errors) < 0.3


@pytest.mark.parametrize("take", CHORD_TAKES, ids=lambda take: take.name)
def test_chords_of_recorded_instruments_are_heard_note_by_note(take: Take, folder: Path) -> None:
    strikes = [
        Strike(take.program, midi, FIRST_S + i * EVERY_S, SOUND_S)
        for i, chord in enumerate(CHORDS)
        for midi in chord
    ]

    heard = hear(*_record(folder / "chords.wav", strikes))

    for i, chord in enumerate(CHORDS):
        start = FIRST_S + i * EVERY_S
        notes = [n for n in heard if -0.2 < n.onset_s - start < 0.6 and n.end_s > start + 0.8]
        assert [round(midi_of(note.hz)) for note in notes] == list(chord)
        for note, midi in zip(notes, chord, strict=True):
            assert abs(cents(note.hz, hz_of(midi))) < take.flat_cents


@pytest.mark.parametrize("bend_cents", [10.5, 25.5])
def test_two_recorded_reeds_of_one_note_are_heard_reed_by_reed(
    bend_cents: float, folder: Path
) -> None:
    take = next(take for take in TAKES if take.name == "harmonica")
    lone, bent = (
        _record(
            folder / "reeds.wav",
            [
                Strike(take.program, midi, FIRST_S + i * EVERY_S, SOUND_S, bend_cents=bend)
                for i, midi in enumerate(take.notes)
            ],
        )
        for bend in (0.0, bend_cents)
    )
    size = min(lone[0].size, bent[0].size)
    apart_cents = played_cents(folder, bend_cents)

    together = hear(lone[0][:size] + 0.7 * bent[0][:size], lone[1])
    notes = [note for note in together if note.end_s - note.onset_s > 1]

    assert len(notes) == len(take.notes)
    for note, (plain,) in zip(notes, played(folder, take, 0.0), strict=True):
        low, high = note.reeds
        assert abs(cents(low.hz, plain.hz)) < 0.2
        assert abs(cents(high.hz, low.hz) - apart_cents) < 0.2
        assert high.level_db == pytest.approx(20 * np.log10(0.7), abs=1.5)
        assert note.beat_hz == pytest.approx(high.hz - low.hz)
