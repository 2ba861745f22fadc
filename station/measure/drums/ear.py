"""Listens to one line for strokes on a drum: samples in, strokes out.

A stroke is told FIRST_S after it was struck, and again when its ring is over or the next one
comes, which is surer and has the rings. What is no drum is not told at all. Samples are
worked on in hops of fixed length, so that how the sound is cut into blocks changes nothing.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from station.errors import SignalError
from station.measure.decimate import Decimator, Samples
from station.measure.drums.judging import Sound, judged
from station.measure.drums.onsets import HOP_S, Onsets
from station.measure.drums.types import Stroke
from station.measure.history import History
from station.measure.levels import LevelMeter

MODES_RATE_HZ = 4000.0  # the least rate for the modes: 1.3 kHz of them
FIRST_S = 0.28
LAST_S = 2.6
LEAST_HEARD_S = 0.15  # less is no more than the stick's click
BEFORE_S = 0.2
OVER_DB = 50.0  # a stroke has rung out when it has fallen so far
OVER_HOPS = 12
KEPT_S = LAST_S + BEFORE_S + 1.0
SAME_S = 0.025  # one stroke's stick and head
DOUBLE_S = FIRST_S  # a second one before the first could be measured


@dataclass
class _Open:
    """A stroke that is being listened to: where it began, what is known of it."""

    at: int  # sample at the working rate
    loudest: float = 0.0
    double: bool = False
    asked: bool = False
    told: Stroke | None = None
    quiet_hops: int = 0


class DrumEar:
    """Listens to line `line` (counted from 1) at `rate_hz`, 8 to 192 kHz.

    Raises SignalError for an impossible rate, and from `push` for samples of the wrong shape or
    not finite.
    """

    def __init__(self, rate_hz: float, line: int = 1) -> None:
        self._line = line
        self._rate_hz = rate_hz
        self._outer = Decimator(rate_hz)
        self._rate = self._outer.rate_hz
        self._inner = Decimator(self._rate, MODES_RATE_HZ)
        self._hop = round(HOP_S * self._rate)
        self._history = History(round(KEPT_S * self._rate))
        self._low = History(round(KEPT_S * self._inner.rate_hz))
        self._meter = LevelMeter(rate_hz, line)
        self._onsets = Onsets()
        self._open: _Open | None = None
        self._taken = 0
        self._done = 0  # working samples seen in hops
        self._low_base = 0  # working sample at which the first of `_low` stands
        self._origin_s = 0.0  # of working sample 0

    def push(self, block: Samples) -> list[Stroke]:
        """Take the next samples, shape (n,), full scale 1.0; the strokes they let us tell."""
        if block.ndim != 1:
            raise SignalError(f"a line takes samples of shape (n,), not {block.shape}")
        if not math.isfinite(float(np.dot(block, block))):
            raise SignalError(f"line {self._line}: a sample is not a finite number")
        most = max(1, round(0.5 * self._rate_hz))
        strokes: list[Stroke] = []
        for first in range(0, block.size, most):
            strokes += self._hear(np.asarray(block[first : first + most], np.float32))
        return strokes

    def mark_gap(self, lost_frames: int) -> list[Stroke]:
        """Samples were lost: end what sounds, start afresh after them."""
        strokes = self.finish()
        self._taken += max(0, lost_frames)
        self._outer.reset()
        self._inner.reset()
        self._done = self._low_base = self._history.stop
        self._low = History(round(KEPT_S * self._inner.rate_hz))
        self._onsets.reset()
        self._origin_s = self._taken / self._rate_hz - self._history.stop / self._rate
        return strokes

    def finish(self) -> list[Stroke]:
        """The stream ends: the stroke that still sounds."""
        return self._close(self._done)

    def _hear(self, block: Samples) -> list[Stroke]:
        self._taken += block.size
        self._meter.push(block, self._taken)
        decimated = self._outer.push(block)
        self._history.append(decimated)
        self._low.append(self._inner.push(decimated))
        strokes: list[Stroke] = []
        while self._done + self._hop <= self._history.stop:
            self._done += self._hop
            strokes += self._step()
        return strokes

    def _step(self) -> list[Stroke]:
        hop = self._history.between(self._done - self._hop - 2, self._done).astype(np.float64)
        struck = self._onsets.push(hop[-self._hop :], np.diff(hop, 2))
        strokes: list[Stroke] = []
        if struck:
            strokes = self._struck()
        now = self._open
        if now is None:
            return strokes
        age_s = (self._done - now.at) / self._rate
        power = self._onsets.power
        now.loudest = max(now.loudest, power)
        over = power < now.loudest * 10 ** (-OVER_DB / 10)
        now.quiet_hops = now.quiet_hops + 1 if over else 0
        if age_s >= LAST_S or (age_s >= FIRST_S and now.quiet_hops >= OVER_HOPS):
            return strokes + self._close(self._done)
        if age_s >= FIRST_S and not now.asked:
            now.asked = True
            now.told = self._judge(now, self._done, final=False)
            strokes += [now.told] if now.told is not None else []
        return strokes

    def _struck(self) -> list[Stroke]:
        at = self._beginning()
        now = self._open
        if now is not None:
            apart_s = (at - now.at) / self._rate
            if apart_s < SAME_S:
                return []
            if apart_s < DOUBLE_S:
                now.double = True
                return []
        strokes = self._close(at - round(HOP_S * self._rate))
        self._open = _Open(at)
        return strokes

    def _beginning(self) -> int:
        """The sample at which the sound of the last hops sets in."""
        first = max(self._history.start, self._done - 4 * self._hop)
        size = np.abs(np.diff(self._history.between(first, self._done)))
        return first + int(np.argmax(size > 0.2 * size.max()))

    def _close(self, stop: int) -> list[Stroke]:
        now, self._open = self._open, None
        if now is None:
            return []
        stroke = self._judge(now, stop, final=True)
        if stroke is None and now.told is not None:
            # What passed for a drum at first went on as none does.
            stroke = replace(now.told, verdict="weak", final=True)
        return [] if stroke is None else [stroke]

    def _judge(self, now: _Open, stop: int, final: bool) -> Stroke | None:
        if stop - now.at < LEAST_HEARD_S * self._rate:
            return None  # cut off by a gap or the end
        factor = self._inner.factor
        before = round(BEFORE_S * self._rate)
        start = max(now.at - before, self._low_base, self._history.start)
        low_start = max(self._low.start, -(-(start - self._low_base) // factor))
        settling = round(self._inner.delay_s * self._rate) + factor  # not final before
        low_stop = (stop - self._low_base - settling) // factor
        low = self._low.between(low_start, low_stop).astype(np.float64)
        onset = round((now.at - self._low_base) / factor) - low_start
        onset_frame = round((self._origin_s + now.at / self._rate) * self._rate_hz)
        stop_frame = round((self._origin_s + stop / self._rate) * self._rate_hz)
        sound = Sound(
            low,
            self._inner.rate_hz,
            onset,
            self._history.between(start, stop).astype(np.float64),
            self._rate,
            now.at - start,
            self._meter.clipped_between(onset_frame - self._hop, stop_frame),
            now.double,
        )
        at_s = max(0.0, self._origin_s + now.at / self._rate)
        return judged(sound, self._line, at_s, final)
