"""What of everybody's drift is the band's in common, and what is one player's or string's own.

A warmer room takes all strings along. So the strings' drifts are explained by one common
drift, one own drift for each player and one for each string, of which most are about nothing and
some are large (each a mixture of a narrow and a wide normal distribution; the variance-inflation
form of outliers, Box & Tiao 1968, A Bayesian approach to some outlier problems). On a grid of
cents the posterior of each is summed exactly. A band of one cannot tell its drift from the
room's; of two players who differ it is open which of them moved, and the uncertainty says so.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.floating[Any]]

RANGE_CENTS = 60.0
STEP_CENTS = 0.2
DRIFTED_CENTS = 5.0  # a string has drifted once it is so far from where it was
COMMON_SD = 8.0
PLAYER_SD, PLAYER_WIDE, PLAYER_SHARE = 0.5, 10.0, 0.1
STRING_SD, STRING_WIDE, STRING_SHARE = 0.7, 14.0, 0.12
LEAST_SD = 0.15  # no estimate is better than its model
MOST_DOUBT = 0.5
TOLD_SD = 3.0  # cents: what is less sure than this tells nothing


@dataclass(frozen=True, slots=True)
class Moved:
    """A value in cents with one standard deviation and the probability that it is a drift.

    A drift is DRIFTED_CENTS or more, either way.
    """

    cents: float
    uncertainty_cents: float
    probability: float


@dataclass(frozen=True, slots=True)
class Shares:
    """Everybody's drift taken apart.

    ``common`` is None with fewer than two players. ``players`` is each one's own drift, the
    common one taken off; ``strings`` each string's, likewise, its player's included.
    """

    common: Moved | None
    players: Mapping[str, Moved]
    strings: Mapping[tuple[str, int], Moved]


class Drift(NamedTuple):
    """A string's drift in cents, one standard deviation, how probably it is none of it."""

    string: int
    cents: float
    sd: float
    doubt: float = 0.0


def take_apart(
    drifts: Mapping[str, Sequence[Drift]],
    shared_cents: Mapping[str, float] | None = None,
    band: tuple[float, float] | None = None,
) -> Shares:
    """Take apart the drifts of each player's strings.

    `shared_cents` is the part of each player's standard deviations that is one and the same
    error for all of their strings. `band`, where it is known better than from these drifts alone
    (`band.BandCourse`), is the common drift in cents and one standard deviation.
    """
    shared = shared_cents or {}
    grid = np.arange(-RANGE_CENTS, RANGE_CENTS + STEP_CENTS / 2, STEP_CENTS)
    known = {
        player: kept
        for player, strings in drifts.items()
        if (kept := [each for each in strings if _tells(each)])
    }
    if not known:
        return Shares(None, {}, {})
    wander = _mixture(grid, PLAYER_SD, PLAYER_WIDE, PLAYER_SHARE)
    heard = {
        player: _player_log(grid, strings, shared.get(player, 0.0))
        for player, strings in known.items()
    }
    common, without = _commons(grid, heard, wander, band)
    players = {
        player: _moved(grid, _own(log, without[player], wander)) for player, log in heard.items()
    }
    strings_own = {
        (player, each.string): _string_own(grid, each, common)
        for player, strings in known.items()
        for each in strings
    }
    return Shares(None if len(known) == 1 else _moved(grid, common), players, strings_own)


def _commons(
    grid: Floats,
    heard: Mapping[str, Floats],
    wander: Floats,
    band: tuple[float, float] | None,
) -> tuple[Floats, dict[str, Floats]]:
    """The common drift's posterior, and for each player that of all the others."""
    if len(heard) == 1:
        # Alone, all of it is the player's, as far as anybody can know.
        nothing = _normal(np.where(np.abs(grid) < STEP_CENTS / 2, 0.0, -1e9))
        return nothing, dict.fromkeys(heard, nothing)
    if band is not None:
        common = _normal(-0.5 * ((grid - band[0]) / max(STEP_CENTS / 2, band[1])) ** 2)
        return common, dict.fromkeys(heard, common)
    prior = -0.5 * (grid / COMMON_SD) ** 2
    tells = {player: _blurred(log, wander) for player, log in heard.items()}
    without = {
        player: _normal(prior + sum((log for p, log in tells.items() if p != player), grid * 0.0))
        for player in heard
    }
    return _normal(prior + sum(tells.values(), grid * 0.0)), without


