"""Windows tuned to the partials of one sounding note, kept while it sounds.

What a window heard does not change when the next reading is taken: only the
newest windows have to be listened to. The carriers stay where they are while
the pitch stays near them; a pitch that moves on needs a new bank.
"""

from __future__ import annotations

import math

import numpy as np

from station.measure.fit import (
    Fit,
    fit_heard,
    half_way,
    partial_frequencies,
    partial_numbers,
    window_size,
)
from station.measure.history import History
from station.measure.windows import (
    BESIDE_EVERY,
    Floats,
    Heard,
    KeptWindows,
    Phasors,
    row_width,
    write_rows,
)

OFF_BINS = 0.15  # how far the highest partial may be from its carrier
WINDOWS_A_LENGTH = 4  # within a Hann window's main lobe, two bins, no phase turns by half
LEAST_WINDOWS = 3  # a slope, and what lies beside it
ROWS_KEPT = 128
STIRS = 0.5  # of the usual square of what noise does
_BEND = np.array([1.0, -2.0, 1.0])


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
        numbers = partial_numbers(rate_hz, fit.hz, fit.inharmonicity)[:most_partials]
        self._numbers = numbers
        self._size = window_size(length, rate_hz, fit.hz, longest_window_s)
        self._step = max(1, self._size // WINDOWS_A_LENGTH)
        self._step_s, self._window_s = self._step / rate_hz, self._size / rate_hz
        self._frequencies = partial_frequencies(fit.hz, fit.inharmonicity, numbers)
        between = half_way(fit.hz, fit.inharmonicity, numbers)
        tuned = np.concatenate((self._frequencies, between))
        self._windows = KeptWindows(tuned, rate_hz, self._size)
        bins = self._size * fit.hz / rate_hz * numbers.size
        reach = math.exp(OFF_BINS / bins)
        self._lowest_hz, self._highest_hz = fit.hz / reach, fit.hz * reach
        self._first = start  # where the oldest window kept starts
        self._last: Phasors = np.empty((0, numbers.size), np.complex64)
        self._phase = np.zeros(numbers.size)  # in the newest window
        self._rows = Rows(row_width(numbers.size))
        self._known: Fit | None = None  # what these rows gave

    def suits(self, hz: float) -> bool:
        """Whether a note at `hz` is near enough to the carriers."""
        return self._lowest_hz <= hz <= self._highest_hz

    def fit(self, history: History, start: int, stop: int) -> Fit | None:
        """The pitch of the samples from `start` to `stop`, later than the last time's."""
        news = self._listen(history, stop)
        if self._forget(start) or news:
            self._known = fit_heard(self.heard()) if self._rows.count >= LEAST_WINDOWS else None
        return self._known

    def until(self, history: History, stop: int, windows: int, start: int) -> Heard | None:
        """What so many windows hear, the last of which ends at `stop` (those kept may end earlier).

        None if they would begin before `start`.
        """
        begin = stop - self._size - (windows - 1) * self._step
        if begin < start:
            return None
        k = self._numbers.size
        heard = self._windows.hear(history.between(begin, stop), self._step)
        rows = np.empty((windows, row_width(k)))
        # The newest of them has to tell what lies beside.
        first = (windows - 1) % BESIDE_EVERY
        write_rows(rows, first, heard, self._windows.phases(heard[:, :k], self._step))
        return self.heard()._replace(rows=rows)

    def stirs(self) -> bool:
        """Whether the pitch may have begun to move: its phases bend more than noise usually does.

        Of windows a quarter apart the second difference is as noisy as each of the three.
        """
        rows = self._rows.all()[-LEAST_WINDOWS:]
        if len(rows) < LEAST_WINDOWS:
            return False
        k = self._numbers.size
        weight = rows[-1, :k] * self._numbers
        bent = float(_BEND.dot(rows)[-k:].dot(weight))
        beside = float(rows[-BESIDE_EVERY:, k : 2 * k + 1].sum()) / (k + 1)
        return bent * bent > STIRS * 0.5 * beside * float(weight.dot(self._numbers))

    def heard(self) -> Heard:
        """What the windows kept have heard."""
        rows = self._rows.all()
        return Heard(self._numbers, self._frequencies, rows, self._step_s, self._window_s)

    def _forget(self, start: int) -> bool:
        """Drop the windows that begin before `start`; whether there were any."""
        # By pairs: the first of each tells what lies beside.
        windows = -(-(start - self._first) // (BESIDE_EVERY * self._step)) * BESIDE_EVERY
        if windows <= 0:
            return False
        self._rows.forget(windows)
        self._first += windows * self._step
        return True

    def _listen(self, history: History, stop: int) -> bool:
        """Hear the windows that end by `stop`; whether there were any new ones."""
        known = self._rows.count
        begin = self._first + known * self._step
        count = (stop - begin - self._size) // self._step + 1
        if count <= 0:
            return False
        x = history.between(begin, begin + self._size + (count - 1) * self._step)
        heard = self._windows.hear(x, self._step)
        partials = heard[:, : self._numbers.size]
        if known:
            turns = self._windows.turns(np.concatenate((self._last, partials)), self._step)
            phase = np.add.accumulate(turns, axis=0, dtype=float)
            phase += self._phase
        else:
            phase = self._windows.phases(partials, self._step)
        write_rows(self._rows.room(count), known % BESIDE_EVERY, heard, phase)
        self._last, self._phase = partials[-1:], phase[-1]
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

    def room(self, rows: int) -> Floats:
        """So many more rows at the end, shape (rows, width), for their numbers to be written."""
        if self._end + rows > len(self._store):
            kept = self.all().copy()
            if len(kept) + rows > len(self._store):
                self._store = np.empty((2 * (len(kept) + rows), kept.shape[1]))
            self._begin, self._end = 0, len(kept)
            self._store[: self._end] = kept
        self._end += rows
        return self._store[self._end - rows : self._end]

    def forget(self, rows: int) -> None:
        """Drop the oldest `rows`, as far as there are so many."""
        self._begin = min(self._begin + rows, self._end)
