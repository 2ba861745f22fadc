"""What turns of pegs do, as far as players cared to say: asked, learned, told, forgotten. Pure.

The station hears a string's pitch before and after it was turned to another note, and cannot hear
the peg. So when such a string has come in, its player's phone asks how far the peg went: one
touch answers. Nothing depends on an answer. The question goes by itself after `ASK_S`, is not put
where the pitch before was not heard, for less than `LEAST_CENTS`, or of a peg that is known; and
who let `IGNORED_MAX` in a row go by is not asked again unless they want to be.

What is learned (`station.music.pegs`) belongs to a player's instrument and string, whatever the
tuning: the forecast is made anew for every pair of notes.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from station.errors import NotNowError, UsageError
from station.music.pegs import QUARTER, Report, change_of_square, learn
from station.music.pitch import shift_cents
from station.room.parts import Context, Part

ASK_S = 45.0
LEAST_CENTS = 80.0
"""Of less than about a semitone quarters of a turn tell nothing."""
KNOWN_REPORTS = 6
IGNORED_MAX = 3
REPORTS_KEPT = 8
"""The newest of a string: strings are changed, and answers from before them should go."""
QUARTERS_MAX = 24
_HZ2_MAX = 1e8

Key = tuple[str, str, int]
"""A player's id, an instrument's key, a string's number."""


@dataclass(frozen=True, slots=True)
class CameIn:
    """A string that was turned from one note to another and is in now; frequencies as heard."""

    instrument: str
    string: int
    before: str
    after: str
    from_hz: float
    to_hz: float

    @property
    def word(self) -> str:
        return "tighten" if self.to_hz > self.from_hz else "slacken"


