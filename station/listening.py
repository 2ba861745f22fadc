"""From blocks of the input to what each line's listener says, on a thread of its own.

The input's thread only hands blocks over. When listening falls behind by
`BACKLOG_S`, the oldest blocks are given up and counted as a gap: a reading
that is late, or spans what was given up, would be worse than none. Samples
that are no numbers or absurdly large, as a faulty float input may give, count
as lost too.
"""

from __future__ import annotations

import logging
import threading
from collections import deque
from collections.abc import Callable, Iterable
from dataclasses import replace
from typing import Any

import numpy as np

from station.ears import Ear, make_ear, told_by
from station.measure.decimate import Decimator
from station.measure.fixed.ear import FixedEar
from station.measure.fixed.types import FixedNote
from station.measure.hum import PAUSES_S, Floats, Hum, find_hum
from station.measure.levels import LevelMeter, dbfs
from station.measure.listener import Listener
from station.measure.types import Heard
from station.room.parts import WantedEar
from station.sound.blocks import Block, Samples, are_sound

log = logging.getLogger(__name__)

BACKLOG_S = 1.0
BUSY_S = 0.3  # so far behind, the ears beside are given up: strings come first
HUM_EVERY_S = 2.0
HIDES_HUM = 2.0  # over the hum's own rms: find_hum needs half of the power to be hum


class LevelEar:
    """Level and mains hum of a line whose pitch is not measured.

    Once every `HUM_EVERY_S` the quietest stretches of as long are asked for
    hum: between two strokes a drum may be quiet for a quarter of a second.
    """

    def __init__(self, rate_hz: float, line: int) -> None:
        self._meter = LevelMeter(rate_hz, line)
        self._decimator = Decimator(rate_hz)
        self._step = round(PAUSES_S[0] * self._decimator.rate_hz)
        self._search = self._step * round(HUM_EVERY_S / PAUSES_S[0])
        self._hum: Hum | None = None
        self._start_at(0)

    def push(self, block: Samples, stop: int) -> list[Heard]:
        """Take a block, shape (n,), that ends at frame `stop`; the levels that fell due."""
        if stop - block.size != self._stop:
            self._start_at(stop - block.size)
        self._stop = stop
        levels = self._meter.push(block, stop)
        self._parts.append(self._decimator.push(block))
        self._count += self._parts[-1].size
        if self._count >= self._search:
            whole = np.concatenate(self._parts)
            self._hum = self._search_hum(whole[: self._search])
            self._parts, self._count = [], 0
        hum = self._hum
        if hum is None:
            return list(levels)
        return [replace(each, hum_hz=hum.hz, hum_dbfs=dbfs(hum.rms)) for each in levels]

    def _start_at(self, frame: int) -> None:
        """Nothing before `frame` belongs to what follows; hum that is known goes on."""
        self._decimator.reset()
        self._parts: list[Floats] = []
        self._count = 0
        self._stop = frame

    def _search_hum(self, x: Floats) -> Hum | None:
        """The hum in the quietest second of `x`, or half, or quarter."""
        power = x.reshape(-1, self._step).var(axis=1)
        for pause_s in reversed(PAUSES_S):
            steps = round(pause_s / PAUSES_S[0])
            first = int(np.convolve(power, np.ones(steps), "valid").argmin()) * self._step
            stretch = x[first : first + steps * self._step]
            hum = find_hum(stretch, self._decimator.rate_hz, 0)
            if hum is not None:
                return hum
        known = self._hum
        hidden = known is not None and power.min() > (HIDES_HUM * known.rms) ** 2
        return known if hidden else None


