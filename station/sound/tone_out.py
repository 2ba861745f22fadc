"""The reference tone's way out: a child process that lives while a tone sounds, and no longer.

A shared card is left alone between tones. Whatever happens to the child, the
output or the sound server costs the tone and nothing else: it is said in one
line, and the next tone is tried anew.
"""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal, NamedTuple, Protocol, TypeVar

from station.errors import LineInputError, LineInputRefusedError, ToneError, ToneRefusedError
from station.sound import wire
from station.sound.child import SoundChild, ask_for_devices
from station.sound.devices import check_wanted
from station.sound.tone import FADE_S, SWELL_S, USUAL_DBFS, USUAL_S, ToneAsk, check_tone

log = logging.getLogger(__name__)

MODULE = "station.sound.tone_child"
OFF = "off"
OFF_REASON = "the output is switched off in the settings ([tone] device)"
OPEN_LIMIT_S = 6.0
"""How long the child may take to open the output: Python, numpy and PortAudio start meanwhile."""
SILENT_LIMIT_S = 2.0
"""An output that takes no samples for so long is hung."""
POLL_S = 0.05
CLOSE_LIMIT_S = SWELL_S + FADE_S + 1.0


@dataclass(frozen=True, slots=True)
class OutputState:
    """Can a tone be played, and if not, why. "ready": nothing is known against it."""

    state: Literal["ready", "off", "failed"]
    reason: str | None = None


@dataclass(frozen=True, slots=True)
class Sounding:
    """The tone that sounds; ``ends_at_s`` by CLOCK_MONOTONIC."""

    ask: ToneAsk
    ends_at_s: float


News = TypeVar("News")
OnState = Callable[[OutputState], None]
OnTone = Callable[[Sounding | None], None]


class ToneOutput(Protocol):
    """What plays tones: ToneOut, or MutedToneOut where none may be heard."""

    @property
    def state(self) -> OutputState: ...
    @property
    def sounding(self) -> Sounding | None: ...
    def play(
        self,
        hz: float,
        voice: str = "sine",
        level_dbfs: float = USUAL_DBFS,
        seconds: float = USUAL_S,
        rate_ppm: float = 0.0,
    ) -> ToneAsk: ...
    def stop(self) -> None: ...
    def close(self) -> None: ...


class _Order(NamedTuple):
    """The last thing asked for. ``ask`` None: silence."""

    number: int
    ask: ToneAsk | None
    rate_ppm: float

    def words(self) -> list[str]:
        """As the child reads it; floats in full."""
        if self.ask is None:
            return [str(self.number), "stop"]
        ask = self.ask
        values = (ask.hz, ask.voice, ask.level_dbfs, ask.seconds, self.rate_ppm)
        return [str(self.number), "play", *map(str, values)]


def check_output(device: str) -> str:
    """The output's name in full, or "off". Raises ToneRefusedError for a number or nothing."""
    if device.strip() == OFF:
        return OFF
    try:
        return check_wanted(device, "output")
    except LineInputRefusedError as error:
        raise ToneRefusedError(str(error)) from error


def list_outputs() -> list[tuple[str, int]]:
    """Stable name and number of channels of every output, asked of a child process.

    Raises ToneError when the child cannot tell.
    """
    try:
        return ask_for_devices(MODULE, "outputs")
    except LineInputError as error:
        raise ToneError(str(error)) from error


