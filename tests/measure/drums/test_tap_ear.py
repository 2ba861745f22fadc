"""The ear for drums: what is a stroke, when it is told, and what is none."""

from __future__ import annotations

import subprocess
from pathlib import Path

import mido
import numpy as np
import pytest
import soundfile

from station.errors import SignalError
from station.measure.drums.ear import DrumEar
from station.measure.drums.tap import tap
from tests.support.drum_strokes import (
    RATE_HZ,
    Drum,
    Ringing,
    bass_note,
    clap,
    heard,
    rim_click,
    speech,
    take,
    told,
    tom,
)
from tests.support.drums import cymbal
from tests.support.soundfont import DEFAULT_FONT, Strike, render, write_midi

WITHIN_S = 0.35


def play(score: Path, path: Path) -> Path:
    """A MIDI file as the sound font's recordings, 48 kHz."""
    command = ["fluidsynth", "-ni", "-q", "-R", "0", "-C", "0", "-g", "0.8", "-r", "48000"]
    command += ["-O", "s16", "-F", str(path), str(DEFAULT_FONT), str(score)]
    subprocess.run(command, check=True, capture_output=True, timeout=120)
    return path


def test_each_tap_is_one_stroke_at_its_time() -> None:
    times = [0.4, 1.6, 2.9, 4.0, 5.3]
    x = take([(at_s, tom(seed=place).sound(2.0)) for place, at_s in enumerate(times)], 7.0)

    strokes = heard(x)

    assert [stroke.verdict for stroke in strokes] == ["good"] * 5
    assert [stroke.at_s for stroke in strokes] == pytest.approx(times, abs=0.005)


@pytest.mark.parametrize("hz", [50.0, 110.0, 250.0])
def test_a_stroke_is_told_within_a_third_of_a_second_of_sound(hz: float) -> None:
    ear = DrumEar(RATE_HZ)
    x = take([(0.5, tom(hz).sound(2.0))], 2.6).astype(np.float32)
    told_at_s = None
    for first in range(0, x.size, 480):
        if ear.push(x[first : first + 480]):
            told_at_s = (first + 480) / RATE_HZ
            break

    assert told_at_s is not None
    assert told_at_s - 0.5 < WITHIN_S


def test_the_first_answer_says_how_unsure_it_is_and_the_last_is_surer() -> None:
    first, last = told(take([(0.5, tom(110, 1.2, 0.05).sound(2.6))], 3.4))

    assert (first.final, last.final) == (False, True)
    assert first.at_s == last.at_s
    assert first.fundamental is not None
    assert last.fundamental is not None
    off = abs(1200 * np.log2(first.fundamental.hz / 110))
    assert off < 3 * first.fundamental.uncertainty_cents
    assert last.fundamental.uncertainty_cents < first.fundamental.uncertainty_cents


@pytest.mark.parametrize("rate_hz", [8000, 22050, 44100, 96000, 192000])
def test_the_pitch_is_the_same_at_every_rate(rate_hz: int) -> None:
    x = take([(0.4, tom().sound(2.0, rate_hz))], 2.6, rate_hz=rate_hz)

    (stroke,) = heard(x, rate_hz)

    assert stroke.fundamental is not None
    assert abs(1200 * np.log2(stroke.fundamental.hz / 110)) < 1


def test_how_the_sound_is_cut_into_blocks_changes_nothing() -> None:
    x = take([(0.4, tom().sound(2.0)), (1.5, tom(90).sound(2.0))], 3.4)

    by_size = [told(x, block=block) for block in (64, 1000, 48000)]

    assert by_size[0] == by_size[1] == by_size[2]


@pytest.mark.parametrize("after_s", [0.0, 0.005, 0.02, 0.06, 0.1, 0.14, 0.16, 0.2, 0.3, 0.5])
def test_a_gap_at_any_moment_of_a_stroke_costs_that_stroke_at_most(after_s: float) -> None:
    ear = DrumEar(RATE_HZ)
    x = take([(0.4, tom().sound(2.0))], 2.6).astype(np.float32)
    cut = round((0.4 + after_s) * RATE_HZ)

    before = [*ear.push(x[:cut]), *ear.mark_gap(4800)]
    after = [*ear.push(x), *ear.finish()]

    pitches = [each.fundamental.hz for each in before if each.fundamental is not None]
    assert all(abs(hz - 110) < 8 for hz in pitches)
    (whole,) = {each.at_s: each for each in after}.values()
    assert whole.fundamental is not None
    assert abs(1200 * np.log2(whole.fundamental.hz / 110)) < 1


@pytest.mark.parametrize("apart_s", [0.04, 0.07, 0.12, 0.25])
def test_a_stick_that_bounces_makes_one_double_stroke(apart_s: float) -> None:
    x = take([(0.4, tom().sound(2.0)), (0.4 + apart_s, 0.4 * tom(seed=3).sound(2.0))], 3.0)

    strokes = heard(x)

    assert [stroke.verdict for stroke in strokes] == ["double"]
    assert tap(strokes) is None


def test_a_stroke_that_clips_is_said_to() -> None:
    loud = np.clip(4 * tom().sound(2.0), -1.0, 1.0)

    strokes = heard(take([(0.4, loud)], 3.0, -100.0).clip(-1.0, 1.0))

    assert [(stroke.verdict, stroke.clipped) for stroke in strokes] == [("clipped", True)]


def test_a_touch_that_is_hardly_heard_is_weak() -> None:
    strokes = heard(take([(0.4, 0.004 * tom().sound(2.0))], 3.0, -95.0))

    assert [stroke.verdict for stroke in strokes] == ["weak"]


