"""The moments at which something is struck, from how the loudness of short hops jumps.

Two signs. Loud: two hops together carry several times what any two of the fifth of a second
before did; a swelling sound and two heads that beat rise more slowly. Click: the sound above
some kilohertz, where a stick's touch is and a ringing head is not, jumps; that finds the
second touch of a stick that bounced, while the head still rings loudly from the first.
"""

from __future__ import annotations

from collections import deque

import numpy as np

from station.measure.windows import Floats

HOP_S = 0.005
LOOK_BACK_HOPS = 40
SKIP_HOPS = 3  # those may hold the stroke's own beginning
LOUD_TIMES = 4.0
FASTEST_DB = 12.0  # so much within ATTACK_HOPS, or it is no stroke
ATTACK_HOPS = 4
QUIETEST = 10**-6.5  # -65 dBFS
CLICK_TIMES = 10.0
CLICK_BACK_HOPS = 6
CLICK_SHARE = 0.05  # of the stroke's own click
REFRACTORY_HOPS = 5
MEAN_HOPS = 8
TINY = 1e-14


class Onsets:
    """Push one hop at a time; says whether something was struck in it or just before."""

    def __init__(self) -> None:
        self.reset()

    def reset(self) -> None:
        """Forget everything, as after a gap."""
        kept = LOOK_BACK_HOPS + SKIP_HOPS + 2
        self._power: deque[float] = deque([TINY] * kept, maxlen=kept)
        self._click: deque[float] = deque([TINY] * kept, maxlen=kept)
        self._means: deque[float] = deque(maxlen=MEAN_HOPS)
        self._since = REFRACTORY_HOPS
        self._first_click = TINY
        self._first = True

    @property
    def power(self) -> float:
        """Mean square of the last two hops."""
        return self._two(1)

    def push(self, hop: Floats, high: Floats) -> bool:
        """`hop`, shape (n,), and what of it lies high."""
        mean = float(hop.mean())
        self._means.append(mean)
        offset = sum(self._means) / len(self._means)
        power = float(np.dot(hop, hop)) / hop.size - offset * (2 * mean - offset)
        self._power.append(max(power, TINY))
        self._click.append(max(float(np.dot(high, high)) / high.size, TINY))
        if self._first:  # what sounded before we listened was not struck
            self._first = False
            for past in (self._power, self._click):
                past.extend([past[-1]] * (past.maxlen or 0))
        self._since += 1
        if self._since < REFRACTORY_HOPS:
            self._first_click = max(self._first_click, self._click[-1])
            return False
        if not (self._loud() or self._clicks()):
            return False
        self._since = 0
        self._first_click = self._click[-1]
        return True

    def _two(self, back: int) -> float:
        return 0.5 * (self._power[-back] + self._power[-back - 1])

    def _loud(self) -> bool:
        now = self._two(1)
        if now < QUIETEST or now <= self._two(2):  # most hops end here
            return False
        before = max(self._two(back) for back in range(1 + SKIP_HOPS, LOOK_BACK_HOPS))
        fast = now > 10 ** (FASTEST_DB / 10) * min(self._two(1 + ATTACK_HOPS), before)
        return fast and now > LOUD_TIMES * before

    def _clicks(self) -> bool:
        now = self._click[-1]
        if now <= CLICK_TIMES * self._click[-2]:
            return False
        before = max(self._click[-back] for back in range(2, 2 + CLICK_BACK_HOPS))
        return now > CLICK_TIMES * before and now > CLICK_SHARE * self._first_click