class Listening:
    """Listeners for `lines` lines at `rate_hz`; `on_heard` is called from its thread.

    `pitched` are the lines (counted from 1) whose pitch is measured; of the
    others, a drum kit's or an empty one, only level and hum are. Should listening
    itself fail, `on_fault` is told in one line, and nothing is heard any more.

    While an instrument of fixed pitch is measured (`measure`) its lines have a
    second ear: `on_measured` is called with the line, the notes it has told and
    whether something sounds there now, when there are notes or that has changed.
    What else the room wants (`set_ears`: a drummer's strokes, say) is told to `on_told`.
    Should one of these ears fail, `on_trouble` is told, and the strings are heard on.
    """

    def __init__(
        self,
        rate_hz: float,
        lines: int,
        tracker: str,
        on_heard: Callable[[list[Heard]], None],
        pitched: Iterable[int],
        on_fault: Callable[[str], None] = log.error,
        on_measured: Callable[[int, list[FixedNote], bool], None] | None = None,
        on_told: Callable[[WantedEar, list[Any]], None] | None = None,
        on_trouble: Callable[[str], None] = log.error,
    ) -> None:
        self._rate_hz = rate_hz
        self._on_heard = on_heard
        self._on_fault = on_fault
        self._listeners = {line: Listener(rate_hz, line, tracker) for line in range(1, lines + 1)}
        self._level_ears = {line: LevelEar(rate_hz, line) for line in self._listeners}
        self._pitched = frozenset(pitched)
        self._on_measured = on_measured
        self._fixed_ears: dict[int, FixedEar] = {}
        self._on_told = on_told
        self._on_trouble = on_trouble
        self._ears: dict[WantedEar, Ear] = {}
        self._complained: set[int] = set()
        self._waiting: deque[Block] = deque()
        self._waiting_frames = 0
        self._given_up = 0
        self._news = threading.Condition()
        self._stopping = False
        self._thread = threading.Thread(target=self._run, name="listening", daemon=True)
        self.blocks_heard = 0
        self.frames_given_up = 0

    def start(self) -> None:
        """Begin; returns at once."""
        self._thread.start()

    def stop(self) -> None:
        """End the thread; what waits is not heard any more."""
        with self._news:
            self._stopping = True
            self._news.notify()
        if self._thread.is_alive():
            self._thread.join(timeout=5.0)

    def set_pitched(self, lines: Iterable[int]) -> None:
        """From now on measure the pitch of these lines."""
        self._pitched = frozenset(lines)

    def measure(self, lines: Iterable[int]) -> None:
        """From now on measure instruments of fixed pitch on these lines and no others."""
        known = self._fixed_ears
        self._fixed_ears = {
            line: known.get(line) or FixedEar(self._rate_hz, line) for line in lines
        }

    def set_ears(self, wanted: Iterable[WantedEar]) -> None:
        """From now on listen with these ears beside, and no others; known ones go on."""
        known = self._ears
        self._ears = {each: known.get(each) or make_ear(self._rate_hz, each) for each in wanted}

    def put(self, block: Block) -> None:
        """Hand over a block; never waits."""
        with self._news:
            self._waiting.append(block)
            self._waiting_frames += len(block.samples)
            while self._waiting_frames > BACKLOG_S * self._rate_hz and len(self._waiting) > 1:
                oldest = self._waiting.popleft()
                self._waiting_frames -= len(oldest.samples)
                lost = len(oldest.samples) + oldest.lost_frames_before
                self._given_up += lost
                self.frames_given_up += lost
            self._news.notify()

    def _take(self) -> tuple[Block, int] | None:
        with self._news:
            while not self._waiting and not self._stopping:
                self._news.wait()
            if self._stopping:
                return None
            block = self._waiting.popleft()
            self._waiting_frames -= len(block.samples)
            lost, self._given_up = block.lost_frames_before + self._given_up, 0
            return block, lost

    def _run(self) -> None:
        try:
            while (taken := self._take()) is not None:
                heard = self._hear(*taken)
                self.blocks_heard += 1
                if heard:
                    self._on_heard(heard)
                self._listen_aside(*taken)
        except Exception as fault:
            # A station that no longer listens must not go on looking as if it did.
            log.exception("listening has ended by a fault")
            self._on_fault(f"listening has ended by a fault: {fault!r:.200}")

    def _hear(self, block: Block, lost: int) -> list[Heard]:
        heard: list[Heard] = []
        stop = block.first_frame + len(block.samples)
        for line, listener in self._listeners.items():
            samples = block.samples[:, line - 1]
            if not are_sound(samples).all():
                heard += listener.mark_gap(lost + len(samples))
                self._complain_once(line)
                continue
            if line not in self._pitched:
                heard += self._level_ears[line].push(samples, stop)
                listener.skip(lost + len(samples))
                continue
            if lost:
                heard += listener.mark_gap(lost)
            heard += listener.push(samples)
        return heard

    def _listen_aside(self, block: Block, lost: int) -> None:
        """What is heard beside the strings; a fault in it costs the strings nothing."""
        try:
            self._measure(block, lost)
            self._hear_beside(block, lost)
        except Exception as fault:
            log.exception("an ear beside the strings has ended by a fault")
            self._fixed_ears, self._ears = {}, {}
            self._on_trouble(
                f"measuring all but single strings has ended by a fault: {fault!r:.100}"
            )

    def _measure(self, block: Block, lost: int) -> None:
        for line, ear in self._fixed_ears.items():
            sounded = ear.sounding
            notes = told_by(ear, block.samples[:, line - 1], lost)
            if self._on_measured is not None and (notes or ear.sounding != sounded):
                self._on_measured(line, notes, ear.sounding)

    def _hear_beside(self, block: Block, lost: int) -> None:
        busy = self._waiting_frames > BUSY_S * self._rate_hz
        for wanted, ear in self._ears.items():
            samples = block.samples[:, wanted.line - 1]
            told = ear.mark_gap(lost + len(samples)) if busy else told_by(ear, samples, lost)
            if told and self._on_told is not None:
                self._on_told(wanted, told)

    def _complain_once(self, line: int) -> None:
        if line not in self._complained:
            self._complained.add(line)
            log.warning("line %d gave samples that are no sound; they count as lost", line)
