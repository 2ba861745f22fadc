"""Which of a stroke's modes is which.

The **fundamental** (0,1) is the lowest mode with a fair share of the ringing energy. The
(1,1) pair stands at 1.593 of an ideal membrane's fundamental (Abramowitz & Stegun,
table 9.5), and at 1.3 to 1.8 of a real drum's: the air it moves and the second head shift
both (Fletcher & Rossing, The Physics of Musical Instruments).
"""

from __future__ import annotations

import math
from typing import NamedTuple

from station.measure.drums.modes import Partial
from station.measure.drums.types import OVERTONE_RATIOS, Mode

LOWEST_FUNDAMENTAL_HZ, HIGHEST_FUNDAMENTAL_HZ = 38.0, 420.0
LOOSEST_HZ = 26.0  # a loose bass drum's, where nothing rings more: feet and doors are as low
SHARE_DB = 13.0  # a lower mode so much weaker, in energy, is another drum that rings along
PARTNER_DB = 16.0  # or so much, where its (1,1) stands above it
VAGUE_CENTS, ROUGH_DB = 30.0, 3.5  # of a mode that is to be anything but the strongest
PAIR_APART = 0.14
LONGEST_S = 3.0  # a mode's ring counts no longer
QUIET_MODE_DB = 36.0  # below the loudest: no mode worth telling


class Identified(NamedTuple):
    """Which of a stroke's modes is which; levels relative to the loudest."""

    modes: tuple[Mode, ...]
    fundamental: Mode
    overtone: Mode | None
    overtone_pair: tuple[Mode, Mode] | None
    beat_hz: float | None
    sure: bool
    level: float  # amplitude of the fundamental
    rough_db: float
    glide_hz: float


def identify(partials: list[Partial], boldly: bool = True) -> Identified | None:
    """The fundamental and the (1,1) pair among `partials`; None without a fundamental.

    Unless `boldly`, the strongest of the low modes is taken, whatever stands below it.
    """
    low = [each for each in partials if LOOSEST_HZ <= each.modes[0].hz <= HIGHEST_FUNDAMENTAL_HZ]
    if low and max(low, key=_energy_db).modes[0].hz >= LOWEST_FUNDAMENTAL_HZ:
        low = [each for each in low if each.modes[0].hz >= LOWEST_FUNDAMENTAL_HZ]
    if not low:
        return None
    strongest = max(low, key=_energy_db)
    chosen = strongest
    if boldly:
        chosen = next(each for each in low if _may_be_fundamental(each, strongest, partials))
    sure = chosen is strongest or _energy_db(chosen) > _energy_db(strongest) - SHARE_DB / 2
    sure = sure and not any(
        _partner(chosen, below) and _energy_db(below) > _energy_db(chosen) - 1.5 * PARTNER_DB
        for below in low
        if below is not chosen
    )
    loudest = max(each.level for each in partials)
    least = loudest * 10 ** (-QUIET_MODE_DB / 20)
    told = [each for each in partials if each.level >= least or each is chosen]
    overtones = [each for each in told if _partner(each, chosen) and not _is_vague(each)]
    overtone, pair = _overtone(overtones, loudest)
    return Identified(
        tuple(sorted((m for each in told for m in _told(each, loudest)), key=lambda m: m.hz)),
        _told(chosen, loudest)[0],
        overtone,
        pair,
        chosen.beat_hz,
        sure,
        chosen.level,
        chosen.rough_db,
        chosen.glide_hz,
    )


def _energy_db(partial: Partial) -> float:
    """What a mode radiates while it rings: power times ring."""
    return 20 * math.log10(partial.level) + 10 * math.log10(min(partial.ring_s, LONGEST_S))


def _partner(upper: Partial, lower: Partial) -> bool:
    """Whether `upper` stands where the (1,1) of `lower` may be."""
    ratio = upper.modes[0].hz / lower.modes[0].hz
    return OVERTONE_RATIOS[0] <= ratio <= OVERTONE_RATIOS[1]


def _may_be_fundamental(one: Partial, strongest: Partial, all_of: list[Partial]) -> bool:
    if one is strongest:
        return True
    if _is_vague(one):
        return False
    partner = any(_partner(each, one) and each.level > one.level / 3 for each in all_of)
    allowed = PARTNER_DB if partner else SHARE_DB
    return _energy_db(one) > _energy_db(strongest) - allowed


def _is_vague(one: Partial) -> bool:
    return one.modes[0].uncertainty_cents > VAGUE_CENTS or one.rough_db > ROUGH_DB


def _told(partial: Partial, loudest: float) -> tuple[Mode, ...]:
    own = 20 * math.log10(partial.level / loudest)
    return tuple(
        Mode(mode.hz, mode.uncertainty_cents, mode.level_db + own, mode.ring_s)
        for mode in partial.modes
    )


def _overtone(
    overtones: list[Partial], loudest: float
) -> tuple[Mode | None, tuple[Mode, Mode] | None]:
    """The louder of the (1,1) pair, and the pair where two are heard."""
    if not overtones:
        return None, None
    best = max(overtones, key=_energy_db)
    first = _told(best, loudest)
    beside = [
        each
        for each in overtones
        if each is not best and abs(each.modes[0].hz / best.modes[0].hz - 1) < PAIR_APART
    ]
    if len(first) == 2:
        pair = first
    elif beside:
        pair = (first[0], _told(max(beside, key=_energy_db), loudest)[0])
    else:
        return first[0], None
    low, high = sorted(pair, key=lambda mode: mode.hz)
    return first[0], (low, high)
