"""Strings whose target was changed: what must be turned, what was, and what to check again. Pure.

A string that was turned to another note goes on moving: its windings and the string itself give
way, most of it within the first minute, less and less afterwards. So once it is in, it is asked
for again: in the first gap after the band has played on it, which is when one can check, but for
the first `SOONEST_S`; else `CREEP_S` later. It is asked for once more if it was found out by
then. Both times are our choice: long enough to have crept, short enough to be asked before the
next song.

What counts as found is a whole note of that string, heard after it fell due: a reading may be
a hand passing by.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Literal, get_args

from station.measure.types import Heard, Note, Reading
from station.music.pitch import midi_to_hz
from station.room.hearing import OTHER_NOTE_CENTS
from station.room.pegs import CameIn
from station.room.roster import Roster
from station.room.seats import Seat

CREEP_S = 60.0
SOONEST_S = 15.0
ROUNDS_MAX = 2
_SAME_CENTS = 1e-6

Stage = Literal["turn", "check", "settling", "again"]
Strings = dict[int, tuple[str, float]]


@dataclass(slots=True)
class Retune:
    """A string on its way. ``cents`` is how far it has to be turned, 0 where a capo moved it.

    ``turn``: it is not in yet. ``check``: likewise, but no peg has to be turned. ``settling``:
    it was in, and gives way. ``again``: to be played once more; ``crept_cents`` is what was
    found then, None before. ``heard_hz`` is what its peg was heard at before, None where it was
    not heard; not ``straight`` if another target came before it got there. ``played``: the band
    has played since it was in.
    """

    before: str
    after: str
    cents: float
    stage: Stage
    due_s: float = 0.0
    rounds: int = 0
    crept_cents: float | None = None
    heard_hz: float | None = None
    straight: bool = True
    played: bool = False

    @property
    def pending(self) -> bool:
        """Whether its player is not ready for it."""
        return self.stage in ("turn", "check")

    def as_json(self, string: int) -> dict[str, Any]:
        return {
            "string": string,
            "from": self.before,
            "to": self.after,
            "cents": round(self.cents, 1),
            "state": self.stage,
            "crept_cents": None if self.crept_cents is None else round(self.crept_cents, 1),
        }


class Retuned:
    """Every player's strings on their way, compared with what the roster had before."""

    def __init__(self, roster: Roster, a4_hz: Callable[[], float]) -> None:
        self._roster = roster
        self._a4_hz = a4_hz
        self._strings: dict[str, dict[int, Retune]] = {}
        self._known: dict[str, _Known] = {}
        self._heard_hz: dict[tuple[str, int], float] = {}  # what each peg was last heard at
        self.came_in: Callable[[str, CameIn, float], object] = _to_nobody
        self.look_anew()

    def look_anew(self) -> None:
        """Take the strings as they are for what they were before."""
        self._known = {seat.player.id: _known(seat) for seat in self._roster}

    def of(self, player_id: str) -> Mapping[int, Retune]:
        """A player's strings on their way, by number."""
        return self._strings.get(player_id, {})

    def pending(self, player_id: str) -> bool:
        """Whether a player has strings to turn or to check."""
        return any(each.pending for each in self.of(player_id).values())

    def way_hz(self, player_id: str, number: int) -> tuple[float, float]:
        """From where a string's peg has to take it to where: as heard, else as it should be."""
        each = self._strings[player_id][number]
        to_cents = self._known[player_id].pegs[number][1]
        from_hz = each.heard_hz or self._peg_hz(to_cents - each.cents)
        return from_hz, self._peg_hz(to_cents)

    def _peg_hz(self, cents: float) -> float:
        return midi_to_hz(cents / 100.0, self._a4_hz())

    def follow(self) -> None:
        """Somebody's instrument or tuning may have changed."""
        for seat in self._roster:
            player, now = seat.player.id, _known(seat)
            before, self._known[player] = self._known.get(player, now), now
            if before != now:
                self._compare(player, before, now)

    def _compare(self, player: str, before: _Known, now: _Known) -> None:
        if before.instrument != now.instrument:
            # Another instrument in the hands: which notes its strings have is not known.
            fresh = {n: Retune("", note, 0.0, "check") for n, (note, _) in now.pegs.items()}
            self._strings[player] = fresh
            for number in before.pegs:
                self._heard_hz.pop((player, number), None)
            return
        old = self._strings.get(player, {})
        on_way: dict[int, Retune] = {}
        for number, (note, cents) in now.pegs.items():
            earlier = old.get(number)
            note_was, cents_were = before.pegs[number]
            straight = earlier is None or earlier.stage != "turn"
            if earlier is not None and not straight:
                # It never got there: it has what it had before that.
                note_was, cents_were = earlier.before, cents_were - earlier.cents
            moved = cents - cents_were
            if abs(moved) > _SAME_CENTS:
                heard_hz = self._heard_hz.get((player, number))
                turn = Retune(note_was, note, moved, "turn", heard_hz=heard_hz, straight=straight)
                on_way[number] = turn
            elif before.targets[number] != now.targets[number]:
                on_way[number] = Retune(note, note, 0.0, "check")
            elif earlier is not None:
                on_way[number] = earlier
        self._strings[player] = on_way

    def hear(self, heard: Heard, now_s: float) -> bool:
        """After the roll call took a pitch in; whether anything changed here."""
        if not isinstance(heard, Reading | Note):
            return False
        moved = False
        for seat in self._roster.on_line(heard.line):
            player = seat.player.id
            on_way = self._strings.get(player, {})
            for number, state in seat.strings.items():
                peg = self._known[player].pegs.get(number)
                if state.heard_at_s != now_s or state.cents is None or peg is None:
                    continue
                self._heard_hz[player, number] = self._peg_hz(peg[1] + state.cents)
                if number in on_way:
                    whole = isinstance(heard, Note)
                    moved |= self._heard(seat, number, on_way, whole, now_s)
        return moved

    def _heard(
        self, seat: Seat, number: int, on_way: dict[int, Retune], whole: bool, now_s: float
    ) -> bool:
        state, each = seat.strings[number], on_way[number]
        if each.pending and state.roll == "in":
            if each.stage == "check":
                del on_way[number]
            else:
                each.stage, each.due_s = "settling", now_s + CREEP_S
                self._tell(seat, number, each, now_s)
            return True
        if each.stage != "again" or not whole or state.cents is None:
            return False
        if state.verdict != "in":
            crept = abs(state.cents) <= OTHER_NOTE_CENTS
            each.crept_cents = state.cents if crept else each.crept_cents
            return crept
        each.rounds += 1
        if each.crept_cents is None or each.rounds >= ROUNDS_MAX:
            del on_way[number]
        else:
            each.stage, each.due_s, each.crept_cents = "settling", now_s + CREEP_S, None
            each.played = False
        return True

    def _tell(self, seat: Seat, number: int, each: Retune, now_s: float) -> None:
        """It was turned and is in: where its pitch was known before, its peg may be asked about."""
        if each.heard_hz is None or not each.straight:
            return
        player = seat.player
        to_hz = self._heard_hz[player.id, number]
        turned = CameIn(player.instrument, number, each.before, each.after, each.heard_hz, to_hz)
        self.came_in(player.id, turned, now_s)

    def tick(self, now_s: float, doing: str) -> bool:
        """Whether a string fell due; ``doing`` is what the band does (`Evening.doing`)."""
        moved = False
        for on_way in self._strings.values():
            for each in on_way.values():
                if each.stage != "settling":
                    continue
                each.played |= doing == "playing"
                gap = each.played and doing in ("gap", "tuning")
                if now_s >= each.due_s - (CREEP_S - SOONEST_S if gap else 0.0):
                    each.stage, moved = "again", True
        return moved

    # -- what is kept ----------------------------------------------------------------

    def state(self) -> list[dict[str, Any]]:
        """The strings' rows for the store; when one falls due means nothing after a restart."""
        return [
            {"player": player, **each.as_json(number), "rounds": each.rounds}
            for player, on_way in self._strings.items()
            for number, each in on_way.items()
        ]

    def restore(self, rows: Iterable[Any]) -> None:
        """Take back the rows that still fit a string; a settling one is asked for at once."""
        self.look_anew()
        for player, number, each in _restored(rows):
            known = self._known.get(player)
            if known is not None and known.pegs.get(number, ("", 0.0))[0] == each.after:
                self._strings.setdefault(player, {})[number] = each


