"""The reference tone on a real PortAudio, heard again from the sink's monitor; and every fault."""

from __future__ import annotations

import math
import os
import signal
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import numpy as np
import psutil
import pytest

from station.errors import ToneError, ToneRefusedError
from station.measure.listener import Listener
from station.measure.types import Note
from station.sound import tone_out
from station.sound.line_input import LineFormat, LineInput
from station.sound.tone import ToneAsk, ToneSynth
from station.sound.tone_muted import SIMULATED, MutedToneOut
from station.sound.tone_out import (
    MODULE,
    OFF_REASON,
    OutputState,
    Sounding,
    ToneOut,
    check_output,
    list_outputs,
)
from tests.support.processes import ahead_of_others
from tests.support.pulse import PulseAudio

pytestmark = pytest.mark.sound

LIMIT_S = 20.0
RATE_HZ = 48_000


class Audience:
    """Keeps what a tone output reports, and waits for it."""

    def __init__(self) -> None:
        self.states: list[OutputState] = []
        self.tones: list[Sounding | None] = []
        self._news = threading.Condition()

    def on_state(self, state: OutputState) -> None:
        with self._news:
            self.states.append(state)
            self._news.notify_all()

    def on_tone(self, sounding: Sounding | None) -> None:
        with self._news:
            self.tones.append(sounding)
            self._news.notify_all()

    def wait_for(self, met: Callable[[], bool]) -> None:
        with self._news:
            assert self._news.wait_for(met, LIMIT_S), (self.states, self.tones)

    def wait_for_sound(self, hz: float) -> None:
        self.wait_for(lambda: bool(self.tones) and sounds(self.tones[-1], hz))

    def wait_for_silence(self) -> None:
        self.wait_for(lambda: bool(self.tones) and self.tones[-1] is None)

    def wait_for_failure(self) -> str:
        self.wait_for(lambda: bool(self.states) and self.states[-1].state == "failed")
        reason = self.states[-1].reason
        assert reason is not None
        assert "\n" not in reason
        return reason


@pytest.fixture(autouse=True)
def sound_goes_first() -> Iterator[None]:
    with ahead_of_others():
        yield


def sounds(sounding: Sounding | None, hz: float) -> bool:
    return sounding is not None and sounding.ask.hz == hz


@contextmanager
def output(device: str = "pulse") -> Iterator[tuple[ToneOut, Audience]]:
    audience = Audience()
    out = ToneOut(device, RATE_HZ, audience.on_state, on_tone=audience.on_tone)
    try:
        yield out, audience
    finally:
        out.close()


def tone_child() -> int | None:
    """Process id of the tone child, if one lives."""
    found = [child.pid for child in psutil.Process().children() if plays(child)]
    assert len(found) <= 1
    return found[0] if found else None


def plays(process: psutil.Process) -> bool:
    try:
        return MODULE in process.cmdline()
    except (psutil.NoSuchProcess, psutil.ZombieProcess):
        return False


def streams_into_the_sink(pulse: PulseAudio) -> int:
    said = subprocess.run(
        ["pactl", "list", "short", "sink-inputs"], capture_output=True, text=True, check=True
    )
    return len(said.stdout.splitlines())


def record(ask: ToneAsk, play: Callable[[], object]) -> np.ndarray:
    """What the sink's monitor gives from before the tone until after it, both channels."""
    heard: list[np.ndarray] = []
    with LineInput(LineFormat("pulse", RATE_HZ, 2, "float32")) as line:
        play()
        begun = silent = 0
        for block in line:
            heard.append(block.samples)
            loud = bool(np.abs(block.samples).max() > 0.0)
            begun += loud
            silent = 0 if loud or not begun else silent + len(block.samples)
            if silent > RATE_HZ // 2:
                break
            assert sum(map(len, heard)) < (ask.seconds + LIMIT_S) * RATE_HZ
    return np.concatenate(heard)


# -- what is heard -------------------------------------------------------


TAKES_ON_A_BUSY_MACHINE = 8  # a tone that broke off, and says so, is no tone to measure
PAUSE_FRAMES = RATE_HZ // 1000


