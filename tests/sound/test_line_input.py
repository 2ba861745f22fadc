"""The line input on real PortAudio: exact samples, real time, gaps, and the child's life."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import psutil
import pytest

from station.errors import LineInputError, LineInputRefusedError
from station.sound.child import CaptureChild
from station.sound.devices import list_devices
from station.sound.line_input import LineFormat, LineInput
from tests.support.listening import (
    RECOVERY_LIMIT_S,
    assert_no_frame_is_unaccounted_for,
    capture,
    capture_child_of,
)
from tests.support.pulse import PulseAudio
from tests.support.tones import tone_hz, write_tone

pytestmark = pytest.mark.sound

CHILD_LIMIT_MB = 30  # 22, and what is not yet fetched on a busy machine; numpy alone adds 18


# -- samples -------------------------------------------------------------


@pytest.mark.parametrize("channels", [1, 2, 8, 32])
@pytest.mark.parametrize("sample_format", ["int16", "int24", "float32"])
def test_every_sample_arrives_exactly(
    feed: Callable[[bytes], str], sample_format: str, channels: int
) -> None:
    rng = np.random.default_rng(channels)
    if sample_format == "float32":
        wanted = rng.uniform(-1.0, 1.0, (4096, channels)).astype("<f4")
        raw = wanted.tobytes()
    else:
        width = {"int16": 2, "int24": 3}[sample_format]
        full = 2 ** (8 * width - 1)
        values = rng.integers(-full, full, (4096, channels))
        values[0, 0], values[1, 0] = -full, full - 1
        raw = b"".join(int(v).to_bytes(width, "little", signed=True) for v in values.ravel())
        wanted = values / full

    with LineInput(LineFormat(feed(raw), 48_000, channels, sample_format, 512)) as line:
        heard, blocks = capture(line, 4096)

    assert blocks[0].first_frame == 0
    assert heard.dtype == np.float32
    assert np.array_equal(heard, wanted)


@pytest.mark.parametrize("rate_hz", [44_100, 48_000, 96_000])
def test_a_sine_that_is_played_arrives_at_its_frequency(
    pulse: PulseAudio, tmp_path: Path, rate_hz: int
) -> None:
    hz = 331.37
    pulse.play(write_tone(tmp_path / "tone.wav", hz, 8.0))

    with LineInput(LineFormat("pulse", rate_hz, 2, "float32")) as line:
        for block in line:
            if np.abs(block.samples).max() > 0.4:
                break
        capture(line, rate_hz // 2)  # let the sound server's resampler settle
        heard, blocks = capture(line, rate_hz)

    assert_no_frame_is_unaccounted_for(blocks)
    for channel in (0, 1):
        cents = 1200.0 * np.log2(tone_hz(heard[:, channel], rate_hz) / hz)
        assert abs(cents) < 0.05
    assert np.abs(heard).max() == pytest.approx(0.5, abs=0.01)


@pytest.mark.parametrize("sample_format", ["int16", "int24", "float32"])
@pytest.mark.parametrize("channels", [1, 8, 32])
def test_a_sound_server_gives_every_format_and_number_of_channels(
    pulse: PulseAudio, tmp_path: Path, sample_format: str, channels: int
) -> None:
    pulse.play(write_tone(tmp_path / "tone.wav", 330.0, 5.0))

    with LineInput(LineFormat("default", 48_000, channels, sample_format)) as line:
        for block in line:
            if np.abs(block.samples[:, 0]).max() > 0.2:
                break
        heard, _ = capture(line, 24_000)

    assert heard.shape[1] == channels
    assert tone_hz(heard[:, 0], 48_000) == pytest.approx(330.0, abs=0.05)


def test_blocks_carry_the_time_they_were_captured(pulse: PulseAudio) -> None:
    with LineInput(LineFormat("pulse")) as line:
        before_s = time.monotonic()
        _, blocks = capture(line, 20 * 1024)
        after_s = time.monotonic()

    times = [block.captured_at_s for block in blocks]
    assert times == sorted(times)
    assert before_s - 1.0 < times[0] <= times[-1] <= after_s
    assert all(block.adc_delay_s >= 0.0 for block in blocks)


# -- what is refused -----------------------------------------------------


def test_a_missing_device_is_reported_in_one_line_with_what_there_is(pulse: PulseAudio) -> None:
    with pytest.raises(LineInputError) as caught, LineInput(LineFormat("hw:CARD=Stage")):
        pass

    message = str(caught.value)
    assert message.startswith("no input device hw:CARD=Stage,DEV=0")
    assert "there are pulse (32 channels)" in message
    assert "\n" not in message


def test_without_any_device_the_last_useful_line_of_the_sound_system_is_kept(
    feed: Callable[[bytes], str],
) -> None:
    feed(b"")
    with pytest.raises(LineInputError, match=r"no input device pulse.*Connection refused"):
        LineInput(LineFormat("pulse")).__enter__()


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ({"channels": 33}, "33 channels: take 1 to 32"),
        ({"channels": 0}, "0 channels: take 1 to 32"),
        ({"rate_hz": 22_050}, "rate of 22050 Hz: take 44100, 48000, 96000"),
        ({"sample_format": "int8"}, "'int8': take int16, int24, float32"),
        ({"frames_per_block": 9000}, "blocks of 9000 frames: take 128 to 8192"),
    ],
)
def test_what_no_device_can_do_is_refused_before_it_is_tried(
    options: dict[str, object], said: str
) -> None:
    with pytest.raises(LineInputRefusedError, match=re.escape(said)):
        LineFormat("pulse", **options)  # type: ignore[arg-type]


def test_the_inputs_are_listed_by_name(pulse: PulseAudio) -> None:
    assert ("pulse", 32) in list_devices()


# -- gaps ----------------------------------------------------------------


def test_blocks_a_busy_parent_leaves_too_long_are_dropped_counted_and_marked(
    feed: Callable[[bytes], str],
) -> None:
    seconds = 40
    with LineInput(LineFormat(feed(bytes(48_000 * seconds * 2)), 48_000, 1, "int16")) as line:
        time.sleep(1.0)  # the tape runs as fast as it is read: far beyond queue and pipe
        _, blocks = capture(line, 30 * 48_000)

    assert_no_frame_is_unaccounted_for(blocks)
    assert blocks[-1].overruns > 0
    marked = [block for block in blocks if block.lost_frames_before]
    assert marked
    assert sum(block.lost_frames_before for block in marked) <= blocks[-1].overruns * 1024


def test_of_a_child_held_for_a_second_every_frame_is_accounted_for(pulse: PulseAudio) -> None:
    with LineInput(LineFormat("pulse")) as line:
        _, before = capture(line, 10_240)
        child = capture_child_of()
        assert child is not None
        os.kill(child, signal.SIGSTOP)
        time.sleep(1.0)
        os.kill(child, signal.SIGCONT)
        _, after = capture(line, 96_000)
        assert capture_child_of() == child

    blocks = before + after
    assert_no_frame_is_unaccounted_for(blocks)
    times = [block.captured_at_s for block in blocks]
    assert times == sorted(times)
    # What was not given is lost for a reason, and the reason is counted.
    lost = sum(block.lost_frames_before for block in after)
    assert lost == 0 or after[-1].overruns > before[-1].overruns


# -- the child and its parent --------------------------------------------


def wait_until_gone(pid: int) -> bool:
    try:
        psutil.Process(pid).wait(timeout=5.0)
    except psutil.NoSuchProcess:
        return True
    except psutil.TimeoutExpired:
        return False
    return True


PARENT = """
import sys, time
from station.sound.line_input import LineFormat, LineInput
with LineInput(LineFormat("pulse")) as line:
    for block in line:
        print("listening", flush=True)
