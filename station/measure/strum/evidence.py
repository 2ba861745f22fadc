"""Was a string struck, or do other strings' partials stand at its places?

Three kinds of evidence, for a string whose pitch is known if it sounds at all:

Its own places. Partials no other string comes near are there or are not. A string that was
struck has most of them, and they ring; one that others make ring along is weak there.

Two in one place. Where its partials stand within some hertz of others', the sound is fitted
without it: if it was struck, much more is left, for two partials beat and one does not.

Loudness. Where they cannot be told apart at all, as in tune they often cannot, the other
string's partial would have to be louder than its neighbours on that string let expect.

Limits were read off mixes of single recordings other than those the tests use.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from station.measure.strum.joint import REACH_BINS, Lines, chosen, fit_lines, neighbours
from station.measure.strum.model import OWN_PARTIALS, THERE_SNR, Model, again, without
from station.measure.windows import Floats

LOOKED_AT = 8  # partials
OWN_TURNS = 2.2  # over the whole sound, between a partial and others', to be its own
SAME_TURNS = 3.6  # nearer than this two may be one
CLEAN_TURNS = 2.8
THERE_SNR_DB = 12.0
WEAKEST_DB = -38.0  # against the loudest string's partials
BEATING_DB, BEATING_OVER_DB = -30.0, 3.0  # the same, and against what it leaves unexplained
OWN_ENOUGH = 1.2  # of weight 1 / sqrt(k)
OWN_PLENTY = 2.0
OWN_SURE, OWN_NONE = 0.7, 0.2
OWN_WORTH, OWN_HALF = 8.0, 0.48
LEFT_WORTH, LEFT_HALF_DB, LEFT_LEAST_DB, LEFT_MOST_DB = 0.4, 5.0, 2.5, 20.0
LOUD_WORTH, LOUD_HALF_DB, LOUD_MOST_DB = 0.35, 7.5, 20.0
SLOPE_DB = -9.0  # an octave, of a string's partials, where it cannot be seen
SLOPE_WEIGHT = 0.5
NEAR_OCTAVES = 0.6
STROKE_DECAY, STROKE_TIMES = 6.0, 4.0
STRONG_SHARE = 10**-2.5  # of the power of a string's loudest partial
TINY = 1e-14


class Evidence(NamedTuple):
    """`own`: the share of a string's own places where it sounds, and their weight.

    `left_db`: how much less is left with the string than without it, median over the places it
    shares; `louder_db`: how much louder these are than the others let expect, the mean; of
    `shared` places. `score` is above 0 for a string that sounds.
    """

    own: float
    own_weight: float
    left_db: float
    louder_db: float
    shared: int
    score: float


def energies(model: Model) -> Floats:
    """Mean square of each line over the time that was heard, shape (n,)."""
    return _energy(model.fitted.power, model.fitted.decay, float(model.channels.t[-1]))


def _energy(power: Floats, decay: Floats, seconds: float) -> Floats:
    both = 2 * decay * max(seconds, 1e-3)
    energy: Floats = power * -np.expm1(-both) / both
    return energy


def decided(model: Model) -> Model:
    """The model without the strings that do not sound.

    The least likely goes first, the others are asked again: what it stood for is theirs.
    """
    while model.voices:
        found = [evidence_for(model, number) for number in range(len(model.voices))]
        gone = _to_go(found)
        if not gone:
            break
        model = without(model, gone)
        if model.voices:
            model = again(model)
    return model


def evidence_for(model: Model, voice: int) -> Evidence:
    """What speaks for a voice of the model."""
    energy, apart = energies(model), _apart(model)
    own, weight = _own_places(model, voice, energy, apart)
    if weight >= OWN_ENOUGH and own >= OWN_SURE:
        return Evidence(own, weight, 0.0, 0.0, 0, OWN_WORTH * weight * (own - OWN_HALF))
    return _shared_places(model, voice, energy, apart, own, weight)


def _to_go(found: list[Evidence]) -> set[int]:
    hopeless = {
        number
        for number, each in enumerate(found)
        if each.own <= OWN_NONE
        and (each.own_weight >= OWN_PLENTY or (each.own_weight >= OWN_ENOUGH and each.score < 0))
    }
    if hopeless:
        return hopeless
    worst = min(range(len(found)), key=lambda number: found[number].score)
    return {worst} if found[worst].score < 0 else set()


def _apart(model: Model) -> Floats:
    """Each line's distance to the nearest of another string, in turns over the sound, (n,)."""
    lines = model.lines
    away = np.abs(lines.hz[:, None] - lines.hz[None, :])
    away[lines.string[:, None] == lines.string[None, :]] = np.inf
    apart: Floats = away.min(axis=1) * model.sound.seconds
    return apart


