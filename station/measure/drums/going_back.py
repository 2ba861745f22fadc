"""The way back to a drum's good state: what must be turned, as far as that is known.

Tension goes as the square of the frequency. Of a head that was just gone round lug by lug each
lug is compared with what it was then; without that only the whole head, all lugs alike. How far
the key is to be turned is told only of a drum whose response has been learned (`turning.py`);
else only which way, and how many cents.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from station.errors import DrumError
from station.measure.drums.lugs import IN_CENTS, LEAST_TURNS
from station.measure.drums.turning import Floats, RimState
from station.measure.drums.types import LugVerdict
from station.music.drums import tension_change
from station.music.pitch import cents_between
from station.music.verdict import verdict

Source = Literal["head pass", "taps"]

ALL_ALIKE = "every lug alike, a little at a time and across; then tap again"
PART_OF_THE_WAY = "only part of the way at once: then tap the round again"
NOT_LEARNED = "how far is not known yet: go round with the key a little, and tap again"
THERE = "it is where it was"


@dataclass(frozen=True, slots=True)
class LugBack:
    """One lug: ``cents`` from what it was, positive when it is now higher; turns to go back."""

    lug: int
    cents: float
    verdict: LugVerdict
    turns: float | None
    turns_uncertainty: float | None


@dataclass(frozen=True, slots=True)
class WayBack:
    """``cents`` of the whole head from what it was, positive when it is now higher.

    ``tension_percent`` is what its tension has to change by. ``lugs`` are told after a head
    pass; ``turns`` are for every lug alike, where only the whole head is known.
    """

    source: Source
    cents: float
    verdict: LugVerdict
    tension_percent: float
    turns: float | None
    turns_uncertainty: float | None
    lugs: tuple[LugBack, ...]
    says: tuple[str, ...]


def by_head(good_hz: Sequence[float], now: RimState) -> WayBack:
    """Lug by lug: `good_hz` is where the (1,1) mode stood for each lug, `now` the head as heard.

    Raises DrumError when the numbers of lugs differ.
    """
    if len(good_hz) != now.lugs:
        raise DrumError(f"{now.lugs} lugs now, {len(good_hz)} then: this is another drum")
    wanted = np.square(np.asarray(good_hz, np.float64))
    turns, share = now.turns_to(wanted)
    doubt = now.doubt(turns)
    is_hz = np.sqrt(np.maximum(now.tensions(), 1e-9))
    lugs = tuple(
        _lug(at + 1, cents_between(float(is_hz[at]), good_hz[at]), turns, doubt, now.learned > 0)
        for at in range(now.lugs)
    )
    cents = cents_between(now.overtone_hz(), math.sqrt(float(wanted.mean())))
    there = all(each.verdict == "in" for each in lugs)
    says = [THERE] if there else [_whole(cents)]
    if not there and not now.learned:
        says.append(NOT_LEARNED)
    elif not there and share < 1.0:
        says.append(PART_OF_THE_WAY)
    word = verdict(cents, IN_CENTS)
    return WayBack("head pass", cents, word, _percent(cents), None, None, lugs, tuple(says))


def by_taps(
    good_hz: float, now_hz: float, known: RimState | None = None, overtone_hz: float | None = None
) -> WayBack:
    """The whole head by its fundamental; `known` is what turns do, `overtone_hz` (1,1) then.

    All modes are taken to move together. Raises FrequencyError for impossible pitches.
    """
    cents = cents_between(now_hz, good_hz)
    word = verdict(cents, IN_CENTS)
    if word == "in":
        return WayBack("taps", cents, word, _percent(cents), None, None, (), (THERE,))
    turns = doubt = None
    says = [_whole(cents)]
    if known is None or not known.learned:
        says += [ALL_ALIKE, NOT_LEARNED]
    else:
        then_hz = known.overtone_hz() if overtone_hz is None else overtone_hz
        now = _level(known, then_hz * now_hz / good_hz)
        every, share = now.turns_to(np.full(known.lugs, then_hz**2))
        turns, doubt = abs(float(every.mean())), float(now.doubt(every).mean())
        says.append(ALL_ALIKE if share == 1.0 else PART_OF_THE_WAY)
    return WayBack("taps", cents, word, _percent(cents), turns, doubt, (), tuple(says))


def _level(known: RimState, overtone_hz: float) -> RimState:
    """What is known of the turns, the head even at `overtone_hz`."""
    lugs = known.lugs
    covariance = np.zeros_like(known.covariance)
    covariance[lugs:, lugs:] = known.covariance[lugs:, lugs:]
    mean = np.concatenate([np.full(lugs, overtone_hz**2), known.mean[lugs:]])
    return RimState(mean, covariance, known.learned)


def _lug(lug: int, cents: float, turns: Floats, doubt: Floats, learned: bool) -> LugBack:
    word: LugVerdict = verdict(cents, IN_CENTS)
    turn = float(turns[lug - 1])
    # The lugs beside it may do all that is to be done, and more.
    moves = word != "in" and (turn > 0.0) == (word == "tighten") and abs(turn) >= LEAST_TURNS
    told = learned and moves
    return LugBack(
        lug, cents, word, abs(turn) if told else None, float(doubt[lug - 1]) if told else None
    )


def _percent(cents: float) -> float:
    """How much the tension has to change."""
    return 100.0 * (tension_change(-cents) - 1.0)


def _whole(cents: float) -> str:
    side = "above" if cents > 0.0 else "below"
    change = _percent(cents)
    more = "more" if change > 0.0 else "less"
    return (
        f"the head is {abs(cents):.0f} cents {side} its good state:"
        f" {abs(change):.0f} % {more} tension"
    )
