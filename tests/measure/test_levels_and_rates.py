"""Sample rates, faint input and overdriven input: what a sound card does to a string."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile
from scipy.signal import resample_poly

from station.measure.types import Level
from tests.support.recordings import (
    BASS,
    BASS_STRINGS,
    GUITAR,
    GUITAR_STRINGS,
    record,
    strings_in_turn,
)
from tests.support.strings import Floats, StiffString, after_silence, cents, hear_all, noise

RATE_HZ = 48000
OTHER_RATES_HZ = {44100: (147, 160), 96000: (2, 1), 192000: (4, 1)}  # up, down from 48 kHz
NOTES = {"B0": 23, "E1": 28, "A1": 33, "E2": 40, "A2": 45, "G3": 55, "E4": 64, "E5": 76}
TAKES = 4


def a_string(midi: int, seed: int) -> tuple[float, StiffString]:
    """A stiff string up to 45 cents beside the note, and its pitch."""
    rng = np.random.default_rng(100 * seed + midi)
    hz = 440 * 2 ** ((midi - 69 + rng.uniform(-0.45, 0.45)) / 12)
    return hz, StiffString(hz, rng.uniform(0, 3e-4))


def at_full_scale(string: StiffString, seed: int) -> Floats:
    """The string after a silence of zeros, its peak 1."""
    x = string.sound(RATE_HZ, 1.8, seed)
    return np.concatenate((np.zeros(RATE_HZ // 2), x / np.abs(x).max()))


@pytest.mark.parametrize("name", NOTES)
def test_the_usual_rates_agree_on_every_string(name: str) -> None:
    hz, string = a_string(NOTES[name], seed=1)

    heard = [
        hear_all(after_silence(string.sound(rate_hz, 1.5, 3), rate_hz), rate_hz)[1]
        for rate_hz in (RATE_HZ, *OTHER_RATES_HZ)
    ]

    off_cents = [cents(note.hz, hz) for notes in heard for note in notes]
    assert len(off_cents) == len(heard)
    assert max(off_cents) - min(off_cents) < 0.02


@pytest.mark.parametrize(("program", "strings"), [(GUITAR, GUITAR_STRINGS), (BASS, BASS_STRINGS)])
def test_a_recording_brought_to_another_rate_keeps_its_notes(
    program: int, strings: tuple[int, ...], tmp_path: Path
) -> None:
    take, _ = soundfile.read(
        record(tmp_path / "take.wav", strings_in_turn(program, strings, 2.0, 7.0))
    )
    there = hear_all(take, RATE_HZ)[1]

    for rate_hz, (up, down) in OTHER_RATES_HZ.items():
        notes = hear_all(resample_poly(take, up, down), rate_hz)[1]

        apart = [cents(one.hz, other.hz) for one, other in zip(notes, there, strict=True)]
        assert len(apart) == len(strings)
        assert max(map(abs, apart)) < 0.02
        starts = [note.onset_s for note in there]
        assert [note.onset_s for note in notes] == pytest.approx(starts, abs=0.02)


@pytest.mark.parametrize("name", NOTES)
def test_a_16_bit_string_at_minus_60_dbfs_still_reads(name: str) -> None:
    for seed in range(TAKES):
        hz, string = a_string(NOTES[name], seed)
        x = np.round(1e-3 * 32768 * at_full_scale(string, seed)) / 32768

        readings, notes, said = hear_all(x, RATE_HZ)

        (note,) = notes
        assert note.onset_s == pytest.approx(0.5, abs=0.03)
        # What rounding adds is no white noise: of so clean a string 0.05 cents are allowed.
        assert abs(cents(note.hz, hz)) < max(0.05, 3 * note.uncertainty_cents)
        assert len(readings) > 20
        assert max(abs(cents(reading.hz, hz)) for reading in readings) < 5
        heard = [each for each in said if isinstance(each, Level) and 0.75 < each.at_s < 1.0]
        assert {level.state for level in heard} != {"no signal"}


@pytest.mark.parametrize("name", NOTES)
def test_a_string_clipped_at_a_third_of_its_peak_reads_within_a_cent_and_is_flagged(
    name: str,
) -> None:
    for seed in range(TAKES):
        hz, string = a_string(NOTES[name], seed)
        x = np.clip(at_full_scale(string, seed), -0.3, 0.3) / 0.3

        readings, notes, said = hear_all(x, RATE_HZ)

        (note,) = notes
        assert abs(cents(note.hz, hz)) < 1
        assert note.clipped
        assert len(readings) > 10
        assert max(abs(cents(reading.hz, hz)) for reading in readings) < 1
        assert all(reading.clipped for reading in readings)
        assert any(each.clipped for each in said if isinstance(each, Level))


@pytest.mark.parametrize("name", ["B0", "E2", "E5"])
def test_a_string_clipped_at_a_tenth_of_its_peak_is_read_within_a_cent_or_not_at_all(
    name: str,
) -> None:
    over_claim = []
    for seed in range(2):
        hz, string = a_string(NOTES[name], seed)
        x = np.clip(10 * at_full_scale(string, seed), -1, 1)

        readings, notes, _ = hear_all(x, RATE_HZ)

        (note,) = notes
        assert abs(cents(note.hz, hz)) < 1
        over_claim.append(cents(note.hz, hz) / note.uncertainty_cents)
        assert note.clipped
        assert all(abs(cents(reading.hz, hz)) < 1 for reading in readings)
    assert np.sqrt(np.mean(np.square(over_claim))) < 3


@pytest.mark.parametrize("hz", [43.36, 96.7, 210.66, 316.1])
def test_a_clipped_string_of_few_partials_is_read_within_a_cent_or_not_at_all(hz: float) -> None:
    for seed in range(6):
        string = StiffString(hz, 1.6e-4, ring_s=1.2, partials=10).sound(RATE_HZ, 1.5, seed)
        x = np.clip((1.5, 2.0)[seed % 2] * string / np.abs(string).max(), -1, 1)
        x = np.concatenate((np.zeros(RATE_HZ // 2), x)) + noise(x.size + RATE_HZ // 2, -80, seed)

        readings, notes, _ = hear_all(np.clip(x, -1, 1), RATE_HZ)

        assert [abs(cents(note.hz, hz)) < 1 for note in notes] == [True]
        assert len(readings) > 10
        assert max(abs(cents(reading.hz, hz)) for reading in readings) < 1


def test_the_end_of_a_note_that_clips_no_more_is_what_counts() -> None:
    hz, string = a_string(NOTES["A1"], seed=2)
    x = np.clip(3 * at_full_scale(string, seed=2), -1, 1)

    _, notes, _ = hear_all(x, RATE_HZ)

    assert [abs(cents(note.hz, hz)) < 0.05 for note in notes] == [True]