"""


def test_the_child_ends_when_its_parent_is_killed(pulse: PulseAudio) -> None:
    parent = subprocess.Popen([sys.executable, "-c", PARENT], stdout=subprocess.PIPE, text=True)
    with parent:
        try:
            assert parent.stdout is not None
            assert parent.stdout.readline() == "listening\n"
            child = capture_child_of(parent.pid)
            assert child is not None
        finally:
            parent.kill()

    assert wait_until_gone(child)


def test_the_child_ends_by_signal_even_if_its_pipes_stay_open(pulse: PulseAudio) -> None:
    # The grandparent (this test) holds both ends of the child's pipes; only the signal is left.
    between = (
        "import subprocess, sys, time\n"
        "from station.sound.child import MODULE, child_environment\n"
        "child = subprocess.Popen([sys.executable, '-S', '-m', MODULE, 'pulse', '48000', '2',"
        " 'int16', '1024'], env=child_environment())\n"
        "print(child.pid, file=sys.stderr, flush=True)\n"
        "time.sleep(60)\n"
    )
    parent = subprocess.Popen(
        [sys.executable, "-c", between],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )
    with parent:
        try:
            assert parent.stderr is not None
            assert parent.stdout is not None
            child = int(parent.stderr.readline())
            assert parent.stdout.read(4) == b"line"  # capturing by now
        finally:
            parent.kill()
        assert wait_until_gone(child)


def test_the_child_ends_when_its_standard_input_closes(pulse: PulseAudio) -> None:
    child = CaptureChild("pulse", "48000", "2", "int16", "1024")
    try:
        assert child.read(time.monotonic() + RECOVERY_LIMIT_S)
        assert child.process.stdin is not None
        child.process.stdin.close()
        assert child.process.wait(timeout=5.0) == 0
    finally:
        child.close()


def test_nothing_of_the_sound_systems_noise_reaches_the_user(pulse: PulseAudio) -> None:
    code = (
        "import sys\n"
        "from station.sound.line_input import LineFormat, LineInput\n"
        "with LineInput(LineFormat('pulse')) as line:\n"
        "    print(next(iter(line)).samples.shape, 'pyaudio' in sys.modules)\n"
    )
    said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)

    assert said.stdout == "(1024, 2) False\n"
    assert said.stderr == ""


def test_the_child_is_small(pulse: PulseAudio) -> None:
    with LineInput(LineFormat("pulse", 48_000, 32, "float32")) as line:
        capture(line, 2 * 48_000)
        memory_mb = psutil.Process(capture_child_of()).memory_info().rss / 2**20

    print(f"capture child: {memory_mb:.1f} MB resident")
    assert memory_mb < CHILD_LIMIT_MB