def _own_places(model: Model, voice: int, energy: Floats, apart: Floats) -> tuple[float, float]:
    lines, fitted = model.lines, model.fitted
    rows = model.of(voice, LOOKED_AT)
    # Higher up another string's partials may stand that are not looked for.
    rows = rows[(apart[rows] > OWN_TURNS) & (lines.hz[rows] < _everybody_reaches(model))]
    if not rows.size:
        return 0.0, 0.0
    level_db = 10 * np.log10(energy[rows] / _loudest(model, energy) + TINY)
    snr_db = 10 * np.log10(fitted.power[rows] / (fitted.power_sd[rows] + 1e-30) + TINY)
    # Two strings of one course, or two directions of swing, are no single decaying sinusoid.
    over_db = 10 * np.log10(energy[rows] / (fitted.left[rows] + 1e-30) + TINY)
    there = (level_db > WEAKEST_DB) & (snr_db > THERE_SNR_DB)
    there |= (level_db > BEATING_DB) & (over_db > BEATING_OVER_DB)
    there &= fitted.decay[rows] < _fastest(model, energy)
    weight = 1 / np.sqrt(lines.number[rows])
    return float(weight @ there) / float(weight.sum()), float(weight.sum())


def _fastest(model: Model, energy: Floats) -> float:
    """The decay in 1/s beyond which it is a stroke's noise and not a string that rings.

    So many times the usual decay of the strings' own loudest partials.
    """
    usual = []
    for number in range(len(model.voices)):
        own = model.of(number, LOOKED_AT)
        loudest = own[np.argsort(energy[own])[-3:]]
        usual.append(float(np.median(model.fitted.decay[loudest])))
    return max(STROKE_DECAY, STROKE_TIMES * float(np.median(usual)))


def _everybody_reaches(model: Model) -> float:
    """The frequency in Hz below which every string's partials are all among the lines."""
    reached = []
    for number in range(len(model.voices)):
        last = model.of(number)[-1]
        reached.append(float(model.lines.hz[last] * (1 + 1 / model.lines.number[last])))
    return min(reached, default=0.0)


def _loudest(model: Model, energy: Floats) -> float:
    """The loudest string's two loudest low partials, their mean."""
    best = TINY
    for number in range(len(model.voices)):
        own = np.sort(energy[model.of(number, 6)])[-2:]
        best = max(best, float(own.mean()) if own.size else 0.0)
    return best


