"""When a string was struck last, for a beat counts from when both strings ring.

Loud: two hops together carry more than any two of the third of a second before; a beat only
returns to where it was. Bright: the same of what changes fastest from sample to sample, for a
string plucked softly beside a ringing one shows there first. A hop's energy is compared
with what noise by itself would do, so that hiss is no stroke.
"""

from __future__ import annotations

import math
from collections import deque
from itertools import pairwise

import numpy as np

from station.measure.beats.poles import Floats

HOP_S = 0.010
LOOK_BACK_HOPS = 33
SKIP_HOPS = 1
LOUD_TIMES = 1.7
BRIGHT_TIMES = 3.0
NOISE_SIGMAS = 6.0
REFRACTORY_HOPS = 6
QUIETEST = 1e-8  # mean square: -80 dBFS
BRIGHT_SHARE = 1e-5  # of the sound's power


class Strokes:
    """Push one hop at a time; says whether something was struck in it or just before."""

    def __init__(self, hop_size: int) -> None:
        self._spread = math.sqrt(2.0 / (2 * hop_size))  # of two hops' mean square of noise
        self.reset()

    def reset(self) -> None:
        """Forget everything, as after a gap."""
        kept = LOOK_BACK_HOPS + SKIP_HOPS + 2
        self._power: deque[float] = deque([0.0] * kept, maxlen=kept)
        self._bright: deque[float] = deque([0.0] * kept, maxlen=kept)
        self._since = REFRACTORY_HOPS

    @property
    def power(self) -> float:
        """Mean square of the last two hops."""
        return 0.5 * (self._power[-1] + self._power[-2])

    def push(self, hop: Floats, before: Floats) -> bool:
        """`hop`, shape (n,), and the two samples before it, shape (2,)."""
        whole = np.concatenate((before, hop))
        self._power.append(float(np.dot(hop, hop)) / hop.size)
        fast = np.diff(whole, 2)
        self._bright.append(float(np.dot(fast, fast)) / fast.size)
        self._since += 1
        if self._since < REFRACTORY_HOPS or self.power < QUIETEST:
            return False
        bright = self._bright[-1] + self._bright[-2] > BRIGHT_SHARE * self.power
        if not (
            self._rises(self._power, LOUD_TIMES)
            or (bright and self._rises(self._bright, BRIGHT_TIMES))
        ):
            return False
        self._since = 0
        return True

    def _rises(self, past: deque[float], times: float) -> bool:
        values = list(past)
        pairs = [0.5 * (a + b) for a, b in pairwise(values)]
        before = max(pairs[: -1 - SKIP_HOPS])
        return pairs[-1] > max(times, 1 + NOISE_SIGMAS * self._spread) * before
