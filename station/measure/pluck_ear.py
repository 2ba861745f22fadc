"""Listens to one line for plucks of one string, and tells how each one's partials die away.

A pluck is all that sounds from one stroke to the next, or to `LISTEN_S`. A sound that has none of
the string's lowest partials, or only every second or third one, is a higher string's, and nothing
is told of it. Samples are worked on in hops of fixed length, so that how the sound is cut into
blocks changes nothing.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from station.errors import SignalError
from station.measure.drums.onsets import HOP_S, Onsets
from station.measure.hops import HopEar
from station.measure.string_health import LEAST_S, LONGEST_S, hear_pluck
from station.measure.string_health_types import Pluck

LISTEN_S = LONGEST_S
OVER_DB = 50.0  # so far below its loudest a pluck is over
OVER_HOPS = 20
BEFORE_S = 0.03
OWN_PARTIALS = 3  # one of the first three has to be there
NEAR_CENTS = 60.0


@dataclass(frozen=True, slots=True)
class Plucked:
    """One pluck on a line, at a time of the ear's own."""

    line: int
    at_s: float
    pluck: Pluck


class PluckEar(HopEar[Plucked]):
    """Listens to line `line` (counted from 1) at `rate_hz`, 8 to 192 kHz, for a string of
    `target_hz`.

    Raises SignalError for an impossible rate or target, and from `push` for samples of the wrong
    shape or not finite.
    """

    def __init__(self, rate_hz: float, target_hz: float, line: int = 1) -> None:
        super().__init__(rate_hz, line, HOP_S, LISTEN_S + 1.5)
        if not (math.isfinite(target_hz) and 16.0 <= target_hz <= 0.3 * self._rate):
            raise SignalError(
                f"a string of {target_hz:g} Hz: from 16 to {0.3 * self._rate:.0f} Hz is heard"
            )
        self._target_hz = target_hz
        self._onsets = Onsets()
        self._forget()

    def finish(self) -> list[Plucked]:
        """The stream ends: the pluck that sounded is told as far as it was heard."""
        return self._close(self._done)

    def _start_afresh(self) -> None:
        self._onsets.reset()

    def _forget(self) -> None:
        self._began: int | None = None
        self._loudest = 0.0
        self._quiet_hops = 0

    def _step(self) -> list[Plucked]:
        hop = self._history.between(self._done - self._hop - 2, self._done).astype(np.float64)
        told: list[Plucked] = []
        if self._onsets.push(hop[-self._hop :], np.diff(hop, 2)):
            at = self._done - 2 * self._hop
            told = self._close(at - round(BEFORE_S * self._rate))
            self._began = at
        if self._began is None:
            return told
        power = self._onsets.power
        self._loudest = max(self._loudest, power)
        over = power < self._loudest * 10 ** (-OVER_DB / 10)
        self._quiet_hops = self._quiet_hops + 1 if over else 0
        enough = self._done - self._began >= LISTEN_S * self._rate
        if enough or self._quiet_hops >= OVER_HOPS:
            told += self._close(self._done - self._quiet_hops * self._hop)
        return told

    def _close(self, stop: int) -> list[Plucked]:
        began = self._began
        self._forget()
        if began is None or stop - began < (LEAST_S + 0.2) * self._rate:
            return []
        at_s = self._origin_s + began / self._rate
        first, end = (
            round(at_s * self._rate_hz),
            round((self._origin_s + stop / self._rate) * self._rate_hz),
        )
        if self._meter.clipped_between(max(0, first), end):
            return []  # its partials are not its own
        x = self._history.between(began, stop).astype(np.float64)
        pluck = hear_pluck(x, self._rate, self._target_hz)
        if pluck is None or not self._is_the_string(pluck):
            return []
        return [Plucked(self._line, max(0.0, at_s), pluck)]

    def _is_the_string(self, pluck: Pluck) -> bool:
        numbers = [each.number for each in pluck.partials]
        own = min(numbers) <= OWN_PARTIALS and math.gcd(*numbers) == 1
        return own and abs(1200 * math.log2(pluck.hz / self._target_hz)) <= NEAR_CENTS
