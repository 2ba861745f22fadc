"""Is a sound at a multiple of the mains frequency a string, or the mains?

Hum may begin with a thump, be turned up or down and fade, but whatever is done
to it is done to all its partials alike. A struck string's partials all fade,
each at its own rate. That is asked of the last half second, and until the
answer is clear nothing at such a pitch is published.
"""

from __future__ import annotations

import numpy as np

from station.measure.fit import CENTS, half_way, partial_frequencies
from station.measure.windows import Floats, Windows, power_of

MAINS_HZ = (50.0, 60.0)
MULTIPLES = range(1, 7)
NEAR_SHARE = 0.003  # 5 cents: a grid 0.1 Hz off, and the reading's own error
ASKED_S = 0.5
FADE_DB = 0.5  # in half of ASKED_S: a string that rings for half a minute fades as much
APART_DB = 0.4
WITHIN_DB = 30.0
CLEAR_OF_NOISE = 1000.0
PARTIALS = 8


def mains_near(hz: float, uncertainty_cents: float = 0.0) -> float | None:
    """Which multiple (one to six) of 50 or 60 Hz `hz` may be; None when it is none.

    Within 5 cents and three times its uncertainty.
    """
    slack = NEAR_SHARE + 3 * uncertainty_cents / CENTS
    likely = [mains * n for mains in MAINS_HZ for n in MULTIPLES if abs(hz / mains / n - 1) < slack]
    return min(likely, key=lambda multiple: abs(hz - multiple), default=None)


def fades_like_a_string(x: Floats, rate_hz: float, hz: float) -> bool:
    """Whether the partials of `x`, shape (n,), near multiples of `hz`, all fade, not all alike."""
    numbers = np.arange(1.0, PARTIALS + 1)
    half = x.size // 2
    if half * hz / rate_hz < 4:
        return False
    sound = (x - x.mean()).astype(np.float32)
    at = Windows(partial_frequencies(hz, 0.0, numbers), rate_hz, half)
    partials = power_of(at.hear(sound, half))
    between = Windows(half_way(hz, 0.0, numbers), rate_hz, half)
    beside = power_of(between.hear(sound, half)).mean(axis=0)
    clear = partials.min(axis=0) > CLEAR_OF_NOISE * 0.5 * (beside[1:] + beside[:-1])
    clear &= partials[0] > partials[0].max() * 10 ** (-WITHIN_DB / 10)
    if np.count_nonzero(clear) < 2:
        return False
    change_db = 10 * np.log10(partials[1, clear] / partials[0, clear])
    return bool(change_db.mean() < -FADE_DB and change_db.std() > APART_DB)
