"""A head pass: taps beside every lug in, each lug's deviation and what to turn out.

What the modes tell of the rim is in `rim.py`, what is known of the lugs in `turning.py`. The
mean of a lug and its opposite is told to a few cents; how the two differ is not told at all, so
both are given the same deviation, and half the correction each: the head sounds even either
way, and whichever of the two was off, neither is ever farther off than it was. Only where the
correction is hardly more than a key can be set to does one lug take all of it.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from station.errors import DrumError
from station.measure.drums.families import APART_CENTS, HEARD_SHARE, Split, hear_family, split_of
from station.measure.drums.farthest import farthest
from station.measure.drums.rim import families, pushed_apart
from station.measure.drums.turning import RimState
from station.measure.drums.types import Head, LugPitch, Mode, Stroke
from station.measure.windows import plain
from station.music.drums import mode_ratio
from station.music.lugs import check_lug, check_lugs, opposite_lug
from station.music.pitch import cents_between, shift_cents
from station.music.verdict import verdict

EVEN_CENTS = 10.0
"""A head this even from its lowest lug to its highest is done: common practice, no source."""
EVEN_SURE = 0.9  # so likely it has to be
IN_CENTS = 2.0  # a fifth of it
LEAST_TURNS = 1.0 / 720.0  # half a degree: finer no hand turns
LOUD_DB = -15.0
LOUD_SHARE = 0.25  # of the taps
PUSHED_CENTS = 0.5  # less than a tap tells: (2,1) may be taken to lie along the lugs
RINGS_SHARE = 0.35  # of the longest ring: what the finger on the centre lets ring
FIRST_OVER_FUNDAMENTAL = (1.3, 2.2)  # where (1,1) may stand over (0,1), air and all
LEFT_OUT = ("rim", "double", "clipped", "other drum")

Tap = tuple[int, Sequence[Mode]]
"""A lug, from 1, and the modes that were heard beside it."""


def splits(
    lugs: int, taps: Sequence[Tap], overtone_hz: float | None = None, still: float = 0.0
) -> list[Split]:
    """How far the families of modes are split, (1,1) first; several taps a lug are welcome.

    ``still`` are the log odds, from rounds before, that the microphone stands still.
    ``overtone_hz`` is about where (1,1) stands, None to look for it. Empty where no (1,1) is
    heard or a lug was not tapped. Raises DrumError for a lug the head has not.
    """
    placed = [
        (2.0 * np.pi * (check_lug(lug, lugs) - 1) / lugs, ringing(modes)) for lug, modes in taps
    ]
    about_hz = _overtone([modes for _, modes in placed]) if overtone_hz is None else overtone_hz
    if about_hz is None or len({lug for lug, _ in taps}) < check_lugs(lugs):
        return []
    heard = [(order, *hear_family(order, placed, about_hz)) for order in families(lugs)]
    found = [each for one in heard if (each := split_of(*one, lugs, still)) is not None]
    if not found or found[0].order != 1:
        return []
    pushed = bool(np.hypot(*pushed_apart(found[0].z)) > PUSHED_CENTS)
    told = {each.order: each.still for each in found}
    odds = still + sum(told.values())
    again = [
        split_of(*one, None if pushed and one[0] == 2 else lugs, odds - told[one[0]])
        for one in heard
        if one[0] in told
    ]
    return [each for each in again if each is not None]


def _overtone(taps: Sequence[Sequence[Mode]]) -> float | None:
    """The (1,1) pair: the lowest mode that is loud and rings on.

    Where a room makes another pair louder beside half of the lugs, the lowest one that loud beside
    a quarter of them, and heard beside most.
    """
    found = [mode.hz for modes in taps if (mode := beside_lug(modes)) is not None]
    for hz in sorted(found):
        near = [each for each in found if abs(cents_between(each, hz)) < APART_CENTS[1]]
        there = [
            any(abs(cents_between(mode.hz, hz)) < APART_CENTS[1] for mode in modes)
            for modes in taps
        ]
        if len(near) >= LOUD_SHARE * len(taps) and sum(there) >= HEARD_SHARE * len(taps):
            return float(np.median(near))
    return None


def ringing(modes: Sequence[Mode]) -> list[Mode]:
    """What the finger on the centre lets ring: not (0,1) and (0,2), which move there most."""
    longest = max((m.ring_s or 0.0 for m in modes if m.level_db > LOUD_DB), default=0.0)
    return [m for m in modes if m.ring_s is None or m.ring_s >= RINGS_SHARE * longest]


def good_taps(strokes: Sequence[tuple[int, Stroke]]) -> list[tuple[int, Stroke]]:
    """Without strokes on the rim, double and clipped ones, and those on another drum."""
    return [each for each in strokes if each[1].verdict not in LEFT_OUT and each[1].modes]


def head(
    lugs: int, strokes: Sequence[tuple[int, Stroke]], before: RimState | None = None
) -> tuple[Head, RimState] | None:
    """What a pass says, and what is known from now on: strokes with the lug each was struck at.

    ``before`` is what was known, of this drum and after the turns made since. None where the
    good strokes leave a lug out or no (1,1) is heard. Raises DrumError for an impossible lug.
    """
    check_lugs(lugs)
    if before is not None and before.lugs != lugs:
        raise DrumError(f"{lugs} lugs, but what is known is of {before.lugs}: begin anew")
    good = good_taps(strokes)
    still = 0.0 if before is None else before.still
    found = splits(lugs, [(lug, stroke.modes) for lug, stroke in good], still=still)
    if not found:
        return None
    known = (before or RimState.first(lugs, found[0].centre_hz)).heard(found)
    return describe(known, _fundamental(known.overtone_hz(), [each for _, each in good])), known


def beside_lug(modes: Sequence[Mode]) -> Mode | None:
    """The louder of the (1,1) pair in one tap, None where nothing rings."""
    loud = [mode for mode in ringing(modes) if mode.level_db > LOUD_DB]
    if not loud:
        return None
    lowest_hz = min(mode.hz for mode in loud)
    pair = [m for m in loud if cents_between(m.hz, lowest_hz) < APART_CENTS[1]]
    return max(pair, key=lambda mode: mode.level_db)


def _fundamental(overtone_hz: float, strokes: Sequence[Stroke]) -> float:
    """(0,1) where the taps let it be heard, else as far below (1,1) as in a membrane alone."""
    low, high = FIRST_OVER_FUNDAMENTAL
    heard = []
    for stroke in strokes:
        below = [m for m in stroke.modes if low < overtone_hz / m.hz < high]
        if below:
            heard.append(max(below, key=lambda mode: mode.level_db).hz)
    return float(np.median(heard)) if heard else overtone_hz / mode_ratio(1)


def describe(known: RimState, fundamental_hz: float) -> Head:
    """The head in words and turns."""
    cents, unsure, alone = known.cents()
    told = np.stack([cents, unsure, alone, *known.needed(), known.key_cents()], axis=1)
    evenness, sure = known.evenness(EVEN_CENTS)
    far = farthest(known.lots())
    return Head(
        lugs=tuple(_lug(known, lug, plain(each)) for lug, each in enumerate(told, start=1)),
        evenness_cents=evenness,
        fundamental_hz=fundamental_hz,
        worst=far.lug,
        even=sure >= EVEN_SURE,
        confusion=confusion(known.lugs, float(alone.max())),
        farthest=far,
        overtone_hz=known.overtone_hz(),
    )


def _lug(known: RimState, lug: int, told: list[float]) -> LugPitch:
    cents, unsure, alone, turns, doubt, key_cents = told
    word = verdict(cents, IN_CENTS)
    # The lugs beside it may do all that is to be done, and more; and what a hand sets no finer
    # is left alone.
    moves = word != "in" and (turns > 0.0) == (word == "tighten") and abs(turns) >= LEAST_TURNS
    moves = moves and abs(cents) >= key_cents
    return LugPitch(
        lug=lug,
        hz=shift_cents(known.overtone_hz(), cents),
        uncertainty_cents=unsure,
        offset_cents=cents,
        verdict=word,
        turns=abs(turns) if moves else None,
        turns_uncertainty=doubt if moves else None,
        opposite=opposite_lug(lug, known.lugs),
        alone_cents=alone,
    )


def confusion(lugs: int, alone_cents: float) -> str:
    """One line: what steady modes cannot tell apart on a head of so many lugs."""
    if lugs % 2:
        return (
            "one lug slack and the two across from it tight sound nearly alike: each lug by"
            f" itself is known to ±{alone_cents:.0f} cents; watch which turn helps"
        )
    return (
        "a lug and the one opposite share their modes: the mean of the two is heard, not which"
        f" of them is off (each by itself ±{alone_cents:.0f} cents); turn what is advised at each"
    )
