"""What is known of a head's lugs, from pass to pass: their tensions, and what a turn does.

Tension goes as the square of the frequency, so a lug's tension is told in Hz squared: that of
the (1,1) pair as if all lugs were as tight as this one. A lug's pull grows evenly with the
turns (the film is elastic), so what a turn does is Hz squared per turn and holds while the pitch
changes. Both are unknown, both enter linearly into what is heard, and all is kept as one mean
and covariance, renewed by every pass and every turn (R. E. Kalman 1960): what a turn was heard
to do makes the next one surer, and what earlier passes told is not forgotten.

Of a drum not known yet a whole turn at one lug is taken to raise its tension by FIRST_RESPONSE
times the head's, within a factor of two either way. That a quarter turn at all lugs raises a head
by a tone or so (common practice, no source) makes it 1; an estimate from the film's stiffness
(polyester of 0.19 mm, E = 4.5 GPa, from memory, a thread of 24 to the inch, 12 inches) makes it
three, nothing giving way but the film. More than is likely is careful: it turns less.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from station.measure.drums.coupled import beyond
from station.measure.drums.families import Split
from station.measure.drums.farthest import DRAWS as LOTS
from station.measure.drums.farthest import Found, drawn, found, later
from station.measure.drums.rim import CENTS, family_rows, hoop, pair_means, pushed_apart

Floats = NDArray[np.floating[Any]]

PRIOR_CENTS = 45.0  # a lug off by 5 % of its tension
HOOP_DOUBT = 0.12  # of what a family tells: hoops differ
PUSHED_DOUBT = 0.5  # of what modes do to each other: the air sets how far apart they stand
LEAST_Z_CENTS = 0.2
LEAST_CENTRE_CENTS = 0.7
CREEP_CENTS = 0.7  # a lug moves that much by itself from pass to pass; invented in size

FIRST_RESPONSE = 1.5
FIRST_DOUBT = 0.6  # of it, the same for all lugs
LUG_DOUBT = 0.2  # of it, each lug for itself: threads, washers, friction
NEIGHBOURS = 0.1  # of a lug's own change is met at each lug beside it; invented in size
KEY_TURNS = 1.0 / 360.0  # how exactly a hand sets the key; invented in size
FIRST_TURNS = 1.0 / 16.0
"""The farthest a lug is turned before this drum's response is known: a sixteenth of a turn
(common practice, no source)."""
MOST_TURNS = 0.5  # at once, of a drum that is known (common practice, no source)
ALONE_TURNS = 4.0 * KEY_TURNS
"""Less than so much at each of two opposite lugs is turned at one of them, twice as far: where one
key misses what it is set to instead of two, the mean is missed by sqrt(2) less."""
DRAWS = 256
SUREST_ODDS = 5.0  # 150 to 1: a microphone may be moved between rounds
LEAST_SHARE = 0.1  # of what was assumed: no key does less


class Turn(NamedTuple):
    """A lug (from 1) was turned; clockwise, which tightens, is positive."""

    lug: int
    turns: float


@dataclass(frozen=True, slots=True)
class RimState:
    """Lugs' tensions and responses, (2 lugs,), Hz squared and Hz squared per turn; covariance.

    ``learned`` counts the passes that followed turns; ``still`` are the log odds that the
    microphone stands still; ``found`` what the first round told of the lugs.
    """

    mean: Floats
    covariance: Floats
    learned: int = 0
    turned: bool = False
    still: float = 0.0
    found: Found | None = None

    @classmethod
    def first(cls, lugs: int, overtone_hz: float) -> RimState:
        """What is assumed before the first tap of a head whose (1,1) stands at `overtone_hz`."""
        square = overtone_hz**2
        centring = np.eye(lugs) - 1.0 / lugs
        covariance = np.zeros((2 * lugs, 2 * lugs))
        covariance[:lugs, :lugs] = (centring * PRIOR_CENTS**2 + 1e4) * (square / CENTS) ** 2
        doubt = np.full((lugs, lugs), FIRST_DOUBT**2) + np.eye(lugs) * LUG_DOUBT**2
        own = FIRST_RESPONSE * square
        covariance[lugs:, lugs:] = doubt * own**2
        return cls(np.repeat([square, own], lugs), covariance)

    def anew(self) -> RimState:
        """The same drum another evening: what a turn does is known, how tight it is is not."""
        lugs = self.lugs
        first = RimState.first(lugs, self.overtone_hz())
        covariance = first.covariance.copy()
        covariance[lugs:, lugs:] = self.covariance[lugs:, lugs:]
        mean = np.concatenate([first.mean[:lugs], self.mean[lugs:]])
        return RimState(mean, covariance, self.learned)

    @property
    def lugs(self) -> int:
        return self.mean.size // 2

    def heard(self, splits: Sequence[Split]) -> RimState:
        """After a pass: the families' splits, (1,1) first.

        What other modes do to a pair depends on how a lug and its opposite differ, which is told by
        odds only: so it is heard once as if they did nothing, and again with what they do to all
        heads that are then possible.
        """
        return self._heard(splits, self._heard(splits, None).lots())

    def _heard(self, splits: Sequence[Split], lots: Floats | None) -> RimState:
        lugs, square = self.lugs, splits[0].centre_hz ** 2
        cents = max(splits[0].centre_cents, LEAST_CENTRE_CENTS)
        centre = np.concatenate([np.full((1, lugs), 1.0 / lugs), np.zeros((1, lugs))], axis=1)
        state = self._met(centre, np.array([square]), np.array([[(square * cents / CENTS) ** 2]]))
        told = []
        for split in splits:
            own = family_rows(split.order, lugs)
            rows = np.hstack([own, np.zeros((2, lugs))])
            pushed = pushed_apart(splits[0].z) if split.order == 2 else np.zeros(2)
            z = split.z - pushed
            doubt = HOOP_DOUBT**2 / hoop(2.0 * split.order / lugs) * float(z @ z)
            doubt += PUSHED_DOUBT**2 * float(pushed @ pushed)
            noise = split.covariance + np.eye(2) * (doubt + LEAST_Z_CENTS**2)
            if lots is not None:
                more = beyond(split.order, lots)
                expected = more.mean(axis=0)
                z = z - expected
                noise = noise + np.cov(more.T) + np.outer(expected, expected) * PUSHED_DOUBT**2
            state = state._met(rows * CENTS / square, z, noise)
            told.append((own, z, noise))
        # Nobody turned since: what was tapped anew counts, as whoever lost count wants it.
        kept = self.found is not None and self.found.turned
        first = self.found if kept else found(told)
        still = self.still + sum(each.still for each in splits)
        still = min(max(still, -SUREST_ODDS), SUREST_ODDS)
        return replace(
            state, learned=self.learned + self.turned, turned=False, still=still, found=first
        )

    def _met(self, rows: Floats, seen: Floats, noise: Floats) -> RimState:
        """The measurement `seen` = rows @ state, with its covariance `noise`."""
        gain = self.covariance @ rows.T @ np.linalg.inv(rows @ self.covariance @ rows.T + noise)
        mean = self.mean + gain @ (seen - rows @ self.mean)
        covariance = self.covariance - gain @ rows @ self.covariance
        responses = mean[self.lugs :]
        least = LEAST_SHARE * FIRST_RESPONSE * float(mean[: self.lugs].mean())
        mean = np.concatenate([mean[: self.lugs], np.maximum(responses, least)])
        return replace(self, mean=mean, covariance=(covariance + covariance.T) / 2.0)

    def after(self, made: Sequence[Turn]) -> RimState:
        """What is expected once these turns were made."""
        lugs = self.lugs
        turned, unsure = np.zeros(lugs), np.zeros(lugs)
        for lug, turns in made:
            turned[lug - 1] += turns
            unsure[lug - 1] += KEY_TURNS**2
        if not turned.any():
            return self
        step = np.eye(2 * lugs)
        step[:lugs, lugs:] = spread(lugs) @ np.diag(turned)
        covariance = step @ self.covariance @ step.T
        own = unsure * self.mean[lugs:] ** 2
        own += (CREEP_CENTS / CENTS * self.mean[:lugs]) ** 2
        covariance[:lugs, :lugs] += np.diag(own)
        first = None if self.found is None else replace(self.found, turned=True)
        mean = step @ self.mean
        return replace(self, mean=mean, covariance=covariance, turned=True, found=first)

    def cents(self) -> tuple[Floats, Floats, Floats]:
        """Each lug averaged with its opposite: cents from the mean, their standard deviations,
        and the standard deviations of each lug by itself."""
        tensions = self.mean[: self.lugs]
        paired = pair_means(self.lugs)
        mean = np.maximum(paired @ tensions, 1e-6 * tensions.mean())
        cents = CENTS * np.log(mean / tensions.mean())
        to_cents = (np.eye(self.lugs) - 1.0 / self.lugs) * CENTS / tensions.mean()
        own = to_cents @ self.covariance[: self.lugs, : self.lugs] @ to_cents.T
        return cents, _deviations(paired @ own @ paired.T), _deviations(own)

    def evenness(self, limit_cents: float) -> tuple[float, float]:
        """Cents from the lowest lug to the highest, as expected, and how likely within the limit.

        Both over all that is possible: the estimate alone would say too little, for it leans to
        the mean in doubt.
        """
        cents, _, _ = self.cents()
        apart = np.ptp(cents + self._swings(pair_means(self.lugs), DRAWS), axis=1)
        return float(apart.mean()), float((apart < limit_cents).mean())

    def lots(self) -> Floats:
        """Each lug by itself in cents from the mean, drawn from all that is possible.

        Shape (draws, lugs). What the first round told of opposite lugs is all that ever will be.
        """
        tensions, paired = self.mean[: self.lugs], pair_means(self.lugs)
        own = CENTS * (tensions / tensions.mean() - 1.0)
        if self.found is None:
            return np.asarray(own + self._swings(np.eye(self.lugs), LOTS))
        if not self.found.turned:
            return drawn(self.found)
        # A lug and its opposite are taken to be alike at first, so now they differ by the turns.
        now = self.cents()[0] + self._swings(paired, LOTS)
        return later(self.found, now, own - paired @ own)

    def _swings(self, mixed: Floats, count: int) -> Floats:
        """By what the lugs, `mixed` (lugs, lugs), may be off in cents, drawn: (count, lugs)."""
        own = mixed @ self.covariance[: self.lugs, : self.lugs] @ mixed.T
        values, vectors = np.linalg.eigh(own * (CENTS / self.mean[: self.lugs].mean()) ** 2)
        lots = np.random.default_rng(DRAWS).normal(size=(count, self.lugs))
        return np.asarray(lots * np.sqrt(np.maximum(values, 0.0)) @ vectors.T)

    def key_cents(self) -> Floats:
        """By what a hand that turns as `needed` says misses two opposite lugs' mean, (lugs,)."""
        tensions, responses = self.mean[: self.lugs], self.mean[self.lugs :]
        missed = KEY_TURNS * CENTS * responses / tensions.mean()
        return np.asarray(missed / np.where(self._shared()[1], 2.0, math.sqrt(2.0)))

    def overtone_hz(self) -> float:
        """Where the (1,1) pair's centre stands."""
        return math.sqrt(float(self.mean[: self.lugs].mean()))

    def needed(self) -> tuple[Floats, Floats]:
        """Turns that bring every lug to the mean; standard deviations.

        Opposite lugs alike, or one of them for both where that is little. All are scaled down
        alike where one would be turned too far at once.
        """
        turns = self._shared()[0]
        return turns, self.doubt(turns)

    def _shared(self) -> tuple[Floats, NDArray[np.bool_]]:
        """The turns, and where one lug is turned for two: that which is farther off, or the first.

        How far opposite lugs differ is known by what they were turned alone.
        """
        tensions, half = self.tensions(), self.lugs // 2
        turns, _ = self.turns_to(np.full(self.lugs, tensions.mean()))
        if self.lugs % 2:
            return turns, np.zeros(self.lugs, bool)
        responses = self.mean[self.lugs :]
        gained = turns * responses
        both = gained + np.roll(gained, half)
        off = (self.mean[: self.lugs] - tensions) * np.sign(both)
        first = np.where(np.abs(off) > 1e-6 * tensions, off < 0.0, np.arange(self.lugs) < half)
        alone = np.abs(turns) + np.abs(np.roll(turns, half)) < 2.0 * ALONE_TURNS
        one = np.where(first, both / responses, 0.0)
        return np.where(alone, one, turns), alone

    def tensions(self) -> Floats:
        """Each lug's averaged with its opposite's, Hz squared, shape (lugs,)."""
        return np.asarray(pair_means(self.lugs) @ self.mean[: self.lugs])

    def turns_to(self, wanted: Floats) -> tuple[Floats, float]:
        """Turns that bring the lugs to the tensions `wanted`, Hz squared, shape (lugs,).

        With the share of the way: below 1 where a lug would be turned too far at once.
        """
        lugs = self.lugs
        needed = np.linalg.solve(spread(lugs), wanted - self.tensions()) / self.mean[lugs:]
        limit = MOST_TURNS if self.learned else FIRST_TURNS
        share = min(1.0, limit / max(float(np.abs(needed).max()), 1e-12))
        return needed * share, share

    def doubt(self, turns: Floats) -> Floats:
        """The standard deviations of such turns, shape (lugs,)."""
        lugs, tensions, responses = self.lugs, self.tensions(), self.mean[self.lugs :]
        response_doubt = np.abs(turns) * _deviations(self.covariance[lugs:, lugs:]) / responses
        pitch_doubt = self.cents()[1] / CENTS * tensions / responses
        return np.asarray(np.hypot(response_doubt, pitch_doubt))


def spread(lugs: int) -> Floats:
    """What each lug's own change does around the rim, shape (lugs, lugs)."""
    own = np.eye(lugs)
    return np.asarray(own + NEIGHBOURS * (np.roll(own, 1, axis=0) + np.roll(own, -1, axis=0)))


def _deviations(covariance: Floats) -> Floats:
    return np.asarray(np.sqrt(np.maximum(np.diag(covariance), 0.0)))
