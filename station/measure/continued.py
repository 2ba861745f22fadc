"""A string that rings on, carried on beyond a stroke.

Each partial of a string nobody touches goes on turning at its frequency and fading at its
rate. Both are measured before the stroke: the straight lines, by least squares, through the
phases and the logarithms of the amplitudes that windows hear (Tretter 1985).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from station.measure.fit import Fit, partial_frequencies, partial_numbers
from station.measure.history import History
from station.measure.windows import Floats, Phasors, Windows, carriers, power_of

PERIODS = 4
LENGTH_S = 0.2
LENGTH_PERIODS = 12
STEPS = 4
UNSTEADY_RAD = 0.3  # what is left of a partial that turns less evenly: a tenth of it and more
PARTIALS = 16  # what higher ones leave is far below any string struck


@dataclass(frozen=True, slots=True)
class Continued:
    """Amplitudes (k,) at sample `origin`, and the logarithms (k,) of their change a sample."""

    amplitude: Phasors
    change: Phasors
    origin: int

    def sound(self, start: int, count: int) -> Floats:
        """The samples from number `start` on, shape (count,)."""
        now = self.amplitude * np.exp(self.change * (start - self.origin))
        table = carriers(-self.change.imag, count)  # exp(+i angle n)
        fading = np.exp(self.change.real[:, None] * np.arange(count))
        x: Floats = (now.real @ (table.real * fading)) - (now.imag @ (table.imag * fading))
        return x

    def heard(self, windows: Windows, start: int) -> Phasors:
        """What `windows` tuned to these partials hear of each in one that starts at `start`."""
        middle = start + (windows.size - 1) / 2 - self.origin
        phasors: Phasors = self.amplitude * np.exp(self.change * middle)
        return phasors

    def tuned(self, rate_hz: float, size: int) -> Windows:
        """Windows of `size` samples at these partials."""
        return Windows(self.change.imag * rate_hz / (2 * np.pi), rate_hz, size)


def carried_on(
    history: History, rate_hz: float, fit: Fit, begin: int, stroke: int
) -> Continued | None:
    """The string of `fit`, sounding since sample `begin`, as it was bound to go on at `stroke`.

    None where too little of it was heard.
    """
    size = round(PERIODS * rate_hz / fit.hz)
    length = round(max(LENGTH_S, LENGTH_PERIODS / fit.hz) * rate_hz)
    start = max(begin, stroke - length, history.start)
    step = (stroke - start - size) // STEPS
    if step < 1:
        return None
    numbers = partial_numbers(rate_hz, fit.hz, fit.inharmonicity)[:PARTIALS]
    hz = partial_frequencies(fit.hz, fit.inharmonicity, numbers)
    angle = 2 * np.pi * hz / rate_hz
    x = history.between(start, start + size + STEPS * step)
    windows = Windows(hz, rate_hz, size)
    heard = windows.hear(x, step)
    phase = windows.phases(heard, step)
    at = step * (np.arange(len(heard)) - STEPS / 2)
    square = float(at @ at)
    level = 0.5 * np.log(power_of(heard))
    fades, shift = np.minimum(0.0, at @ level / square), at @ phase / square
    change = fades + 1j * (angle + shift)
    beside = phase - phase.mean(axis=0) - at[:, None] * shift
    clear = np.square(beside).mean(axis=0) < UNSTEADY_RAD**2
    if not clear.any():
        return None
    # At the middle of all windows the lines go through the means.
    turned = np.angle(heard[0]) + phase.mean(axis=0) + angle * step * STEPS / 2
    middle = start + (size - 1) / 2 + step * STEPS / 2
    origin = round(middle)
    amplitude = np.exp(level.mean(axis=0) + 1j * turned + change * (origin - middle))
    return Continued(amplitude[clear], change[clear], origin)
