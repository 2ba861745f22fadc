"""The mains in a line: found while nobody plays, taken out while somebody does.

Hum is a sum of multiples of 50 or 60 Hz that neither begins nor decays. In a
pause its frequency is measured like a string's, from all its multiples
together, and the amplitude and phase of each by least squares. They go on
unchanged while a note sounds, so the same hum can be subtracted from it: a
frequency known to 1 mHz leaves 20 dB less of it after two seconds.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from station.measure.fit import Guess, fit_segment
from station.measure.windows import carriers

Floats = NDArray[np.floating[Any]]

MAINS_HZ = (50.0, 60.0)
MAINS_OFF_HZ = 0.25  # grids keep within 0.2 Hz but for faults (common practice, no source)
MULTIPLES = 24
# A lamp dimmer's buzz has many more (common practice, no source): of these whatever holds still,
# for one alone is a tone when all others have been taken out.
HIGHER_GROUPS = 3
HELD_STILL = 0.1
LEAST_HIGHER = 1e-8
PAUSES_S = (0.16, 0.25, 0.5, 1.0)  # 0.16 s are eight periods; longer pauses tell it better
LEAST_SHARE = 0.5  # of all power in a pause, to be worth taking out
STEADY = (
    0.06  # relative change within half a pause: a string that rings for half a minute fades more
)
LONE_MULTIPLES = (4, 5)  # a six-pulse rectifier's hum does begin at six
LONE_SHARE = 0.99
SURE_CENTS = 0.5  # 15 mHz at 50 Hz


@dataclass(frozen=True, slots=True)
class Hum:
    """`hz` of the mains, complex amplitudes of its multiples `numbers` at sample `origin`.

    Both have the shape (n,). It was found in a pause of `length` samples.
    """

    hz: float
    numbers: NDArray[np.intp]
    amplitude: NDArray[np.complex128]
    origin: int
    rate_hz: float
    length: int

    @property
    def rms(self) -> float:
        """Root mean square of the whole hum, full-scale units."""
        return float(np.sqrt(0.5 * np.sum(np.abs(self.amplitude) ** 2)))

    def sound(self, start: int, count: int, finer: int = 1) -> Floats:
        """The hum's samples from number `start`, shape (count,), `finer` samples for each one."""
        angle: Floats = 2 * np.pi * self.hz * self.numbers / self.rate_hz
        now = self.amplitude * np.exp(1j * angle * (start - self.origin))
        table = carriers(-angle / finer, count)  # exp(+i angle n)
        samples: Floats = now.real @ table.real - now.imag @ table.imag
        return samples


def find_hum(x: Floats, rate_hz: float, origin: int) -> Hum | None:
    """The hum in a pause `x`, shape (n,), whose first sample is number `origin`."""
    mains_hz = _likely_mains(x, rate_hz)
    if mains_hz is None:
        return None
    fit = fit_segment(x, rate_hz, Guess(mains_hz, cents=10.0, stiffness=1e-6))
    hz = fit.hz if fit is not None and fit.uncertainty_cents < SURE_CENTS else mains_hz
    if abs(hz - round(hz / 10) * 10) > MAINS_OFF_HZ:
        return None
    half = x.size // 2
    first = _amplitudes(x[:half], rate_hz, hz, 0)
    second = _amplitudes(x[half : 2 * half], rate_hz, hz, half)
    size = np.sum(np.abs(first) ** 2 + np.abs(second) ** 2)
    if size <= 0 or np.sum(np.abs(first - second) ** 2) > STEADY**2 * size:
        return None
    amplitude = _amplitudes(x, rate_hz, hz, 0)
    if _is_one_note(amplitude):
        return None
    whole = float(np.sum(np.abs(amplitude) ** 2))
    higher = _higher(x, rate_hz, hz, LEAST_HIGHER * whole)
    if np.sum(np.abs(higher) ** 2) > whole:  # louder than what hums below: somebody plays
        higher = higher[:0]
    every = np.append(amplitude, higher)
    there = np.flatnonzero(every)
    return Hum(hz, there + 1, every[there], origin, rate_hz, x.size)


def _is_one_note(amplitude: NDArray[np.complex128]) -> bool:
    """Whether only multiples of four or five times the mains are there: a string is so."""
    power = np.abs(amplitude) ** 2
    whole = float(power.sum())
    return any(float(power[n - 1 :: n].sum()) > LONE_SHARE * whole for n in LONE_MULTIPLES)


def _higher(x: Floats, rate_hz: float, hz: float, least: float) -> NDArray[np.complex128]:
    """Amplitudes of the multiples above; 0 if of less power, or not alike in both halves of `x`."""
    half = x.size // 2
    held: list[NDArray[np.complex128]] = []
    for group in range(1, 1 + HIGHER_GROUPS):
        beyond = group * MULTIPLES
        if (beyond + MULTIPLES) * hz > rate_hz / 2:
            break
        first = _amplitudes(x[:half], rate_hz, hz, 0, beyond)
        second = _amplitudes(x[half : 2 * half], rate_hz, hz, half, beyond)
        power = (np.abs(first) ** 2 + np.abs(second) ** 2) / 2
        still = (np.abs(first - second) ** 2 < HELD_STILL * power) & (power > least)
        held.append(np.where(still, (first + second) / 2, 0.0))
    return np.concatenate(held) if held else np.empty(0, np.complex128)


def _likely_mains(x: Floats, rate_hz: float) -> float | None:
    """50 or 60, whichever's multiples hold most of the power of the pause; or None."""
    window = np.hanning(x.size)
    power = np.abs(np.fft.rfft((x - x.mean()) * window)) ** 2
    bin_hz = rate_hz / x.size
    from_bin = int(40 / bin_hz)
    total = float(power[from_bin:].sum())
    if total <= 0.0:
        return None
    shares = []
    for mains_hz in MAINS_HZ:
        k = np.arange(1, MULTIPLES + 1)
        centre = np.round(k * mains_hz / bin_hz).astype(int)
        near = centre[:, None] + np.arange(-3, 4)[None, :]
        shares.append(float(power[near[near < power.size]].sum()) / total)
    best = int(np.argmax(shares))
    return MAINS_HZ[best] if shares[best] >= LEAST_SHARE else None


def _amplitudes(
    x: Floats, rate_hz: float, hz: float, start: int, beyond: int = 0
) -> NDArray[np.complex128]:
    """Complex amplitudes at sample -`start` of `x`, by projection under a Hann window.

    Of MULTIPLES multiples from number `beyond` + 1 on.
    """
    period = rate_hz / hz
    whole = round(int(x.size / period) * period)
    k = np.arange(beyond + 1, beyond + MULTIPLES + 1)
    angle: Floats = 2 * np.pi * hz * k / rate_hz
    window = np.hanning(whole + 1)[:whole]
    projected = carriers(angle, whole) @ (x[:whole] * window) * (2 / window.sum())
    amplitudes: NDArray[np.complex128] = projected * np.exp(-1j * angle * start)
    return amplitudes
