"""Every string's course of offsets in time, fitted to all notes of one player at once.

A note's deviation is the string's offset at that time, plus an error of its pitch (fret and
hand), plus what pressing adds to all fretted notes, plus what is left of the pluck's glide, the
more the shorter the note. Which string it was played on is not known: this is expectation
maximisation (Dempster, Laird & Rubin 1977) of a mixture over the strings that have the pitch,
with outliers (bends that came before their stroke, wrong notes) spread evenly; its second step
is a linear least-squares fit. Strings drift little by little, and now and then slip: the steps
of their courses have the heavy tails of Student's t, fitted by reweighting (Lange, Little &
Taylor 1989, Robust statistical modeling using the t distribution). A mixture has several maxima;
so slips that would explain what was left unexplained are tried (`proposals`), and maxima that are
nearly as good make the result less sure.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from typing import NamedTuple

import numpy as np

from station.measure.rehearsal.heard import (
    GLIDE_CENTS,
    GLIDE_SD,
    Segment,
    StringDrift,
    Strings,
    Tuned,
)
from station.measure.rehearsal.layout import Floats, Layout, sums
from station.measure.windows import plain

PRESS_CENTS, PRESS_SD = 2.5, 2.5  # a fretted note is sharp by a few cents
PLACE_SD = 1.3  # and each fret by its own
START_CENTS = 4.0  # how far off a string may be that nobody has heard tuned
TUNED_CENTS = 0.5  # a tuned string may differ from what was heard of it then
STUDENT = 2.0  # degrees of freedom
ROUNDS, FEW_ROUNDS, GLANCE_ROUNDS = 12, 6, 2
FIRST_SIGMA, MOST_SIGMA = 6.0, 12.0
LEAST_OPEN, LEAST_FRETTED = 0.4, 1.0  # cents: no hand presses twice alike
MOST_OPEN = 0.6  # no hand is on an open string: what scatters more are fretted notes taken for it
OUTLIERS = 0.08
RANGE_CENTS = 100.0  # over which outliers lie evenly
FEW = 4.0  # notes
HABIT = 8.0  # notes' worth of what is usual against what was found

TRIED = 8  # slips tried in one go
TURNS = 6
PROMISING = 3  # of those tried, after a glance at each
LEAST_GAIN = 2.0  # logarithm of the odds
SLIP_CENTS = 2.5
SLIPS_CENTS: Floats = np.arange(-32.0, 33.0)
WIDER = 1.4  # than the notes' scatter, while a slip's size is known to a cent only
AGREE_CENTS = 3.0
AS_GOOD = 6.0  # natural logarithm of odds: a maximum so much worse no longer counts


class Scatter(NamedTuple):
    """Standard deviations in cents: of an open string's notes, and of fretted ones."""

    open: float
    fretted: float


class Solution(NamedTuple):
    """`values` of the unknowns, the scatter of open notes and of fretted ones in cents, log of
    the posterior.
    """

    values: Floats
    sigma: Scatter
    prior: Floats
    log: float


RESUMED = Scatter(1.0, 2.0)


class Courses(NamedTuple):
    """Where every string was when, in cents, and what pressing adds: a fit to go on from."""

    courses: Mapping[int, tuple[Floats, Floats]]  # by string: times and offsets
    press_cents: float


def fitted(
    strings: Strings,
    segments: Sequence[Segment],
    tuned: Sequence[Tuned],
    glide: tuple[float, float] = (GLIDE_CENTS, GLIDE_SD),
    before: Courses | None = None,
) -> tuple[list[StringDrift], Courses]:
    """The drift of every string since it was tuned last.

    `glide` is how far the player's plucks glide in cents, and one standard deviation; `before`
    what came out when fewer notes were known. That is one of the places from which the best
    explanation is looked for; where it is not the best it is forgotten.
    """
    fit = _Fit(Layout(strings, segments, tuned), glide, before)
    best, rivals = fit.best()
    return fit.told(best, rivals), fit.courses(best)


