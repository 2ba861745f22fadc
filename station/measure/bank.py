"""Windows tuned to the partials of one sounding note, kept while it sounds.

What a window heard does not change when the next reading is taken: only the
newest windows have to be listened to. The carriers stay where they are while
the pitch stays near them; a pitch that moves on needs a new bank.
"""

from __future__ import annotations

import numpy as np

from station.measure.fit import (
    CENTS,
    Fit,
    apart_cents,
    fit_heard,
    half_way,
    partial_frequencies,
    partial_numbers,
    window_size,
)
from station.measure.history import History
from station.measure.windows import BESIDE_EVERY, Floats, Heard, KeptWindows, Phasors, power_of

OFF_BINS = 0.15  # how far the highest partial may be from its carrier
WINDOWS_A_LENGTH = 4
ROWS_KEPT = 128


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
        self._windows = KeptWindows(self._frequencies, rate_hz, self._size)
        halves = half_way(fit.hz, fit.inharmonicity, numbers)
        self._between = KeptWindows(halves, rate_hz, self._size)
        bins = self._size * fit.hz / rate_hz * numbers.size
        self.reach_cents = CENTS * OFF_BINS / bins
        self._first = start  # where the oldest window kept starts
        self._last: Phasors = np.empty((0, numbers.size), np.complex64)
        self._power = Rows(numbers.size)
        self._phase = Rows(numbers.size)
        self._beside = Rows(numbers.size + 1)
        self._known: Fit | None = None  # what these rows gave

    def suits(self, hz: float) -> bool:
        """Whether a note at `hz` is near enough to the carriers."""
        return apart_cents(hz, self.hz) <= self.reach_cents

    def fit(self, history: History, start: int, stop: int) -> Fit | None:
        """The pitch of the samples from `start` to `stop`, later than the last time's."""
        news = self._listen(history, stop)
        if self._forget(start) or news:
            self._known = self._fit() if self._power.count >= 3 else None
        return self._known

    def _fit(self) -> Fit | None:
        return fit_heard(
            Heard(
                self._numbers,
                self._frequencies,
                self._phase.all(),
                self._power.all(),
                self._beside.all(),
                self._step_s,
                self._window_s,
            )
        )

    def _forget(self, start: int) -> bool:
        """Drop the windows that begin before `start`; whether there were any."""
        # By pairs of windows: what lies beside is heard in the first of each.
        pairs = -(-(start - self._first) // (BESIDE_EVERY * self._step))
        if pairs <= 0:
            return False
        windows = BESIDE_EVERY * pairs
        self._power.forget(windows)
        self._phase.forget(windows)
        self._beside.forget(pairs)
        self._first += windows * self._step
        return True

    def _listen(self, history: History, stop: int) -> bool:
        """Hear the windows that end by `stop`; whether there were any new ones."""
        known = self._power.count
        begin = self._first + known * self._step
        count = (stop - begin - self._size) // self._step + 1
        if count <= 0:
            return False
        x = history.between(begin, begin + self._size + (count - 1) * self._step)
        fresh = self._windows.hear(x, self._step)
        if known:
            turns = self._windows.turns(np.concatenate((self._last, fresh)), self._step)
        else:
            turns = self._windows.turns(fresh, self._step)
            self._phase.add(np.zeros((1, self._numbers.size)))
        self._phase.add(self._phase.newest() + turns.cumsum(axis=0))
        self._power.add(power_of(fresh))
        self._last = fresh[-1:]
        skipped = known % BESIDE_EVERY * self._step
        if x.size - skipped >= self._size:
            between = self._between.hear(x[skipped:], BESIDE_EVERY * self._step)
            self._beside.add(power_of(between))
        return True


class Rows:
    """Rows of `width` numbers, the newest added at the end, the oldest forgotten."""

    def __init__(self, width: int) -> None:
        self._store = np.empty((ROWS_KEPT, width))
        self._begin = self._end = 0

    @property
    def count(self) -> int:
        """How many rows there are."""
        return self._end - self._begin

    def all(self) -> Floats:
        """The rows, shape (count, width), a view."""
        return self._store[self._begin : self._end]

    def newest(self) -> Floats:
        """The last row."""
        row: Floats = self._store[self._end - 1]
        return row

    def add(self, rows: Floats) -> None:
        """Append `rows`, shape (n, width)."""
        if self._end + len(rows) > len(self._store):
            kept = self.all().copy()
            if len(kept) + len(rows) > len(self._store):
                self._store = np.empty((2 * (len(kept) + len(rows)), kept.shape[1]))
            self._begin, self._end = 0, len(kept)
            self._store[: self._end] = kept
        self._store[self._end : self._end + len(rows)] = rows
        self._end += len(rows)

    def forget(self, rows: int) -> None:
        """Drop the oldest `rows`, as far as there are so many."""
        self._begin = min(self._begin + rows, self._end)
