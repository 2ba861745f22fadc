"""Windows tuned to the partials of one sounding note, kept while it sounds.

What a window heard does not change when the next reading is taken: only the
newest windows have to be listened to. The carriers stay where they are while
the pitch stays near them; a pitch that moves on needs a new bank.
"""

from __future__ import annotations

import math

import numpy as np

from station.measure.fit import (
    CENTS,
    Fit,
    fit_heard,
    half_way,
    partial_frequencies,
    partial_numbers,
    window_size,
)
from station.measure.history import History
from station.measure.windows import BESIDE_EVERY, Floats, Heard, Phasors, Windows, power_of

OFF_BINS = 0.15  # how far the highest partial may be from its carrier
WINDOWS_A_LENGTH = 4


class PartialBank:
    """Carriers at the partials of `fit`, windows that start at sample `start` or later."""

    def __init__(
        self,
        fit: Fit,
        rate_hz: float,
        length: int,
        start: int,
        most_partials: int,
        longest_window_s: float,
    ) -> None:
        self.hz = fit.hz
        numbers = partial_numbers(rate_hz, fit.hz, fit.inharmonicity)[:most_partials]
        self._numbers = numbers
        self._size = window_size(length, rate_hz, fit.hz, longest_window_s)
        self._step = max(1, self._size // WINDOWS_A_LENGTH)
        self._step_s, self._window_s = self._step / rate_hz, self._size / rate_hz
        self._frequencies = partial_frequencies(fit.hz, fit.inharmonicity, numbers)
        self._windows = Windows(self._frequencies, rate_hz, self._size)
        halves = half_way(fit.hz, fit.inharmonicity, numbers)
        self._between = Windows(halves, rate_hz, self._size)
        bins = self._size * fit.hz / rate_hz * numbers.size
        self.reach_cents = CENTS * OFF_BINS / bins
        self._first = start  # where the oldest window kept starts
        self._last: Phasors = np.empty((0, numbers.size), np.complex64)
        self._power: Floats = np.empty((0, numbers.size))
        self._turns: Floats = np.empty((0, numbers.size), np.float32)
        self._beside: Floats = np.empty((0, numbers.size + 1))

    def suits(self, hz: float) -> bool:
        """Whether a note at `hz` is near enough to the carriers."""
        return abs(math.log(hz / self.hz)) * CENTS <= self.reach_cents

    def fit(self, history: History, start: int, stop: int) -> Fit | None:
        """The pitch of the samples from `start` to `stop`, later than the last time's."""
        self._listen(history, stop)
        self._forget(start)
        if len(self._power) < 3:
            return None
        return fit_heard(
            Heard(
                self._numbers,
                self._frequencies,
                self._turns,
                self._power,
                self._beside,
                self._step_s,
                self._window_s,
            )
        )

    def _forget(self, start: int) -> None:
        # By pairs of windows: what lies beside is heard in the first of each.
        pairs = max(0, -(-(start - self._first) // (BESIDE_EVERY * self._step)))
        windows = BESIDE_EVERY * pairs
        self._power = self._power[windows:]
        self._turns = self._turns[windows:]
        self._beside = self._beside[pairs:]
        self._first += windows * self._step

    def _listen(self, history: History, stop: int) -> None:
        known = len(self._power)
        begin = self._first + known * self._step
        count = (stop - begin - self._size) // self._step + 1
        if count <= 0:
            return
        x = history.between(begin, begin + self._size + (count - 1) * self._step)
        fresh = self._windows.hear(x, self._step)
        heard = np.concatenate((self._last, fresh))
        self._turns = np.concatenate((self._turns, self._windows.turns(heard, self._step)))
        self._power = np.concatenate((self._power, power_of(fresh)))
        self._last = fresh[-1:]
        skipped = known % BESIDE_EVERY * self._step
        if x.size - skipped >= self._size:
            between = self._between.hear(x[skipped:], BESIDE_EVERY * self._step)
            self._beside = np.concatenate((self._beside, power_of(between)))
