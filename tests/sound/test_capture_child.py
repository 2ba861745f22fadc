"""What runs inside the capture child, without a device."""

from __future__ import annotations

import random
import subprocess
import sys
from types import SimpleNamespace
from typing import Any

import pytest

from station.errors import LineInputError, LineInputRefusedError
from station.sound import capture_child
from station.sound.capture_child import PA_INPUT_OVERFLOW, Capture, open_error, open_stream
from station.sound.child import LastWords, last_useful_line

TIMES = {"current_time": 5.02, "input_buffer_adc_time": 5.0}
SILENCE = bytes(2 * 480)


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> SimpleNamespace:
    """CLOCK_MONOTONIC as the callback sees it, set by the test."""
    hand = SimpleNamespace(now_s=100.0)
    monkeypatch.setattr(capture_child.time, "monotonic", lambda: hand.now_s)
    return hand


def test_blocks_are_queued_with_their_frame_and_time(clock: SimpleNamespace) -> None:
    capture = Capture(48_000, 480)

    for _ in range(2):
        clock.now_s += 0.01
        capture.on_audio(SILENCE, 480, TIMES, 0)

    first, second = capture.records.get_nowait(), capture.records.get_nowait()
    assert (first.first_frame, first.lost_frames_before, first.captured_at_s) == (0, 0, 100.01)
    assert (second.first_frame, second.overruns) == (480, 0)
    assert second.adc_delay_s == pytest.approx(0.02)


def test_an_overflow_is_counted_and_its_length_taken_from_the_clock(
    clock: SimpleNamespace,
) -> None:
    capture = Capture(48_000, 480)
    capture.on_audio(SILENCE, 480, TIMES, 0)

    clock.now_s += 0.25
    capture.on_audio(SILENCE, 480, TIMES, PA_INPUT_OVERFLOW)

    record = [capture.records.get_nowait() for _ in range(2)][1]
    assert record.overruns == 1
    assert record.lost_frames_before == 12_000 - 480
    assert record.first_frame == 480 + record.lost_frames_before


def test_an_overflow_that_the_clock_cannot_see_still_marks_a_gap(clock: SimpleNamespace) -> None:
    capture = Capture(48_000, 480)
    capture.on_audio(SILENCE, 480, TIMES, 0)

    clock.now_s += 0.001
    capture.on_audio(SILENCE, 480, TIMES, PA_INPUT_OVERFLOW)

    assert [capture.records.get_nowait() for _ in range(2)][1].lost_frames_before == 1


def test_what_overflowed_before_the_first_block_is_no_gap(clock: SimpleNamespace) -> None:
    capture = Capture(48_000, 480)

    capture.on_audio(SILENCE, 480, TIMES, PA_INPUT_OVERFLOW)

    record = capture.records.get_nowait()
    assert (record.overruns, record.lost_frames_before) == (0, 0)


def test_a_full_queue_drops_blocks_counts_them_and_marks_the_gap(clock: SimpleNamespace) -> None:
    capture = Capture(48_000, 24_000)  # a queue of four blocks
    for _ in range(7):
        clock.now_s += 0.5
        capture.on_audio(SILENCE, 24_000, TIMES, 0)

    for _ in range(4):
        assert capture.records.get_nowait().lost_frames_before == 0
    clock.now_s += 0.5
    capture.on_audio(SILENCE, 24_000, TIMES, 0)

    record = capture.records.get_nowait()
    assert record.overruns == 3
    assert record.lost_frames_before == 3 * 24_000
    assert record.first_frame == 7 * 24_000


class FakePortAudio:
    """PortAudio on a machine whose numbers were dealt anew; remembers what was opened."""

    paInt16 = 8

    def __init__(self, names: list[str], error: OSError | None = None) -> None:
        self.names = names
        self.error = error
        self.opened: list[str] = []

    def PyAudio(self) -> FakePortAudio:
        return self

    def get_device_count(self) -> int:
        return len(self.names)

    def get_device_info_by_index(self, index: int) -> dict[str, Any]:
        name = self.names[index]
        return {"index": index, "name": name, "maxInputChannels": 2, "defaultSampleRate": 48e3}

    def open(self, *, input_device_index: int, **_: Any) -> object:
        self.opened.append(self.names[input_device_index])
        if self.error:
            raise self.error
        return object()


