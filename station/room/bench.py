"""The string bench: what a player looks into more closely on their own line. Pure.

A player whose phone is here opens one thing at a time: a strum of all strings, two strings
together, or the saddle (`bench_saddle`). While it is open, and the line is theirs, an ear
listens beside the strings. It ends on their word, when the phone leaves, or by itself after
`LASTS_S`. What lasts are the sets of strings they have on, and those strings' first days.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

from station.errors import NotNowError, StationError, UsageError
from station.measure.beats.types import BeatReading
from station.measure.pluck_ear import Plucked
from station.measure.string_health_types import Health
from station.measure.strum.types import Strum, targets_of
from station.measure.types import Heard, Note
from station.music.catalogue import Tuning
from station.music.intonation import Against
from station.music.pairs import StringPair, Way
from station.music.verdict import IN_CENTS
from station.room.bench_health import Days, TodaysPlucks
from station.room.bench_pair import (
    PairAsked,
    beats_as_json,
    find_pair,
    held_side,
    pair_as_json,
    tour_as_json,
)
from station.room.bench_saddle import SaddleNotes
from station.room.bench_sets import Sets, StringSet, open_tuning, set_as_json
from station.room.bench_strum import (
    Earlier,
    StrumRow,
    counting,
    earlier_of,
    enter,
    strum_as_json,
    strum_rows,
    touched_up,
)
from station.room.model import Event
from station.room.parts import Context, Part, WantedEar
from station.room.seats import Seat

LASTS_S = 600.0
GONE_S = 5.0  # a phone that asks may yet be opening its stream
LATE_S = 1.0  # between the sound and what is told of it, at most: listening gives up later blocks

BenchKind = Literal["strum", "beats", "saddle", "health"]
Data = dict[str, Any]


@dataclass(slots=True)
class Opened:
    """What one player has open; ``as_tuned`` is what it was opened for."""

    kind: BenchKind
    ends_s: float
    as_tuned: tuple[object, ...]
    here_s: float  # when the player's phone was here last
    pair: StringPair | None = None
    hold: int | None = None
    saddle: SaddleNotes | None = None
    health: TodaysPlucks | None = None
    told: Data | None = None
    rows: tuple[StrumRow, ...] = ()
    before: dict[tuple[int, int], Earlier] = field(default_factory=dict)
    strums: int = 0


class Bench(Part):
    """What every player has open on the bench, and the sets of strings they have on.

    ``whose_turn`` tells the id of the player who has a shared line; ``is_bands_own`` whether
    what was heard from a time on cannot be the station's own tone.
    """

    def __init__(self, context: Context, in_cents: float = IN_CENTS) -> None:
        super().__init__(context)
        self.sets = Sets()
        self.days = Days()
        self.whose_turn: Callable[[int], str | None] = lambda _: None
        self.is_bands_own: Callable[[float], bool] = lambda _: True
        self.told = 0
        self._in_cents = in_cents
        self._open: dict[str, Opened] = {}
        self._news = False
        self._found: dict[str, dict[int, Health]] = {}

    # -- what players ask ----------------------------------------------------------

    def open_strum(self, player_id: str, now_s: float) -> None:
        """Raises UnknownPlayerError, UsageError, and NotNowError (`_may_open`)."""
        seat = self._may_open(player_id)
        self._begin(seat, Opened("strum", now_s + LASTS_S, _as_tuned(seat), now_s))

    def open_pair(
        self,
        player_id: str,
        name: str,
        now_s: float,
        way: Way | None = None,
        hold: int | None = None,
    ) -> None:
        """Two strings of the player's, such as ``6-5``; ``hold`` is the number of the one that
        stays. Raises UnknownPlayerError, PairError, UsageError, NotNowError."""
        seat = self._may_open(player_id)
        pair = find_pair(name, _tuning(seat), way, seat.instrument.frets)
        held = held_side(pair, hold)
        self._begin(seat, Opened("beats", now_s + LASTS_S, _as_tuned(seat), now_s, pair, held))

    def open_saddle(self, player_id: str, string: int, against: Against, now_s: float) -> None:
        """One string's saddle, by the notes that are played on it from now on.

        Raises UnknownPlayerError, TuningError, UsageError, NotNowError.
        """
        seat = self._may_open(player_id)
        if seat.player.capo:
            raise NotNowError("take the capo off first: the 12th fret is counted from the nut")
        notes = SaddleNotes(_tuning(seat).string(string), against)
        opened = Opened("saddle", now_s + LASTS_S, _as_tuned(seat), now_s)
        opened.saddle = notes
        self._begin(seat, opened)

    def drop_note(self, player_id: str) -> None:
        """The saddle's last note was none of it; raises UnknownPlayerError, NotNowError."""
        self.context.roster.seat(player_id)
        opened = self._open.get(player_id)
        if opened is None or opened.saddle is None:
            raise NotNowError("no saddle is looked into: open it first")
        opened.saddle.drop_last()
        self.told += 1

    def open_health(self, player_id: str, string: int, now_s: float) -> None:
        """One string's plucks, against its first day.

        Raises UnknownPlayerError, TuningError, UsageError, NotNowError.
        """
        seat = self._may_open(player_id)
        if seat.player.capo:
            raise NotNowError("take the capo off first: open strings are compared")
        opened = Opened("health", now_s + LASTS_S, _as_tuned(seat), now_s)
        opened.health = TodaysPlucks(_tuning(seat).string(string))
        self._begin(seat, opened)

    def new_strings(self, player_id: str, at: str) -> None:
        """The player's strings are new: their first days begin. ``at``: for people to read.

        Raises UnknownPlayerError and UsageError.
        """
        seat = self.context.roster.seat(player_id)
        _tuning(seat)
        self.days.begin(seat, at)
        self._found.pop(player_id, None)
        opened = self._open.get(player_id)
        if opened is not None and opened.health is not None:
            opened.health = TodaysPlucks(opened.health.string)
        self.told += 1
        self.changes += 1

    def close(self, player_id: str) -> None:
        """Harmless where nothing is open; raises UnknownPlayerError."""
        self.context.roster.seat(player_id)
        if self._open.pop(player_id, None) is not None:
            self.told += 1

    def keep_set(self, player_id: str, wanted: StringSet) -> None:
        """What is on the player's instrument; raises UnknownPlayerError, WireError, UsageError."""
        self.sets.keep(self.context.roster.seat(player_id), wanted)
        self.told += 1
        self.changes += 1

    def tour(self, player_id: str) -> Data:
        """The round of pairs of the player's tuning; raises UnknownPlayerError, UsageError."""
        return tour_as_json(_tuning(self.context.roster.seat(player_id)), self.context.a4_hz())

    def gauge(
        self, player_id: str, wanted: StringSet, to: str, degrees: str, bending: bool
    ) -> Data:
        """`set_as_json` of the player's strings; raises what it does, and UnknownPlayerError."""
        seat = self.context.roster.seat(player_id)
        kept = self.sets.of(seat)
        return set_as_json(seat, wanted, kept, self.context.a4_hz(), to, degrees, bending)

    def _begin(self, seat: Seat, opened: Opened) -> None:
        self._open[seat.player.id] = opened
        self.told += 1

    def _may_open(self, player_id: str) -> Seat:
        """Raises UsageError without strings, NotNowError on a line that is another's now."""
        seat = self.context.roster.seat(player_id)
        _tuning(seat)
        if not self._is_theirs(seat):
            raise NotNowError(
                f"line {seat.player.line} is shared: take the turn on it first, so that what is"
                " heard is yours"
            )
        return seat

    def _is_theirs(self, seat: Seat) -> bool:
        """Whether what sounds on the player's line is the player's."""
        line = seat.player.line
        if len(self.context.roster.on_line(line)) == 1:
            return True
        return self.whose_turn(line) == seat.player.id

    # -- what the room hears -------------------------------------------------------

    def hear(self, heard: Heard, now_s: float) -> bool:  # noqa: ARG002 - a part's
        """A note of whoever looks into a saddle on that line."""
        if not isinstance(heard, Note):
            return False
        news = False
        for player_id, opened in self._open.items():
            seat = self.context.roster.seat(player_id)
            notes = opened.saddle
            if notes is None or seat.player.line != heard.line or not self._is_theirs(seat):
                continue
            news |= notes.hear(heard, notes.string.target_hz(self.context.a4_hz()))
        self.told += news
        return news

    def wanted_ears(self) -> set[WantedEar]:
        here = self.context.present()
        wanted = (
            self._ear(self.context.roster.seat(player_id), opened)
            for player_id, opened in self._open.items()
            if player_id in here
        )
        return {each for each in wanted if each is not None}

    def _ear(self, seat: Seat, opened: Opened) -> WantedEar | None:
        if seat.tuning is None or opened.kind == "saddle" or not self._is_theirs(seat):
            return None
        a4_hz, line = self.context.a4_hz(), seat.player.line
        if opened.health is not None:
            return WantedEar("plucks", line, opened.health.string.target_hz(a4_hz))
        if opened.pair is not None:
            return WantedEar("beats", line, PairAsked(opened.pair, a4_hz, opened.hold))
        return WantedEar("strum", line, targets_of(seat.tuning, a4_hz))

    def hear_ear(self, wanted: WantedEar, told: Sequence[Any], now_s: float) -> list[Event] | None:
        if wanted.kind == "plucks":
            return self._hear_plucks(wanted, told)
        if wanted.kind not in ("strum", "beats"):
            return None
        events = []
        for player_id, opened in self._open.items():
            seat = self.context.roster.seat(player_id)
            if self._ear(seat, opened) != wanted:
                continue  # of another player, or of what was wanted a moment ago
            for each in told:
                payload = self._hear_one(seat, opened, each, now_s)
                if payload is not None:
                    events.append(Event(wanted.kind, player_id, payload))
        return events

    def _hear_plucks(self, wanted: WantedEar, told: Sequence[Plucked]) -> list[Event]:
        """A room event follows by `tick`."""
        for player_id, opened in self._open.items():
            seat = self.context.roster.seat(player_id)
            if opened.health is None or self._ear(seat, opened) != wanted:
                continue
            on = self.days.of(seat)
            for each in told:
                self.changes += opened.health.hear(each.pluck, on)
            said = opened.health.as_json(on, {})["health"]
            if said is not None:
                self._found.setdefault(player_id, {})[opened.health.string.number] = said
            self._news = True
        return []

    def _hear_one(self, seat: Seat, opened: Opened, heard: Any, now_s: float) -> Data | None:
        said: Data
        if isinstance(heard, Strum):
            said = self._hear_strum(seat, opened, heard, now_s)
            opened.told = said
        elif isinstance(heard, BeatReading) and opened.pair is not None:
            asked = PairAsked(opened.pair, self.context.a4_hz(), opened.hold)
            try:
                said = beats_as_json(heard, asked)
            except StationError:  # a beat that no two strings have: nothing to be said
                return None
        else:
            return None
        self.told += 1
        return {"player": seat.player.id, "line": seat.player.line, "told": self.told, **said}

    def _hear_strum(self, seat: Seat, opened: Opened, strum: Strum, now_s: float) -> Data:
        fresh = strum_rows(strum, _tuning(seat), self.context.a4_hz(), self._in_cents)
        counted: frozenset[int] = frozenset()
        if self.is_bands_own(now_s - strum.heard_s - LATE_S) and not strum.clipped:
            counted = counting(fresh, opened.before, self._in_cents)
            self._news |= enter(seat, fresh, counted, now_s)
        opened.before = {**opened.before, **earlier_of(fresh)}
        opened.rows = touched_up(fresh, opened.rows)
        opened.strums += 1
        return strum_as_json(strum, opened.rows, counted, opened.strums)

    def tick(self, now_s: float) -> bool:
        """What has ended; and what a strum has moved in the roll call is told by this."""
        for each in self.context.present():
            if each in self._open:
                self._open[each].here_s = now_s
        over = [
            each
            for each, opened in self._open.items()
            if now_s >= opened.ends_s or now_s - opened.here_s > GONE_S
        ]
        for each in over:
            del self._open[each]
        news = bool(over) or self._news
        self.told += news
        self._news = False
        return news

    def reference_changed(self) -> None:
        for opened in self._open.values():
            opened.told, opened.rows, opened.before = None, (), {}
            if opened.saddle is not None:
                opened.saddle = SaddleNotes(opened.saddle.string, opened.saddle.against)
        self.told += 1

    def players_changed(self) -> None:
        """Whatever was open for another tuning, or another line, is over."""
        seats = {seat.player.id: seat for seat in self.context.roster}
        self._found.clear()
        self._open = {
            each: opened
            for each, opened in self._open.items()
            if each in seats and _as_tuned(seats[each]) == opened.as_tuned
        }
        self.told += 1

    def as_json(self, now_s: float) -> Data:
        """What is open, by player; readings of two strings are events only."""
        a4_hz = self.context.a4_hz()
        return {
            "told": self.told,
            "open": {
                each: self._opened_as_json(each, opened, a4_hz, now_s)
                for each, opened in self._open.items()
            },
        }

    def _opened_as_json(self, player_id: str, opened: Opened, a4_hz: float, now_s: float) -> Data:
        pair, notes, plucks = opened.pair, opened.saddle, opened.health
        seat = self.context.roster.seat(player_id)
        scale_mm, on = self.sets.scale_mm(seat), self.days.of(seat)
        found = self._found.get(player_id, {})
        return {
            "kind": opened.kind,
            "ends_in_s": round(max(0.0, opened.ends_s - now_s), 1),
            "strum": opened.told,
            "pair": None if pair is None else pair_as_json(pair, a4_hz, opened.hold),
            "saddle": None if notes is None else notes.as_json(scale_mm),
            "health": None if plucks is None else plucks.as_json(on, found),
        }

    # -- what lasts ------------------------------------------------------------------

    def state(self) -> Data:
        return {"sets": self.sets.state(), "days": self.days.state()}

    def restore(self, stored: Any) -> list[str]:
        if not isinstance(stored, dict):
            return ["what was kept of the bench cannot be read"]
        players = frozenset(self.context.roster.ids())
        refused = self.sets.restore(stored.get("sets"), players)
        return refused + self.days.restore(stored.get("days"), players)


def _tuning(seat: Seat) -> Tuning:
    """Raises UsageError for a player without strings to tune."""
    open_tuning(seat)
    if seat.tuning is None:  # told by open_tuning
        raise UsageError(f"{seat.player.name} has no strings")
    return seat.tuning


def _as_tuned(seat: Seat) -> tuple[object, ...]:
    player = seat.player
    tuned = (player.instrument, player.tuning, player.capo, player.offsets_cents)
    return (*tuned, player.line)
