"""From blocks to what is heard: every line by itself, gaps where samples were given up."""

from __future__ import annotations

import logging
import threading
from collections.abc import Iterable, Iterator
from contextlib import contextmanager

import numpy as np
import pytest

from station.listening import BACKLOG_S, LevelEar, Listening
from station.measure.listener import Listener
from station.measure.types import Gap, Heard, Level, Note, Reading
from station.room.parts import WantedEar
from station.sound.blocks import Block
from tests.measure.test_hum import hum
from tests.support.page_client import wait_until
from tests.support.strings import Floats, StiffString, after_silence, noise

RATE_HZ = 16_000
FRAMES = 512


class Ear:
    """Keeps what is heard; can be held up."""

    def __init__(self) -> None:
        self.heard: list[Heard] = []
        self.let_go = threading.Event()
        self.let_go.set()

    def __call__(self, heard: list[Heard]) -> None:
        self.let_go.wait(20.0)
        self.heard += heard

    def of(self, line: int, *kinds: type[Heard]) -> list[Heard]:
        return [item for item in self.heard if item.line == line and isinstance(item, kinds)]


@contextmanager
def listening(ear: Ear, lines: int, pitched: Iterable[int]) -> Iterator[Listening]:
    made = Listening(RATE_HZ, lines, "numpy", ear, pitched)
    made.start()
    try:
        yield made
    finally:
        ear.let_go.set()
        made.stop()


def blocks_of(samples: Floats, first_frame: int = 0) -> list[Block]:
    starts = range(0, len(samples), FRAMES)
    parts = [(start, samples[start : start + FRAMES].astype(np.float32)) for start in starts]
    return [Block(part, first_frame + start, 0, 0.0, 0) for start, part in parts]


def hand_over(listening: Listening, blocks: list[Block]) -> None:
    """One at a time, so that nothing has to be given up."""
    for block in blocks:
        before = listening.blocks_heard
        listening.put(block)
        wait_until(lambda before=before: listening.blocks_heard > before)