class Pegs(Part):
    """Answers by player, instrument and string, and the questions that are open."""

    def __init__(self, context: Context) -> None:
        super().__init__(context)
        self._reports: dict[Key, list[Report]] = {}
        self._open: dict[str, list[tuple[float, CameIn]]] = {}
        self._ignored: dict[str, int] = {}
        self._silent: set[str] = set()

    # -- what is asked -----------------------------------------------------------------

    def came_in(self, player_id: str, turned: CameIn, now_s: float) -> None:
        """A string has come in after its peg was turned: ask, if an answer would tell something."""
        cents = abs(1200.0 * math.log2(turned.to_hz / turned.from_hz))
        known = len(self._reports.get(self._key(player_id, turned.string), ())) >= KNOWN_REPORTS
        here = player_id in self.context.present()
        if cents < LEAST_CENTS or known or not here or player_id in self._silent:
            return
        others = [each for each in self._open.get(player_id, ()) if each[1].string != turned.string]
        self._open[player_id] = [*others, (now_s, turned)]

    def answer(self, player_id: str, string: int, quarters: int) -> None:
        """A player says how many quarters of a turn a peg went; 0 that they do not say.

        Raises UnknownPlayerError, UsageError for a number of quarters no hand turns, and
        NotNowError where it was not asked.
        """
        self.context.roster.seat(player_id)
        if not 0 <= quarters <= QUARTERS_MAX:
            raise UsageError(f"{quarters} quarters of a turn: a peg goes 1 to {QUARTERS_MAX}")
        asked = self._open.get(player_id, [])
        found = next((each for _, each in asked if each.string == string), None)
        if found is None:
            raise NotNowError(f"string {string}: its peg is not asked about (any more)")
        if quarters == 0:
            del self._open[player_id]  # who does not say it of one does not of the others
            self._went_by(player_id)
            return
        self._open[player_id] = [each for each in asked if each[1] is not found]
        self._ignored.pop(player_id, None)
        key = (player_id, found.instrument, string)
        told = Report(change_of_square(found.from_hz, found.to_hz), quarters * QUARTER)
        self._reports[key] = [*self._reports.get(key, ()), told][-REPORTS_KEPT:]
        self.changes += 1

    def ask(self, player_id: str, wanted: bool) -> None:
        """Whether a player's phone may ask at all; raises UnknownPlayerError."""
        self.context.roster.seat(player_id)
        (self._silent.discard if wanted else self._silent.add)(player_id)
        self._ignored.pop(player_id, None)
        if not wanted:
            self._open.pop(player_id, None)
        self.changes += 1

    def forget(self, player_id: str, string: int | None = None) -> None:
        """What was learned of a string of the instrument in hand, None for all of them.

        Raises UnknownPlayerError, and NotNowError where there is nothing to forget.
        """
        keys = [key for key, _ in self._of(player_id) if string in (None, key[2])]
        if not keys:
            raise NotNowError("nothing is known of these pegs: there is nothing to forget")
        for key in keys:
            del self._reports[key]
        self.changes += 1

    def _went_by(self, player_id: str) -> None:
        self._ignored[player_id] = self._ignored.get(player_id, 0) + 1
        if self._ignored[player_id] >= IGNORED_MAX:
            self._silent.add(player_id)
            self.changes += 1

    # -- what is known -----------------------------------------------------------------

    def forecast(
        self, player_id: str, string: int, from_hz: float, to_hz: float
    ) -> dict[str, Any] | None:
        """How far a peg has to be turned, which way, how surely; None where nobody knows."""
        peg = learn(self._reports.get(self._key(player_id, string), ()))
        found = None if peg is None else peg.forecast(from_hz, to_hz)
        if peg is None or found is None:
            return None
        return {
            "turns": round(found.turns, 3),
            "spread": round(found.spread, 3),
            "word": "tighten" if to_hz > from_hz else "slacken",
            "reports": peg.reports,
        }

    def told(self, player_id: str) -> dict[str, Any]:
        """What is known of a player's pegs, for a semitone down from where each string is now.

        Raises UnknownPlayerError.
        """
        a4_hz = self.context.a4_hz()
        strings = []
        opens = {each.number: each for each in self.context.roster.seat(player_id).open_strings()}
        for key, reports in self._of(player_id):
            if key[2] in opens:
                hz = opens[key[2]].target_hz(a4_hz)
                semitone = self.forecast(player_id, key[2], hz, shift_cents(hz, -100.0))
                strings.append({"string": key[2], "reports": len(reports), "semitone": semitone})
        return {"asks": player_id not in self._silent, "strings": strings}

    def _of(self, player_id: str) -> Iterator[tuple[Key, list[Report]]]:
        """The answers about the instrument a player holds, the lowest string first."""
        held = self.context.roster.seat(player_id).player.instrument
        own = [key for key in self._reports if key[:2] == (player_id, held)]
        return ((key, self._reports[key]) for key in sorted(own, key=lambda key: -key[2]))

    def _key(self, player_id: str, string: int) -> Key:
        return player_id, self.context.roster.seat(player_id).player.instrument, string

    # -- what the room tells -----------------------------------------------------------

    def tick(self, now_s: float) -> bool:
        gone = False
        for player_id, asked in list(self._open.items()):
            fresh = [each for each in asked if now_s - each[0] < ASK_S]
            if len(fresh) < len(asked):
                gone = True
                self._open[player_id] = fresh
                if not fresh:
                    self._went_by(player_id)  # strings turned one after the other count once
        return gone

    def players_changed(self) -> None:
        """A question about strings that are to be turned on, or put away, is none any more."""
        for player_id, asked in list(self._open.items()):
            seat = self.context.roster.seat(player_id)
            notes = {each.number: each.note for each in seat.peg_strings()}
            self._open[player_id] = [
                (at_s, each)
                for at_s, each in asked
                if each.instrument == seat.player.instrument
                and notes.get(each.string) == each.after
            ]

    def as_json(self, now_s: float) -> dict[str, Any]:  # noqa: ARG002 - a part's
        """The question that is put to each player: the string that came in last."""
        return {
            player_id: {
                "string": asked[-1][1].string,
                "from": asked[-1][1].before,
                "to": asked[-1][1].after,
                "word": asked[-1][1].word,
            }
            for player_id, asked in self._open.items()
            if asked
        }

    # -- what is kept --------------------------------------------------------------------

    def state(self) -> dict[str, Any]:
        return {
            "told": [
                {"player": player, "instrument": instrument, "string": string, "reports": reports}
                for (player, instrument, string), reports in self._reports.items()
            ],
            "silent": sorted(self._silent),
        }

    def restore(self, stored: Any) -> list[str]:
        """Answers come back but for those of players and instruments there are no more."""
        if not isinstance(stored, Mapping):
            return ["what was learned of pegs could not be read back"]
        known, instruments = self.context.roster.ids(), self.context.roster.instruments
        rows, silent = stored.get("told"), stored.get("silent")
        for row in rows if isinstance(rows, list) else ():
            found = _restored(row)
            if found is not None and found[0][0] in known and found[0][1] in instruments:
                self._reports[found[0]] = found[1]
        names = silent if isinstance(silent, list) else ()
        self._silent = {each for each in names if isinstance(each, str) and each in known}
        return []


def _restored(row: Any) -> tuple[Key, list[Report]] | None:
    """A stored row, None of one that is odd."""
    try:
        player, instrument, string = row["player"], row["instrument"], row["string"]
        reports = [Report(float(hz2), float(turns)) for hz2, turns in row["reports"]]
    except (KeyError, TypeError, ValueError, OverflowError):
        return None
    if not (isinstance(player, str) and isinstance(instrument, str) and type(string) is int):
        return None
    sound = [
        each
        for each in reports[-REPORTS_KEPT:]
        if 1.0 <= each.hz2 <= _HZ2_MAX and QUARTER <= each.turns <= QUARTERS_MAX * QUARTER
    ]
    return ((player, instrument, string), sound) if sound and 1 <= string <= 64 else None