class ToneOut:
    """Plays one tone at a time on `device`: an ALSA name, ``hw:CARD=<id>,DEV=<n>``, or "off".

    `on_state` and `on_tone` are called from the output's own thread when
    something changed: what can be played, and what sounds (None: nothing).
    """

    def __init__(
        self,
        device: str = "default",
        rate_hz: int = 48_000,
        on_state: OnState | None = None,
        *,
        on_tone: OnTone | None = None,
    ) -> None:
        self.device = device
        self.rate_hz = rate_hz
        self._on_state = on_state
        self._on_tone = on_tone
        self._sounding: Sounding | None = None
        self._news = threading.Condition()
        self._order = _Order(0, None, 0.0)
        self._closing = False
        self._child: SoundChild | None = None
        self._thread: threading.Thread | None = None
        self._state = OutputState("ready")
        try:
            self.device = check_output(device)
        except ToneRefusedError as error:
            self._state = OutputState("failed", str(error))
        if self.device == OFF:
            self._state = OutputState("off", OFF_REASON)
        self._never = self._state.reason  # why no tone will ever come from here, or None

    @property
    def state(self) -> OutputState:
        """The state last reported."""
        return self._state

    @property
    def sounding(self) -> Sounding | None:
        """The tone that sounds, if one does."""
        return self._sounding

    def play(
        self,
        hz: float,
        voice: str = "sine",
        level_dbfs: float = USUAL_DBFS,
        seconds: float = USUAL_S,
        rate_ppm: float = 0.0,
    ) -> ToneAsk:
        """Begin a tone, in place of the one that sounds; returns at once.

        `rate_ppm`: how much faster than its name the card's rate really is.
        Raises ToneRefusedError for a tone out of range, ToneError when the
        output is switched off, wrongly named or closed. What goes wrong later is said by ``state``.
        """
        ask = check_tone(hz, voice, level_dbfs, seconds)
        if self._never is not None:
            raise ToneError(f"no tone of {ask.hz:.2f} Hz: {self._never}")
        self._want(ask, rate_ppm)
        return ask

    def stop(self) -> None:
        """Fade what sounds; returns at once."""
        if self._thread is not None and not self._closing:
            self._want(None, 0.0)

    def close(self) -> None:
        """Fade, end the child and the thread; harmless when called twice."""
        with self._news:
            self._closing = True
            self._news.notify_all()
        thread = self._thread
        if thread is None or thread is threading.current_thread():
            return
        thread.join(CLOSE_LIMIT_S)
        child = self._child
        if child is not None:
            child.kill()
            thread.join(CLOSE_LIMIT_S)

    def _want(self, ask: ToneAsk | None, rate_ppm: float) -> None:
        with self._news:
            if self._closing:
                raise ToneError("no tone: the output is closed, the station is ending")
            self._order = _Order(self._order.number + 1, ask, rate_ppm)
            if self._thread is None:
                # The child dies with the thread that starts it, so one thread stays.
                self._thread = threading.Thread(target=self._run, name="tone-out", daemon=True)
                self._thread.start()
            self._news.notify_all()

    def _run(self) -> None:
        reached = 0
        while True:
            with self._news:
                while not self._closing and self._order.number <= reached:
                    self._news.wait()
                if self._closing:
                    return
                order = self._order
            reached = order.number if order.ask is None else self._play_and_report(order)

    def _play_and_report(self, order: _Order) -> int:
        """Play until all is silent; the number of the last order that was dealt with."""
        run = _Run(order)
        try:
            self._play(order, run)
        except OSError as error:  # ToneError, LineInputError, or no process can be had
            run.heard = run.sent.number
            if not self._closing:  # a child that is slow to end is ended
                self._report(OutputState("failed", str(error)))
        except Exception as fault:
            # The thread goes on: the next tone may well be played.
            log.exception("the reference tone has ended by a fault")
            run.heard = run.sent.number
            self._report(OutputState("failed", f"a fault of the program: {fault!r:.200}"))
        finally:
            child, self._child = self._child, None
            if child is not None:
                child.close()
            self._set_sounding(None)
        if run.underruns:
            log.warning("the tone broke off %d times: the board was too busy", run.underruns)
        return run.heard

    def _play(self, order: _Order, run: _Run) -> None:
        """One life of the child. Raises ToneError and LineInputError."""
        child = SoundChild(MODULE, self.device, str(self.rate_hz), *order.words())
        self._child = child
        buffer = bytearray()
        deadline_s = time.monotonic() + OPEN_LIMIT_S
        while not run.done:
            record = _take(buffer)
            if record is not None:
                deadline_s = time.monotonic() + SILENT_LIMIT_S
                self._hear(record, run, child)
            else:
                buffer += self._read(child, deadline_s, run.opened)
            self._pass_on(child, run)

    def _read(self, child: SoundChild, deadline_s: float, opened: bool) -> bytes:
        """What the child has written in a short while. Raises ToneError when it is late or gone."""
        now_s = time.monotonic()
        if now_s > deadline_s:
            deed, limit_s = ("take samples", SILENT_LIMIT_S) if opened else ("open", OPEN_LIMIT_S)
            raise ToneError(
                f"{self.device} did not {deed} for {limit_s:g} s: hung or unplugged"
                + _in_brackets(child.useful_line())
            )
        raw = child.read(min(deadline_s, now_s + POLL_S))
        if raw == b"":
            raise ToneError(f"the tone process {child.ending()}{_in_brackets(child.useful_line())}")
        return raw or b""

    def _pass_on(self, child: SoundChild, run: _Run) -> None:
        """Tell the child what has been asked meanwhile."""
        with self._news:
            newest = self._order._replace(ask=None) if self._closing else self._order
        if newest == run.sent:
            return
        if run.opened:
            child.tell(" ".join(newest.words()))
            run.sent = newest
            run.asks[newest.number] = newest.ask
        elif newest.ask is None:  # nothing sounds yet: there is nothing to fade
            run.heard, run.done = newest.number, True

    def _hear(self, record: wire.Record, run: _Run, child: SoundChild) -> None:
        """What the child says of itself. Raises ToneError for a fault."""
        if record.kind in (wire.MISSING, wire.REFUSED):
            detail = child.useful_line() if record.kind == wire.MISSING else ""
            raise ToneError(record.payload.decode(errors="replace") + _in_brackets(detail))
        if record.kind == wire.OPENED:
            run.opened = True
            self._report(OutputState("ready"))
            return
        run.underruns = record.overruns
        if record.first_frame != run.heard:
            run.heard = record.first_frame
            ask = run.asks[run.heard]
            if ask is not None:  # else it fades, and sounds until it is done
                self._set_sounding(Sounding(ask, time.monotonic() + ask.seconds))
        run.done = record.kind == wire.DONE

    def _report(self, state: OutputState) -> None:
        if state != self._state:
            self._state = state
            _tell(self._on_state, state)

    def _set_sounding(self, sounding: Sounding | None) -> None:
        if sounding != self._sounding:
            self._sounding = sounding
            _tell(self._on_tone, sounding)


class _Run:
    """What one life of the child was told and has said."""

    def __init__(self, order: _Order) -> None:
        self.sent = order
        self.asks = {order.number: order.ask}
        self.heard = 0
        self.opened = False
        self.done = False
        self.underruns = 0


def _tell(whom: Callable[[News], None] | None, news: News) -> None:
    """A fault of whoever is told must neither end a tone nor the thread that plays it."""
    try:
        if whom is not None:
            whom(news)
    except Exception:
        log.exception("news of the reference tone were not taken")


def _take(buffer: bytearray) -> wire.Record | None:
    try:
        return wire.unpack(buffer)
    except ValueError as error:
        raise ToneError(f"the tone process sent nonsense: {error}") from error


def _in_brackets(detail: str) -> str:
    return f" ({detail})" if detail else ""