def string(hz: float, length_s: float = 1.0) -> Floats:
    rung = StiffString(hz, 3e-5, ring_s=0.5).sound(RATE_HZ, length_s, seed=int(hz))
    return np.concatenate((after_silence(rung, RATE_HZ, 0.2), np.zeros(RATE_HZ // 2)))


def heard_alone(line: int, samples: Floats) -> list[Heard]:
    """What one listener says of one line, given the same blocks."""
    listener = Listener(RATE_HZ, line, "numpy")
    return [said for block in blocks_of(samples) for said in listener.push(block.samples)]


def test_each_of_several_lines_is_heard_as_if_it_were_alone():
    lines = [string(hz) for hz in (82.41, 110.3, 196.4)]
    ear = Ear()

    with listening(ear, 3, {1, 2, 3}) as made:
        hand_over(made, blocks_of(np.column_stack(lines)))

    for line, samples in enumerate(lines, start=1):
        expected = heard_alone(line, samples)
        assert any(isinstance(item, Reading) for item in expected)
        assert any(isinstance(item, Note) for item in expected)
        assert [item for item in ear.heard if item.line == line] == expected


def test_of_a_line_without_pitch_only_the_level_is_told():
    samples = string(110.3)
    ear = Ear()

    with listening(ear, 2, {1}) as made:
        hand_over(made, blocks_of(np.column_stack([samples, samples])))

    levels = ear.of(2, Level)
    assert {type(item) for item in ear.heard if item.line == 2} == {Level}
    assert max(level.rms_dbfs for level in levels) == pytest.approx(
        max(level.rms_dbfs for level in ear.of(1, Level)), abs=0.5
    )
    assert levels[-1].at_s <= len(samples) / RATE_HZ


def drums(length_s: float, every_s: float) -> Floats:
    """Bursts of noise that die away within a tenth of a second."""
    t = np.arange(round(length_s * RATE_HZ)) / RATE_HZ
    return noise(t.size, -12.0) * np.exp(-(t % every_s) / 0.02)


@pytest.mark.parametrize("every_s", [20.0, 0.5])
def test_hum_of_a_line_without_pitch_is_told_also_between_strokes(every_s):
    samples = drums(6.0, every_s) + 0.01 * hum(50.03, 6.0, RATE_HZ)
    ear = Ear()

    with listening(ear, 1, ()) as made:
        hand_over(made, blocks_of(samples[:, None]))

    levels = ear.of(1, Level)
    assert [level.hum_hz for level in levels[:7]] == [None] * 7
    assert levels[-1].hum_hz == pytest.approx(50.03, abs=0.05)
    assert levels[-1].hum_dbfs == pytest.approx(-40.0, abs=0.3)


def test_hum_of_a_line_without_pitch_stays_while_strokes_hide_it_and_goes_when_it_is_gone():
    def heard(ear_of_level, samples, start):
        stop = start + len(samples)
        return ear_of_level.push(samples.astype(np.float32), stop)[-1].hum_hz

    half = 3 * RATE_HZ
    ear = LevelEar(RATE_HZ, 1)

    found = heard(ear, 0.01 * hum(50.0, 3.0, RATE_HZ), 0)
    hidden = heard(ear, noise(half, -20.0), half)
    gone = heard(ear, noise(half, -70.0), 2 * half)

    assert found == pytest.approx(50.0, abs=0.01)
    assert hidden == found
    assert gone is None


def test_hum_of_a_line_without_pitch_is_never_sought_across_a_gap():
    second = (0.01 * hum(50.0, 1.0, RATE_HZ)).astype(np.float32)
    ear = LevelEar(RATE_HZ, 1)

    torn = [ear.push(second, stop * RATE_HZ) for stop in (1, 3, 5, 7)]
    whole = ear.push(second, 8 * RATE_HZ)

    assert {level.hum_hz for levels in torn for level in levels} == {None}
    assert whole[-1].hum_hz == pytest.approx(50.0, abs=0.01)


def test_a_line_whose_player_changes_to_strings_is_measured_from_then_on():
    samples = string(110.3)[:, None]
    ear = Ear()

    with listening(ear, 1, ()) as made:
        hand_over(made, blocks_of(samples))
        assert ear.of(1, Reading, Note) == []
        made.set_pitched({1})
        hand_over(made, blocks_of(samples, len(samples)))

    notes = ear.of(1, Note)
    assert [round(note.hz, 1) for note in notes] == [110.3]
    assert notes[0].onset_s == pytest.approx((len(samples) + 0.2 * RATE_HZ) / RATE_HZ, abs=0.03)


def test_lost_samples_become_a_gap_that_no_reading_spans():
    samples = string(110.3)[:, None]
    half = RATE_HZ // 2
    lost = 4000
    before, after = blocks_of(samples[:half]), blocks_of(samples[half:], half + lost)
    after[0] = Block(after[0].samples, after[0].first_frame, lost, 0.0, 0)
    ear = Ear()

    with listening(ear, 1, {1}) as made:
        hand_over(made, before + after)

    gap_s = (half + lost) / RATE_HZ
    assert ear.of(1, Gap) == [Gap(1, gap_s, lost)]
    readings = ear.of(1, Reading)
    assert any(reading.at_s < gap_s for reading in readings)
    assert all(r.onset_s >= gap_s for r in readings if r.at_s > gap_s)


def test_a_backlog_is_given_up_as_a_gap_and_listening_goes_on():
    quiet = np.full((10 * RATE_HZ, 1), 1e-4)
    blocks = blocks_of(quiet)
    ear = Ear()

    with listening(ear, 1, {1}) as made:
        ear.let_go.clear()  # held up with the first level, after a quarter of a second
        for block in blocks:
            made.put(block)
        given_up = made.frames_given_up
        ear.let_go.set()
        wait_until(lambda: made.blocks_heard * FRAMES >= len(quiet) - given_up - FRAMES)
        wait_until(lambda: ear.heard and ear.heard[-1].at_s > 9.7)

    assert given_up >= 8 * RATE_HZ
    assert sum(gap.lost_frames for gap in ear.of(1, Gap)) == given_up
    assert len(quiet) - given_up <= (BACKLOG_S + 1.0) * RATE_HZ
    # Times go on counting what was given up.
    assert [item.at_s for item in ear.heard] == sorted(item.at_s for item in ear.heard)


def test_what_was_lost_before_a_given_up_block_is_counted_with_it():
    block = Block(np.zeros((RATE_HZ, 1), np.float32), 0, 300, 0.0, 0)
    made = Listening(RATE_HZ, 1, "numpy", Ear(), {1})

    for _ in range(3):
        made.put(block)

    assert made.frames_given_up == 2 * (RATE_HZ + 300)


def test_samples_that_are_no_numbers_are_lost_on_their_line_alone(caplog):
    samples = string(110.3)
    spoilt = samples.copy()
    spoilt[100] = np.nan
    spoilt[3 * FRAMES] = np.inf
    spoilt[5 * FRAMES] = 3e38  # finite, but its square is not
    ear = Ear()

    with caplog.at_level(logging.WARNING), listening(ear, 2, {1, 2}) as made:
        hand_over(made, blocks_of(np.column_stack([samples, spoilt])))

    assert ear.of(1, Level, Reading, Note) == heard_alone(1, samples)
    assert [gap.lost_frames for gap in ear.of(2, Gap)] == [FRAMES, FRAMES, FRAMES]
    assert [round(note.hz, 1) for note in ear.of(2, Note)] == [110.3]
    assert caplog.messages == ["line 2 gave samples that are no sound; they count as lost"]


def test_of_a_line_without_pitch_no_level_is_made_of_what_is_no_number():
    spoilt = np.full((RATE_HZ, 1), np.nan)
    ear = Ear()

    with listening(ear, 1, ()) as made:
        hand_over(made, blocks_of(spoilt))

    assert ear.of(1, Level) == []


def test_stopping_ends_the_thread_while_blocks_still_wait():
    ear = Ear()
    before = threading.active_count()

    with listening(ear, 1, {1}) as made:
        for block in blocks_of(string(110.3)[:, None]):
            made.put(block)

    assert threading.active_count() == before


def test_a_fault_in_what_is_told_is_reported_and_not_swallowed(
    caplog: pytest.LogCaptureFixture,
) -> None:
    faults: list[str] = []
    told = threading.Event()

    def break_down(_: object) -> None:
        raise RuntimeError("the lamp fell off the shelf")

    def note_fault(reason: str) -> None:
        faults.append(reason)
        told.set()

    listening = Listening(48000, 1, "numpy", break_down, {1}, note_fault)
    listening.start()
    try:
        listening.put(Block(np.zeros((24000, 1), np.float32), 0, 0, 0.0, 0))
        assert told.wait(10)
    finally:
        listening.stop()
    assert ["the lamp fell off the shelf" in reason for reason in faults] == [True]
    assert "\n" not in faults[0]


class FaultyEar:
    """Fails at the first sound."""

    sounding = False

    def __init__(self, *_: object) -> None: ...

    def push(self, _: object) -> list[object]:
        raise ZeroDivisionError("no sound is like this")


def test_an_ear_for_drums_that_fails_is_said_and_costs_the_strings_nothing(monkeypatch):
    monkeypatch.setattr("station.ears.DrumEar", FaultyEar)
    ear, troubles = Ear(), []
    made = Listening(RATE_HZ, 2, "numpy", ear, [1], on_trouble=troubles.append)
    made.start()
    made.set_ears([WantedEar("strokes", 2)])
    sound = after_silence(StiffString(110.0, 5e-5).sound(RATE_HZ, 1.5), RATE_HZ)
    sound += noise(sound.size, -80.0)

    hand_over(made, blocks_of(np.column_stack([sound, sound])))
    made.stop()

    assert len(troubles) == 1
    assert "ZeroDivisionError" in troubles[0]
    assert ear.of(1, Reading)