def test_the_device_that_is_opened_is_the_one_named_over_fifty_shuffles(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    rng = random.Random(22)
    for _ in range(50):
        ids = ["Line8", "Stage", "Stage_1", "Headphones"]
        rng.shuffle(ids)
        cards = dict(enumerate(ids))
        names = [f"USB Audio: Audio (hw:{number},0)" for number in cards] + ["pulse"]
        rng.shuffle(names)
        audio = FakePortAudio(names)
        monkeypatch.setattr(capture_child, "load_pyaudio", lambda audio=audio: audio)
        monkeypatch.setattr(capture_child, "read_cards", lambda cards=cards: cards)

        _, _, name = open_stream("hw:CARD=Stage,DEV=0", 48_000, 2, "int16", 480)

        assert name == "hw:CARD=Stage,DEV=0"
        assert audio.opened == [f"USB Audio: Audio (hw:{ids.index('Stage')},0)"]


def test_a_card_that_changes_while_it_is_opened_is_not_trusted(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    seen = iter([{0: "Stage", 1: "Line8"}, {0: "Line8", 1: "Stage"}])
    audio = FakePortAudio(["Audio (hw:0,0)", "Audio (hw:1,0)"])
    monkeypatch.setattr(capture_child, "load_pyaudio", lambda: audio)
    monkeypatch.setattr(capture_child, "read_cards", lambda: next(seen))

    with pytest.raises(LineInputError, match="cards changed while hw:CARD=Stage,DEV=0"):
        open_stream("hw:CARD=Stage,DEV=0", 48_000, 2, "int16", 480)


def test_more_channels_than_the_device_has_are_refused_with_how_many_there_are(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(capture_child, "load_pyaudio", lambda: FakePortAudio(["desk"]))

    with pytest.raises(LineInputRefusedError, match="desk has 2 channels, 8 are asked for"):
        open_stream("desk", 48_000, 8, "int16", 480)


@pytest.mark.parametrize(
    ("code", "what"),
    [(-9998, "number of channels"), (-9997, "sample rate"), (-9994, "sample format")],
)
def test_what_a_device_cannot_do_is_told_from_what_may_pass(code: int, what: str) -> None:
    refused = open_error(OSError(code, "Invalid"), "desk", 96_000, 2, "int24")
    passing = open_error(OSError(-9985, "Device unavailable"), "desk", 96_000, 2, "int24")

    assert isinstance(refused, LineInputRefusedError)
    assert str(refused).startswith(
        f"desk does not take 2 channels of int24 at 96000 Hz (its {what})"
    )
    assert not isinstance(passing, LineInputRefusedError)
    assert str(passing).endswith("Device unavailable")


def test_a_format_that_is_refused_names_others_to_try() -> None:
    error = open_error(OSError(-9994, "Sample format not supported"), "desk", 48_000, 2, "int24")

    assert str(error).endswith("try int16 or float32")


def test_the_child_loads_no_numpy() -> None:
    code = (
        "import station.sound.capture_child as c; c.load_pyaudio();"
        " import sys; print('numpy' in sys.modules)"
    )
    said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)

    assert said.stdout.strip() == "False"


NOISE = [
    "ALSA lib confmisc.c:855:(parse_card) cannot find card '0'",
    "ALSA lib pcm.c:2666:(snd_pcm_open_noupdate) Unknown PCM cards.pcm.rear",
    "Cannot connect to server socket err = No such file or directory",
    "jack server is not running or cannot be started",
    "Expression 'ret' failed in 'src/hostapi/alsa/pa_linux_alsa.c', line: 1736",
    "",
]


def test_the_usual_noise_hides_no_useful_line() -> None:
    useful = "ALSA lib pulse.c:242:(pulse_connect) PulseAudio: Unable to connect: Refused"

    assert last_useful_line([*NOISE, useful, *NOISE]) == "PulseAudio: Unable to connect: Refused"
    assert last_useful_line(NOISE) == ""


def test_lines_may_come_in_pieces_and_the_last_may_be_unfinished() -> None:
    words = LastWords()
    for piece in (b"jack server is not running\nUSB device is g", b"one"):
        words.feed(piece)

    assert words.useful_line() == "USB device is gone"
