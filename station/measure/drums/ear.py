"""Listens to one line for strokes on a drum: samples in, strokes out.

A stroke is told FIRST_S after it was struck, and again when its ring is over or the next one
comes, which is surer and has the rings. What is no drum is not told at all. Samples are
worked on in hops of fixed length, so that how the sound is cut into blocks changes nothing.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from station.measure.decimate import Decimator, Samples
from station.measure.drums.judging import Sound, judged
from station.measure.drums.onsets import HOP_S, Onsets
from station.measure.drums.types import Stroke
from station.measure.history import History
from station.measure.hops import HopEar

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


class DrumEar(HopEar[Stroke]):
    """Listens to line `line` (counted from 1) at `rate_hz`, 8 to 192 kHz.

    Raises SignalError for an impossible rate, and from `push` for samples of the wrong shape or
    not finite.
    """

    def __init__(self, rate_hz: float, line: int = 1) -> None:
        super().__init__(rate_hz, line, HOP_S, KEPT_S)
        self._inner = Decimator(self._rate, MODES_RATE_HZ)
        self._low = History(round(KEPT_S * self._inner.rate_hz))
        self._onsets = Onsets()
        self._open: _Open | None = None

    def finish(self) -> list[Stroke]:
        """The stream ends: the stroke that still sounds."""
        return self._close(self._done)

    def _start_afresh(self) -> None:
        self._inner.reset()
        self._low = History(round(KEPT_S * self._inner.rate_hz))
        self._onsets.reset()

    def _keep(self, decimated: Samples) -> None:
        super()._keep(decimated)
        self._low.append(self._inner.push(decimated))

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
        start = max(now.at - before, self._base, self._history.start)
        low_start = max(self._low.start, -(-(start - self._base) // factor))
        settling = round(self._inner.delay_s * self._rate) + factor  # not final before
        low_stop = (stop - self._base - settling) // factor
        low = self._low.between(low_start, low_stop).astype(np.float64)
        onset = round((now.at - self._base) / factor) - low_start
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
