"""The ear for instruments of fixed pitch, on synthetic sounds whose pitch is known."""

from __future__ import annotations

import numpy as np
import pytest

from station.errors import SignalError
from station.measure.fixed.ear import FixedEar
from tests.support.reeds import RATE_HZ, Voice, hear, hz_of, last_said, sound
from tests.support.strings import cents


@pytest.mark.parametrize("midi", [48, 55, 60, 67, 69, 76, 84, 91, 96, 100])
def test_a_lone_reed_is_heard_once_at_its_pitch(midi: int) -> None:
    hz = hz_of(midi + 0.137)

    notes = hear(sound(Voice(hz), seed=midi))

    assert len(notes) == 1
    assert abs(cents(notes[0].hz, hz)) < 0.02
    assert notes[0].uncertainty_cents < 0.1
    assert len(notes[0].reeds) == 1
    assert notes[0].beat_hz is None


@pytest.mark.parametrize("midi", [21, 24, 28, 33, 40, 48, 60, 69, 81, 93, 105, 108])
def test_a_piano_string_is_heard_at_its_first_partial(midi: int) -> None:
    hz = hz_of(midi - 0.06)
    # From memory, of a medium grand: B is 2e-4 in the bass and the middle, rising to 1e-2.
    stiffness = 2e-4 * max(1.0, 2 ** ((midi - 60) / 8))
    missing = ((1, 0.02), (2, 0.3)) if midi < 34 else ()  # no soundboard radiates 27 Hz
    string = Voice(hz, 0.2, inharmonicity=stiffness, ring_s=1.0, slope=0.8, weak=missing)

    notes = hear(sound(string, seed=midi))

    assert len(notes) == 1
    assert abs(cents(notes[0].hz, hz)) < max(0.3, 4 * notes[0].uncertainty_cents)
    assert abs(cents(notes[0].hz, hz)) < 1.0


def test_a_fork_without_any_overtone_is_heard_at_its_pitch() -> None:
    notes = hear(sound(Voice(440.31, 0.02, partials=1, ring_s=3.0, end_s=3.3), length_s=3.5))

    assert len(notes) == 1
    assert abs(cents(notes[0].hz, 440.31)) < 0.05


@pytest.mark.parametrize(
    "weak", [((1, 0.1),), ((1, 0.1), (3, 0.2)), ((2, 0.0), (4, 0.0), (6, 0.0))]
)
def test_the_octave_is_right_whichever_partials_are_weak(
    weak: tuple[tuple[int, float], ...],
) -> None:
    notes = hear(sound(Voice(hz_of(60), slope=0.5, weak=weak)))

    assert [abs(cents(note.hz, hz_of(60))) < 0.1 for note in notes] == [True]


def test_the_beginning_of_a_reed_that_bends_does_not_count() -> None:
    notes = hear(sound(Voice(523.0, bend_cents=-40.0, bend_s=0.04)))

    assert len(notes) == 1
    assert abs(cents(notes[0].hz, 523.0)) < 0.1


def test_notes_played_legato_are_heard_one_by_one() -> None:
    melody = (60, 62, 64, 65, 67, 72, 60)
    voices = [
        Voice(hz_of(midi), start_s=0.3 + 0.7 * i, end_s=1.03 + 0.7 * i)
        for i, midi in enumerate(melody)
    ]

    notes = hear(sound(*voices, length_s=6.0))

    assert [round(12 * np.log2(note.hz / 440) + 69) for note in notes] == list(melody)
    for i, note in enumerate(notes):
        assert abs(cents(note.hz, hz_of(melody[i]))) < 0.3
        assert abs(note.onset_s - (0.3 + 0.7 * i)) < 0.2


def test_a_swell_moves_no_pitch() -> None:
    x = sound(Voice(hz_of(64), end_s=3.3), length_s=3.6)
    x *= np.interp(np.arange(x.size) / RATE_HZ, [0.3, 1.5, 3.3], [0.1, 1.0, 0.2])

    notes = hear(x)

    assert len(notes) == 1
    assert abs(cents(notes[0].hz, hz_of(64))) < 0.05


def test_a_note_held_long_is_told_again_and_gets_surer() -> None:
    voice = Voice(hz_of(57), 0.02, end_s=9.0)
    samples = sound(voice, length_s=9.3, noise_db=-40).astype(np.float32)
    ear = FixedEar(RATE_HZ)

    said = [note for i in range(0, samples.size, 2400) for note in ear.push(samples[i : i + 2400])]
    first = [note for note in said if note.onset_s == said[0].onset_s]

    assert len(first) >= 3
    assert first[-1].uncertainty_cents < first[0].uncertainty_cents
    assert all(abs(cents(note.hz, voice.hz)) < 0.1 for note in said)


def test_a_stretch_shorter_than_a_quarter_second_gives_nothing() -> None:
    assert hear(sound(Voice(hz_of(69), end_s=0.5))) == []