def _shared_places(
    model: Model, voice: int, energy: Floats, apart: Floats, own: float, weight: float
) -> Evidence:
    lines = model.lines
    rows = model.of(voice, LOOKED_AT)
    away = np.abs(lines.hz[rows][:, None] - lines.hz[None, :]) * model.sound.seconds
    away[:, lines.string == voice] = np.inf
    shared = np.flatnonzero((away < SAME_TURNS).any(axis=0))
    left: list[float] = []
    louder: list[float] = []
    if shared.size:
        left_without, energy_without = _fit_without(model, voice, shared)
        fastest = _fastest(model, energy)
        usual_misfit = _usual_misfit(model, energy, apart)
        loud = np.square(np.abs(model.channels.z[shared])).mean(axis=1)
        place = {int(line): at for at, line in enumerate(shared)}
        for row in range(rows.size):
            twins = [int(line) for line in np.flatnonzero(away[row] < SAME_TURNS)]
            expected = [_let_expect(model, line, energy, apart) for line in twins]
            if not twins or any(each is None for each in expected):
                continue
            at = [place[line] for line in twins]
            usual = float(usual_misfit[lines.string[twins]].min())
            before = max(float(np.mean(model.fitted.left[twins])), usual * loud[at].mean())
            gain_db = 10 * float(np.log10((left_without[at].mean() + 1e-30) / (before + 1e-30)))
            left.append(gain_db if model.fitted.decay[rows[row]] < fastest else 0.0)
            wanted = sum(each for each in expected if each is not None)
            louder.append(10 * float(np.log10(energy_without[at].sum() / wanted + TINY)))
    score = OWN_WORTH * weight * (own - OWN_HALF)
    count = len(left)
    trust = count / (count + 2) / (1 + 2 * weight)
    left_db = float(np.median(left)) if left else 0.0
    louder_db = float(np.mean(louder)) if louder else 0.0
    if count:
        limited = min(max(left_db, LEFT_LEAST_DB), LEFT_MOST_DB)
        score += trust * LEFT_WORTH * (limited - LEFT_HALF_DB) * min(count, 4)
        score += trust * LOUD_WORTH * (min(louder_db, LOUD_MOST_DB) - LOUD_HALF_DB) * min(count, 4)
    return Evidence(own, weight, left_db, louder_db, count, score)


def _fit_without(model: Model, voice: int, shared: NDArray[np.intp]) -> tuple[Floats, Floats]:
    """What is left at the lines `shared` when `voice` is left out, and their energy, with it."""
    others = np.flatnonzero(model.lines.string != voice)
    lines: Lines = chosen(model.lines, others)
    rows = np.searchsorted(others, shared)
    near = neighbours(lines.hz, model.weight[others], REACH_BINS / model.channels.window_s)[rows]
    fitted = fit_lines(model.channels.of(shared), lines, near, rows)
    energy = _energy(fitted.power, fitted.decay, float(model.channels.t[-1])) + fitted.left
    return fitted.left, energy


def _usual_misfit(model: Model, energy: Floats, apart: Floats) -> Floats:
    """What share of its power each voice's strong partials leave where they stand clear, (v,).

    A string that beats with itself is not one decaying sinusoid anywhere. Of a string
    without such partials the least of the others' is believed.
    """
    fitted = model.fitted
    shares = np.full(len(model.voices), np.inf)
    for number in range(len(model.voices)):
        own = model.of(number, OWN_PARTIALS)
        own = own[apart[own] > CLEAN_TURNS]
        if not own.size:
            continue
        strong = own[energy[own] > STRONG_SHARE * float(energy[model.of(number)].max())]
        strong = strong[fitted.power[strong] > THERE_SNR * fitted.power_sd[strong]]
        if strong.size:
            left = fitted.left[strong]
            whole = left / np.maximum(fitted.misfit[strong], TINY)
            shares[number] = float(left.sum() / whole.sum())
    least = float(shares.min())
    return np.where(np.isfinite(shares), shares, least if np.isfinite(least) else 0.0)


def _let_expect(model: Model, line: int, energy: Floats, apart: Floats) -> float | None:
    """How loud a line would be by the other partials of its string that stand clear.

    A weighted line through their levels over the logarithm of their number.
    """
    lines = model.lines
    clean = (lines.string == lines.string[line]) & (apart > CLEAN_TURNS)
    clean[line] = False
    rows = np.flatnonzero(clean)
    if not rows.size:
        return None
    octaves = np.log2(lines.number[rows] / lines.number[line])
    level = 10 * np.log10(energy[rows] + TINY)
    weight = np.exp(-0.5 * np.square(octaves / NEAR_OCTAVES)) + 1e-6
    a, b = float(weight.sum()), float(weight @ octaves)
    d = float(weight @ octaves**2) + SLOPE_WEIGHT
    p, q = float(weight @ level), float((weight * octaves) @ level) + SLOPE_WEIGHT * SLOPE_DB
    return float(10 ** ((d * p - b * q) / (a * d - b * b) / 10))
