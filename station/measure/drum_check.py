"""Is a new sound a string, or a kick, a tom, a snare's body?

A drum's modes are no multiples of the first, and one of them may be all there is. A
string has several partials, each where the others say it must be: how unlikely that is
by chance are the odds that it is a string. One partial proves nothing by where it stands; a
tuning fork's, a plain tone's proves that it is no drum's by hardly falling.
"""

from __future__ import annotations

import math

import numpy as np

from station.measure.fit import CENTS, Fit, apart_cents, partials_heard, solve, window_size
from station.measure.hypothesis import most_stretched
from station.measure.windows import Floats, Heard, Windows, power_of

VAGUEST_CENTS = 5.0
LOUD_DB = 40.0
VAGUEST_FEW_CENTS = 3.0
LONE_FROM_HZ = 2000.0  # above it the second partial may be more than the decimator lets through
SKINS_BELOW_HZ = 400.0  # no head of a kit is tuned higher (common practice, no source)
# Odds as natural logarithms. A drum's modes and a string's partials lie by each other as chance
# will have it, so the odds are what they say: 1100 to 1, of which strokes and guesses by the
# hundred use up most; 55 to 1 is less than the 86 to 1 that two partials can give at best.
# Where to draw both lines was chosen on 24 seeded kits and the strings of one sound font.
SURE_PROOF = 7.0
LEAST_PROOF = 4.0
OWN_PROOF = 2.5
LEAST_SAID = -3.0  # one partial that a stroke or another string moved is not all
TRUE_CENTS = 2.0  # a real string's partials are off their place, too: chosen on one sound font
TELLING_DB = 20.0
FALLING_DB_S = 40.0  # a string of so few partials rings for a second and a half and more
# A head undamped rings for two or three seconds until it has fallen by 60 dB, a long kick or a
# floor tom for five (20 and 12 dB a second), a fork in the hand for twenty (3; common practice,
# no source). Twelve seconds are no drum's; where no head is tuned, five.
STEADY_DB_S = 5.0
STEADY_HIGH_DB_S = 12.0
STEADY_S = 0.5  # in which a drum's has fallen by more than these limits tell apart
SETTLED_S = 0.1  # after a stroke a kick has done most of its gliding
STRAIGHT_DB = 0.25  # rms beside the line: strokes that follow each other, two modes that beat
STRAIGHT_HIGH_DB = 3.0  # as far as a flute's tremolo goes
STEADY_WINDOW_S = 0.08
STEADY_STEPS = 12
ALONE = 0.7  # of all power: a drum's mode under a string, under another drum is not the sound
PRIMES = (2, 3, 5, 7)
OWN_CENTS = 2.5
OWN_SIGMAS = 4.0
SAME_CENTS = 0.5


def may_be_a_drum(heard: Heard, fit: Fit) -> bool:
    """Whether `fit`, from what the windows `heard`, is too vague to be surely a string's."""
    if fit.uncertainty_cents > VAGUEST_CENTS:
        return True
    proofs = _proofs(heard, fit)
    if fit.hz >= LONE_FROM_HZ and heard.numbers.size == 1:
        return fit.uncertainty_cents > VAGUEST_FEW_CENTS
    if not _more_than_a_multiple(heard, proofs):
        return True
    # The best one was needed to know the pitch at all, something of the others to know how stiff.
    proof = sum(proofs.values()) - max(proofs.values(), default=0.0)
    if fit.hz < LONE_FROM_HZ:
        proof -= _spent_on_stiffness(fit.hz, [k for k, odds in proofs.items() if odds > 0])
    if proof >= SURE_PROOF:
        return False
    vague = proof < LEAST_PROOF or fit.uncertainty_cents > VAGUEST_FEW_CENTS
    return vague or (fit.hz < SKINS_BELOW_HZ and _falls_db_s(heard) > FALLING_DB_S)


