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

import math
from collections import deque
from typing import Any

import numpy as np
from numpy.typing import NDArray

from station.measure.ears import Ears
from station.measure.history import History

Floats = NDArray[np.floating[Any]]

HOPS_KEPT = 64  # more than anything looks back
SMOOTH_HOPS = 4  # 40 ms: longer than the period of B0
LOOK_BACK_HOPS = 25  # a quarter of a second
SILENCE_DB = -120.0
SILENCE = 1e-12
REFRACTORY_HOPS = 7  # the smoothing's, and those an attack is traced back

LOUD_RISE_DB = 5.0  # more than the 3 that a second voice as loud adds
LOUD_ABOVE_BEFORE_DB = 3.0  # as loud again as what rings

# Limits of the bright sign: on 798 sustained notes of three free sound fonts no
# other moment reaches them, of 540 repeated strokes on ringing notes 517 do.
BRIGHT_AFTER_HOPS = 20
BRIGHT_DB = 2.0
BRIGHT_RISE_DB = 1.5
ONSET_SEEN_HOPS = 8  # twice the detector's frame, and a hop
# The onset detector is asked seldom, and then listens to so much: on 11 minutes of strings,
# drums and recordings it answered 277 of 278 times as one that had listened all the while.
ONSET_HEARS_HOPS = 48

FRAME = 512  # 35 ms at 14.7 kHz
LAG_HOPS = 3  # 30 ms
FRESH_HOPS = 4  # the freshest of so many hops counts
RANGE_DB = 50.0  # so far below the loudest bin there is only noise
TOP_SHARE = 0.34  # of the rate: the decimator's pass band


def freshness(x: Floats, hop_size: int) -> float:
    """How much of the spectrum grew lately: 0 dB a bin while a string rings undisturbed.

    `x`, shape (n,), ends now. The mean growth over all bins within LAG_HOPS,
    at its highest in the last FRESH_HOPS hops.
    """
    frames = np.lib.stride_tricks.sliding_window_view(x, FRAME)[::-hop_size]
    frames = frames[: LAG_HOPS + FRESH_HOPS][::-1]
    if len(frames) <= LAG_HOPS:
        return 0.0
    spectrum = np.fft.rfft(frames * _WINDOW, axis=1)[:, 2 : int(TOP_SHARE * FRAME)]
    level = 10 * np.log10(spectrum.real**2 + spectrum.imag**2 + 1e-18)
    level = np.maximum(level, level.max() - RANGE_DB)
    wide = level.copy()
    np.maximum(wide[:, 1:], level[:, :-1], out=wide[:, 1:])
    np.maximum(wide[:, :-1], level[:, 1:], out=wide[:, :-1])
    growth = np.maximum(0.0, level[LAG_HOPS:] - wide[:-LAG_HOPS])
    return float(growth.mean(axis=1).max())


_WINDOW = np.hanning(FRAME)


class Attacks:
    """Push one hop at a time; `level_db` is the mean square of the last 40 ms."""

    def __init__(self, history: History, hop_size: int, ears: Ears) -> None:
        self._history = history
        self._hop = hop_size
        self._ears = ears
        self._ones = np.ones(hop_size, np.float32)
        self.reset()

    def reset(self) -> None:
        """Forget everything, as after a gap."""
        self._start = self._history.stop
        self._square: deque[float] = deque([0.0] * HOPS_KEPT, maxlen=HOPS_KEPT)
        self._mean: deque[float] = deque(maxlen=HOPS_KEPT)
        self._level: deque[float] = deque([SILENCE_DB] * HOPS_KEPT, maxlen=HOPS_KEPT)
        self._since_attack = HOPS_KEPT

    @property
    def level_db(self) -> float:
        """Power of the last 40 ms in dB relative to 1.0."""
        return self._level[-1]

    def push(self, now: int) -> int | None:
        """Take the hop that ends at sample `now`; how many hops ago an attack began, or None."""
        hop = self._history.between(now - self._hop, now)
        mean = float(hop.dot(self._ones)) / self._hop
        if not self._mean:
            # What the converter adds to every sample is no sound, its beginning no stroke.
            self._mean.extend([mean] * HOPS_KEPT)
            self._square.extend([mean * mean] * HOPS_KEPT)
        self._mean.append(mean)
        self._square.append(float(hop.dot(hop)) / self._hop)
        squares = self._square
        power = (squares[-1] + squares[-2] + squares[-3] + squares[-4]) / SMOOTH_HOPS
        power -= self._offset() ** 2
        self._level.append(10 * math.log10(power) if power > SILENCE else SILENCE_DB)
        self._since_attack += 1
        if self._since_attack < REFRACTORY_HOPS or not (self._loud() or self._bright(now)):
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

    def _bright(self, now: int) -> bool:
        if self._since_attack < BRIGHT_AFTER_HOPS or self._rise_db() < BRIGHT_RISE_DB:
            return False
        length = FRAME + (LAG_HOPS + FRESH_HOPS) * self._hop
        x = self._history.between(max(self._start, now - length), now)
        fresh = x.size >= FRAME and freshness(x, self._hop) >= BRIGHT_DB
        return fresh and self._onset_seen(now)

    def _onset_seen(self, now: int) -> bool:
        """Whether the onset detector saw one lately: the costliest question, so the last."""
        hops = min(ONSET_HEARS_HOPS, (now - self._start) // self._hop)
        x = self._history.between(now - hops * self._hop, now).reshape(hops, self._hop)
        self._ears.reset()
        return any([self._ears.onset(hop) for hop in x][-1 - ONSET_SEEN_HOPS :])

    def _offset(self) -> float:
        """The mean of the last 40 ms."""
        mean = self._mean
        return (mean[-1] + mean[-2] + mean[-3] + mean[-4]) / SMOOTH_HOPS

    def _energies(self, hops: int) -> list[float]:
        """Mean squares of the last hops, newest first, about the mean of the last 40 ms."""
        mean, square, offset = self._mean, self._square, self._offset()
        return [square[-1 - i] + offset * (offset - 2 * mean[-1 - i]) for i in range(hops)]

    def _hops_since_rise(self) -> int:
        """Where within the last 60 ms the energy rose most steeply."""
        energies = self._energies(SMOOTH_HOPS + 3)
        recent = np.log([max(energy, SILENCE) for energy in energies])
        return int(np.argmax(recent[:-1] - recent[1:]))