def _glide(rng: np.random.Generator) -> np.ndarray:
    t = np.arange(2 * RATE_HZ) / RATE_HZ
    phase = 2 * np.pi * np.cumsum(220 * 2 ** (t * 0.7)) / RATE_HZ
    return sum(0.1 / k * np.sin(k * phase) for k in range(1, 10))


def _noise(rng: np.random.Generator) -> np.ndarray:
    return 0.1 * rng.normal(size=3 * RATE_HZ)


def _claps(rng: np.random.Generator) -> np.ndarray:
    x = np.zeros(3 * RATE_HZ)
    for start in range(RATE_HZ // 4, x.size - RATE_HZ // 4, RATE_HZ // 4):
        size = RATE_HZ // 8
        x[start : start + size] += rng.normal(size=size) * np.exp(-np.arange(size) / 900)
    return 0.3 * x


@pytest.mark.parametrize("made", [_glide, _noise, _claps])
def test_what_holds_no_pitch_gives_nothing(made: object) -> None:
    assert callable(made)
    for seed in range(4):
        assert hear(made(np.random.default_rng(seed))) == []


@pytest.mark.parametrize("mains_hz", [50.02, 59.97])
def test_hum_alone_is_no_note(mains_hz: float) -> None:
    hum = Voice(mains_hz, 0.02, start_s=0.0, end_s=4.0, slope=1.2, edge_s=1e-4)

    assert hear(sound(hum, length_s=4.0)) == []


@pytest.mark.parametrize("mains_hz", [50.02, 59.97])
def test_hum_beneath_a_reed_changes_nothing(mains_hz: float) -> None:
    hum = Voice(mains_hz, 0.01, start_s=0.0, end_s=4.0, slope=1.2, edge_s=1e-4)
    reed = Voice(hz_of(67), end_s=2.5)

    notes = hear(sound(hum, reed, length_s=4.0))

    assert [abs(cents(note.hz, hz_of(67))) < 0.1 for note in notes] == [True]


@pytest.mark.parametrize("block", [1, 37, 480, 4800, 100_000])
def test_how_the_sound_is_cut_into_blocks_changes_nothing(block: int) -> None:
    length_s = 1.6 if block == 1 else 4.0
    x = sound(
        Voice(hz_of(60), end_s=1.4),
        Voice(hz_of(64) * 1.003, start_s=1.4, end_s=3.7),
        length_s=length_s,
    )

    assert hear(x, block=block) == hear(x, block=1024)


def test_times_go_on_across_a_gap_and_no_note_spans_it() -> None:
    samples = sound(Voice(hz_of(62), start_s=0.0, end_s=4.0), length_s=4.0).astype(np.float32)
    ear = FixedEar(RATE_HZ)

    said = ear.push(samples[: 2 * RATE_HZ])
    said += ear.mark_gap(RATE_HZ)
    said += ear.push(samples[3 * RATE_HZ :])
    said += ear.finish()
    before, after = last_said(said)

    assert before.end_s <= 2.0 + 0.01
    assert 2.99 <= after.onset_s < 3.3
    assert abs(cents(after.hz, hz_of(62))) < 0.1


def test_a_clipped_note_says_so() -> None:
    x = sound(Voice(hz_of(65), 0.8, slope=2.0))

    assert [note.clipped for note in hear(np.clip(1.5 * x, -1.0, 1.0))] == [True]
    assert [note.clipped for note in hear(0.3 * x)] == [False]


@pytest.mark.parametrize("rate_hz", [8000, 11025, 22050, 44100, 48000, 96000, 192000])
def test_every_rate_hears_the_same_pitch(rate_hz: int) -> None:
    t = np.arange(2 * rate_hz) / rate_hz
    x = sum(0.1 / k * np.sin(2 * np.pi * 441.3 * k * t + k) for k in range(1, 6))

    notes = hear(np.asarray(x), rate_hz)

    assert [abs(cents(note.hz, 441.3)) < 0.02 for note in notes] == [True]


def test_samples_and_rates_it_cannot_take_are_refused() -> None:
    ear = FixedEar(RATE_HZ)

    with pytest.raises(SignalError, match="outside"):
        FixedEar(4000)
    with pytest.raises(SignalError, match="shape"):
        ear.push(np.zeros((4, 2), np.float32))
    with pytest.raises(SignalError, match="finite"):
        ear.push(np.array([0.0, np.nan], np.float32))


def test_sounding_says_whether_something_holds_still() -> None:
    samples = sound(Voice(hz_of(60), end_s=1.5), length_s=2.5).astype(np.float32)
    ear = FixedEar(RATE_HZ)

    before = ear.sounding
    ear.push(samples[:RATE_HZ])
    during = ear.sounding
    ear.push(samples[RATE_HZ:])

    assert (before, during, ear.sounding) == (False, True, False)