def steady_as_no_drum(x: Floats, rate_hz: float, fit: Fit) -> bool:
    """Whether the first partial of `fit` is nearly all of `x`, shape (n,), and hardly falls.

    Its power by window is a straight line in decibels, flatter than any drum's.
    """
    if fit.uncertainty_cents > VAGUEST_FEW_CENTS:
        return False
    size = window_size(x.size, rate_hz, fit.hz, STEADY_WINDOW_S)
    step = (x.size - size) // STEADY_STEPS
    if step < 1:
        return False
    sound = (x - x.mean()).astype(np.float32)
    # A line of amplitude 1 is heard as 1, its power is a half.
    power = 0.5 * power_of(Windows(np.array([fit.hz]), rate_hz, size).hear(sound, step))[:, 0]
    if power.mean() < ALONE * float(np.square(sound, dtype=np.float64).mean()):
        return False
    level_db = 10 * np.log10(power)
    at_s = np.arange(power.size) * step / rate_hz
    slope, level = np.polyfit(at_s, level_db, 1)
    beside_db = float((level_db - slope * at_s - level).std())
    if fit.hz < SKINS_BELOW_HZ:
        return abs(float(slope)) < STEADY_DB_S and beside_db < STRAIGHT_DB
    return abs(float(slope)) < STEADY_HIGH_DB_S and beside_db < STRAIGHT_HIGH_DB


def _proofs(heard: Heard, fit: Fit) -> dict[int, float]:
    """For each loud partial, the logarithm of the odds that it is a string's, by where it stands.

    A string's stands where the fit says, within its own uncertainty and TRUE_CENTS; any other
    line with equal chance anywhere within a quarter of the fundamental from there.
    """
    rows = partials_heard(heard).rows
    power = heard.power.mean(axis=0)
    least = float(power.max()) * 10 ** (-LOUD_DB / 10)
    proofs = {}
    for number, hz, sd_hz in rows:
        if power[int(number) - 1] < least:
            continue
        stretch = (1 + fit.inharmonicity * number**2) / (1 + fit.inharmonicity)
        expected_hz = fit.hz * number * math.sqrt(stretch)
        sigma = math.hypot(CENTS * sd_hz / expected_hz, TRUE_CENTS)
        off = CENTS * math.log(hz / expected_hz) / sigma
        odds = CENTS / (2 * number) / (math.sqrt(2 * math.pi) * sigma)
        proofs[int(number)] = max(LEAST_SAID, math.log(odds) - off * off / 2)
    return proofs


def _spent_on_stiffness(hz: float, numbers: list[int]) -> float:
    """By how much stiffness, free up to `most_stretched`, makes the odds of partials look better.

    The logarithm of how many times narrower partials within TRUE_CENTS leave it (the Occam
    factor: MacKay 2003, Information Theory, Inference, and Learning Algorithms, ch. 28).
    """
    squares = [number * number for number in numbers]
    mean = sum(squares) / max(1, len(squares))
    spread = sum((square - mean) ** 2 for square in squares)
    # Stiffness B raises partial k by CENTS B k^2 / 2.
    widest_cents = CENTS * most_stretched(hz) / 2
    times = widest_cents * math.sqrt(spread / (2 * math.pi)) / TRUE_CENTS
    return math.log(max(1.0, times))


def _more_than_a_multiple(heard: Heard, proofs: dict[int, float]) -> bool:
    """Whether partials besides the first prove the pitch that are no multiples of one prime.

    A drum's one partial may lie below a string at a half, a third of its pitch by chance.
    """
    numbers = [int(number) for number, _, _ in partials_heard(heard).rows]
    for prime in PRIMES:
        if sum(number % prime == 0 for number in numbers) < 2:
            continue
        if sum(odds for k, odds in proofs.items() if k > 1 and k % prime) < OWN_PROOF:
            return False
    return True


def stands_alone_below(heard: Heard) -> bool:
    """Whether the pitch heard is more than the common measure of a higher string and a drum.

    For every prime m the partials that are no multiples of m must by themselves
    tell the same pitch: those of a string do; a kick below a string that rings on
    is at best a vague first partial under exact multiples.
    """
    rows, tonal, _ = partials_heard(heard)
    whole = solve(list(rows), tonal) if rows else None
    if whole is None:
        return False
    for prime in PRIMES:
        own = [row for row in rows if row[0] % prime]
        if len(own) == len(rows):
            continue
        part = solve(own, tonal) if own else None
        if part is None or part.uncertainty_cents > OWN_CENTS:
            return False
        if apart_cents(part.hz, whole.hz) > SAME_CENTS + OWN_SIGMAS * part.uncertainty_cents:
            return False
    return True


def _falls_db_s(heard: Heard) -> float:
    """How fast the fastest of the loud partials dies away, from the first window to the last."""
    loud = heard.power[0] > heard.power[0].max() * 10 ** (-TELLING_DB / 10)
    first, last = heard.power[0, loud], heard.power[-1, loud]
    fallen_db = 10 * math.log10(float((first / last).max()))
    return fallen_db / ((len(heard.power) - 1) * heard.step_s)
