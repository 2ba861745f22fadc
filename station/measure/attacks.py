"""Loudness in short steps, and the moments at which a string is struck anew.

A pluck raises the level within 40 ms above all it was in the quarter second
before; a swelling bow rises more slowly, and a beating pair of strings only
returns to where it was. A damped string struck again need not get louder
than before: there a deep dip, a steep rise and an onset in the spectrum must
come together.
"""

from __future__ import annotations

from collections import deque

import numpy as np
from numpy.typing import NDArray

HOPS_KEPT = 64
SMOOTH_HOPS = 4  # 40 ms: longer than the period of B0
LOOK_BACK_HOPS = 25
RISE_DB = 5.0
ABOVE_BEFORE_DB = 3.0
DIP_RISE_DB = 8.0
REFRACTORY_HOPS = 7
SILENCE_DB = -120.0


class Attacks:
    """Push one hop at a time; `level_db` is the mean square of the last 40 ms."""

    def __init__(self) -> None:
        self.reset()

    def reset(self) -> None:
        """Forget everything, as after a gap."""
        self._energy: deque[float] = deque([1e-12] * SMOOTH_HOPS, maxlen=HOPS_KEPT)
        self._level: deque[float] = deque([SILENCE_DB] * HOPS_KEPT, maxlen=HOPS_KEPT)
        self._spectral: deque[bool] = deque([False] * HOPS_KEPT, maxlen=HOPS_KEPT)
        self._since_attack = HOPS_KEPT

    @property
    def level_db(self) -> float:
        """Power of the last 40 ms in dB relative to 1.0."""
        return self._level[-1]

    def push(self, hop: NDArray[np.float64], onset_in_spectrum: bool) -> int | None:
        """Take one hop; how many hops ago an attack began, or None."""
        self._energy.append(float(np.mean(hop * hop)) + 1e-12)
        recent = [self._energy[-1 - i] for i in range(SMOOTH_HOPS)]
        self._level.append(10 * float(np.log10(sum(recent) / SMOOTH_HOPS)))
        self._spectral.append(onset_in_spectrum)
        self._since_attack += 1
        if self._since_attack < REFRACTORY_HOPS or not self._struck():
            return None
        self._since_attack = 0
        return self._hops_since_rise()

    def _struck(self) -> bool:
        level = list(self._level)
        rise = level[-1] - level[-1 - SMOOTH_HOPS]
        before = max(level[-1 - LOOK_BACK_HOPS : -SMOOTH_HOPS])
        if rise >= RISE_DB and level[-1] - before >= ABOVE_BEFORE_DB:
            return True
        seen = any(list(self._spectral)[-2 * SMOOTH_HOPS :])
        return seen and rise >= DIP_RISE_DB

    def _hops_since_rise(self) -> int:
        """Where within the last 60 ms the energy rose most steeply."""
        recent = np.log([self._energy[-1 - i] for i in range(SMOOTH_HOPS + 3)])
        return int(np.argmax(recent[:-1] - recent[1:]))
