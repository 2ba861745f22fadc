"""Loudness in short steps, and the moments at which a string is struck anew.

Two signs of a stroke. Loud: the level rises within 40 ms above all it was in
the quarter second before; a swelling bow rises more slowly, and a beating
pair of strings only returns to where it was. Bright: many partials at once
grow again, though all of a ringing string's partials only fade (the flux of
the spectrum in decibels, against the louder neighbours of each bin 30 ms
before, so that a vibrato is not taken for new sound: Bock & Widmer 2013);
that sign counts where the onset detector agrees and the level has not fallen.
"""

from __future__ import annotations

from collections import deque

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

HOPS_KEPT = 64
SMOOTH_HOPS = 4  # 40 ms: longer than the period of B0
LOOK_BACK_HOPS = 25
SILENCE_DB = -120.0
REFRACTORY_HOPS = 7

LOUD_RISE_DB = 5.0
LOUD_ABOVE_BEFORE_DB = 3.0

# Limits of the bright sign: on 798 sustained notes of three free sound fonts no
# other moment reaches them, of 540 repeated strokes on ringing notes 508 do.
BRIGHT_AFTER_HOPS = 20
BRIGHT_DB, BRIGHT_RISE_DB = 2.2, 0.5
FAINT_DB, FAINT_RISE_DB = 1.4, 3.0
ONSET_SEEN_HOPS = 8

FRAME = 512
LAG_HOPS = 3
RANGE_DB = 50.0  # below the loudest bin of the last LOUDEST_HOPS there is only noise
LOUDEST_HOPS = 60
TOP_SHARE = 0.34  # of the rate: the decimator's pass band


class Freshness:
    """How much of the spectrum grows, in dB a bin: near 0 while a string rings."""

    def __init__(self) -> None:
        self._window = np.hanning(FRAME)
        self._bins = slice(2, int(TOP_SHARE * FRAME))
        self.reset()

    def reset(self) -> None:
        """Forget everything."""
        self._frame = np.zeros(FRAME)
        self._widened: deque[Floats] = deque(maxlen=LAG_HOPS)
        self._loudest: deque[float] = deque(maxlen=LOUDEST_HOPS)

    def push(self, hop: Floats) -> float:
        """Take one hop; the mean growth over all bins since LAG_HOPS ago."""
        self._frame = np.concatenate((self._frame[hop.size :], hop))
        magnitude = np.abs(np.fft.rfft(self._frame * self._window))[self._bins]
        level = 20 * np.log10(magnitude + 1e-9)
        self._loudest.append(float(level.max()))
        level = np.maximum(level, max(self._loudest) - RANGE_DB)
        before = self._widened[0] if len(self._widened) == LAG_HOPS else level
        wide = level.copy()
        np.maximum(wide[1:], level[:-1], out=wide[1:])
        np.maximum(wide[:-1], level[1:], out=wide[:-1])
        self._widened.append(wide)
        return float(np.maximum(0.0, level - before).mean())


class Attacks:
    """Push one hop at a time; `level_db` is the mean square of the last 40 ms."""

    def __init__(self) -> None:
        self._freshness = Freshness()
        self.reset()

    def reset(self) -> None:
        """Forget everything, as after a gap."""
        self._freshness.reset()
        self._energy: deque[float] = deque([1e-12] * HOPS_KEPT, maxlen=HOPS_KEPT)
        self._level: deque[float] = deque([SILENCE_DB] * HOPS_KEPT, maxlen=HOPS_KEPT)
        self._fresh: deque[float] = deque([0.0] * SMOOTH_HOPS, maxlen=SMOOTH_HOPS)
        self._since_onset = HOPS_KEPT
        self._since_attack = HOPS_KEPT

    @property
    def level_db(self) -> float:
        """Power of the last 40 ms in dB relative to 1.0."""
        return self._level[-1]

    def push(self, hop: Floats, onset_in_spectrum: bool) -> int | None:
        """Take one hop; how many hops ago an attack began, or None."""
        self._energy.append(float(np.dot(hop, hop)) / hop.size + 1e-12)
        recent = [self._energy[-1 - i] for i in range(SMOOTH_HOPS)]
        self._level.append(10 * float(np.log10(sum(recent) / SMOOTH_HOPS)))
        self._fresh.append(self._freshness.push(hop))
        self._since_onset = 0 if onset_in_spectrum else self._since_onset + 1
        self._since_attack += 1
        if self._since_attack < REFRACTORY_HOPS or not (self._loud() or self._bright()):
            return None
        self._since_attack = 0
        return self._hops_since_rise()

    def _rise_db(self) -> float:
        return self._level[-1] - self._level[-1 - SMOOTH_HOPS]

    def _loud(self) -> bool:
        if self._rise_db() < LOUD_RISE_DB:
            return False
        before = max(self._level[-1 - i] for i in range(SMOOTH_HOPS, LOOK_BACK_HOPS))
        return self._level[-1] - before >= LOUD_ABOVE_BEFORE_DB

    def _bright(self) -> bool:
        if self._since_attack < BRIGHT_AFTER_HOPS or self._since_onset > ONSET_SEEN_HOPS:
            return False
        fresh, rise = max(self._fresh), self._rise_db()
        return (fresh >= BRIGHT_DB and rise >= BRIGHT_RISE_DB) or (
            fresh >= FAINT_DB and rise >= FAINT_RISE_DB
        )

    def _hops_since_rise(self) -> int:
        """Where within the last 60 ms the energy rose most steeply."""
        recent = np.log([self._energy[-1 - i] for i in range(SMOOTH_HOPS + 3)])
        return int(np.argmax(recent[:-1] - recent[1:]))