def test_a_snares_wires_are_heard() -> None:
    shell = (Ringing(190, 0.4, 0.4), Ringing(290, 0.2, 0.3))

    on, off = (
        heard(take([(0.4, Drum(shell, 0.01, wires=wires).sound(1.0))], 2.0))[0]
        for wires in (0.5, 0.0)
    )

    assert (on.wires, off.wires) == ("on", "off")


def test_a_floor_tom_has_no_wires_to_speak_of() -> None:
    (stroke,) = heard(take([(0.4, tom(70).sound(2.0))], 3.0))

    assert stroke.wires is None


@pytest.mark.parametrize("seed", range(4))
def test_a_rim_click_gives_no_tap(seed: int) -> None:
    assert tap(heard(take([(0.4, rim_click(seed=seed))], 1.5))) is None


@pytest.mark.parametrize("seed", range(4))
def test_hands_clapping_are_no_stroke(seed: int) -> None:
    assert told(take([(0.4, clap(seed=seed)), (1.0, clap(seed=seed + 9))], 2.0)) == []


def test_hands_clapping_on_a_floor_that_shakes_are_no_bass_drum() -> None:
    # As in a recorded clap of a free kit: a mode at 38 Hz, a sixth of a second long.
    both = Drum((Ringing(38, 0.1, 0.16),), click=0.0).sound(0.6)
    hands = clap(seed=1)
    both[: hands.size] += hands

    assert told(take([(0.4, both)], 1.6)) == []


@pytest.mark.parametrize("hz", [90.0, 120.0, 150.0, 200.0, 260.0])
def test_speech_is_no_stroke(hz: float) -> None:
    assert told(take([(0.2, speech(seed=int(hz), hz=hz))], 3.0)) == []


@pytest.mark.parametrize("hz", [30.868, 41.203, 55.0, 73.416, 97.999, 130.813])
@pytest.mark.parametrize("length_s", [0.3, 1.2])
def test_a_bass_string_is_no_stroke(hz: float, length_s: float) -> None:
    assert told(take([(0.4, bass_note(hz, length_s))], 2.4)) == []


@pytest.mark.parametrize("rings_s", [0.03, 0.3, 1.0])
def test_a_cymbal_is_no_stroke(rings_s: float) -> None:
    assert told(take([(0.4, 0.4 * cymbal(RATE_HZ, 1.5, rings_s, 5))], 2.5)) == []


def test_hiss_steps_and_a_tone_switched_on_are_no_strokes() -> None:
    tone = 0.3 * np.sin(2 * np.pi * 110 * np.arange(2 * RATE_HZ) / RATE_HZ)
    sounds = [take([], 3.0, -20.0), np.repeat([0.0, 0.3, 0.0], RATE_HZ), take([(0.5, tone)], 2.5)]

    assert [told(x) for x in sounds] == [[], [], []]


@pytest.mark.parametrize("program", [32, 33, 34, 35])
def test_recorded_bass_notes_are_no_strokes(tmp_path: Path, program: int) -> None:
    """A free sound font's acoustic, fingered, picked and fretless bass, long notes and short."""
    notes = range(28, 56, 3)
    strikes = [
        Strike(program, midi, 0.5 + 1.6 * place, 1.2 if place % 2 else 0.35)
        for place, midi in enumerate(notes)
    ]

    samples, rate_hz = soundfile.read(render(tmp_path / "bass.wav", strikes))

    assert tap(heard(samples[:, 0], rate_hz)) is None


def test_recorded_percussion_without_a_pitch_gives_no_tap(tmp_path: Path) -> None:
    """General MIDI's percussion: side stick, clap, hats, cymbals, tambourine, bell, shakers."""
    keys = [37, 39, 42, 46, 49, 51, 52, 53, 54, 55, 69, 70]
    score = tmp_path / "percussion.mid"
    write_midi(score, [Strike(0, key, 0.5 + 1.5 * at, 1.0) for at, key in enumerate(keys)])
    midi = mido.MidiFile(str(score))
    for message in midi.tracks[0]:
        if not message.is_meta:
            message.channel = 9  # channel 10, counted from 1, is the drums' (General MIDI 1)
    midi.save(str(score))

    samples, rate_hz = soundfile.read(play(score, tmp_path / "percussion.wav"))

    assert tap(heard(samples[:, 0], rate_hz)) is None


def test_nothing_is_told_across_a_gap() -> None:
    ear = DrumEar(RATE_HZ)
    x = take([(0.4, tom().sound(2.0))], 0.6).astype(np.float32)
    before = ear.push(x)

    at_gap = ear.mark_gap(48000)
    after = ear.push(take([(0.4, tom(90).sound(2.0))], 3.0).astype(np.float32)) + ear.finish()

    assert before == []
    assert len([*at_gap]) <= 1
    assert after
    assert all(stroke.at_s == pytest.approx(0.6 + 1.0 + 0.4, abs=0.005) for stroke in after)


def test_samples_that_are_none_are_refused() -> None:
    ear = DrumEar(RATE_HZ)

    with pytest.raises(SignalError, match="shape"):
        ear.push(np.zeros((10, 2), np.float32))
    with pytest.raises(SignalError, match="finite"):
        ear.push(np.array([np.nan], np.float32))
    with pytest.raises(SignalError):
        DrumEar(4000)


@pytest.mark.parametrize("hz", [40.0, 60.0, 110.0])
def test_a_stroke_cut_off_early_is_told_or_not_and_never_breaks_the_ear(hz: float) -> None:
    for heard_ms in range(140, 260, 10):
        part = 0.5 * tom(hz, 0.6).sound(heard_ms / 1000)
        ear = DrumEar(RATE_HZ)
        ear.push(np.concatenate([np.zeros(RATE_HZ // 2), part]).astype(np.float32))

        strokes = ear.mark_gap(1000)

        assert len(strokes) <= 1
