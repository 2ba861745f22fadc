"""The guided pass over a head: which lug to tap or turn next, and what the taps have said.

A plain state machine without clock or thread: strokes and what was turned come in, what to say
is asked for. From finger-tight the head is first brought up across: one tap a lug tells the
drummer only how high it is. Fine passes go round clockwise with TAPS taps a lug; after each the
head is told, the drummer turns what is advised and says so (`turned`), and the next begins.
A stroke on the rim, a double or clipped one is not counted, and the pass says why.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from typing import Any, Literal, get_args

import numpy as np

from station.errors import DrumError
from station.measure.drums.farthest import as_data, in_words
from station.measure.drums.lugs import beside_lug, describe, good_taps, head
from station.measure.drums.plain import (
    HZ_LIMITS,
    number,
    rim_as_data,
    rim_from_data,
    short,
    taps_as_data,
    taps_from_data,
    whole,
)
from station.measure.drums.turning import RimState, Turn
from station.measure.drums.types import Head, Stroke
from station.music.lugs import check_lug, check_lugs, clockwise_order, cross_order
from station.music.pitch import cents_between

Phase = Literal["cross", "fine"]

TAPS = 2  # a lug in a fine pass: one stroke in a few lies off
# Of ten lugs and more the fourth harmonic moves (2,1) by a seventh of what lugs differ by: once
# they are nearly even, two taps leave as much in doubt as there is.
MORE_TAPS, MANY_LUGS = 3, 10
TAPS_MAX = 120  # of one round, however often lugs were named
TURNS_MAX = 20.0  # of a key, at once
GONE_MAX = 40  # a stroke is told for the last time before so many others
SAME_STROKE_S = 0.005  # far less than any two strokes are apart
FRACTIONS = {2: "a half", 4: "a quarter", 8: "an eighth", 16: "a sixteenth"}
PLACE = "an inch and a half to two inches from lug {lug}, a finger on the centre"
AGAIN = {
    "rim": "that was the rim",
    "double": "two strokes at once",
    "clipped": "too loud for the line",
    "other drum": "that was another drum",
    "weak": "too soft to hear",
}


class HeadPass:
    """One drum's head, from finger-tight ("cross") or already up ("fine").

    ``head`` is what the last whole fine pass said; ``known`` what is known of the drum, from
    earlier rounds or another evening. Raises DrumError for an impossible number of lugs, or one
    that is not that of what is known, and from `tapped`, `again` and `turned` for a lug the head
    has not.
    """

    def __init__(self, lugs: int, phase: Phase = "fine", known: RimState | None = None) -> None:
        self.lugs = check_lugs(lugs)
        if known is not None and known.lugs != lugs:
            raise DrumError(f"{lugs} lugs, but what is known is of {known.lugs}: begin anew")
        self.phase: Phase = phase
        self.head: Head | None = None
        self.passes = 0
        self.known = known
        self._before = known  # this round
        self._taps: list[tuple[int, Stroke]] = []
        self._made: list[Turn] = []  # after this round
        self._gone: deque[Stroke] = deque(maxlen=GONE_MAX)
        self._said = ""

    @property
    def order(self) -> tuple[int, ...]:
        """The lugs in the order they are tapped and turned."""
        return cross_order(self.lugs) if self.phase == "cross" else clockwise_order(self.lugs)

    @property
    def even(self) -> bool:
        """Whether the last pass found the head even, and nothing was turned since."""
        return self.head is not None and self.head.even and not self._made

    @property
    def taps(self) -> tuple[tuple[int, Stroke], ...]:
        """This round's taps that count, each with its lug."""
        return tuple(self._taps)

    def tap_next(self) -> int | None:
        """The lug to tap, None while turns are advised or nothing is left to do."""
        if self.head is not None:
            return None
        taken = [lug for lug, _ in self._taps]
        return next((lug for lug in self.order if taken.count(lug) < self.taps_wanted), None)

    @property
    def taps_wanted(self) -> int:
        """How many taps beside every lug this round asks for."""
        return 1 if self.phase == "cross" else taps_a_lug(self.lugs, self.passes)

    def tapped(self, stroke: Stroke, lug: int | None = None) -> bool:
        """A stroke beside the lug that was asked for, or beside another that is named.

        A stroke told again (the same line and time) replaces what it told before; if it was the
        round's last, the round is concluded anew. Returns whether it counts as a tap.
        """
        if any(_is_same(stroke, each) for each in self._gone):
            return False
        for at, (earlier, known) in enumerate(self._taps):
            if _is_same(stroke, known):
                return self._told_again(at, earlier, stroke)
        beside = self.tap_next() if lug is None else check_lug(lug, self.lugs)
        if beside is None or self.head is not None or len(self._taps) >= TAPS_MAX:
            return False
        if not good_taps([(beside, stroke)]):
            why = stroke.verdict if stroke.verdict in AGAIN else "weak"
            self._said = f"{AGAIN[why]}: tap again"
            return False
        self._said = ""
        self._taps.append((beside, stroke))
        if self.tap_next() is None:
            self._conclude()
        return True

    def _told_again(self, at: int, lug: int, stroke: Stroke) -> bool:
        """What a tap that counts was found to be, when more of its ring was heard."""
        if self._made:
            return True  # the key was turned on what it told at first
        concluded = self.head is not None
        good = bool(good_taps([(lug, stroke)]))
        if good:
            self._taps[at] = (lug, stroke)
        else:
            self._reopen()
            self._gone.append(self._taps.pop(at)[1])
            self._said = f"{AGAIN.get(stroke.verdict, AGAIN['weak'])}: tap lug {lug} again"
        if good and concluded:
            self._reopen()
            self._conclude()
        return good

    def _conclude(self) -> None:
        """The last lug was tapped: what the round says."""
        if self.phase == "cross":
            self.phase = "fine"
            self._forget_taps()
            self._said = "up across: now clockwise, tap each lug twice"
            return
        found = head(self.lugs, self._taps, self._before)
        if found is None:
            self._forget_taps()
            self._said = "no pair of overtones heard: mute the centre lightly and begin again"
            return
        self.head, self.known = found
        self.passes += 1

    def _reopen(self) -> None:
        """As if the round had not been concluded."""
        if self.head is not None:
            self.head, self.known = None, self._before
            self.passes -= 1

    def _forget_taps(self) -> None:
        self._gone.extend(stroke for _, stroke in self._taps)
        self._taps = []

    def turned(self, made: Sequence[Turn] | None = None) -> None:
        """The drummer has turned: all that is advised, or as told. The next fine pass begins."""
        turns = self.advised() if made is None else tuple(made)
        for lug, _ in turns:
            check_lug(lug, self.lugs)
        self._made += turns
        self._next_round()

    def turned_one(self, lug: int, turns: float | None = None) -> None:
        """One lug was turned, as advised unless said; after the last one the next pass begins.

        Raises DrumError for a lug that is to be turned by nothing.
        """
        check_lug(lug, self.lugs)
        advised = dict(self.advised())
        if turns is None and lug not in advised:
            raise DrumError(f"lug {lug} is not to be turned now: say how far it was turned")
        if len(self._made) >= TAPS_MAX:
            raise DrumError(f"{TAPS_MAX} turns in a row: tap the round again")
        self._made.append(Turn(lug, advised[lug] if turns is None else turns))
        if not self.advised():
            self._next_round()

    def _next_round(self) -> None:
        known = self.known if self.head is not None else self._before
        self.known = self._before = None if known is None else known.after(self._made)
        self.head, self._made, self._said = None, [], ""
        self._forget_taps()

    def restart(self) -> None:
        """Tap the round anew: somebody lost count, or would not turn what is advised."""
        if self.head is not None:
            self._next_round()
        self._forget_taps()
        self._said = ""

    def again(self, lug: int | None = None) -> None:
        """Tap a lug anew, the last one tapped unless named: that tap was not meant so."""
        if self._made or not self._taps:
            return
        beside = self._taps[-1][0] if lug is None else check_lug(lug, self.lugs)
        self._reopen()
        self._gone.extend(stroke for at, stroke in self._taps if at == beside)
        self._taps = [each for each in self._taps if each[0] != beside]
        self._said = ""

    def advised(self) -> tuple[Turn, ...]:
        """What is still to be turned, the lug farthest out and its opposite first."""
        if self.head is None or self.even:
            return ()
        done = {lug for lug, _ in self._made}
        found = sorted(self.head.lugs, key=lambda each: -round(abs(each.offset_cents), 3))
        return tuple(
            Turn(each.lug, each.turns if each.verdict == "tighten" else -each.turns)
            for each in found
            if each.turns is not None and each.lug not in done
        )

    def says(self) -> str:
        """One line for the page: what to do now."""
        if self._said:
            return self._said
        lug = self.tap_next()
        if lug is not None:
            up = f"bring lug {lug} up as far as the others, then " if self.phase == "cross" else ""
            return f"{up}tap {PLACE.format(lug=lug)}"
        if self.even:
            return "even: leave it, or check once more when the head has settled"
        advised = self.advised()
        if not advised:
            return "as even as it can be heard: tap once more to be sure"
        first = advised[0]
        word = "tighten" if first.turns > 0 else "slacken"
        which = "next" if self._made else "first"
        return f"lug {first.lug} {which}: {word} by {turns_in_words(first.turns)}"

    def payload(self) -> dict[str, Any]:
        """What the page shows, ready for JSON."""
        return {
            "lugs": self.lugs,
            "phase": self.phase,
            "tap_next": self.tap_next(),
            "order": list(self.order),
            "heard": self._heard(),
            "advice": []
            if self.head is None
            else [
                {"lug": each.lug, "verdict": each.verdict, "turns": each.turns}
                for each in self.head.lugs
            ],
            "turn_next": self._turn_next(),
            "to_turn": [lug for lug, _ in self.advised()],
            "taps_wanted": self.taps_wanted,
            "last": self._taps[-1][0] if self._taps else None,
            "evenness_cents": None if self.head is None else self.head.evenness_cents,
            "even": self.even,
            "farthest": self._farthest(),
            "passes": self.passes,
            "confusion": None if self.head is None else self.head.confusion,
            "says": self.says(),
        }

    def _turn_next(self) -> dict[str, Any] | None:
        advised = self.advised()
        if not advised:
            return None
        lug, turns = advised[0]
        word = "tighten" if turns > 0 else "slacken"
        return {"lug": lug, "verdict": word, "turns": abs(turns), "how": turns_in_words(turns)}

    def _farthest(self) -> dict[str, Any] | None:
        """Which lugs may be the one farthest out; None of a head that is even, or not told yet."""
        if self.head is None or self.even:
            return None
        far = self.head.farthest
        return {**as_data(far), "says": in_words(far, self.lugs)}

    def state(self) -> dict[str, Any]:
        """All of it as plain data, for a store."""
        return {
            "lugs": self.lugs,
            "phase": self.phase,
            "passes": self.passes,
            "before": None if self._before is None else rim_as_data(self._before),
            "known": None if self.known is None else rim_as_data(self.known),
            "fundamental_hz": None if self.head is None else short(self.head.fundamental_hz),
            "taps": taps_as_data(self._taps),
            "made": [[lug, short(turns)] for lug, turns in self._made],
            "said": self._said,
        }

    @classmethod
    def from_state(cls, data: object) -> HeadPass:
        """The pass that `state` told of; raises DrumError for what cannot be one."""
        if not isinstance(data, dict) or data.get("phase") not in get_args(Phase):
            raise DrumError("a head pass that was kept cannot be read")
        made = cls(whole(data.get("lugs"), "lugs", 1, 64), data["phase"])
        made.passes = whole(data.get("passes"), "passes", 0, 10**6)
        made._before, made.known = (
            None if data.get(key) is None else rim_from_data(data[key])
            for key in ("before", "known")
        )
        for rim in (made._before, made.known):
            if rim is not None and rim.lugs != made.lugs:
                raise DrumError("a head pass that was kept is of two different heads")
        made._taps = taps_from_data(data.get("taps"), made.lugs, TAPS_MAX)
        made._made = _turns_from(data.get("made"), made.lugs)
        made._said = data["said"] if isinstance(data.get("said"), str) else ""
        if data.get("fundamental_hz") is not None:
            if made.known is None:
                raise DrumError("a head pass that was kept knows nothing of its head")
            made.head = describe(
                made.known, number(data["fundamental_hz"], "fundamental", *HZ_LIMITS)
            )
        return made

    def _heard(self) -> list[dict[str, Any]]:
        """The head's lugs after a pass; while it goes on, what each tap by itself sounded like."""
        if self.head is not None:
            return [
                {
                    "lug": each.lug,
                    "hz": each.hz,
                    "offset_cents": each.offset_cents,
                    "uncertainty_cents": each.uncertainty_cents,
                }
                for each in self.head.lugs
            ]
        pitches = [
            (lug, mode)
            for lug, stroke in self._taps
            if (mode := beside_lug(stroke.modes)) is not None
        ]
        if not pitches:
            return []
        middle = float(np.median([mode.hz for _, mode in pitches]))
        by_lug = dict(pitches)
        return [
            {
                "lug": lug,
                "hz": mode.hz,
                "offset_cents": cents_between(mode.hz, middle),
                "uncertainty_cents": mode.uncertainty_cents,
            }
            for lug, mode in sorted(by_lug.items())
        ]


