"""The drift a band's strings have in common, followed from gap to gap through a whole evening.

At every gap each string's drift since it was tuned is told. It is the common drift since then,
plus its player's own, plus the string's own, plus an error. Strings and players mostly stay as
they are and now and then move far: their steps from gap to gap have the heavy tails of Student's t
(Lange, Little & Taylor 1989, as in `course`). So a string that slipped an hour ago counts as
the others do from then on; one that is tuned begins anew from the common drift as it was at
that moment, between two gaps on the straight line between them. All gaps are solved for at
once by reweighted least squares, from several beginnings: that the strings' median is the common
drift, and that any one player's is. Where two of them are nearly as good, it is open who moved:
what they differ by is told as uncertainty.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from station.measure.rehearsal.common import MOST_DOUBT, TOLD_SD
from station.measure.rehearsal.heard import StringDrift

Floats = NDArray[np.floating[Any]]

GAPS_KEPT = 12  # older ones stand as they were found
COMMON_STEP = 3.0  # cents, from gap to gap
PLAYER_STEP = 0.15
STRING_FIRST, STRING_STEP = 0.45, 0.25
ERROR = 0.3  # of what is told, from gap to gap; the rest is the same as long as a string's course
STUDENT = 2.0  # degrees of freedom
ROUGH, ROUNDS = 6, 10
LEAST_SD = 0.1


class Told(NamedTuple):
    """One string at one gap."""

    player: str
    string: int
    since_s: float
    cents: float
    error: float


@dataclass(slots=True)
class Stop:
    """One gap: after how many songs, when the last ended, what was told, what it came to."""

    song: int
    at_s: float
    told: list[Told]
    cents: float = 0.0
    sd: float = 0.0


class BandCourse:
    """The common drift since the evening began. Times are seconds of one stream."""

    def __init__(self) -> None:
        self._stops: list[Stop] = []
        self._began_s: float | None = None

    def hear(
        self, song: int, at_s: float, drifts: Mapping[str, Sequence[StringDrift]]
    ) -> tuple[float, float] | None:
        """How the strings stand after so many songs, or in the midst of one: said again and again.

        Returns the common drift in cents and its standard deviation; None with fewer than two
        players of whom anything is known.
        """
        told = [
            Told(player, each.string, each.since_s, each.cents, max(ERROR, each.doubt * 6.0))
            for player, strings in drifts.items()
            for each in strings
            if _tells(each)
        ]
        while self._stops and self._stops[-1].song >= song:
            self._stops.pop()
        if len({each.player for each in told}) < 2:
            return None
        if self._began_s is None:
            self._began_s = float(np.median([each.since_s for each in told]))
        self._stops.append(Stop(song, at_s, told))
        self._solve()
        return self._stops[-1].cents, self._stops[-1].sd

    def at(self, at_s: float) -> tuple[float, float]:
        """The common drift at a time, and its standard deviation; nothing before the beginning."""
        times = [self._began_s or 0.0, *(stop.at_s for stop in self._stops)]
        cents = [0.0, *(stop.cents for stop in self._stops)]
        sds = [0.0, *(stop.sd for stop in self._stops)]
        return float(np.interp(at_s, times, cents)), float(np.interp(at_s, times, sds))

    # -- solving ---------------------------------------------------------------------------

    def _solve(self) -> None:
        fit = _Fit(self._stops, self._began_s or 0.0)
        cents, sds = fit.result()
        for stop, one, sd in zip(self._stops[fit.first :], cents, sds, strict=True):
            stop.cents, stop.sd = float(one), float(sd)


class _Found(NamedTuple):
    """Where a climb ended: the core, the variances of the common drift, how probable it is."""

    core: Floats
    variance: Floats
    log: float


class _Fit:
    """The common drift at each kept gap; each player's own there (the core); each string's own.

    A string's own drifts since it was tuned are a chain, linked to the core at each gap and to
    nothing else: so chains are solved for first, all at once, and eliminated (Schur's complement).
    """

    def __init__(self, stops: Sequence[Stop], began_s: float) -> None:
        self.first = max(0, len(stops) - GAPS_KEPT)
        self._kept_stops = stops[self.first :]
        self._times = np.array([began_s, *(stop.at_s for stop in stops)])
        self._old = np.array([0.0, *(stop.cents for stop in stops)])
        self._kept = len(self._kept_stops)
        self._players = sorted({each.player for stop in self._kept_stops for each in stop.told})
        self._core = self._kept * (1 + len(self._players))
        self._lay_told()
        self._lay_core()

    def _lay_told(self) -> None:
        """What was told, and the steps of each string's chain."""
        chains: dict[tuple[str, int, float], list[int]] = {}
        gains: list[Floats] = []
        right: list[float] = []
        errors: list[float] = []
        for stop, gap in enumerate(self._kept_stops):
            for each in gap.told:
                key = (each.player, each.string, each.since_s)
                chains.setdefault(key, []).append(len(gains))
                gain, known = self._place(each, stop)
                gains.append(gain)
                right.append(each.cents - known)
                errors.append(each.error)
        self._gains = np.array(gains)
        self._told = np.array(right)
        self._told_weight = np.array(errors) ** -2.0
        self._chain, self._link = np.empty(len(gains), np.int64), np.empty(len(gains), np.int64)
        for number, places in enumerate(chains.values()):
            self._chain[places], self._link[places] = number, np.arange(len(places))
        self._shape = len(chains), max(map(len, chains.values()))
        scale = np.full(self._shape, STRING_STEP)
        scale[:, 0] = STRING_FIRST
        told = np.column_stack((self._gains, self._told)) * self._told_weight[:, None]
        self._told_core = self._gains.T @ told
        self._beside = np.zeros((*self._shape, self._core + 1))
        self._beside[self._chain, self._link] = told
        self._there = np.zeros(self._shape, np.bool_)
        self._there[self._chain, self._link] = True
        self._string_weight = np.where(self._there, scale**-2.0, 0.0)

    def _lay_core(self) -> None:
        """The steps of the common drift and of each player's own, from gap to gap."""
        places = np.arange(self._core).reshape(-1, self._kept)
        self._step = np.eye(self._core)
        self._step[places[:, 1:], places[:, :-1]] = -1.0
        self._step_right = np.zeros(self._core)
        self._step_right[0] = self._old[self.first]
        self._is_players = places.ravel() >= self._kept
        self._step_weight = np.where(self._is_players, PLAYER_STEP, COMMON_STEP) ** -2.0

    def _place(self, each: Told, stop: int) -> tuple[Floats, float]:
        """Common and player's drift at a gap, less those when the string was tuned.

        As gains of the core, shape (core,), and what is known of it already.
        """
        own = self._kept * (1 + self._players.index(each.player))
        gains, known = np.zeros(self._core), 0.0
        gains[[stop, own + stop]] = 1.0
        at = float(np.interp(each.since_s, self._times, np.arange(self._times.size)))
        low = min(int(at), self._times.size - 2)
        for knot, share in ((low, 1.0 - (at - low)), (low + 1, at - low)):
            column = knot - 1 - self.first
            if column < 0:
                known -= share * float(self._old[knot])
                continue
            gains[[column, own + column]] -= share
        return gains, known

    # -- climbing --------------------------------------------------------------------------

    def result(self) -> tuple[Floats, Floats]:
        """The common drift at each kept gap, and standard deviations."""
        found = [self._climb(None)]
        if len(self._players) > 1:
            found += [self._climb(player) for player in range(len(self._players))]
        logs = np.array([each.log for each in found])
        best = int(logs.argmax())
        odds = np.exp(logs - logs[best])
        common = np.array([each.core[: self._kept] for each in found])
        apart = np.abs(common - common[:, None]).max(axis=2) < 0.3
        odds /= apart.sum(axis=1)  # climbs that end in one place count once
        odds /= odds.sum()
        between = odds @ (common - common[best]) ** 2
        return common[best], np.sqrt(found[best].variance + between + LEAST_SD**2)

    def _climb(self, player: int | None) -> _Found:
        """From the strings' median as the common drift, or from one player's."""
        string_ease: Floats = np.ones(self._shape)
        step_ease: Floats = np.ones(self._core)
        for turn in range(ROUGH + ROUNDS):
            core, strings, normal = self._least_squares(string_ease, step_ease)
            over = self._over(core, strings)
            if turn < ROUGH:  # least absolute steps: it has one maximum
                string_ease, step_ease = (1.0 / np.maximum(each, 0.3) for each in over)
                if player is not None:
                    step_ease = np.full(self._core, 0.01)
                    step_ease[(1 + player) * self._kept : (2 + player) * self._kept] = 100.0
            else:
                string_ease, step_ease = ((STUDENT + 1.0) / (STUDENT + each**2) for each in over)
            step_ease = np.where(self._is_players, step_ease, 1.0)
        variance = np.linalg.inv(normal).diagonal()[: self._kept].copy()
        return _Found(core, variance, self._log(core, strings))

    def _least_squares(
        self, string_ease: Floats, step_ease: Floats
    ) -> tuple[Floats, Floats, Floats]:
        """Core, strings' own drifts by chain, and the core's inverse covariance."""
        weight, link = self._string_weight * string_ease, np.arange(self._shape[1])
        blocks = np.zeros((*self._shape, self._shape[1]))
        # A place no string has is held to nothing: 1.
        blocks[:, link, link] = np.where(self._there, weight, 1.0)
        blocks[:, link[:-1], link[:-1]] += weight[:, 1:]
        blocks[:, link[1:], link[:-1]] -= weight[:, 1:]
        blocks[:, link[:-1], link[1:]] -= weight[:, 1:]
        blocks[self._chain, self._link, self._link] += self._told_weight
        solved = np.linalg.solve(blocks, self._beside)
        stepped = self._step.T * (self._step_weight * step_ease)
        both = self._told_core.copy()
        both[:, :-1] += stepped @ self._step
        both[:, -1] += stepped @ self._step_right
        both -= np.tensordot(self._beside[..., :-1], solved, axes=((0, 1), (0, 1)))
        normal = both[:, :-1]
        core: Floats = np.linalg.solve(normal, both[:, -1])
        strings: Floats = solved[..., -1] - solved[..., :-1] @ core
        return core, strings, normal

    def _over(self, core: Floats, strings: Floats) -> tuple[Floats, Floats]:
        """How large strings' steps are and the core's, in their own scales."""
        steps = np.diff(strings, axis=1, prepend=0.0) * np.sqrt(self._string_weight)
        own = (self._step @ core - self._step_right) * np.sqrt(self._step_weight)
        return np.abs(steps), np.abs(own)

    def _log(self, core: Floats, strings: Floats) -> float:
        string_over, over = self._over(core, strings)
        left = self._told - self._gains @ core - strings[self._chain, self._link]
        log = -0.5 * float(left**2 @ self._told_weight)
        log -= 0.5 * float((over[~self._is_players] ** 2).sum())
        heavy = np.concatenate((string_over.ravel(), over[self._is_players]))
        return log - 0.5 * (STUDENT + 1.0) * float(np.log1p(heavy**2 / STUDENT).sum())


def _tells(each: StringDrift) -> bool:
    if not (math.isfinite(each.cents) and math.isfinite(each.since_s)):
        return False
    return 0.0 <= each.uncertainty_cents <= TOLD_SD and 0.0 <= each.doubt <= MOST_DOUBT
