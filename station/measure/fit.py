"""One pitch from all partials of a sounding string.

The partials of a stiff string stand at f_k = k F sqrt(1 + B k^2) (Fletcher
1964; Fletcher & Rossing, The Physics of Musical Instruments, ch. 2). The
pitch we tune is the first partial, F sqrt(1 + B).

A partial's frequency is the slope of its phase from window to window
(`windows.py`), by least squares weighted with its power (the
maximum-likelihood slope at high signal-to-noise ratio: Tretter 1985, for a
decaying partial with the decay as weight); the noise beside it gives the slope
its variance. Then (f_k / k)^2 = F^2 + F^2 B k^2, weighted, with partials that
disagree left out.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache
from itertools import pairwise
from operator import le
from typing import NamedTuple

import numpy as np

from station.measure.hypothesis import most_stretched
from station.measure.windows import Floats, Heard, Windows, plain

MOST_PARTIALS = 20
TOP_SHARE = 0.34  # of the sample rate: the decimator's pass band
LEAST_PERIODS = 4.5  # shorter sounds give no fit
LEAST_SNR = 10.0  # power over the noise beside it, below which a partial is left out
LEAST_WINDOW_SNR = 4.0  # one window of noise in fifty is louder: exp(-4)
NEXT_TO_NOTHING = 1e-6  # so that nothing is divided by nought
ROUNDING = 1e-9  # of double precision, after sums
LEAST_NOISE = 1e-24  # 240 dB below full scale: there is no less
HANN_NOISE_BANDWIDTH = 1.5  # in bins (Harris 1978, table I)
OUTLIER_SIGMAS = 4.0  # of twenty partials once in 800 fits one lies so far by chance
CLEAR_SIGMAS = 3.0  # once in 370 by chance
LEAST_TELLING_STIFFNESS = 4  # of two or three partials one that lies a cent beside decides it
SMALLEST_SIGMA = 5e-8  # relative: a ten-thousandth of a cent, for what no model holds
TRUSTED_PARTIALS = 4.0  # what the noise beside is worth against what the partials themselves say
LONGEST_WINDOW_S = 0.15  # within it a pluck's glide hardly moves (`Care`)
ROUNDS = 6  # so often halved GUESS_CENTS are an eighth of a cent
GUESS_CENTS = 8.0  # what `hypothesis` may be off, 7, and the glide while it listened
GUESS_STIFFNESS = 2e-4  # half of what it goes to on guitars and basses: hypothesis.STIFF
LOBE_SHARE = 0.6  # of a bin: within it the window hears the partial and its phase cannot slip
LOST_CENTS = 90.0  # nearly a semitone: another note
SETTLED_CENTS = 2.0
CENTS = 1200 / math.log(2)


class Fit(NamedTuple):
    """`hz` is the first partial.

    `uncertainty_cents` is one standard deviation, `inharmonicity_sd` that of B.
    `tonal` is the power of the partials over that power plus the power heard
    half-way between them, `beside` the mean of the latter. `moving`: the pitch is on its way, as
    under a peg; `swaying`: this is the centre of a vibrato.
    """

    hz: float
    inharmonicity: float
    uncertainty_cents: float
    partials: int
    tonal: float
    inharmonicity_sd: float = 0.0
    beside: float = 0.0
    moving: bool = False
    swaying: bool = False


def apart_cents(hz: float, other_hz: float) -> float:
    """How far two pitches are from each other, whichever is the higher."""
    return abs(math.log(hz / other_hz)) * CENTS


def width_cents(hz: Sequence[float]) -> float:
    """How far the highest of some pitches is from the lowest; 0 for none."""
    return apart_cents(max(hz), min(hz)) if hz else 0.0


def partial_frequencies(hz: float, inharmonicity: float, numbers: Floats) -> Floats:
    """Frequencies of partials `numbers` of a string whose first partial is `hz`."""
    stretch = np.sqrt((1 + inharmonicity * numbers**2) / (1 + inharmonicity))
    frequencies: Floats = hz * numbers * stretch
    return frequencies


def half_way(hz: float, inharmonicity: float, numbers: Floats) -> Floats:
    """Frequencies half-way between and around partials `numbers`, one more than they are."""
    halves = np.concatenate((numbers - 0.5, numbers[-1:] + 0.5))
    return partial_frequencies(hz, inharmonicity, halves)


def partial_numbers(
    rate_hz: float, hz: float, inharmonicity: float, top_share: float = TOP_SHARE
) -> Floats:
    """The numbers of the partials that lie within `top_share` of the rate."""
    numbers: Floats = np.arange(1.0, MOST_PARTIALS + 1)
    inside = partial_frequencies(hz, inharmonicity, numbers + 0.5) < top_share * rate_hz
    return numbers[inside]


def window_size(samples: float, rate_hz: float, hz: float, longest_s: float) -> int:
    """An even number of periods, so half-way points are zeros too; a third of the sound or so."""
    period = rate_hz / hz
    longest = max(longest_s * hz, 6.0)
    periods = max(4, int(min(samples / period / 3, longest)) // 2 * 2)
    return round(periods * period)


class Guess(NamedTuple):
    """What is known of a string beforehand: first partial and inharmonicity.

    `cents` and `stiffness` are how far either may be off.
    """

    hz: float
    inharmonicity: float = 0.0
    cents: float = GUESS_CENTS
    stiffness: float = GUESS_STIFFNESS


class Care(NamedTuple):
    """How a sound is listened to.

    Windows are at most `longest_window_s` (or six periods) long: pitch must hardly
    move within one, the less the higher the partial. `windows_a_length` begin within
    one's length. Partials are heard up to `top_share` of the rate.
    """

    most_partials: int = MOST_PARTIALS
    longest_window_s: float = LONGEST_WINDOW_S
    top_share: float = TOP_SHARE
    windows_a_length: int = 4


USUAL_CARE = Care()


def fit_segment(x: Floats, rate_hz: float, guess: Guess, care: Care = USUAL_CARE) -> Fit | None:
    """The pitch of `x`, shape (n,), known to lie about `guess`.

    A guess that may be off is tried on the lower partials first, where it is off
    by less, then on more as it gets better. None where nothing can be told.
    """
    found = listen_and_fit(x, rate_hz, guess, care)
    return None if found is None else found[1]


def listen_and_fit(
    x: Floats, rate_hz: float, guess: Guess, care: Care = USUAL_CARE
) -> tuple[Heard, Fit] | None:
    """As `fit_segment`, with what the last windows heard."""
    sound = (x - x.mean()).astype(np.float32)
    first_hz = guess.hz
    found = None
    for _ in range(ROUNDS):
        if x.size * guess.hz / rate_hz < LEAST_PERIODS:
            return None
        every = partial_numbers(rate_hz, guess.hz, guess.inharmonicity, care.top_share)
        every = every[: care.most_partials]
        size, reached = _bearable(x.size, rate_hz, guess, care)
        numbers = every[:reached]
        if numbers.size == 0:
            return None
        heard = _listen(sound, rate_hz, guess, numbers, size, care.windows_a_length)
        fit = fit_heard(heard)
        if fit is None or apart_cents(fit.hz, first_hz) > LOST_CENTS:
            return None
        found = heard, fit
        full = min(window_size(x.size, rate_hz, guess.hz, care.longest_window_s), x.size - 8)
        if numbers.size == every.size and size >= full and _was_near(guess, fit, heard):
            return found
        guess = _better(guess, fit)
    return found


def _bearable(samples: int, rate_hz: float, guess: Guess, care: Care) -> tuple[int, int]:
    """How long windows may be, and how many partials they reach, with `guess` so far off."""
    longest = CENTS * LOBE_SHARE * rate_hz / (guess.hz * guess.cents)  # for the first partial
    wanted = min(samples - 8, 3 * longest)
    size = window_size(wanted, rate_hz, guess.hz, care.longest_window_s)
    # B wrong by b puts partial k wrong by k^3 b F / 2.
    stiffest = (2 * LOBE_SHARE * rate_hz / (size * guess.hz * guess.stiffness)) ** (1 / 3)
    return min(size, samples - 8), max(1, int(min(longest / size, stiffest)))


def _was_near(guess: Guess, fit: Fit, heard: Heard) -> bool:
    """Whether all carriers stood within reach of their partials."""
    moved_cents = apart_cents(fit.hz, guess.hz)
    highest = float(heard.numbers[-1])
    bins = highest * guess.hz * heard.window_s
    stiffer_bins = abs(fit.inharmonicity - guess.inharmonicity) * highest**2 / 2 * bins
    off_bins = max(moved_cents / CENTS * bins, stiffer_bins)
    return moved_cents < SETTLED_CENTS and off_bins < LOBE_SHARE


def _better(guess: Guess, fit: Fit) -> Guess:
    """The guess for the next round."""
    cents = min(max(3 * fit.uncertainty_cents, 0.05), guess.cents / 2)
    sd, off = fit.inharmonicity_sd, abs(fit.inharmonicity - guess.inharmonicity)
    was_good = off <= CLEAR_SIGMAS * math.hypot(sd, guess.stiffness)
    if fit.partials < LEAST_TELLING_STIFFNESS or (sd >= guess.stiffness and was_good):
        return guess._replace(hz=fit.hz, cents=cents)  # few partials say nothing of stiffness
    return Guess(fit.hz, fit.inharmonicity, cents, max(3 * sd, guess.stiffness / 10))


def _listen(
    x: Floats, rate_hz: float, guess: Guess, numbers: Floats, size: int, windows_a_length: int
) -> Heard:
    step = max(1, min(size // windows_a_length, (x.size - size) // 3))
    hz, inharmonicity = guess.hz, guess.inharmonicity
    frequencies = partial_frequencies(hz, inharmonicity, numbers)
    between = half_way(hz, inharmonicity, numbers)
    windows = Windows(np.concatenate((frequencies, between)), rate_hz, size)
    rows = windows.rows(windows.hear(x, step), numbers.size, step)
    return Heard(numbers, frequencies, rows, step / rate_hz, size / rate_hz)


@lru_cache(maxsize=256)
def _times(count: int) -> Floats:
    """Rows 1, n and n^2 for n < count."""
    n = np.arange(float(count))
    return np.stack((np.ones(count), n, n * n))


def fit_heard(heard: Heard) -> Fit | None:
    """The pitch from what the windows heard; None where no partial stands out."""
    rows, tonal, beside = partials_heard(heard)
    return solve(rows, tonal, beside) if rows else None


Row = tuple[float, float, float]  # partial number, its frequency in Hz, one standard deviation


class Partials(NamedTuple):
    """The partials that stand out from the noise, `Fit.tonal` and `Fit.beside`."""

    rows: list[Row]
    tonal: float
    beside: float


def partials_heard(heard: Heard) -> Partials:
    """What the windows tell of each partial, and of what is between them."""
    k, windows = heard.numbers.size, len(heard.rows)
    times = _times(windows)
    columns = heard.rows[:, : 3 * k + 2]
    total, first, second = plain(times @ columns)
    told = total[2 * k + 1]
    beside = [power / told for power in total[k : 2 * k + 1]]
    noise = [0.5 * (low + high) + LEAST_NOISE for low, high in pairwise(beside)]
    enough = LEAST_SNR * windows
    floors = [enough * n for n in noise]
    # What a partial that has died away leaves is noise, whose phase says nothing.
    faintest = plain(np.minimum.reduce(heard.power))
    if any(map(le, faintest, [LEAST_WINDOW_SNR * n for n in noise])):
        weight = _alive(columns[:, :k], np.array(noise), heard.whole)
        total, first, second = plain(times @ _weighted(columns, weight))
        if heard.whole:  # in a reading what dies is a drum more often than a partial
            counted = np.maximum(1.0, weight.sum(axis=0))
            floors = plain(LEAST_SNR * counted * np.array(noise))
    # Overlapping windows share their noise: a window is worth step / (length / bandwidth).
    worth = min(1.0, heard.step_s * HANN_NOISE_BANDWIDTH / heard.window_s)
    hertz = 1 / (2 * math.pi * heard.step_s)
    rows = []
    sums = total, first, second, total[2 * k + 2 :], first[2 * k + 2 :]
    known = plain(heard.numbers), plain(heard.frequencies_hz), noise, floors
    for number, f, n, floor, power, moment, square, phase, turn in zip(*known, *sums, strict=False):
        if power > floor:
            centre = moment / power
            spread = square - centre * moment
            if spread <= ROUNDING * square:  # digital silence but for one window: no slope
                continue
            slope = (turn - centre * phase) / spread
            rows.append((number, f + slope * hertz, hertz * math.sqrt(n / (2 * worth * spread))))
    loud, between = sum(total[:k]) / windows, sum(beside)
    return Partials(rows, loud / (loud + between), between / len(beside))


def _alive(power: Floats, noise: Floats, whole: bool) -> Floats:
    """How much each window counts for each partial, of their `power`, shape (windows, k).

    Next to nothing where the partial has died away.
    """
    clear = power > LEAST_WINDOW_SNR * noise
    if whole:
        # Of the windows after it one in fifty is louder than that by chance, and its phase is any.
        clear = np.logical_and.accumulate(clear) | (power > LEAST_SNR * noise)
    weight: Floats = clear + NEXT_TO_NOTHING
    return weight


def _weighted(columns: Floats, weight: Floats) -> Floats:
    """`columns` of rows, those of partials as much as each counts."""
    k = weight.shape[1]
    kept = columns.copy()
    kept[:, :k] *= weight
    kept[:, 2 * k + 2 :] *= weight
    return kept


def solve(partials: list[Row], tonal: float, beside: float = 0.0) -> Fit | None:
    """Weighted least squares of (f/k)^2 on k^2.

    What is known of strings beforehand counts too: B is near zero to within
    `most_stretched`. Partials further than OUTLIER_SIGMAS from the fit, by the
    spread of the others, leave one by one. Plain numbers: for a dozen of
    them arrays would take longer.
    """
    number, frequency, _ = partials[len(partials) // 2]
    scale = frequency / number
    finest = 0.25 / (SMALLEST_SIGMA * SMALLEST_SIGMA)
    rows = []
    for k, f, sd in partials:  # (f / k)^2, in units of scale^2, and one over its variance
        unit = k * scale
        ratio = f / unit
        weight = 0.25 * unit * unit / (sd * sd) if sd > SMALLEST_SIGMA * unit else finest
        rows.append((k * k, ratio * ratio - 1, weight))
    prior = (2 / most_stretched(scale)) ** 2
    while True:
        level, curve, level_variance, curve_variance = _line(rows, prior)
        squares = [w * (y - level - curve * x) ** 2 for x, y, w in rows]
        if len(rows) <= 2:
            break
        worst = max(squares)
        if worst <= OUTLIER_SIGMAS * OUTLIER_SIGMAS:
            break
        median = sorted(squares)[len(squares) // 2]
        if worst <= (1.5 * OUTLIER_SIGMAS) ** 2 * median:
            break
        del rows[squares.index(worst)]
    if level <= -0.5:
        return None
    square = 1 + level + curve  # F^2 (1 + B) in units of scale^2
    spread = _spread(squares)
    return Fit(
        scale * math.sqrt(square),
        max(0.0, curve / (1 + level)),
        CENTS * math.sqrt(level_variance) * spread / (2 * square),
        len(rows),
        tonal,
        math.sqrt(curve_variance) * spread / (1 + level),
        beside,
    )


def _spread(squares: list[float]) -> float:
    """By how much the partials disagree more (or less) than the noise beside them says.

    Root of chi-squared per degree of freedom, the noise's own word counting
    as TRUSTED_PARTIALS degrees more.
    """
    freedom = max(0, len(squares) - 2)
    return math.sqrt((sum(squares) + TRUSTED_PARTIALS) / (freedom + TRUSTED_PARTIALS))


def _line(
    rows: list[tuple[float, float, float]], prior: float
) -> tuple[float, float, float, float]:
    """Weighted straight line y = level + curve x, `prior` the weight of curve = 0.

    `rows` are x, y and weight. Returns level, curve and the variances of
    level + curve and of curve.
    """
    a = b = p = q = 0.0
    d = prior
    for x, y, w in rows:
        wx = w * x
        a += w
        b += wx
        d += wx * x
        p += w * y
        q += wx * y
    determinant = a * d - b * b
    level, curve = (d * p - b * q) / determinant, (a * q - b * p) / determinant
    return level, curve, (d - 2 * b + a) / determinant, a / determinant