def interrupted(heard: np.ndarray) -> bool:
    """Whether there is digital silence within the tone: sound server or recorder came too late.

    No voice is silent for a millisecond; a busy machine's sound server fills in with nothing.
    """
    sounding = np.flatnonzero(heard.any(axis=1))
    return bool(np.diff(sounding).max() > PAUSE_FRAMES)


@pytest.mark.parametrize("voice", ["sine", "string"])
def test_a_tone_is_heard_at_its_pitch_and_level_and_swells_and_fades(
    pulse: PulseAudio, voice: str, caplog: pytest.LogCaptureFixture
) -> None:
    ask = ToneAsk(441.5, voice, -30.0, 2.0)  # type: ignore[arg-type]
    with output() as (out, _):
        for _take in range(TAKES_ON_A_BUSY_MACHINE):
            caplog.clear()
            heard = record(ask, lambda: out.play(ask.hz, ask.voice, ask.level_dbfs, ask.seconds))
            if "broke off" not in caplog.text and not interrupted(heard):
                break

    left, right = heard.T
    assert np.array_equal(left, right)
    highest_dbfs = 20.0 * math.log10(np.abs(left).max())
    assert highest_dbfs == pytest.approx(-30.0, abs=0.05)
    listener = Listener(RATE_HZ)
    said = [*listener.push(left), *listener.finish()]
    notes = [item for item in said if isinstance(item, Note)]
    assert len(notes) == 1
    assert abs(1200.0 * math.log2(notes[0].hz / ask.hz)) < 0.05
    synth = ToneSynth(RATE_HZ)
    synth.play(ask)
    wanted = synth.block(2 * RATE_HZ)
    # The sound server changes no sample: how the tone begins and ends is seen exactly.
    first, last = np.flatnonzero(np.abs(left) > 1e-6)[[0, -1]]
    shown = np.flatnonzero(np.abs(wanted) > 1e-6)
    swell = slice(first - shown[0], first - shown[0] + 4800)
    fade = slice(last - shown[-1] + wanted.size - 7200, last - shown[-1] + wanted.size)
    assert left[swell] == pytest.approx(wanted[:4800], abs=1e-6)
    assert left[fade] == pytest.approx(wanted[-7200:], abs=1e-6)


def test_a_change_of_note_and_a_stop_are_taken_by_the_child_that_plays(pulse: PulseAudio) -> None:
    with output() as (out, audience):
        out.play(330.0, seconds=30.0)
        audience.wait_for_sound(330.0)
        child = tone_child()
        out.play(441.0, "string", seconds=30.0)
        audience.wait_for_sound(441.0)

        assert child is not None
        assert tone_child() == child
        assert out.state == OutputState("ready")
        out.stop()
        audience.wait_for_silence()
        assert out.sounding is None
        assert [sounding.ask.hz for sounding in audience.tones if sounding] == [330.0, 441.0]


def test_the_output_is_open_only_while_a_tone_sounds(pulse: PulseAudio) -> None:
    with output() as (out, audience):
        before = streams_into_the_sink(pulse), tone_child()
        out.play(441.0, seconds=30.0)
        audience.wait_for_sound(441.0)
        during = streams_into_the_sink(pulse)
        out.stop()
        audience.wait_for_silence()

        assert before == (0, None)
        assert during == 1
        assert (streams_into_the_sink(pulse), tone_child()) == (0, None)


def test_a_tone_ends_by_itself_and_the_next_one_can_be_played(pulse: PulseAudio) -> None:
    with output() as (out, audience):
        for _ in range(2):
            out.play(441.0, seconds=0.3)
            audience.wait_for_sound(441.0)
            audience.wait_for_silence()

    assert [bool(tone) for tone in audience.tones] == [True, False, True, False]
    assert audience.states == []


def test_of_tones_asked_for_while_the_output_opens_the_last_one_sounds(pulse: PulseAudio) -> None:
    with output() as (out, audience):
        for hz in (200.0, 300.0, 400.0):
            out.play(hz, seconds=30.0)

        audience.wait_for_sound(400.0)


