"""Was a string struck anew, or does it ring on through somebody else's stroke?

A drum in the same microphone is a stroke too. A string that nobody touched goes
on where it was: each partial arrives with the phase it was bound for, and a
little weaker. A string struck anew begins with phases of its own.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from station.measure.fit import LEAST_SNR, Fit, half_way, partial_frequencies, partial_numbers
from station.measure.history import History
from station.measure.windows import Floats, Windows, noise_beside, power_of

PERIODS = 4
# Mean cosine of what the phases are off: random ones of two, and of three and more
# partials agree so well in one case of thirty.
AGREEMENT_OF_TWO = 0.93
AGREEMENT = 0.8
LOUDER_DB = 3.0
LEAST_NEW = 2  # partials of its own make a string; a drum brings one, or none that fits
NEAR_BINS = 2.0  # the half width of a Hann window's main lobe
WITHIN_DB = 40.0


def rings_on(
    history: History, rate_hz: float, fit: Fit, begin: int, stroke: int, now: int
) -> bool | None:
    """Whether the string of `fit` still rings `now` as if untouched by the stroke.

    `begin`, `stroke`, `now` are sample numbers: it began to sound, was (or was
    not) struck, is heard. None while it is too early to tell.
    """
    size = round(PERIODS * rate_hz / fit.hz)
    if stroke - begin < size:
        return False
    if now - stroke < size:
        return None
    numbers, windows, between = _tuned(rate_hz, fit, size)
    starts = (stroke - size, now - size)
    sounds = [history.between(start, start + size) for start in starts]
    before, after = (windows.hear(x, size)[0] for x in sounds)
    clear = np.ones(numbers.size, bool)
    for x, heard in zip(sounds, (before, after), strict=True):
        clear &= _stands_out(power_of(heard), power_of(between.hear(x, size))[0])
    clear &= power_of(after) < power_of(before) * 10 ** (LOUDER_DB / 10)
    count = int(np.count_nonzero(clear))
    if count < 2:
        return False
    frequencies = partial_frequencies(fit.hz, fit.inharmonicity, numbers)
    bound_for = 2 * np.pi * frequencies * (starts[1] - starts[0]) / rate_hz
    off = np.angle(after * np.conj(before)) - bound_for
    return float(np.cos(off[clear]).mean()) >= (AGREEMENT_OF_TWO if count == 2 else AGREEMENT)


def explains(known: Fit, new: Fit, x: NDArray[np.float32], rate_hz: float) -> bool:
    """Whether `new`, found in `x`, shape (n,), is but partials of `known` and a drum below them."""
    numbers, windows, between = _tuned(rate_hz, new, x.size)
    power = power_of(windows.hear(x, x.size)[0])
    clear = _stands_out(power, power_of(between.hear(x, x.size))[0])
    clear &= power > power.max() * 10 ** (-WITHIN_DB / 10)
    theirs = partial_frequencies(
        known.hz,
        known.inharmonicity,
        partial_numbers(rate_hz, known.hz, known.inharmonicity),
    )
    own = partial_frequencies(new.hz, new.inharmonicity, numbers)[clear]
    apart_hz = np.abs(own[:, None] - theirs).min(axis=1)
    return int(np.count_nonzero(apart_hz > NEAR_BINS * rate_hz / x.size)) < LEAST_NEW


def _tuned(rate_hz: float, fit: Fit, size: int) -> tuple[Floats, Windows, Windows]:
    """Partial numbers, and windows at and between the partials."""
    numbers = partial_numbers(rate_hz, fit.hz, fit.inharmonicity)
    at = Windows(partial_frequencies(fit.hz, fit.inharmonicity, numbers), rate_hz, size)
    return numbers, at, Windows(half_way(fit.hz, fit.inharmonicity, numbers), rate_hz, size)


def _stands_out(power: Floats, beside: Floats) -> NDArray[np.bool_]:
    clear: NDArray[np.bool_] = power > LEAST_SNR * noise_beside(beside)
    return clear