def taps_a_lug(lugs: int, passes: int) -> int:
    """How many taps a lug a fine pass takes that follows so many."""
    return MORE_TAPS if lugs >= MANY_LUGS and passes else TAPS


def _is_same(one: Stroke, other: Stroke) -> bool:
    return one.line == other.line and abs(one.at_s - other.at_s) < SAME_STROKE_S


def _turns_from(rows: object, lugs: int) -> list[Turn]:
    if not isinstance(rows, list) or len(rows) > TAPS_MAX:
        raise DrumError("the turns that were kept cannot be read")
    if not all(isinstance(row, list) and len(row) == 2 for row in rows):
        raise DrumError("a turn that was kept cannot be read")
    return [
        Turn(whole(lug, "lug", 1, lugs), number(turns, "turns", -TURNS_MAX, TURNS_MAX))
        for lug, turns in rows
    ]


def turns_in_words(turns: float) -> str:
    """A turn of the key as drummers say it where it is one, else in degrees."""
    size = abs(turns)
    for parts, name in FRACTIONS.items():
        if abs(size * parts - 1.0) < 0.1:
            return f"{name} of a turn" if parts > 2 else "half a turn"
    return f"{360.0 * size:.0f} degrees" if size >= 1 / 180 else f"{360.0 * size:.1f} degrees"