@dataclass(frozen=True, slots=True)
class _Known:
    """A player's strings: where their pegs are (a note and its cents), and where they sound."""

    instrument: str
    pegs: Strings
    targets: dict[int, tuple[int, float]]


def _known(seat: Seat) -> _Known:
    pegs = {
        each.number: (each.note, 100.0 * each.midi + each.offset_cents)
        for each in seat.peg_strings()
    }
    return _Known(seat.player.instrument, pegs, seat.targets())


def _to_nobody(player_id: str, turned: CameIn, now_s: float) -> None:
    """Nobody wants to know."""


def _restored(rows: Iterable[Any]) -> Iterator[tuple[str, int, Retune]]:
    for row in rows:
        try:
            stage = row["state"]
            if stage not in get_args(Stage) or type(row["string"]) is not int:
                continue
            each = Retune(str(row["from"])[:8], str(row["to"])[:8], float(row["cents"]), stage, 0.0)
            each.rounds = int(row["rounds"])
            crept = row["crept_cents"]
            each.crept_cents = None if crept is None else float(crept)
            if not math.isfinite(each.cents) or not math.isfinite(each.crept_cents or 0.0):
                continue
            yield str(row["player"]), row["string"], each
        except (KeyError, TypeError, ValueError, OverflowError):
            continue
