"""Is a sound at a multiple of the mains frequency a string, or the mains?

Hum may begin with a thump, be turned up or down and fade, but whatever is done
to it is done to all its partials alike. A struck string's partials all fade,
each at its own rate. Hum's partials are exact multiples; a stiff string's are
stretched. Hum that is loudest at four or five times the mains has other multiples
too; a string has none. Until one of these is clear nothing at such a pitch is
published.
"""

from __future__ import annotations

import numpy as np

from station.measure.fit import CENTS, Fit, half_way, partial_frequencies
from station.measure.history import History
from station.measure.hum import LONE_MULTIPLES, MAINS_HZ
from station.measure.windows import Floats, Windows, noise_beside, power_of

MULTIPLES = range(1, 7)
NEAR_SHARE = 0.0025  # 4 cents: a grid 0.1 Hz off, and the reading's own error
LONE_DB = 20.0
STRETCH_SIGMAS = 5.0
LEAST_STRETCH = 1.5e-5
ASKED_S = 0.5
FADE_DB = 0.5  # in half of ASKED_S: a string that rings for half a minute fades as much
APART_DB = 0.4
WITHIN_DB = 30.0
CLEAR_OF_NOISE = 1000.0
PARTIALS = 8
PROOFS = 10  # so many in a row, 0.1 s and more
STRETCHES = 2  # in a row, each by STRETCH_SIGMAS
SURELY_STRETCHED = 10  # in a row: no more is asked of this note
THUMP_S = 0.1  # a lead being plugged in may thump before it hums


def mains_near(hz: float, uncertainty_cents: float = 0.0) -> float | None:
    """Which multiple (one to six) of 50 or 60 Hz `hz` may be; None when it is none.

    Within 4 cents and three times its uncertainty.
    """
    slack = NEAR_SHARE + 3 * uncertainty_cents / CENTS
    likely = [mains * n for mains in MAINS_HZ for n in MULTIPLES if abs(hz / mains / n - 1) < slack]
    return min(likely, key=lambda multiple: abs(hz - multiple), default=None)


def stretched_like_a_string(fit: Fit) -> bool:
    """Whether the partials of `fit` are certainly no exact multiples."""
    return fit.inharmonicity > max(STRETCH_SIGMAS * fit.inharmonicity_sd, LEAST_STRETCH)


def stands_alone(x: Floats, rate_hz: float, hz: float) -> bool:
    """Whether `hz`, four or five times the mains, sounds in `x`, shape (n,), without the others.

    The others are all multiples of the mains up to twice `hz` that are none of `hz`.
    """
    for mains_hz in MAINS_HZ:
        number = round(hz / mains_hz)
        if abs(hz / mains_hz / number - 1) > NEAR_SHARE:
            continue
        if number not in LONE_MULTIPLES:
            return False
        others = [k for k in range(1, 2 * number) if k != number]
        heard = Windows(hz / number * np.array([number, *others]), rate_hz, x.size)
        power = power_of(heard.hear((x - x.mean()).astype(np.float32), x.size))[0]
        if power[1:].sum() > power[0] * 10 ** (-LONE_DB / 10):
            return False
    return True


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
    clear = partials.min(axis=0) > CLEAR_OF_NOISE * noise_beside(beside)
    clear &= partials[0] > partials[0].max() * 10 ** (-WITHIN_DB / 10)
    if np.count_nonzero(clear) < 2:
        return False
    change_db = 10 * np.log10(partials[1, clear] / partials[0, clear])
    return bool(change_db.mean() < -FADE_DB and change_db.std() > APART_DB)


class MainsDoubt:
    """Lets a sound at a multiple of the mains prove itself a string, time after time.

    `raw` holds the line as it came, `history` without the hum known so far.
    """

    def __init__(self, history: History, raw: History, rate_hz: float) -> None:
        self._history = history
        self._raw = raw
        self._rate_hz = rate_hz
        self._asked = round(ASKED_S * rate_hz)
        self._thump = round(THUMP_S * rate_hz)
        self.reset()

    def reset(self) -> None:
        """Forget all proofs: the note has ended."""
        self._proofs = 0
        self._stretches = 0
        self._sure = False

    def may_be(self, fit: Fit, onset: int, now: int) -> bool:
        """Whether what began at sample `onset` and is `fit` now may be the mains."""
        mains_hz = mains_near(fit.hz, fit.uncertainty_cents)
        if mains_hz is None:
            return False
        self._stretches = self._stretches + 1 if stretched_like_a_string(fit) else 0
        self._sure = self._sure or self._stretches >= SURELY_STRETCHED
        if self._sure or self._stretches >= STRETCHES:
            return False
        known = now - onset - self._thump
        if known < self._thump:
            return True
        proved = self._proved(mains_hz, known, now)
        self._proofs = self._proofs + 1 if proved else 0
        return self._proofs < PROOFS

    def _proved(self, mains_hz: float, known: int, now: int) -> bool:
        x = self._history.between(now - min(known, self._asked), now)
        if stands_alone(x, self._rate_hz, mains_hz):
            return True
        # As it came: what is left of a hum that changes would change as strings do.
        raw = self._raw.between(now - self._asked, now)
        return known >= self._asked and fades_like_a_string(raw, self._rate_hz, mains_hz)
