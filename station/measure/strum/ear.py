"""Listens to one line for strums: samples in, strums out.

It waits for a stroke, cheaply; strings struck within GATHER_S of the first belong to it. Then
it collects LISTEN_S of sound, less if the sound ends or is struck anew, measures it once, and
tells. Samples are worked on in hops of fixed length, so that how the sound is cut into blocks
changes nothing.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from station.measure.drums.onsets import HOP_S, Onsets
from station.measure.hops import HopEar
from station.measure.strum.strum import measure_strum
from station.measure.strum.types import Strum, Target, checked

GATHER_S = 0.4
LISTEN_S = 2.0
SETTLE_S = 0.12  # after the last string was struck: its stroke, and most of its glide
LEAST_S = 0.6  # a strum cut off sooner is not told
OVER_DB = 45.0  # a strum has rung out when it has fallen so far
OVER_HOPS = 20
BEFORE_S = 0.03


class StrumEar(HopEar[Strum]):
    """Listens to line `line` (counted from 1) at `rate_hz`, 8 to 192 kHz, for `targets`.

    `whole`: the stream is all there is, as a file is. Then a sound it begins with was struck
    at its beginning, and what has no stroke at all is measured when it ends.

    Raises SignalError for an impossible rate or targets, and from `push` for samples of the
    wrong shape or not finite.
    """

    def __init__(
        self, rate_hz: float, targets: Sequence[Target], line: int = 1, whole: bool = False
    ) -> None:
        self._targets = checked(targets)
        super().__init__(rate_hz, line, HOP_S, LISTEN_S + 1.5)
        self._onsets = Onsets()
        self._unstruck = whole  # and nothing was struck yet
        if whole:
            self._onsets.push(np.zeros(self._hop), np.zeros(self._hop))
        self._forget()

    @property
    def collecting(self) -> bool:
        """Whether a strum is being listened to."""
        return self._began is not None

    def retarget(self, targets: Sequence[Target]) -> None:
        """From now on listen for other strings; raises SignalError for impossible ones."""
        self._targets = checked(targets)

    def finish(self) -> list[Strum]:
        """The stream ends: the strum that still sounds."""
        strums = self._close(self._done)
        if not strums and self._unstruck:
            first = max(self._history.start, self._done - round(LISTEN_S * self._rate))
            if self._done - first >= LEAST_S * self._rate:
                strums = self._measured(first, first, self._done)
        return strums

    def _forget(self) -> None:
        self._began: int | None = None
        self._last = 0
        self._loudest = 0.0
        self._quiet_hops = 0

    def _start_afresh(self) -> None:
        self._onsets.reset()

    def _step(self) -> list[Strum]:
        hop = self._history.between(self._done - self._hop - 2, self._done).astype(np.float64)
        struck = self._onsets.push(hop[-self._hop :], np.diff(hop, 2))
        strums = self._struck() if struck else []
        if self._began is None:
            return strums
        power = self._onsets.power
        self._loudest = max(self._loudest, power)
        over = power < self._loudest * 10 ** (-OVER_DB / 10)
        self._quiet_hops = self._quiet_hops + 1 if over else 0
        enough = self._done - self._began >= LISTEN_S * self._rate
        if enough or self._quiet_hops >= OVER_HOPS:
            strums += self._close(self._done - self._quiet_hops * self._hop)
        return strums

    def _struck(self) -> list[Strum]:
        at = self._done - 2 * self._hop
        if self._began is not None and at - self._began < GATHER_S * self._rate:
            self._last = at
            return []
        strums = self._close(at - round(BEFORE_S * self._rate))
        self._began = self._last = at
        self._loudest = self._onsets.power
        return strums

    def _close(self, stop: int) -> list[Strum]:
        began, last = self._began, self._last
        self._forget()
        if began is None or stop - began < LEAST_S * self._rate:
            return []
        settled = max(last + SETTLE_S * self._rate, began + SETTLE_S * self._rate)
        start = round(min(settled, began + (GATHER_S + SETTLE_S) * self._rate))
        return self._measured(began, start, stop)

    def _measured(self, began: int, start: int, stop: int) -> list[Strum]:
        x = self._history.between(start, stop).astype(np.float64)
        top_hz = self._decimator.top_share * self._rate
        strings = measure_strum(x, self._rate, top_hz, self._targets)
        if all(string.hz is None for string in strings):
            return []
        at_s = max(0.0, self._origin_s + began / self._rate)
        heard_s = (stop - began) / self._rate
        first, end = round(at_s * self._rate_hz), round((at_s + heard_s) * self._rate_hz)
        clipped = self._meter.clipped_between(first, end)
        self._unstruck = False
        return [Strum(self._line, at_s, heard_s, strings, clipped)]
