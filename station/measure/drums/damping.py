"""What damping changed: two taps on one drum, before and after, mode by mode.

How hard a drum is struck is never twice the same, so levels are told against the
fundamental's, and the fundamental's own change is in its ring. What a mode gives off while
it rings is its power times its ring: `sound_db` is the change of that. How far strokes of
one drum lie apart says how sure each change is.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from statistics import median

from station.measure.drums.tap import OF_MEDIAN, cents, spread
from station.measure.drums.types import Mode, Stroke, Tap

SAME_MODE_CENTS = 50.0  # of one drum's modes, from stroke to stroke
MATCH_CENTS = 70.0  # damping moves a mode less, once the drum's own shift is taken off
LEAST_DB = -30.0  # below the loudest
LEAST_SHARE = 0.5  # of the strokes have to have a mode
VAGUE_CENTS = 30.0
NOTHING = (None, None, None, None)
LEAST_LEVEL_DB, LEAST_RING_SHARE = 0.3, 0.02  # no hand repeats a stroke better; invented in size


@dataclass(frozen=True, slots=True)
class Partial:
    """A drum's mode as its strokes agree on it; `level_db` against the fundamental's.

    ``level_sd_db`` and ``ring_sd_s`` are the standard deviations of both, None of one stroke alone.
    """

    hz: float
    level_db: float
    ring_s: float | None
    level_sd_db: float | None = None
    ring_sd_s: float | None = None


@dataclass(frozen=True, slots=True)
class Change:
    """One mode before and after; None where it is not heard.

    ``level_db`` is the change of its level at the stroke, against the fundamental's;
    ``ring_ms`` the change of its ring (RT60); ``sound_db`` of what it gives off while it rings.
    ``level_sd_db`` and ``ring_sd_ms`` are standard deviations, None where one stroke stands alone.
    """

    before: Partial | None
    after: Partial | None
    cents: float | None
    level_db: float | None
    ring_ms: float | None
    sound_db: float | None
    level_sd_db: float | None = None
    ring_sd_ms: float | None = None


@dataclass(frozen=True, slots=True)
class Damping:
    """What changed from one tap to the other, from the lowest mode; the first is the fundamental.

    ``cents`` is the change of the fundamental's pitch.
    """

    changes: tuple[Change, ...]
    cents: float


def compare(before: Tap, after: Tap) -> Damping:
    """The changes from `before` to `after`, two taps on one drum."""
    shift = cents(after.fundamental_hz, before.fundamental_hz)
    old, new = partials(before), partials(after)
    pairs = list(_matched(old, new, shift))
    kept, met = [a for a, _ in pairs], [b for _, b in pairs]
    gone = [Change(each, None, *NOTHING) for each in old if each not in kept]
    come = [Change(None, each, *NOTHING) for each in new if each not in met]
    changes = [_change(*pair) for pair in pairs] + gone + come
    return Damping(tuple(sorted(changes, key=_place)), shift)


def _place(change: Change) -> float:
    either = change.before or change.after
    return either.hz if either is not None else math.inf


def partials(tap: Tap) -> list[Partial]:
    """The modes on which at least half of the tap's strokes agree, from the lowest."""
    found = [
        (mode.hz / tap.fundamental_hz, mode.level_db - level, mode.ring_s)
        for stroke in tap.strokes
        for mode, level in _modes(stroke)
    ]
    agreed: list[Partial] = []
    while found:
        # The group around the mode that most others are near.
        groups = [[e for e in found if abs(cents(e[0], one[0])) < SAME_MODE_CENTS] for one in found]
        best = max(groups, key=len)
        if len(best) < max(1, LEAST_SHARE * len(tap.strokes)):
            break
        ratio = median(each[0] for each in best)
        rings = [each[2] for each in best if each[2] is not None]
        levels = [each[1] for each in best]
        agreed.append(
            Partial(
                ratio * tap.fundamental_hz,
                median(levels),
                median(rings) if rings else None,
                _sd(levels, LEAST_LEVEL_DB),
                _sd(rings, LEAST_RING_SHARE * median(rings)) if rings else None,
            )
        )
        found = [e for e in found if abs(cents(e[0], ratio)) >= 2 * SAME_MODE_CENTS]
    return sorted(agreed, key=lambda each: each.hz)


def _sd(values: list[float], least: float) -> float | None:
    """The standard deviation of the median of `values`, of which none is surer than `least`."""
    if len(values) < 2:
        return None
    middle = median(values)
    own = math.hypot(spread([each - middle for each in values]), least)
    return own * (OF_MEDIAN if len(values) > 2 else 1.0) / math.sqrt(len(values))


def _both(one: float | None, other: float | None) -> float | None:
    return None if one is None or other is None else math.hypot(one, other)


def _modes(stroke: Stroke) -> Iterator[tuple[Mode, float]]:
    """A stroke's modes that are worth comparing, each with its fundamental's level."""
    own = stroke.fundamental
    if own is None:
        return
    for mode in stroke.modes:
        clear = mode.level_db > LEAST_DB and mode.uncertainty_cents < VAGUE_CENTS
        if mode == own or clear:
            yield mode, own.level_db


def _matched(
    old: list[Partial], new: list[Partial], shift: float
) -> Iterator[tuple[Partial, Partial]]:
    """Each mode's likeliest successor: nearest first, each once."""
    apart = sorted(
        ((abs(cents(b.hz, a.hz) - shift), a, b) for a in old for b in new),
        key=lambda each: each[0],
    )
    taken: list[Partial] = []
    for distance, before, after in apart:
        if distance < MATCH_CENTS and before not in taken and after not in taken:
            taken += [before, after]
            yield before, after


def _change(before: Partial, after: Partial) -> Change:
    level_db = after.level_db - before.level_db
    ring_ms = sound_db = None
    if before.ring_s is not None and after.ring_s is not None:
        ring_ms = 1000 * (after.ring_s - before.ring_s)
        sound_db = level_db + 10 * math.log10(after.ring_s / before.ring_s)
    level_sd_db = _both(before.level_sd_db, after.level_sd_db)
    ring_sd_s = _both(before.ring_sd_s, after.ring_sd_s)
    return Change(
        before,
        after,
        cents(after.hz, before.hz),
        level_db,
        ring_ms,
        sound_db,
        level_sd_db,
        None if ring_ms is None or ring_sd_s is None else 1000 * ring_sd_s,
    )
