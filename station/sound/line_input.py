"""The line input: samples from a child process that may be killed.

``LineInput`` is one run of the child and ends with an error when the child
does. ``SupervisedInput`` goes on: it starts the next child for as long as it
takes, and says meanwhile what it is waiting for.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from types import TracebackType
from typing import Literal, Self

from station.errors import LineInputError, LineInputRefusedError
from station.sound import wire
from station.sound.blocks import (
    BYTES_PER_SAMPLE,
    Block,
    InputState,
    SampleFormat,
    Timeline,
    decode,
)
from station.sound.child import CaptureChild
from station.sound.devices import check_wanted, read_cards
from station.sound.limits import (
    MAX_CHANNELS,
    MAX_FRAMES_PER_BLOCK,
    MIN_FRAMES_PER_BLOCK,
    RATES_HZ,
)

OPEN_LIMIT_S = 3.0
"""How long the child may take to open the device: Python and PortAudio start meanwhile."""
SILENT_LIMIT_S = 2.0
"""A device that gives nothing for so long is hung: even silence arrives as blocks."""
FIRST_RETRY_S = 0.1
LAST_RETRY_S = 1.0
REFUSED_RETRY_S = 5.0
"""A device that refused what is asked may have been replaced by another of its name."""
OVERRUN_REPORT_S = 1.0


@dataclass(frozen=True, slots=True)
class LineFormat:
    """Which input is wanted, and what of it. Raises LineInputRefusedError for what cannot be."""

    device: str
    rate_hz: int = 48_000
    channels: int = 2
    sample_format: SampleFormat = "int16"
    frames_per_block: int = 1024

    def __post_init__(self) -> None:
        object.__setattr__(self, "device", check_wanted(self.device))
        if self.rate_hz not in RATES_HZ:
            raise LineInputRefusedError(
                f"rate of {self.rate_hz} Hz: take {', '.join(map(str, RATES_HZ))}"
            )
        if not 1 <= self.channels <= MAX_CHANNELS:
            raise LineInputRefusedError(f"{self.channels} channels: take 1 to {MAX_CHANNELS}")
        if self.sample_format not in BYTES_PER_SAMPLE:
            raise LineInputRefusedError(
                f"sample format {self.sample_format!r}: take {', '.join(BYTES_PER_SAMPLE)}"
            )
        if not MIN_FRAMES_PER_BLOCK <= self.frames_per_block <= MAX_FRAMES_PER_BLOCK:
            raise LineInputRefusedError(
                f"blocks of {self.frames_per_block} frames:"
                f" take {MIN_FRAMES_PER_BLOCK} to {MAX_FRAMES_PER_BLOCK}"
            )

    def arguments(self) -> list[str]:
        """As the capture child reads them."""
        return [
            self.device,
            str(self.rate_hz),
            str(self.channels),
            self.sample_format,
            str(self.frames_per_block),
        ]


class LineInput:
    """One run of the capture child: a context manager, and an iterable of Block.

    Iteration raises LineInputError when the child ends, reports a fault or
    gives nothing for ``SILENT_LIMIT_S``, and stops quietly after ``close``.
    The child dies with the thread that entered the context (Linux's
    parent-death signal follows the thread): keep that thread alive.
    """

    def __init__(self, line_format: LineFormat) -> None:
        self.format = line_format
        self._child: CaptureChild | None = None
        self._buffer = bytearray()
        self._closing = threading.Event()

    def __enter__(self) -> Self:
        """Start the child and wait until the device is open.

        Raises LineInputError, or LineInputRefusedError where waiting cures nothing.
        """
        self._child = CaptureChild(*self.format.arguments())
        try:
            self._next_record(OPEN_LIMIT_S, "open")
        except BaseException:
            self._end()
            raise
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._end()

    def __iter__(self) -> Iterator[Block]:
        while True:
            record = self._next_record(SILENT_LIMIT_S, "give samples")
            if record is None:
                return
            yield Block(
                decode(record.payload, self.format.sample_format, self.format.channels),
                record.first_frame,
                record.lost_frames_before,
                record.captured_at_s,
                record.overruns,
                record.adc_delay_s,
            )

    def close(self) -> None:
        """End the iteration, from any thread: the child is killed."""
        self._closing.set()
        child = self._child
        if child is not None:
            child.kill()

    def _end(self) -> None:
        child, self._child = self._child, None
        if child is not None:
            child.close()

    def _next_record(self, limit_s: float, deed: str) -> wire.Record | None:
        """The next record; None once closed. Raises LineInputError for anything else."""
        deadline_s = time.monotonic() + limit_s
        while not self._closing.is_set():
            child = self._child
            if child is None:
                raise LineInputError("the line input is not open: use it in a with statement")
            record = self._take_record(child)
            if record is not None:
                return record
            raw = child.read(deadline_s)
            if raw is None:
                raise LineInputError(
                    f"{self.format.device} did not {deed} for {limit_s:g} s: hung or unplugged"
                    + _in_brackets(child.useful_line())
                )
            if not raw and not self._closing.is_set():
                raise LineInputError(
                    f"the capture process {child.ending()}" + _in_brackets(child.useful_line())
                )
            self._buffer += raw
        return None

    def _take_record(self, child: CaptureChild) -> wire.Record | None:
        try:
            record = wire.unpack(self._buffer)
        except ValueError as error:
            raise LineInputError(f"the capture process sent nonsense: {error}") from error
        if record is None or record.kind in (wire.OPENED, wire.BLOCK):
            return record
        text = " ".join(record.payload.decode(errors="replace").split())
        if record.kind == wire.REFUSED:
            raise LineInputRefusedError(text)
        raise LineInputError(text + _in_brackets(child.useful_line()))


def _in_brackets(detail: str) -> str:
    return f" ({detail})" if detail else ""


class SupervisedInput:
    """A line input that outlives its device, its sound server and its child process.

    ``on_block(Block)`` and ``on_state(InputState)`` are called from the
    input's own thread. The first block after a restart has
    ``lost_frames_before`` > 0.
    """

    def __init__(
        self,
        line_format: LineFormat,
        *,
        on_block: Callable[[Block], None],
        on_state: Callable[[InputState], None],
    ) -> None:
        self.format = line_format
        self._on_block = on_block
        self._on_state = on_state
        self._timeline = Timeline(line_format.rate_hz)
        self._state = InputState("waiting", self.format.device, "not started")
        self._state_at_s = 0.0
        self.turns = 0  # a block, a try or a wait for the card: what the watchdog looks at
        self._stopping = threading.Event()
        self._lock = threading.Lock()
        self._line: LineInput | None = None
        self._thread = threading.Thread(target=self._run, name="line-input", daemon=True)

    @property
    def state(self) -> InputState:
        """The state last reported."""
        return self._state

    def start(self) -> None:
        """Begin to listen; returns at once."""
        self._thread.start()

    def stop(self) -> None:
        """End the child and the thread."""
        self._stopping.set()
        with self._lock:
            if self._line is not None:
                self._line.close()
        if self._thread.is_alive():
            self._thread.join(timeout=5.0)

    def _run(self) -> None:
        try:
            self._keep_listening()
        except Exception as error:
            self._report("failed", f"listening stopped by a fault of the program: {error!r}")
            raise

    def _keep_listening(self) -> None:
        retry_s = FIRST_RETRY_S
        while not self._stopping.is_set():
            self.turns += 1
            try:
                self._listen_once()
            except LineInputError as error:
                if self._stopping.is_set():
                    return
                listened = self._state.state == "listening"
                retry_s = FIRST_RETRY_S if listened else min(LAST_RETRY_S, 2.0 * retry_s)
                if isinstance(error, LineInputRefusedError):
                    retry_s = REFUSED_RETRY_S
                    self._report("failed", str(error))
                else:
                    self._report("waiting", str(error))
                self._wait_to_retry(retry_s)

    def _listen_once(self) -> None:
        """Listen until ``stop``. Raises LineInputError when the line fails."""
        line = LineInput(self.format)
        with self._lock:
            if self._stopping.is_set():
                return
            self._line = line
        try:
            with line:
                self._timeline.new_stream()
                for block in line:
                    self._pass_on(self._timeline.place(block))
        finally:
            with self._lock:
                self._line = None

    def _pass_on(self, block: Block) -> None:
        overran = block.overruns != self._state.overruns and self._report_is_due()
        if overran or self._state.state != "listening":
            self._report("listening", None)
        self._on_block(block)
        self.turns += 1

    def _report_is_due(self) -> bool:
        return time.monotonic() - self._state_at_s >= OVERRUN_REPORT_S

    def _report(self, state: Literal["listening", "waiting", "failed"], reason: str | None) -> None:
        was = self._state
        restarts = was.restarts + (was.state == "listening" and state != "listening")
        now = replace(
            was, state=state, reason=reason, overruns=self._timeline.overruns, restarts=restarts
        )
        self._state = now
        self._state_at_s = time.monotonic()
        if now != was:
            self._on_state(now)

    def _wait_to_retry(self, retry_s: float) -> None:
        # A card that the kernel does not list needs no child process to be missed.
        self.turns += 1
        self._stopping.wait(retry_s)
        while self._card_is_missing() and self._state.state == "waiting":
            self.turns += 1
            if self._stopping.wait(FIRST_RETRY_S * 2):
                return

    def _card_is_missing(self) -> bool:
        card, _, _ = self.format.device.removeprefix("hw:CARD=").partition(",")
        return self.format.device.startswith("hw:CARD=") and card not in read_cards().values()
