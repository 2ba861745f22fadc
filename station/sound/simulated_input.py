"""The simulated band behind the face of a line input: for the demo and for tests alone."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from dataclasses import replace

from station.sound.band import SimulatedBand
from station.sound.blocks import Block, InputState

DEVICE = "simulated band"
LATE_S = 1.0


class SimulatedInput:
    """Like SupervisedInput, with a band instead of a device.

    With ``real_time`` blocks come as a sound card would give them; without,
    as fast as ``on_block`` takes them. ``unplug`` and ``plug_in`` play a
    device that goes away and comes back.
    """

    def __init__(
        self,
        band: SimulatedBand,
        *,
        on_block: Callable[[Block], None],
        on_state: Callable[[InputState], None],
        real_time: bool = True,
        frames_per_block: int = 1024,
    ) -> None:
        self.band = band
        self.rate_hz = band.rate_hz
        self.channels = band.lines
        self._on_block = on_block
        self._on_state = on_state
        self._real_time = real_time
        self._frames = frames_per_block
        self._next_frame = 0
        self._lost = 0
        self.turns = 0
        self._state = InputState("waiting", DEVICE, "not started")
        self._unplugged: str | None = None
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._run, name="simulated-input", daemon=True)

    @property
    def state(self) -> InputState:
        """The state last reported."""
        return self._state

    def start(self) -> None:
        """Let the band begin; returns at once."""
        self._thread.start()

    def stop(self) -> None:
        """End the thread."""
        self._stopping.set()
        if self._thread.is_alive() and self._thread is not threading.current_thread():
            self._thread.join(timeout=5.0)

    def unplug(self, reason: str = "unplugged") -> None:
        """From the next block on the device is gone; the band plays on unheard."""
        self._unplugged = reason

    def plug_in(self) -> None:
        """The device is back; what was missed is marked as lost."""
        self._unplugged = None

    def _run(self) -> None:
        due_s = time.monotonic()
        while not self._stopping.is_set():
            self._play_block()
            self.turns += 1
            if not self._real_time:
                continue
            due_s += self._frames / self.rate_hz
            if time.monotonic() - due_s > LATE_S:
                due_s = time.monotonic()  # the machine slept: the band slept with it
            self._stopping.wait(max(0.0, due_s - time.monotonic()))

    def _play_block(self) -> None:
        samples = self.band.samples(self._frames)
        reason = self._unplugged
        first_frame, self._next_frame = self._next_frame, self._next_frame + self._frames
        if reason is not None:
            self._lost += self._frames
            self._wait(reason)
            return
        if self._state.state != "listening":
            self._report(replace(self._state, state="listening", reason=None))
        lost, self._lost = self._lost, 0
        self._on_block(Block(samples, first_frame, lost, time.monotonic(), self._state.overruns))

    def _wait(self, reason: str) -> None:
        restarts = self._state.restarts + (self._state.state == "listening")
        waiting = replace(self._state, state="waiting", reason=reason, restarts=restarts)
        if waiting != self._state:
            self._report(waiting)

    def _report(self, state: InputState) -> None:
        self._state = state
        self._on_state(state)