def test_a_tone_stopped_before_the_output_is_open_never_sounds(pulse: PulseAudio) -> None:
    with output() as (out, audience):
        out.play(441.0, seconds=30.0)
        out.stop()
        out.play(330.0, seconds=0.3)

        audience.wait_for_sound(330.0)
        audience.wait_for_silence()
        assert not any(sounds(tone, 441.0) for tone in audience.tones)


# -- faults --------------------------------------------------------------


def test_a_child_that_is_killed_costs_its_tone_and_nothing_else(pulse: PulseAudio) -> None:
    with output() as (out, audience), LineInput(LineFormat("pulse")) as line:
        blocks = iter(line)
        for _ in range(3):
            out.play(441.0, seconds=30.0)
            audience.wait_for_sound(441.0)
            child = tone_child()
            assert child is not None
            os.kill(child, signal.SIGKILL)
            audience.wait_for_silence()

            reason = audience.wait_for_failure()
            # A busy sound server may have complained before, and what it said is told, too.
            assert reason.startswith("the tone process was ended by signal 9")
            assert next(blocks).samples.size
        out.play(441.0, seconds=0.3)
        audience.wait_for(lambda: audience.states[-1].state == "ready")
        audience.wait_for_silence()


def test_a_hung_child_is_noticed_and_killed(pulse: PulseAudio) -> None:
    with output() as (out, audience):
        out.play(441.0, seconds=30.0)
        audience.wait_for_sound(441.0)
        hung = tone_child()
        assert hung is not None
        os.kill(hung, signal.SIGSTOP)

        reason = audience.wait_for_failure()
        audience.wait_for_silence()

        assert reason.startswith("pulse did not take samples for 2 s: hung or unplugged")
        assert not psutil.pid_exists(hung)


