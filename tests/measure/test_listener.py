"""One line's listener, block by block."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from station.errors import SignalError
from station.measure.listener import Listener
from station.measure.types import Gap, Level, Note, Reading
from tests.support.strings import StiffString, after_silence, cents, hear_all, noise

RATE_HZ = 48000
TRACKERS = ["aubio", "numpy"]
STRINGS_HZ = [30.868, 41.203, 55.0, 82.407, 110.0, 146.832, 196.0, 246.942, 329.628, 659.255]


def pluck(hz: float, length_s: float = 1.2, seed: int = 0, level: float = 0.3) -> np.ndarray:
    return StiffString(hz, 1e-4, level=level).sound(RATE_HZ, length_s, seed)


@pytest.mark.parametrize("tracker", TRACKERS)
@pytest.mark.parametrize("hz", STRINGS_HZ)
def test_a_pluck_is_one_note_of_the_right_pitch(hz: float, tracker: str) -> None:
    readings, notes, _ = hear_all(after_silence(pluck(hz), RATE_HZ), RATE_HZ, tracker)
    assert len(notes) == 1
    assert abs(cents(notes[0].hz, hz)) < 0.05
    assert notes[0].onset_s == pytest.approx(0.5, abs=0.03)
    assert len(readings) > 20
    assert max(abs(cents(reading.hz, hz)) for reading in readings) < 5


def test_both_trackers_agree_within_half_a_cent() -> None:
    for hz in STRINGS_HZ:
        x = after_silence(pluck(hz, seed=4), RATE_HZ)
        by_aubio, by_numpy = (hear_all(x, RATE_HZ, tracker)[1] for tracker in TRACKERS)
        assert [len(by_aubio), len(by_numpy)] == [1, 1]
        assert abs(cents(by_aubio[0].hz, by_numpy[0].hz)) < 0.5


def test_the_size_of_the_blocks_changes_nothing() -> None:
    x = after_silence(np.concatenate((pluck(110.0), pluck(82.4))), RATE_HZ)
    whole = hear_all(x, RATE_HZ, block=x.size)
    for block in (64, 1000, 4096):
        readings, notes, _ = hear_all(x, RATE_HZ, block=block)
        assert [note.hz for note in notes] == [note.hz for note in whole[1]]
        assert [r.hz for r in readings] == [r.hz for r in whole[0]]


@pytest.mark.parametrize("tracker", TRACKERS)
@pytest.mark.parametrize("level_db", [-20, -40, -60, -80])
def test_hiss_is_never_a_note(level_db: int, tracker: str) -> None:
    readings, notes, said = hear_all(noise(RATE_HZ * 8, level_db, seed=2), RATE_HZ, tracker)
    assert readings == []
    assert notes == []
    assert any(isinstance(item, Level) for item in said)


@pytest.mark.parametrize("tracker", TRACKERS)
@pytest.mark.parametrize("mains_hz", [49.9, 50.0, 50.1, 59.9, 60.0, 60.1])
@pytest.mark.parametrize("begins_s", [0.0, 2.0])
def test_hum_is_never_a_note(mains_hz: float, begins_s: float, tracker: str) -> None:
    t = np.arange(RATE_HZ * 6) / RATE_HZ
    hum = sum(0.05 / k * np.cos(2 * np.pi * mains_hz * k * t + k) for k in range(1, 12))
    readings, notes, _ = hear_all(hum * (t >= begins_s) + noise(t.size, -70), RATE_HZ, tracker)
    assert readings == []
    assert notes == []


@pytest.mark.parametrize("tracker", TRACKERS)
def test_silence_claps_and_clicks_are_never_a_note(tracker: str) -> None:
    t = np.arange(RATE_HZ * 5) / RATE_HZ
    claps = np.exp(-(t % 0.5) / 0.02) * noise(t.size, -10)
    clicks = np.zeros(t.size)
    clicks[:: RATE_HZ // 2] = 0.8
    for x in (np.zeros(t.size), claps, clicks + noise(t.size, -70)):
        readings, notes, _ = hear_all(x, RATE_HZ, tracker)
        assert readings == []
        assert notes == []


def test_the_same_string_struck_three_times_is_three_notes() -> None:
    x = after_silence(np.concatenate([pluck(110.0, 0.7, seed) for seed in range(3)]), RATE_HZ)
    _, notes, _ = hear_all(x, RATE_HZ)
    assert [round(note.onset_s, 1) for note in notes] == [0.5, 1.2, 1.9]
    assert all(abs(cents(note.hz, 110.0)) < 0.1 for note in notes)


def test_a_swell_and_a_slow_beat_are_one_note() -> None:
    t = np.arange(RATE_HZ * 3) / RATE_HZ
    swell = StiffString(220.0, ring_s=1e9, level=0.1).sound(RATE_HZ, 3.0)
    envelope = np.minimum(1, t / 0.6) * (1 + 0.7 * np.cos(2 * np.pi * 1.5 * t))
    _, notes, _ = hear_all(after_silence(swell * envelope, RATE_HZ), RATE_HZ)
    assert len(notes) == 1
    assert abs(cents(notes[0].hz, 220.0)) < 0.5


def test_the_first_reading_of_a_bass_note_comes_within_a_quarter_of_a_second() -> None:
    readings, _, _ = hear_all(after_silence(pluck(41.2), RATE_HZ), RATE_HZ)
    assert readings[0].at_s < 0.75


def test_no_reading_spans_a_gap_and_time_goes_on_over_it() -> None:
    listener = Listener(RATE_HZ)
    x = pluck(110.0, 2.0).astype(np.float32)
    before = listener.push(x[:RATE_HZ])
    at_gap = listener.mark_gap(lost_frames=RATE_HZ)
    after = listener.push(x[RATE_HZ:]) + listener.finish()
    assert [item.lost_frames for item in at_gap if isinstance(item, Gap)] == [RATE_HZ]
    notes = [item for item in before + at_gap + after if isinstance(item, Note)]
    assert [note.end_s <= 1.0 or note.onset_s >= 2.0 for note in notes] == [True, True]
    assert all(r.onset_s >= 2.0 for r in after if isinstance(r, Reading))
    assert all(abs(cents(note.hz, 110.0)) < 0.05 for note in notes)


def test_a_note_longer_than_the_memory_is_measured_near_its_stroke() -> None:
    x = StiffString(82.407, ring_s=4.0).sound(RATE_HZ, 8.0)
    _, notes, _ = hear_all(after_silence(x, RATE_HZ), RATE_HZ)
    assert len(notes) == 1
    assert notes[0].end_s - notes[0].onset_s > 7
    assert abs(cents(notes[0].hz, 82.407)) < 0.05


def test_clipped_input_is_flagged_and_still_right() -> None:
    x = np.clip(after_silence(pluck(110.0, level=1.5), RATE_HZ), -1, 1)
    _, notes, said = hear_all(x, RATE_HZ)
    assert [note.clipped for note in notes] == [True]
    assert abs(cents(notes[0].hz, 110.0)) < 1
    assert any(isinstance(item, Level) and item.clipped for item in said)


@pytest.mark.parametrize("rate_hz", [8000, 44100, 96000, 192000])
def test_every_rate_gives_the_same_pitch(rate_hz: int) -> None:
    x = StiffString(146.832, 5e-5, partials=12).sound(rate_hz, 1.2, seed=3)
    _, notes, _ = hear_all(after_silence(x, rate_hz), rate_hz)
    assert len(notes) == 1
    assert abs(cents(notes[0].hz, 146.832)) < 0.02


@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    level=st.floats(0.002, 0.9),
    dc=st.floats(-0.05, 0.05),
    shift=st.integers(0, 5000),
    off_cents=st.floats(-45, 45),
)
def test_level_dc_and_start_never_change_the_pitch(
    level: float, dc: float, shift: int, off_cents: float
) -> None:
    hz = 110.0 * 2 ** (off_cents / 1200)
    x = StiffString(hz, 1e-4, level=level).sound(RATE_HZ, 0.8, seed=7)
    x = after_silence(x, RATE_HZ, 0.3 + shift / RATE_HZ, hiss_db=-100.0) + dc
    _, notes, _ = hear_all(x, RATE_HZ)
    assert len(notes) == 1
    assert abs(cents(notes[0].hz, hz)) < 0.1


def test_a_sample_that_is_no_number_and_a_wrong_shape_are_refused() -> None:
    listener = Listener(RATE_HZ, line=3)
    with pytest.raises(SignalError, match="line 3"):
        listener.push(np.array([0.0, np.nan], np.float32))
    with pytest.raises(SignalError, match="shape"):
        listener.push(np.zeros((4, 2), np.float32))
