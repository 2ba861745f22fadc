"""Ears tuned to the partials of one sounding note, kept while it sounds.

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
    Floats,
    Phasors,
    carriers,
    fit_heard,
    hann,
    partial_numbers,
    window_size,
    with_halves,
)
from station.measure.history import History

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
        self._rate_hz = rate_hz
        self.hz = fit.hz
        self._numbers = partial_numbers(rate_hz, fit.hz, fit.inharmonicity)[:most_partials]
        self._size = window_size(length, rate_hz, fit.hz, longest_window_s)
        self._step = max(1, self._size // WINDOWS_A_LENGTH)
        self._frequencies = with_halves(fit.hz, fit.inharmonicity, self._numbers)
        self._angle: Floats = 2 * np.pi * self._frequencies / rate_hz
        table = carriers(self._angle, self._size) * (2 * hann(self._size))[:, None]
        self._carriers: Floats = table.view(np.float64)
        bins = self._size * fit.hz / rate_hz * self._numbers.size
        self.reach_cents = CENTS * OFF_BINS / bins
        self._origin = start
        self._first = start  # where the oldest window kept starts
        self._heard: Phasors = np.empty((0, self._angle.size), np.complex128)

    def suits(self, hz: float) -> bool:
        """Whether a note at `hz` is near enough to the carriers."""
        return abs(math.log(hz / self.hz)) * CENTS <= self.reach_cents

    def fit(self, history: History, start: int, stop: int) -> Fit | None:
        """The pitch of the samples from `start` to `stop`, later than the last time's."""
        self._listen(history, stop)
        skipped = max(0, -(-(start - self._first) // self._step))
        self._heard = self._heard[skipped:]
        self._first += skipped * self._step
        if self._heard.shape[0] < 3:
            return None
        step_s, window_s = self._step / self._rate_hz, self._size / self._rate_hz
        return fit_heard(self._heard, self._numbers, self._frequencies, step_s, window_s)

    def _listen(self, history: History, stop: int) -> None:
        begin = self._first + self._heard.shape[0] * self._step
        count = (stop - begin - self._size) // self._step + 1
        if count <= 0:
            return
        x = history.between(begin, begin + self._size + (count - 1) * self._step)
        frames = np.lib.stride_tricks.sliding_window_view(x, self._size)[:: self._step]
        fresh = (np.ascontiguousarray(frames) @ self._carriers).view(np.complex128)
        starts = begin - self._origin + self._step * np.arange(count)
        fresh *= np.exp(-1j * starts[:, None] * self._angle)
        self._heard = np.concatenate((self._heard, fresh))
