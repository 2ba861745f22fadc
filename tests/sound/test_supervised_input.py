"""The supervised input through every fault: killed, hung, unplugged, refused."""

from __future__ import annotations

import os
import signal
import threading
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import psutil
import pytest

from station.sound import line_input
from station.sound.blocks import Block, InputState
from station.sound.line_input import LineFormat, SupervisedInput
from tests.support.listening import (
    NOTICE_LIMIT_S,
    RECOVERY_LIMIT_S,
    Audience,
    assert_no_frame_is_unaccounted_for,
    capture_child_of,
    listening,
)
from tests.support.pulse import PulseAudio
from tests.support.tones import write_tone

pytestmark = pytest.mark.sound

PAUSE_S = 1.5
"""Long enough for a gap to be told from jitter."""


def test_a_sound_server_that_is_killed_and_restarted_is_heard_again(
    pulse: PulseAudio, tmp_path: Path
) -> None:
    tone = write_tone(tmp_path / "tone.wav", 220.0, 20.0)
    pulse.play(tone)
    with listening("pulse") as (line, audience):
        audience.wait_for(
            lambda: any(np.abs(b.samples).max() > 0.4 for b in audience.blocks), RECOVERY_LIMIT_S
        )

        pulse.kill()
        waiting = audience.wait_for_state("waiting", NOTICE_LIMIT_S)
        heard_before = len(audience.blocks)
        time.sleep(PAUSE_S)
        pulse.start()
        pulse.play(tone)
        audience.wait_for(
            lambda: any(np.abs(b.samples).max() > 0.4 for b in audience.blocks[heard_before:]),
            RECOVERY_LIMIT_S,
        )
        blocks = list(audience.blocks)
        state = line.state

    assert waiting.reason is not None
    assert "\n" not in waiting.reason
    assert (state.state, state.restarts, state.reason) == ("listening", 1, None)
    assert_no_frame_is_unaccounted_for(blocks)
    gap = blocks[heard_before]
    last = blocks[heard_before - 1]
    # The server was away for the pause at least; no more can be lost than went by between them.
    assert gap.lost_frames_before > PAUSE_S * 48_000 - len(gap.samples)
    assert gap.lost_frames_before <= (gap.captured_at_s - last.captured_at_s) * 48_000


def test_a_hung_child_is_noticed_killed_and_replaced(pulse: PulseAudio) -> None:
    with listening("pulse") as (_, audience):
        audience.wait_for_blocks()
        hung = capture_child_of()
        assert hung is not None

        os.kill(hung, signal.SIGSTOP)
        state = audience.wait_for_state("waiting", NOTICE_LIMIT_S)
        audience.wait_for_state("listening", RECOVERY_LIMIT_S)
        audience.wait_for_blocks()

        assert state.reason == "pulse did not give samples for 2 s: hung or unplugged"
        assert not psutil.pid_exists(hung)
        assert capture_child_of() not in (None, hung)
        assert_no_frame_is_unaccounted_for(audience.blocks)
        assert any(block.lost_frames_before > 48_000 for block in audience.blocks)


def test_a_child_that_is_killed_is_replaced(pulse: PulseAudio) -> None:
    with listening("pulse") as (line, audience):
        for restarts in (1, 2, 3):
            audience.wait_for_blocks()
            assert capture_child_of() is not None
            os.kill(capture_child_of(), signal.SIGKILL)
            state = audience.wait_for_state("waiting", NOTICE_LIMIT_S)
            assert state.reason == "the capture process was ended by signal 9"
            audience.wait_for_state("listening", RECOVERY_LIMIT_S)
            assert line.state.restarts == restarts


def test_a_hung_sound_server_does_not_hang_the_input(pulse: PulseAudio) -> None:
    with listening("pulse") as (_, audience):
        audience.wait_for_blocks()
        os.kill(pulse.pid, signal.SIGSTOP)
        try:
            audience.wait_for_state("waiting", NOTICE_LIMIT_S)
        finally:
            os.kill(pulse.pid, signal.SIGCONT)
        audience.wait_for_state("listening", RECOVERY_LIMIT_S)


def test_a_device_that_comes_later_is_taken_when_it_comes(pulse: PulseAudio) -> None:
    pulse.kill()
    with listening("pulse") as (_, audience):
        state = audience.wait_for_state("waiting", RECOVERY_LIMIT_S)
        assert state.reason is not None
        assert state.reason.startswith("no input device pulse")
        pulse.start()
        audience.wait_for_state("listening", RECOVERY_LIMIT_S)
        assert audience.states[-1].restarts == 0


def test_a_card_the_kernel_does_not_list_is_waited_for_without_a_child(
    monkeypatch: pytest.MonkeyPatch, pulse: PulseAudio
) -> None:
    asked: list[float] = []
    monkeypatch.setattr(line_input, "read_cards", lambda: asked.append(1.0) or {})
    with listening("hw:CARD=Stage") as (_, audience):
        audience.wait_for_state("waiting", RECOVERY_LIMIT_S)
        deadline_s = time.monotonic() + RECOVERY_LIMIT_S
        while len(asked) < 3 and time.monotonic() < deadline_s:
            time.sleep(0.05)
        assert len(asked) >= 3
        assert capture_child_of() is None
        assert len(audience.states) == 1


def test_a_fault_in_what_takes_the_blocks_is_loud(
    monkeypatch: pytest.MonkeyPatch, pulse: PulseAudio
) -> None:
    raised: list[BaseException | None] = []
    monkeypatch.setattr(threading, "excepthook", lambda args: raised.append(args.exc_value))
    states: list[InputState] = []

    def broken(block: Block) -> None:
        raise ZeroDivisionError("no such luck")

    line = SupervisedInput(LineFormat("pulse"), on_block=broken, on_state=states.append)
    line.start()
    deadline_s = time.monotonic() + RECOVERY_LIMIT_S
    while not raised and time.monotonic() < deadline_s:
        time.sleep(0.05)
    line.stop()

    assert isinstance(raised[0], ZeroDivisionError)
    assert states[-1].state == "failed"
    assert "ZeroDivisionError" in str(states[-1].reason)


def test_a_refusing_device_makes_the_input_fail_and_say_so(
    feed: Callable[[bytes], str], tmp_path: Path
) -> None:
    feed(b"")
    (tmp_path / ".asoundrc").write_text(
        "pcm.pair { type multi slaves.a { pcm { type null } channels 2 }"
        " bindings.0 { slave a channel 0 } bindings.1 { slave a channel 1 } }\n"
    )

    with listening("pair", channels=3) as (_, audience):
        state = audience.wait_for_state("failed", RECOVERY_LIMIT_S)

    assert state.reason is not None
    assert state.reason.startswith("pair has 2 channels, 3 are asked for")


def test_stopping_ends_the_child_and_the_thread(pulse: PulseAudio) -> None:
    with listening("pulse") as (line, audience):
        audience.wait_for_blocks()
        child = capture_child_of()
        line.stop()

        assert child is not None
        assert not psutil.pid_exists(child)
        assert "line-input" not in {thread.name for thread in threading.enumerate()}


def test_an_input_that_was_never_started_can_be_stopped() -> None:
    audience = Audience()
    SupervisedInput(
        LineFormat("pulse"), on_block=audience.on_block, on_state=audience.on_state
    ).stop()

    assert not audience.states