def test_a_hung_sound_server_keeps_nobody_waiting(
    pulse: PulseAudio, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(tone_out, "OPEN_LIMIT_S", 1.0)
    with output() as (out, audience):
        os.kill(pulse.pid, signal.SIGSTOP)
        try:
            out.play(441.0)
            out.play(330.0)
            asked = list(audience.states)

            assert asked == []  # the calls came back before anything was known
            assert "did not open for 1 s" in audience.wait_for_failure()
        finally:
            os.kill(pulse.pid, signal.SIGCONT)
        monkeypatch.setattr(tone_out, "OPEN_LIMIT_S", LIMIT_S)
        out.play(441.0, seconds=30.0)
        audience.wait_for_sound(441.0)


def test_a_sound_server_that_dies_under_a_tone_is_said_in_one_line(pulse: PulseAudio) -> None:
    with output() as (out, audience):
        out.play(441.0, seconds=30.0)
        audience.wait_for_sound(441.0)

        pulse.kill()

        audience.wait_for_failure()
        audience.wait_for_silence()


def test_a_missing_output_is_said_in_one_line_with_what_there_is(pulse: PulseAudio) -> None:
    with output("hw:CARD=Stage") as (out, audience):
        out.play(441.0)

        reason = audience.wait_for_failure()

    assert reason.startswith("no output device hw:CARD=Stage,DEV=0 (unplugged")
    assert "there are pulse (32 channels)" in reason


def test_a_box_without_any_output_says_so(feed: Callable[[bytes], str]) -> None:
    feed(b"")  # no sound server can be reached
    with output() as (out, audience):
        out.play(441.0)

        assert audience.wait_for_failure().startswith("no output device pulse")


def test_a_fault_in_whoever_is_told_is_logged_and_ends_no_tone(
    pulse: PulseAudio, caplog: pytest.LogCaptureFixture
) -> None:
    told: list[Sounding | None] = []
    audience = Audience()

    def broken(sounding: Sounding | None) -> None:
        told.append(sounding)
        audience.on_tone(sounding)
        raise ZeroDivisionError("no such luck")

    out = ToneOut("pulse", RATE_HZ, audience.on_state, on_tone=broken)
    for hz in (441.0, 330.0):
        out.play(hz, seconds=0.3)
        audience.wait_for_sound(hz)
        audience.wait_for_silence()
    out.close()

    assert [sounding is None for sounding in told] == [False, True, False, True]
    assert caplog.text.count("ZeroDivisionError: no such luck") == 4
    assert audience.states == []


PARENT = """
import sys, time
from station.sound.tone_out import ToneOut
out = ToneOut("pulse", on_tone=lambda tone: print(out._child.process.pid, flush=True))
out.play(441.0, seconds=60.0)
time.sleep(60)
"""


def test_the_child_ends_when_its_parent_is_killed(pulse: PulseAudio) -> None:
    parent = subprocess.Popen([sys.executable, "-c", PARENT], stdout=subprocess.PIPE, text=True)
    with parent:
        assert parent.stdout is not None
        child = psutil.Process(int(parent.stdout.readline()))
        parent.kill()

    assert child.wait(timeout=LIMIT_S) is not None or not child.is_running()


# -- what is refused, and the end ----------------------------------------


def test_an_output_that_is_off_plays_nothing_and_says_so() -> None:
    with output("off") as (out, _):
        assert out.state == OutputState("off", OFF_REASON)
        with pytest.raises(ToneError, match="the output is switched off"):
            out.play(441.0)
        out.stop()


@pytest.mark.parametrize("device", ["", "3", "hw:0,0"])
def test_an_output_that_is_a_number_is_refused_by_the_settings_and_fails_without_harm(
    device: str,
) -> None:
    with pytest.raises(ToneRefusedError, match="output device"):
        check_output(device)

    with output(device) as (out, _):
        assert out.state.state == "failed"
        with pytest.raises(ToneError, match="output device"):
            out.play(441.0)


def test_names_are_given_in_full() -> None:
    assert check_output(" off ") == "off"
    assert check_output("hw:CARD=Box") == "hw:CARD=Box,DEV=0"


def test_a_tone_out_of_range_never_reaches_the_output() -> None:
    with output() as (out, _):
        with pytest.raises(ToneRefusedError, match="too loud"):
            out.play(441.0, level_dbfs=-6.0)
        assert tone_child() is None


def test_closing_ends_the_tone_the_child_and_the_thread(pulse: PulseAudio) -> None:
    with output() as (out, audience):
        out.play(441.0, seconds=30.0)
        audience.wait_for_sound(441.0)

        out.close()

        assert tone_child() is None
        assert "tone-out" not in {thread.name for thread in threading.enumerate()}
        assert audience.tones[-1] is None
        assert audience.states == []
        out.stop()  # harmless
        with pytest.raises(ToneError, match="the station is ending"):
            out.play(441.0)


def test_the_outputs_are_listed_by_name(pulse: PulseAudio) -> None:
    assert ("pulse", 32) in list_outputs()


# -- the muted one -------------------------------------------------------


def test_the_muted_output_plays_nothing_says_so_and_keeps_what_it_would_have_played() -> None:
    audience = Audience()
    out = MutedToneOut(audience.on_tone)

    out.play(441.0, "string", -40.0, 0.2)
    audience.wait_for_silence()
    out.play(330.0, seconds=60.0)
    sounding = out.sounding
    out.close()

    assert out.state == OutputState("ready", SIMULATED)
    assert "no sound" in SIMULATED
    assert list(out.played) == [ToneAsk(441.0, "string", -40.0, 0.2), ToneAsk(330.0, seconds=60.0)]
    assert sounds(sounding, 330.0)
    assert [bool(tone) for tone in audience.tones] == [True, False, True, False]


def test_the_muted_output_refuses_what_the_real_one_refuses() -> None:
    with pytest.raises(ToneRefusedError, match="too loud"):
        MutedToneOut().play(441.0, level_dbfs=-6.0)


def test_a_muted_tone_that_was_replaced_does_not_end_the_next_one() -> None:
    audience = Audience()
    out = MutedToneOut(audience.on_tone)
    out.play(441.0, seconds=0.2)
    first = out.sounding
    out.play(330.0, seconds=30.0)

    out._set(None, ended=first)  # the first one's timer, arriving late

    assert sounds(out.sounding, 330.0)
    out.close()
