"""The guided pass over a head: which lug to tap or turn next, and what the taps have said.

A plain state machine without clock or thread: strokes and what was turned come in, what to say
is asked for. From finger-tight the head is first brought up across: one tap a lug tells the
drummer only how high it is. Fine passes go round clockwise with TAPS taps a lug; after each the
head is told, the drummer turns what is advised and says so (`turned`), and the next begins.
A stroke on the rim, a double or clipped one is not counted, and the pass says why.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Literal

import numpy as np

from station.measure.drums.lugs import beside_lug, good_taps, head
from station.measure.drums.turning import RimState, Turn
from station.measure.drums.types import Head, Stroke
from station.music.lugs import check_lug, check_lugs, clockwise_order, cross_order
from station.music.pitch import cents_between

Phase = Literal["cross", "fine"]

TAPS = 2  # a lug in a fine pass: one stroke in a few lies off
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

    ``head`` is what the last whole fine pass said. Raises DrumError for an impossible number
    of lugs, and from `tapped` and `turned` for a lug the head has not.
    """

    def __init__(self, lugs: int, phase: Phase = "fine", known: RimState | None = None) -> None:
        self.lugs = check_lugs(lugs)
        self.phase: Phase = phase
        self.head: Head | None = None
        self.passes = 0
        self.known = known
        self._taps: list[tuple[int, Stroke]] = []
        self._made: list[Turn] = []
        self._said = ""

    @property
    def order(self) -> tuple[int, ...]:
        """The lugs in the order they are tapped and turned."""
        return cross_order(self.lugs) if self.phase == "cross" else clockwise_order(self.lugs)

    @property
    def even(self) -> bool:
        """Whether the last pass found the head even, and nothing was turned since."""
        return self.head is not None and self.head.even and not self._made

    def tap_next(self) -> int | None:
        """The lug to tap, None while turns are advised or nothing is left to do."""
        if self.head is not None:
            return None
        taken = [lug for lug, _ in self._taps]
        wanted = 1 if self.phase == "cross" else TAPS
        return next((lug for lug in self.order if taken.count(lug) < wanted), None)

    def tapped(self, stroke: Stroke, lug: int | None = None) -> None:
        """A stroke beside the lug that was asked for, or beside another that is named.

        A stroke told again (the same line and time) replaces what it told before.
        """
        for at, (earlier, known) in enumerate(self._taps):
            if (known.line, known.at_s) == (stroke.line, stroke.at_s):
                if good_taps([(earlier, stroke)]):
                    self._taps[at] = (earlier, stroke)
                return
        beside = self.tap_next() if lug is None else check_lug(lug, self.lugs)
        if beside is None:
            return
        if stroke.verdict != "good" and not good_taps([(beside, stroke)]):
            self._said = f"{AGAIN[stroke.verdict]}: tap again"
            return
        if not stroke.modes:
            self._said = f"{AGAIN['weak']}: tap again"
            return
        self._said = ""
        self._taps.append((beside, stroke))
        if self.tap_next() is None:
            self._conclude()

    def _conclude(self) -> None:
        """The last lug was tapped: what the round says."""
        if self.phase == "cross":
            self.phase, self._taps = "fine", []
            self._said = "up across: now clockwise, tap each lug twice"
            return
        known = self.known.after(self._made) if self.known is not None else None
        found = head(self.lugs, self._taps, known)
        self._taps, self._made = [], []
        if found is None:
            self._said = "no pair of overtones heard: mute the centre lightly and begin again"
            return
        self.head, self.known = found
        self.passes += 1

    def turned(self, made: Sequence[Turn] | None = None) -> None:
        """The drummer has turned: as advised, or as told. The next fine pass begins."""
        turns = self.advised() if made is None else tuple(made)
        for lug, _ in turns:
            check_lug(lug, self.lugs)
        self._made += turns
        self.head, self._taps, self._said = None, [], ""

    def restart(self) -> None:
        """Forget the taps of this round: somebody lost count."""
        self._taps, self._said = [], ""

    def advised(self) -> tuple[Turn, ...]:
        """What to turn after the last pass, the lug farthest out and its opposite first."""
        if self.head is None or self.even:
            return ()
        found = sorted(self.head.lugs, key=lambda each: -round(abs(each.offset_cents), 3))
        return tuple(
            Turn(each.lug, each.turns if each.verdict == "tighten" else -each.turns)
            for each in found
            if each.turns is not None
        )

    def says(self) -> str:
        """One line for the page: what to do now."""
        if self._said:
            return self._said
        lug = self.tap_next()
        if lug is not None:
            return f"tap {PLACE.format(lug=lug)}"
        if self.even:
            return "even: leave it, or check once more when the head has settled"
        advised = self.advised()
        if not advised:
            return "as even as it can be heard: tap once more to be sure"
        first = advised[0]
        word = "tighten" if first.turns > 0 else "slacken"
        return f"lug {first.lug} first: {word} by {turns_in_words(first.turns)}"

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
            "evenness_cents": None if self.head is None else self.head.evenness_cents,
            "even": self.even,
            "passes": self.passes,
            "confusion": None if self.head is None else self.head.confusion,
            "says": self.says(),
        }

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


def turns_in_words(turns: float) -> str:
    """A turn of the key as drummers say it where it is one, else in degrees."""
    size = abs(turns)
    for parts, name in FRACTIONS.items():
        if abs(size * parts - 1.0) < 0.1:
            return f"{name} of a turn" if parts > 2 else "half a turn"
    return f"{360.0 * size:.0f} degrees" if size >= 1 / 180 else f"{360.0 * size:.1f} degrees"