class _Fit:
    def __init__(
        self, layout: Layout, glide: tuple[float, float], before: Courses | None = None
    ) -> None:
        self._lay = layout
        self._glide_cents, self._glide_sd = glide
        self._before = before

    def best(self) -> tuple[Solution, list[Solution]]:
        """The best explanation, and all that are nearly as good, itself included."""
        best = self._climb(
            self._start(), Scatter(FIRST_SIGMA, FIRST_SIGMA), self._lay.usual, ROUNDS
        )
        if self._before is not None:
            going_on = self._climb(self._resumed(self._before), RESUMED, self._lay.usual, ROUNDS)
            best = max(best, going_on, key=lambda each: each.log)
        found = [best]
        for _ in range(TURNS):
            tried = [
                self._climb(values, best.sigma, self._lay.usual, GLANCE_ROUNDS)
                for values in self._proposals(best)
            ]
            tried.sort(key=lambda each: -each.log)
            tried = [
                self._climb(each.values, each.sigma, self._lay.usual, FEW_ROUNDS)
                for each in tried[:PROMISING]
            ]
            found += tried
            better = max(tried, key=lambda each: each.log, default=best)
            if better.log <= best.log + 0.1:
                break
            best = better
        best = max(found, key=lambda each: each.log)
        return best, [each for each in found if each.log > best.log - AS_GOOD]

    def courses(self, best: Solution) -> Courses:
        """What the next fit may go on from."""
        times, total = np.array(self._lay.times), self._lay.total(best.values)
        found = {number: (times[knots], total[knots]) for number, knots in self._knots()}
        return Courses(found, float(best.values[-2]))

    def _knots(self) -> Iterator[tuple[int, slice]]:
        """Each string's number and its knots, the last one now."""
        first = 0
        for number, now in zip(self._lay.numbers, self._lay.now, strict=True):
            yield number, slice(first, now + 1)
            first = now + 1

    def _resumed(self, before: Courses) -> Floats:
        """Every knot where its string was; of strings tuned since, where they were tuned to."""
        lay, values, times = self._lay, self._start(), np.array(self._lay.times)
        tuned = dict(zip(plain(lay.tuned_knots), plain(lay.tuned_cents), strict=True))
        for base, (number, knots) in zip(lay.base, self._knots(), strict=True):
            if number not in before.courses:
                continue
            values[knots] = np.interp(times[knots], *before.courses[number])
            if times[base] > before.courses[number][0][-1]:
                values[base : knots.stop] = tuned.get(base, 0.0)
        values[-2] = before.press_cents
        return values

    # -- climbing to a maximum -----------------------------------------------------------

    def _start(self) -> Floats:
        values = np.zeros(self._lay.core + self._lay.places)
        values[-2:] = PRESS_CENTS, self._glide_cents
        return values

    def _climb(self, values: Floats, sigma: Scatter, prior: Floats, rounds: int) -> Solution:
        steps = self._step_weights(values)
        share, _ = self._share(values, sigma, prior)
        for turn in range(rounds):
            values, _ = self._least_squares(share, sigma, steps)
            sigma = self._scatter(values, share, sigma)
            steps = self._step_weights(values)
            if turn > 2 or rounds < ROUNDS:
                prior = self._habits(share)
            share, _ = self._share(values, sigma, prior)
        return Solution(values, sigma, prior, self._log(values, sigma, prior))

    def _scatter(self, values: Floats, share: Floats, before: Scatter) -> Scatter:
        """How far the notes scatter about the courses; never more than before."""
        square = share * self._residual(values) ** 2
        fretted = share @ self._lay.fretted
        of_fretted = float(square @ self._lay.fretted)
        of_open = float(square.sum()) - of_fretted
        # As many notes as it takes to tell are taken to scatter as they are known to.
        spread = (
            (of_open + FEW * LEAST_OPEN**2) / (float(share.sum() - fretted) + FEW),
            (of_fretted + FEW * LEAST_FRETTED**2) / (float(fretted) + FEW),
        )
        # The first round's courses are anybody's guess; later ones are held to what is known.
        most_open = MOST_SIGMA if before.open >= FIRST_SIGMA else MOST_OPEN
        return Scatter(
            min(max(math.sqrt(spread[0]), LEAST_OPEN), most_open, max(LEAST_OPEN, before.open)),
            min(max(math.sqrt(spread[1]), LEAST_FRETTED), MOST_SIGMA, before.fretted),
        )

    def _variance(self, sigma: Scatter) -> Floats:
        lay = self._lay
        out: Floats = lay.variance + np.where(lay.fretted > 0, sigma.fretted**2, sigma.open**2)
        return out

    def _residual(self, values: Floats) -> Floats:
        out: Floats = self._lay.off - self._lay.predicted(values)
        return out

    def _fits(self, values: Floats, sigma: Scatter, prior: Floats) -> Floats:
        variance = self._variance(sigma)
        fits: Floats = np.exp(-0.5 * self._residual(values) ** 2 / variance)
        out: Floats = fits * prior * (1.0 - OUTLIERS) / np.sqrt(2 * math.pi * variance)
        return out

    def _share(self, values: Floats, sigma: Scatter, prior: Floats) -> tuple[Floats, Floats]:
        """How probable each note is on each string; and that it is no outlier, for each note."""
        fits = self._fits(values, sigma, prior)
        inside = self._lay.over_strings(fits)
        whole = inside + OUTLIERS / RANGE_CENTS
        return fits / whole[self._lay.note], inside / whole

    def _habits(self, share: Floats) -> Floats:
        """On which string each pitch is played by this player."""
        lay = self._lay
        prior = HABIT * lay.usual + sums(lay.place, share, lay.places)[lay.place]
        # The same pitch has the same strings, so that one note's sum does for all of it.
        prior /= lay.over_strings(prior)[lay.note]
        return prior

    def _log(self, values: Floats, sigma: Scatter, prior: Floats) -> float:
        lay = self._lay
        inside = lay.over_strings(self._fits(values, sigma, prior))
        log = float(np.log(inside + OUTLIERS / RANGE_CENTS)[lay.possible_notes].sum())
        # The habits follow the notes; what they cost is a Dirichlet prior about what is usual.
        log += HABIT * lay.habit_log(prior)
        step = lay.steps(values)
        step = np.concatenate((step, lay.shared_steps(values)))
        log -= 0.5 * (STUDENT + 1.0) * float(np.log1p(step**2 / STUDENT).sum())
        log -= 0.5 * float(((values[lay.courses : -2] / PLACE_SD) ** 2).sum())
        log -= 0.5 * ((float(values[-1]) - self._glide_cents) / self._glide_sd) ** 2
        log -= 0.5 * ((float(values[-2]) - PRESS_CENTS) / PRESS_SD) ** 2
        log -= 0.5 * float(((values[lay.firsts] / START_CENTS) ** 2).sum())
        off = lay.total(values)[lay.tuned_knots] - lay.tuned_cents
        return log - 0.5 * float((off**2 / (TUNED_CENTS**2 + lay.tuned_variance)).sum())

    def _least_squares(
        self, share: Floats, sigma: Scatter, steps: tuple[Floats, Floats]
    ) -> tuple[Floats, Floats]:
        """Unknowns, and the inverse covariance of all but the frets' own errors."""
        lay = self._lay
        matrix, right, between, frets, frets_right = lay.normal(share / self._variance(sigma))
        diagonal = np.einsum("ii->i", matrix)
        diagonal[-2] += PRESS_SD**-2
        right[-2] += PRESS_CENTS * PRESS_SD**-2
        diagonal[-1] += self._glide_sd**-2
        right[-1] += self._glide_cents * self._glide_sd**-2
        diagonal[lay.firsts] += START_CENTS**-2
        weight = 1.0 / (TUNED_CENTS**2 + lay.tuned_variance)
        lay.add_tunings(matrix, right, weight)
        lay.add_links(matrix, *steps)
        # The frets' errors are eliminated: Schur's complement, of which they are the diagonal part.
        frets = frets + PLACE_SD**-2
        eased = between / frets
        matrix -= eased @ between.T
        core: Floats = np.linalg.solve(matrix, right - eased @ frets_right)
        errors = (frets_right - core @ between) / frets
        return np.concatenate((core[:-2], errors, core[-2:])), matrix

    def _step_weights(self, values: Floats) -> tuple[Floats, Floats]:
        """Of the strings' own steps, and of those all take together."""
        both = self._lay.steps(values), self._lay.shared_steps(values)
        own, shared = ((STUDENT + 1.0) / (STUDENT + step**2) for step in both)
        return own, shared

    # -- other maxima ----------------------------------------------------------------------

    def _proposals(self, best: Solution) -> list[Floats]:
        """Slips that might explain more: of one string, or exchanged between two."""
        slips = []
        sigma = Scatter(*(WIDER * each for each in best.sigma))
        fits = self._fits(best.values, sigma, self._lay.usual)
        whole = self._lay.over_strings(fits) + OUTLIERS / RANGE_CENTS
        for string in range(self._lay.strings):
            slips += self._slips_of(string, best.values, sigma, fits, whole)
        slips.sort(reverse=True)
        out = [
            self._slipped(best.values, string, segment, cents)
            for _, string, segment, cents in slips[:TRIED]
        ]
        return out + self._exchanged(best.values)

    def _slips_of(
        self, string: int, values: Floats, sigma: Scatter, fits: Floats, whole: Floats
    ) -> list[tuple[float, int, int, float]]:
        """The likeliest slips of a string: logarithm of the odds won, string, since when, cents.

        Everything else as it is, the string's course is shifted from each segment on.
        """
        lay = self._lay
        pairs = np.flatnonzero((lay.string == string) & (lay.segment >= lay.since_base[string]))
        if not pairs.size:
            return []
        variance = self._variance(sigma)[pairs, None]
        shifted = (lay.off - lay.predicted(values))[pairs, None] - SLIPS_CENTS
        likely = np.exp(-0.5 * shifted**2 / variance) / np.sqrt(2 * math.pi * variance)
        likely *= ((1.0 - OUTLIERS) * lay.usual[pairs])[:, None]
        before = whole[lay.note[pairs]][:, None]
        won = np.log((before - fits[pairs, None] + likely) / before)
        by_segment = np.zeros((lay.segments, SLIPS_CENTS.size))
        np.add.at(by_segment, lay.segment[pairs], won)
        gain = by_segment[::-1].cumsum(axis=0)[::-1]
        gain[:, np.abs(SLIPS_CENTS) < SLIP_CENTS] = 0.0
        gain[: lay.since_base[string]] = 0.0
        out = []
        for _ in range(2):
            segment, shift = (int(i) for i in np.unravel_index(gain.argmax(), gain.shape))
            if gain[segment, shift] < LEAST_GAIN:
                break
            cents = float(SLIPS_CENTS[shift])
            out.append((float(gain[segment, shift]), string, segment, cents))
            gain[:, np.abs(SLIPS_CENTS - cents) < 5.0] = 0.0
        return out

    def _slipped(self, values: Floats, string: int, segment: int, cents: float) -> Floats:
        out = values.copy()
        out[self._lay.course_from(string, segment)] += cents
        return out

    def _exchanged(self, values: Floats) -> list[Floats]:
        """What if a slip was not of this string but of the next?"""
        out = []
        for place, cents in self._lay.jumps(values, SLIP_CENTS):
            string, segment = place
            for other in (string - 1, string + 1):
                if 0 <= other < self._lay.strings:
                    without = self._slipped(values, string, segment, -cents)
                    out.append(self._slipped(without, other, segment, cents))
                    out.append(self._lay.swapped(values, string, other, segment))
        return out[: 2 * TRIED]

    # -- telling -----------------------------------------------------------------------------

    def told(self, best: Solution, near: Sequence[Solution]) -> list[StringDrift]:
        lay = self._lay
        share, _ = self._share(best.values, best.sigma, best.prior)
        # A note of which it is not known on which string it was played tells less of any.
        sure = share / np.maximum(lay.over_strings(share), 1e-9)[lay.note]
        steps = self._step_weights(best.values)
        _, matrix = self._least_squares(share * sure, best.sigma, steps)
        covariance: Floats = np.linalg.inv(matrix)
        drifts = lay.drift_covariance(covariance)
        off_diagonal = (float(drifts.sum()) - float(np.trace(drifts))) / max(
            1, lay.strings * (lay.strings - 1)
        )
        shared = math.sqrt(max(0.0, off_diagonal))
        odds = np.exp(np.array([each.log - best.log for each in near]))
        odds /= _alike(near, lay)
        odds /= odds.sum()
        totals = np.array([lay.total(each.values) for each in near])
        now, base = np.array(lay.now), np.array(lay.base)
        drift = totals[:, now] - totals[:, base]
        told = []
        for place, number in enumerate(lay.numbers):
            kept, doubt = _likeliest(drift[:, place], odds)
            mean = float(kept @ drift[:, place])
            between = float(kept @ (drift[:, place] - mean) ** 2)
            sd = math.sqrt(max(0.0, float(drifts[place, place])) + between)
            notes = float(share[lay.newest & (lay.string == place)].sum())
            offset = float(kept @ totals[:, now[place]])
            since_s = lay.times[lay.base[place]]
            told.append(
                StringDrift(number, mean, sd, offset, notes, since_s, doubt, min(shared, sd))
            )
        return told


def _likeliest(cents: Floats, odds: Floats) -> tuple[Floats, float]:
    """Weights of the solutions that agree on the likeliest value; how probable the others are."""
    agree = np.abs(cents[:, None] - cents[None, :]) < AGREE_CENTS
    party = agree[int((agree @ odds).argmax())]
    kept: Floats = np.where(party, odds, 0.0)
    whole = float(kept.sum())
    return kept / whole, min(1.0, max(0.0, 1.0 - whole))


def _alike(near: Sequence[Solution], lay: Layout) -> Floats:
    """How often each solution was found: climbs that end at one maximum count once."""
    ends = np.array([lay.total(each.values)[lay.now] for each in near])
    apart = np.abs(ends[:, None, :] - ends[None, :, :]).max(axis=2)
    out: Floats = (apart < 1.0).sum(axis=1).astype(np.float64)
    return out
