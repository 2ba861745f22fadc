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
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from station.measure.rehearsal.common import MOST_DOUBT, TOLD_SD
from station.measure.rehearsal.heard import StringDrift

Floats = NDArray[np.float64]

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


class _Fit:
    """Unknowns: the common drift at each kept gap; each player's own there; each string's own."""

    def __init__(self, stops: Sequence[Stop], began_s: float) -> None:
        self.first = max(0, len(stops) - GAPS_KEPT)
        self._stops = stops
        self._times = np.array([began_s, *(stop.at_s for stop in stops)])
        self._old = np.array([0.0, *(stop.cents for stop in stops)])
        self._kept = len(stops) - self.first
        self._players = sorted({each.player for stop in stops[self.first :] for each in stop.told})
        self._columns = self._kept * (1 + len(self._players))
        self._lay()

    def _lay(self) -> None:
        rows: list[dict[int, float]] = []
        right: list[float] = []
        scale: list[float] = []
        kind: list[int] = []  # which of them are steps with heavy tails: 1 a string's, 2 a player's
        own: dict[tuple[str, int, float], int] = {}
        for stop in range(self._kept):
            for each in self._stops[self.first + stop].told:
                key = (each.player, each.string, each.since_s)
                column, self._columns = self._columns, self._columns + 1
                before = own.get(key)
                own[key] = column
                at, known = self._place(each, stop)
                rows.append({**at, column: 1.0})
                right.append(each.cents - known)
                scale.append(each.error)
                kind.append(0)
                step = {column: 1.0} if before is None else {column: 1.0, before: -1.0}
                rows.append(step)
                right.append(0.0)
                scale.append(STRING_FIRST if before is None else STRING_STEP)
                kind.append(1)
        for place in range(len(self._players) + 1):
            for stop in range(self._kept):
                column = place * self._kept + stop
                row = {column: 1.0}
                known = 0.0
                if stop:
                    row[column - 1] = -1.0
                elif place == 0:
                    known = float(self._old[self.first])
                rows.append(row)
                right.append(known)
                scale.append(COMMON_STEP if place == 0 else PLAYER_STEP)
                kind.append(0 if place == 0 else 2)
        self._matrix = np.zeros((len(rows), self._columns))
        for i, row in enumerate(rows):
            for column, gain in row.items():
                self._matrix[i, column] += gain
        self._right = np.array(right)
        self._scale = np.array(scale)
        self._kind = np.array(kind)

    def _place(self, each: Told, stop: int) -> tuple[dict[int, float], float]:
        """Common and player's drift at a gap, less those when the string was tuned.

        As gains of unknowns, and what is known of it already.
        """
        place = 1 + self._players.index(each.player)
        gains: dict[int, float] = {stop: 1.0, place * self._kept + stop: 1.0}
        known = 0.0
        at = float(np.interp(each.since_s, self._times, np.arange(self._times.size)))
        low = min(int(at), self._times.size - 2)
        for knot, share in ((low, 1.0 - (at - low)), (low + 1, at - low)):
            column = knot - 1 - self.first
            if column < 0:
                known -= share * float(self._old[knot])
                continue
            gains[column] = gains.get(column, 0.0) - share
            own = place * self._kept + column
            gains[own] = gains.get(own, 0.0) - share
        return gains, known

    # -- climbing --------------------------------------------------------------------------

    def result(self) -> tuple[Floats, Floats]:
        """The common drift at each kept gap, and standard deviations."""
        found = [self._climb(None)]
        if len(self._players) > 1:
            found += [self._climb(player) for player in range(len(self._players))]
        logs = np.array([self._log(values) for values, _ in found])
        best = int(logs.argmax())
        odds = np.exp(logs - logs[best])
        common = np.array([values[: self._kept] for values, _ in found])
        apart = np.abs(common - common[:, None]).max(axis=2) < 0.3
        odds /= apart.sum(axis=1)  # climbs that end in one place count once
        odds /= odds.sum()
        between = odds @ (common - common[best]) ** 2
        variance = found[best][1] + between
        return common[best], np.sqrt(variance + LEAST_SD**2)

    def _climb(self, player: int | None) -> tuple[Floats, Floats]:
        """Unknowns, and the variances of the common drift; from the median, or one player's."""
        weight = 1.0 / self._scale**2
        values: Floats = np.zeros(self._columns)
        heavy = self._kind > 0
        for turn in range(ROUGH + ROUNDS):
            matrix = self._matrix * weight[:, None]
            normal = self._matrix.T @ matrix
            values = np.linalg.solve(normal, matrix.T @ self._right)
            over = np.abs(self._right - self._matrix @ values) / self._scale
            if turn < ROUGH:  # least absolute steps: it has one maximum
                easing = 1.0 / np.maximum(over, 0.3)
                easing[~heavy] = 1.0
                if player is not None:
                    held = range((1 + player) * self._kept, (2 + player) * self._kept)
                    mine = np.abs(self._matrix[:, list(held)]).sum(axis=1) * (self._kind == 2) > 0
                    easing[mine] = 100.0
                    easing[(self._kind == 2) & ~mine] = 0.01
            else:
                easing = np.where(heavy, (STUDENT + 1.0) / (STUDENT + over**2), 1.0)
            weight = easing / self._scale**2
        covariance = np.linalg.inv(normal)
        return values, np.diag(covariance)[: self._kept].copy()

    def _log(self, values: Floats) -> float:
        over = (self._right - self._matrix @ values) / self._scale
        heavy = self._kind > 0
        log = -0.5 * float((over[~heavy] ** 2).sum())
        return log - 0.5 * (STUDENT + 1.0) * float(np.log1p(over[heavy] ** 2 / STUDENT).sum())


def _tells(each: StringDrift) -> bool:
    if not (math.isfinite(each.cents) and math.isfinite(each.since_s)):
        return False
    return 0.0 <= each.uncertainty_cents <= TOLD_SD and 0.0 <= each.doubt <= MOST_DOUBT
