"""What short windows of a sound hear at chosen frequencies.

Each frequency is listened to through a Hann window some periods of the
fundamental long, so that its neighbours fall on zeros of the window's
transform (Harris 1978, "On the use of windows for harmonic analysis"). The
window steps along the sound; what counts is how far a partial's phase turns
from one window to the next, beyond what its carrier does. Half-way between the
partials there is only noise, which tells how sure those phases are.

Single precision throughout: its rounding lies 140 dB below the sound, under
any converter's own noise, and it takes half the time.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Any, NamedTuple, cast

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.floating[Any]]
Phasors = NDArray[np.complexfloating[Any, Any]]

TINY_POWER = 1e-30  # keeps digital silence from dividing by zero
BESIDE_EVERY = 2  # Hann windows half their length apart tell all there is of the noise


def plain(x: NDArray[Any]) -> list[Any]:
    """The numbers of `x`, shape (n,), as a list: for a dozen of them it is quicker."""
    return cast("list[Any]", x.tolist())


@lru_cache(maxsize=64)
def hann(size: int) -> Floats:
    """A Hann window of `size` samples that sums to 1."""
    window = 0.5 - 0.5 * np.cos(2 * np.pi * (np.arange(size) + 0.5) / size)
    scaled: Floats = window / window.sum()
    return scaled


def carriers(
    angle: Floats,
    size: int,
    precision: type[np.complexfloating[Any, Any]] = np.complex128,
    first: float = 0.0,
) -> Phasors:
    """exp(-i angle (first + n)) for n < `size`, shape (angles, size), from two short tables."""
    inner = 1 << size.bit_length() // 2
    places = first + inner * np.arange(-(-size // inner))
    fine = np.exp(-1j * angle[:, None] * np.arange(inner)).astype(precision)
    coarse = np.exp(-1j * angle[:, None] * places).astype(precision)
    table: Phasors = (coarse[:, :, None] * fine[:, None, :]).reshape(angle.size, -1)
    return table[:, :size]


@lru_cache(maxsize=64)
def _later_half(size: int) -> NDArray[np.float32]:
    """Twice a Hann window from its middle on; a sample that is the middle itself counts half."""
    half = (2 * hann(size)[size // 2 :]).astype(np.float32)
    if size % 2:
        half[0] /= 2
    return half


class Windows:
    """Hann windows of `size` samples tuned to `frequencies_hz`, shape (f,).

    About its middle a window is even, the carriers' real parts are even and the
    imaginary ones odd: a table of the later half serves for both.
    """

    def __init__(self, frequencies_hz: Floats, rate_hz: float, size: int) -> None:
        self.size = size
        self._angle: Floats = 2 * np.pi * frequencies_hz / rate_hz
        window = _later_half(size)
        table = carriers(self._angle, window.size, np.complex64, 0.0 if size % 2 else 0.5)
        self._halves = np.empty((2, *table.shape), np.float32)
        np.multiply(table.real, window, out=self._halves[0])
        np.multiply(table.imag, window, out=self._halves[1])
        # A converter's own offset must not be heard at all, however loud it is.
        self._halves[0] -= self._halves[0].sum(axis=1, keepdims=True) * window
        self._carried: tuple[int, Phasors] = (0, np.empty(0, np.complex64))

    def hear(self, x: NDArray[np.float32], step: int) -> Phasors:
        """Complex amplitudes in windows of `x`, shape (n,), `step` samples apart.

        Shape (windows, f), phases relative to each window's own middle.
        """
        frames = self._frames(x, step)
        later, earlier = frames[:, self.size // 2 :], frames[:, (self.size - 1) // 2 :: -1]
        folded = np.empty((2, *later.shape), np.float32)
        np.add(later, earlier, out=folded[0])
        np.subtract(later, earlier, out=folded[1])
        heard = np.empty((len(frames), self._angle.size, 2), np.float32)
        # Not a matrix product: without a tuned BLAS that is three times as slow.
        np.einsum("cwn,cfn->wfc", folded, self._halves, out=heard)
        phasors: Phasors = heard.view(np.complex64)[:, :, 0]
        return phasors

    def _frames(self, x: NDArray[np.float32], step: int) -> NDArray[np.float32]:
        shape = ((x.size - self.size) // step + 1, self.size)
        return np.ndarray(shape, np.float32, x, 0, (step * x.itemsize, x.itemsize))

    def turns(self, heard: Phasors, step: int) -> Floats:
        """How far each phase turned between windows `step` apart, beyond the carrier.

        `heard` (windows, k): the first k frequencies alone. Shape (windows - 1, k),
        radians from -pi to pi.
        """
        if self._carried[0] != step:
            carried = np.exp(-1j * step * self._angle[: heard.shape[1]])
            self._carried = step, carried.astype(np.complex64)
        turned = heard[1:] * np.conj(heard[:-1])
        turned *= self._carried[1]
        angle: Floats = np.arctan2(turned.imag, turned.real)
        return angle

    def phases(self, heard: Phasors, step: int) -> Floats:
        """Each phase beyond its carrier's, from nought in the first window on; as `turns`.

        Shape (windows, k), radians.
        """
        phase = np.zeros(heard.shape)
        np.cumsum(self.turns(heard, step), axis=0, out=phase[1:])
        return phase

    def rows(self, heard: Phasors, partials: int, step: int) -> Floats:
        """What `Heard.rows` has of windows that heard so many partials, and between them."""
        rows = np.empty((len(heard), row_width(partials)))
        write_rows(rows, 0, heard, self.phases(heard[:, :partials], step))
        return rows


class KeptWindows(Windows):
    """The same, ready to hear a few windows at a time, again and again.

    For one window or two, folding the sound takes longer than it saves.
    """

    def __init__(self, frequencies_hz: Floats, rate_hz: float, size: int) -> None:
        super().__init__(frequencies_hz, rate_hz, size)
        even, odd = self._halves
        # Real and imaginary part of a carrier are rows side by side: one sum of products each.
        table = np.empty((len(even), 2, size), np.float32)
        table[:, 0, size - even.shape[1] :] = even
        table[:, 1, size - even.shape[1] :] = odd
        table[:, 0, : size // 2] = even[:, : -(size // 2) - 1 : -1]
        np.negative(odd[:, : -(size // 2) - 1 : -1], out=table[:, 1, : size // 2])
        if size % 2:
            table[:, :, size // 2] *= 2
        self._table = table.reshape(-1, size)

    def hear(self, x: NDArray[np.float32], step: int) -> Phasors:
        """As `Windows.hear`."""
        heard = np.einsum("wn,fn->wf", self._frames(x, step), self._table)
        phasors: Phasors = heard.view(np.complex64)
        return phasors


def power_of(heard: Phasors) -> Floats:
    """Squared magnitudes, never quite zero, in double precision."""
    power: Floats = np.square(heard.real, dtype=np.float64)
    power += np.square(heard.imag, dtype=np.float64)
    power += TINY_POWER
    return power


def noise_beside(beside: Floats) -> Floats:
    """The noise at each partial, as power, from that heard half-way to its neighbours."""
    noise: Floats = 0.5 * (beside[1:] + beside[:-1])
    return noise


class Heard(NamedTuple):
    """A sounding string through its windows.

    `numbers` (k,) and `frequencies_hz` (k,): the partials and where their
    carriers stand. `rows` (w, 4k + 2): what each window heard, as `write_rows` has
    it. Windows are `window_s` long, `step_s` apart. `whole`: they are of a whole note, in which
    partials die one after the other, and one that has died still tells of what it was.
    """

    numbers: Floats
    frequencies_hz: Floats
    rows: Floats
    step_s: float
    window_s: float
    whole: bool = False

    @property
    def power(self) -> Floats:
        """The partials' power by window, shape (w, k)."""
        return self.rows[:, : self.numbers.size]

    @property
    def phase(self) -> Floats:
        """Phases (w, k) beyond the carriers', in radians that do not wrap, from any beginning."""
        return self.rows[:, -self.numbers.size :]

    def since(self, window: int) -> Heard:
        """The same without the windows before number `window`."""
        return self._replace(rows=self.rows[window:])

    def between(self, first: int, stop: int) -> Heard:
        """Windows number `first` to before `stop` alone."""
        return self._replace(rows=self.rows[first:stop])


def row_width(partials: int) -> int:
    """How many numbers a window's row has."""
    return 4 * partials + 2


def write_rows(rows: Floats, first: int, heard: Phasors, phase: Floats) -> None:
    """Fill `rows` (w, 4k + 2) from what windows `heard` (w, 2k + 1) at and between k partials.

    Of each window: the power at the partials, that half-way below, between and above
    them, 1 for a window that tells what is between, the partials' power times phase, their
    `phase` (w, k). Only every BESIDE_EVERY-th window tells what is between, the others
    have zeros there; window `first` is the first of these.
    """
    k, both = phase.shape[1], heard.shape[1]
    power = power_of(heard)  # apart: a product within `rows` would take longer
    rows[:, :both] = power
    rows[:, both] = 1.0
    rows[(first + 1) % BESIDE_EVERY :: BESIDE_EVERY, k : both + 1] = 0.0
    np.multiply(power[:, :k], phase, out=rows[:, both + 1 : -k])
    rows[:, -k:] = phase
