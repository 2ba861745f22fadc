"""What windows hear of a partial's neighbours because they decay, taken out.

A window's zeros lie on the neighbours of a partial only while these hold still: of one that dies
away within a window or two, something is heard at every frequency. So each partial is
taken for one decaying exponential, the sum of all is subtracted from the sound, and what is left is
heard anew, each partial's own exponential given back to it (one step of a relaxation: Li & Stoica
1996, "Efficient mixed-spectrum estimation with applications to target feature extraction").
Whatever in the sound is no such exponential is left as it was.
"""

from __future__ import annotations

import numpy as np

from station.measure.windows import Floats, Heard, Phasors, Windows, hann

LEAST_POWER = 1e-30


def without_leakage(x: Floats, rate_hz: float, heard: Heard) -> Heard:
    """`heard` of `x`, shape (n,), without what its partials' neighbours add."""
    size, step = round(heard.window_s * rate_hz), round(heard.step_s * rate_hz)
    between = _between(heard.frequencies_hz)
    windows = Windows(np.concatenate((heard.frequencies_hz, between)), rate_hz, size)
    sound = np.ascontiguousarray(x, np.float32)
    k = heard.numbers.size
    partials = windows.hear(sound, step)[:, :k].astype(np.complex128)
    poles = _poles(partials)  # a window's step
    logs: Phasors = np.log(poles)
    each = logs / step
    # A step turns a partial by more than a circle: the carrier says by how many.
    angle = 2 * np.pi * heard.frequencies_hz / rate_hz
    circles = np.round((angle * step - each.imag * step) / (2 * np.pi))
    each = each.real + 1j * (each.imag + 2 * np.pi * circles / step)
    course = poles ** np.arange(len(partials))[:, None]
    strength = (course.conj() * partials).sum(axis=0) / (np.abs(course) ** 2).sum(axis=0)
    own = strength * course
    middle = np.arange(size) - (size - 1) / 2
    through = np.exp((each - 1j * angle)[:, None] * middle) @ hann(size)
    left = sound - _sum_of(strength / through, each, x.size, (size - 1) / 2)
    anew = windows.hear(left.astype(np.float32), step)
    anew[:, :k] += own.astype(np.complex64)
    return heard._replace(rows=windows.rows(anew, k, step))


def _between(frequencies_hz: Floats) -> Floats:
    """Half-way between partials and around them."""
    middle = (frequencies_hz[1:] + frequencies_hz[:-1]) / 2
    first, last = frequencies_hz[0] / 2, 2 * frequencies_hz[-1] - middle[-1]
    between: Floats = np.concatenate(([first], middle, [last]))
    return between


def _poles(partials: Phasors) -> Phasors:
    """By what each partial, a column of `partials`, grows and turns from window to window."""
    earlier, later = partials[:-1], partials[1:]
    power = (np.abs(earlier) ** 2).sum(axis=0) + LEAST_POWER
    poles: Phasors = (earlier.conj() * later).sum(axis=0) / power + LEAST_POWER
    return poles


def _sum_of(strength: Phasors, each: Phasors, size: int, middle: float) -> Floats:
    """The sum of real exponentials, shape (size,), whose `strength` is that at sample `middle`."""
    inner = 1 << size.bit_length() // 2
    places = inner * np.arange(-(-size // inner)) - middle
    coarse = strength[:, None] * np.exp(each[:, None] * places)
    fine = np.exp(each[:, None] * np.arange(inner))
    total: Floats = (coarse.T @ fine).real.ravel()[:size]
    return total
