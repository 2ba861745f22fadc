"""Is a sound at a multiple of the mains frequency a string, or the mains?

Hum may begin with a thump, be turned up or down, fade and sway, but whatever is done to it is
done to all its partials alike, and they are exact multiples. A struck string's partials all
fade, the higher ones the faster; a stiff string's are stretched. How surely either is seen
follows from the noise between the partials, so a string is told as soon as there is enough of
it. Hum that is loudest at four or five times the mains has other multiples too; a string has none.
Until one of these is clear nothing at such a pitch is published. A string without stiffness
whose partials all fade alike is, in its sound, hum switched on and turned down: it is not told.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from station.measure.fading import LEAST_PERIODS, Changes, changes
from station.measure.fit import (
    CENTS,
    NEXT_TO_NOTHING,
    Fit,
    partial_frequencies,
    partial_numbers,
)
from station.measure.history import History
from station.measure.hum import LONE_MULTIPLES, MAINS_HZ
from station.measure.windows import Floats, Windows, power_of

MULTIPLES = range(1, 7)
NEAR_SHARE = 0.0025  # 4 cents: a grid 0.1 Hz off, and the reading's own error
ASKED_S = 0.25  # more of a note tells no more that matters, and takes longer
LATE_S = 0.5
SKIP_S = 0.012  # an attack is told by the hop it lies in, and begins with a stroke's own noise
MORE_SHARE = 0.1  # so much more sound is waited for before it is asked again
PARTIALS = 16
LEAST_PARTIALS = 3  # a slope, and what lies beside it
CLEAR = 3.0  # 1/s, radians a second: a partial less sure says nothing of the others
# What is done to hum is done to all its multiples, but for their own ups and downs: as a share
# of each in a second (no source). Strings whose rates differ by less ring for minutes.
FLUCTUATES = 0.05
SLOWEST = 0.2  # 1/s: half a minute until it has fallen by 60 dB
FADES_SIGMAS = 3.0  # once in 370 by chance
# The noise at a partial is told by sixteen numbers, so these are a Student's t: by chance it is
# above 7 once in 700,000 times (its density's integral), and it is asked a few dozen times a sound.
SURE_SIGMAS = 7.0
OTHERS_SIGMAS = 3.5  # whichever partial is left out: a thump moves one, or two
LONE_DB = 20.0
LONE_PERIODS = 2.0  # of the mains: so long until its multiples are told apart
# Where hum that sways becomes less than what is taken out, what is left of it turns by half
# a turn: within a reading's 0.12 s that is a quarter of 1 / 0.12 s, and more where it is heard so
# little that it is hardly told.
PULLED_HZ = 2.5
BETTER = 3.0  # in power left: hum is heard best where hum stands
ALIKE_SIGMAS = 3.0  # once in 370 by chance
FAR_ABOVE = 4.0  # in power: so much is left of hum turned up by a factor of three, not of a sway


def mains_near(hz: float, uncertainty_cents: float = 0.0) -> float | None:
    """Which multiple (one to six) of 50 or 60 Hz `hz` may be; None when it is none.

    Within 4 cents and three times its uncertainty.
    """
    slack = NEAR_SHARE + 3 * uncertainty_cents / CENTS
    likely = [mains * n for mains in MAINS_HZ for n in MULTIPLES if abs(hz / mains / n - 1) < slack]
    return min(likely, key=lambda multiple: abs(hz - multiple), default=None)


def stands_alone(heard: Changes, rate_hz: float, hz: float) -> bool:
    """Whether `hz`, four or five times the mains, sounds without the other multiples.

    These are all up to twice `hz` that are none of `hz`; `heard` are `hz` and its partials.
    """
    for mains_hz in MAINS_HZ:
        number = round(hz / mains_hz)
        if abs(hz / mains_hz / number - 1) > NEAR_SHARE:
            continue
        if number not in LONE_MULTIPLES or heard.left.size * mains_hz / rate_hz < LONE_PERIODS:
            return False
        others = np.array([k for k in range(1, 2 * number) if k != number])
        windows = Windows(hz / number * others, rate_hz, heard.left.size)
        power = power_of(windows.hear(heard.left.astype(np.float32), heard.left.size))
        if power.sum() > heard.level[0] ** 2 * 10 ** (-LONE_DB / 10):
            return False
    return True


def proves_a_string(heard: Changes, hz: float, inharmonicity: float) -> bool:
    """Whether partials 1, 2, 3 .. as `heard` change as those of hum cannot, whatever is done to it.

    `heard` beside those of a string of first partial `hz` and `inharmonicity`.
    """
    sure, least = sigmas(heard, hz, inharmonicity)
    return sure >= SURE_SIGMAS and least >= OTHERS_SIGMAS


def sigmas(heard: Changes, hz: float, inharmonicity: float) -> tuple[float, float]:
    """By how many standard deviations it is no hum, and by how many if a partial is left out.

    Whichever is left out, so many at least. See `proves_a_string`.
    """
    sd = np.hypot(heard.sd, FLUCTUATES)
    clear = sd < CLEAR
    number = np.flatnonzero(clear) + 1.0
    if number.size < LEAST_PARTIALS:
        return 0.0, 0.0
    weight = 1 / np.square(sd[clear])
    fades = heard.fades[clear]
    # Stiffness raises partial k by k^3 F B / 2 (Fletcher 1964), here in radians a second.
    turns = heard.turns[clear] + np.pi * hz * inharmonicity * number**3
    every = _sigmas(number, fades, turns, weight)
    if every < SURE_SIGMAS:
        return every, 0.0
    kept = [np.arange(number.size) != i for i in range(number.size)]
    return every, min(_sigmas(number[of], fades[of], turns[of], weight[of]) for of in kept)


def fades_unlike_hum(heard: Changes) -> bool:
    """Whether all partials as `heard` fade, and not all alike, in whichever order."""
    sd = np.hypot(heard.sd, FLUCTUATES)
    clear = sd < CLEAR
    fades, weight = heard.fades[clear], 1 / np.square(sd[clear])
    if fades.size < LEAST_PARTIALS or fades.min() < SLOWEST:
        return False

    def apart(of: NDArray[np.bool_]) -> float:
        mean = (weight[of] @ fades[of]) / weight[of].sum()
        return float(np.sqrt(weight[of] @ np.square(fades[of] - mean) / (of.sum() - 1)))

    kept = ~np.eye(fades.size, dtype=bool)
    every = np.ones(fades.size, dtype=bool)
    return apart(every) >= SURE_SIGMAS and min(map(apart, kept)) >= OTHERS_SIGMAS


def off_hz(heard: Changes, hz: float, inharmonicity: float) -> tuple[float, float]:
    """By how much the sound lies above `hz` if all are exact multiples; one standard deviation."""
    number = np.arange(1.0, heard.sd.size + 1)
    turns = heard.turns + np.pi * hz * inharmonicity * number**3
    weight = number / np.square(np.hypot(heard.sd, FLUCTUATES))
    certain = max(float(weight @ number), NEXT_TO_NOTHING)
    return float(weight @ turns) / certain / (2 * np.pi), 1 / np.sqrt(certain) / (2 * np.pi)


def is_hum_alone(heard: Changes, mains_hz: float) -> bool:
    """Whether partials as `heard`, asked for at multiples of `mains_hz`, may all be hum's.

    They lie at exact multiples near these, and all are turned up or down alike.
    """
    off, sd_hz = off_hz(heard, mains_hz, 0.0)
    if abs(off) > NEAR_SHARE * mains_hz + 3 * sd_hz:
        return False
    if not np.isfinite(heard.sd[np.argmax(heard.level)]):  # it lies too far from any multiple
        return False
    weight = 1 / np.square(np.hypot(heard.sd, FLUCTUATES))
    number = np.arange(1.0, weight.size + 1)
    mean = (weight @ heard.fades) / max(float(weight.sum()), NEXT_TO_NOTHING)
    others = np.square(heard.fades - mean) + np.square(heard.turns - 2 * np.pi * off * number)
    freedom = 2 * max(1, np.count_nonzero(weight) - 1)
    return float(weight @ others) < ALIKE_SIGMAS**2 * freedom


def _sigmas(number: Floats, fades: Floats, turns: Floats, weight: Floats) -> float:
    """How surely partials `number` fade as a string's do, or are stretched, or both.

    Of hum all `fades` are one, and `turns` go with `number`. Air takes a string's partials
    as the root of their frequency, what is within the wire faster still (Fletcher & Rossing,
    The Physics of Musical Instruments, ch. 2). Two independent signs: root of the squares' sum.
    """
    mean = (weight @ fades) / weight.sum()
    fading = 0.0
    if mean > SLOWEST + FADES_SIGMAS / np.sqrt(weight.sum()):
        fading = _slope(fades, np.ones(number.size), np.sqrt(number), weight)
    stretch = _slope(turns, number, number**3, weight)
    return float(np.hypot(max(0.0, fading), max(0.0, stretch)))


def _slope(values: Floats, first: Floats, second: Floats, weight: Floats) -> float:
    """By how many standard deviations `values` go with `second` beyond what goes with `first`."""
    off = second - first * ((weight * first) @ second) / ((weight * first) @ first)
    size = float(np.sqrt((weight * off) @ off))
    return float((weight * off) @ values) / max(size, NEXT_TO_NOTHING)


def _power(x: Floats) -> float:
    return float(np.square(x).mean())


class MainsDoubt:
    """Lets a sound at a multiple of the mains prove itself a string.

    `raw` holds the line as it came, `history` without the hum known so far.
    """

    def __init__(self, history: History, raw: History, rate_hz: float) -> None:
        self._history = history
        self._raw = raw
        self._rate_hz = rate_hz
        self._asked = round(ASKED_S * rate_hz)
        self._skip = round(SKIP_S * rate_hz)
        self._late = round(LATE_S * rate_hz)
        self.reset()

    def reset(self) -> None:
        """Forget all proofs: the note has ended, or another begins."""
        self._sure = False
        self._ask_at = 0

    def may_be(self, fit: Fit, onset: int, now: int) -> bool:
        """Whether what began at sample `onset` and is `fit` now may be the mains."""
        if self._sure:
            return False
        start = max(onset + self._skip, now - self._asked)
        mains_hz = mains_near(fit.hz, fit.uncertainty_cents)
        if mains_hz is None:
            return self._may_be_left_of_hum(fit, start, now)
        if now >= self._ask_at:
            self._ask_at = now + round((now - start) * MORE_SHARE)
            thumps = now - onset <= self._late
            self._sure = self._is_proved(fit, mains_hz, start, now, thumps)
        return not self._sure

    def _is_proved(self, fit: Fit, mains_hz: float, start: int, now: int, thumps: bool) -> bool:
        raw, clean = self._raw.between(start, now), self._history.between(start, now)
        if raw.size * fit.hz / self._rate_hz < LEAST_PERIODS:
            return False
        heard = self._changes(clean, fit.hz, fit.inharmonicity)
        proved = self._is_string(heard, clean, fit, mains_hz)
        if not thumps:  # one would be heard in low partials alone
            proved = proved or fades_unlike_hum(heard)
        if not proved and not stands_alone(heard, self._rate_hz, mains_hz):
            return False
        # What is left of a hum that changes may change as strings do; it is not so loud.
        taken_out = _power(raw - clean)
        if 0.5 * float(np.square(heard.level).sum()) > FAR_ABOVE * taken_out:
            return True
        return not is_hum_alone(self._changes(raw, mains_hz), mains_hz)

    def _is_string(self, heard: Changes, x: Floats, fit: Fit, mains_hz: float) -> bool:
        """Whether the sound `x` proves a string, `heard` where `fit` says that one stands."""
        if not proves_a_string(heard, fit.hz, fit.inharmonicity):
            return False
        # Far from where it is asked for a partial's change is no straight line. What is asked
        # for where it would stand if this were hum tells of hum as it is.
        hz = fit.hz + off_hz(heard, fit.hz, fit.inharmonicity)[0]
        asked = self._changes(x, hz)
        if proves_a_string(asked, hz, 0.0):
            return True
        # Or partials are so far from there that they are not heard at all.
        otherwise = min(_power(asked.left), _power(self._changes(x, mains_hz).left))
        return BETTER * _power(heard.left) < otherwise

    def _may_be_left_of_hum(self, fit: Fit, start: int, now: int) -> bool:
        """Whether `fit`, beside the mains, may be what is left of a louder hum that changes."""
        mains_hz = mains_near(fit.hz, CENTS / 3 * PULLED_HZ / fit.hz)
        if mains_hz is None:
            return False
        raw, clean = self._raw.between(start, now), self._history.between(start, now)
        if np.array_equal(raw, clean) or raw.size * mains_hz / self._rate_hz < LEAST_PERIODS:
            return False
        return is_hum_alone(self._changes(raw, mains_hz), mains_hz)

    def _changes(self, x: Floats, hz: float, inharmonicity: float = 0.0) -> Changes:
        numbers = partial_numbers(self._rate_hz, hz, inharmonicity)[:PARTIALS]
        return changes(x, self._rate_hz, partial_frequencies(hz, inharmonicity, numbers))