def _tells(each: Drift) -> bool:
    if not (math.isfinite(each.cents) and abs(each.cents) <= RANGE_CENTS):
        return False
    return 0.0 <= each.sd <= TOLD_SD and 0.0 <= each.doubt <= MOST_DOUBT


def _mixture(grid: Floats, narrow: float, wide: float, share: float) -> Floats:
    """Probabilities of a mostly small, now and then large, step on the grid."""
    small = np.exp(-0.5 * (grid / narrow) ** 2) / narrow
    large = np.exp(-0.5 * (grid / wide) ** 2) / wide
    both: Floats = (1.0 - share) * small + share * large
    return both / float(both.sum())


def _player_log(grid: Floats, strings: Sequence[Drift], shared: float) -> Floats:
    """Log-likelihood of where a player's strings stand in common, for each place on the grid."""
    out = np.zeros(grid.size)
    for _, cents, whole, doubt in strings:
        sd, stray = math.sqrt(max(0.0, whole**2 - shared**2)), max(STRING_SHARE, doubt)
        narrow, wide = math.hypot(sd, STRING_SD, LEAST_SD), math.hypot(sd, STRING_WIDE)
        off = cents - grid
        out += np.log(
            (1.0 - stray) * np.exp(-0.5 * (off / narrow) ** 2) / narrow
            + stray * np.exp(-0.5 * (off / wide) ** 2) / wide
        )
    if shared < STEP_CENTS:
        return out
    error = np.exp(-0.5 * (grid / shared) ** 2)
    return _blurred(out, error / float(error.sum()))


def _normal(log: Floats) -> Floats:
    weight: Floats = np.exp(log - float(log.max()))
    return weight / float(weight.sum())


def _blurred(log: Floats, wander: Floats) -> Floats:
    """Log-likelihood of the common drift that a player's own wandering leaves."""
    both = np.convolve(_normal(log), wander, "same")
    out: Floats = np.log(np.maximum(both, 1e-12))
    return out


def _own(heard: Floats, common: Floats, wander: Floats) -> Floats:
    """Posterior of a player's own drift: what is left of theirs by what others have in common."""
    left = np.convolve(_normal(heard), common[::-1], "same")
    return _normal(np.log(np.maximum(left * wander, 1e-300)))


def _string_own(grid: Floats, each: Drift, common: Floats) -> Moved:
    """A string's drift without the common one; what it was heard to be stands, unshrunk."""
    _, cents, sd, doubt = each
    mean = float(common @ grid)
    sd_common = math.sqrt(max(0.0, float(common @ grid**2) - mean**2))
    own, unsure = cents - mean, math.hypot(sd, sd_common, LEAST_SD)
    # The common drift may have two likely places: the probability is summed over all of them.
    places = (cents - grid)[common > 1e-9]
    weight = common[common > 1e-9]
    spread = math.hypot(sd, LEAST_SD) * math.sqrt(2.0)
    beyond = [
        0.5 * (math.erfc((DRIFTED_CENTS - e) / spread) + math.erfc((DRIFTED_CENTS + e) / spread))
        for e in places
    ]
    return Moved(own, unsure, min(1.0, (1.0 - doubt) * float(weight @ np.array(beyond))))


def _moved(grid: Floats, weight: Floats) -> Moved:
    mean = float(weight @ grid)
    variance = max(STEP_CENTS**2 / 12, float(weight @ (grid - mean) ** 2))
    far = float(weight[np.abs(grid) >= DRIFTED_CENTS - STEP_CENTS / 2].sum())
    return Moved(mean, math.sqrt(variance), min(1.0, far))
