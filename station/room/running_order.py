"""The running order: the songs, which one is on, and who still has to change what for it. Pure.

A song that says nothing of a player leaves them as they were before the running order changed
them: whoever went to another tuning for one song comes back from it, and what players choose
themselves on their phones counts as theirs from then on.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any, Protocol

from station.errors import NotNowError, SongsError, StationError, UnknownSongError, UsageError
from station.measure.types import Heard
from station.music.offsets import offsets_as_json
from station.room.model import Event, Player
from station.room.parts import Context, Part
from station.room.retuned import Retune, Retuned
from station.room.setups import Setup, setup_of
from station.room.songs import Band, Song, check_size, read_song, read_songs, with_ids
from station.room.songs_csv import songs_from_csv, songs_to_csv

UNDO_MAX = 10

Changes = dict[str, dict[str, Any]]


class Order(Part):
    """The songs, the one that is on, and what each player has to do for it.

    ``doing`` tells what the band does (`Evening.doing`), ``forecast`` how far a player's peg is
    to be turned from one frequency to another (`Pegs.forecast`); the room sets both.
    """

    def __init__(self, context: Context) -> None:
        super().__init__(context)
        self.songs: tuple[Song, ...] = ()
        self.song: Song | None = None
        self.retuned = Retuned(context.roster, context.a4_hz)
        self.doing: Callable[[], str] = lambda: "not known"
        self.forecast: Callable[[str, int, float, float], Any] = lambda *_: None
        self._undo: list[tuple[Song, ...]] = []
        self._next_id = 1
        self._gone_from = 0
        self._own: dict[str, dict[str, Any]] = {}  # what players had before the order changed them
        self._given: dict[str, Player] = {}  # what they had after it
        self._giving = False
        self._asked: dict[str, dict[str, Any]] = {}  # what the song asks, by player

    # -- the list --------------------------------------------------------------------

    def read(self, revision: int | None, *, songs: object = None, csv: object = None) -> None:
        """Take songs in the place of all; raises SongsError, and then nothing has changed.

        ``revision`` is that of the list the asker saw, None to replace whatever there is.
        Raises NotNowError when it is another by now.
        """
        self._check(revision)
        if (songs is None) == (csv is None):
            raise UsageError("send the songs either as a list or as csv")
        band = self._band()
        found = read_songs(songs, band) if csv is None else songs_from_csv(csv, band)
        self._take(with_ids(found, self.songs, self._next_id))

    def add(self, row: object) -> Song:
        """A song at the end; raises SongsError."""
        song = replace(self._read_one(row), id=self._next_id)
        self._take((*self.songs, song))
        return song

    def change(self, song_id: int, row: object) -> Song:
        """Another text for a song; raises UnknownSongError and SongsError."""
        place = self._place(song_id)
        song = replace(self._read_one(row), id=song_id)
        self._take((*self.songs[:place], song, *self.songs[place + 1 :]))
        return song

    def move(self, song_id: int, to: int) -> None:
        """Put a song at a place counted from 1; raises UnknownSongError and UsageError."""
        place = self._place(song_id)
        if not 1 <= to <= len(self.songs):
            raise UsageError(f"place {to}: the running order has places 1 to {len(self.songs)}")
        rest = [*self.songs[:place], *self.songs[place + 1 :]]
        rest.insert(to - 1, self.songs[place])
        if to - 1 != place:
            self._take(tuple(rest))

    def remove(self, song_id: int) -> None:
        """Take a song out; raises UnknownSongError. `undo` brings it back."""
        place = self._place(song_id)
        self._take((*self.songs[:place], *self.songs[place + 1 :]))

    def undo(self) -> None:
        """The list as it was before the last change of it; raises NotNowError."""
        if not self._undo:
            raise NotNowError("nothing in the running order was changed since the station started")
        before = self._undo.pop()
        self._set(before)

    def find(self, song_id: int) -> Song:
        """Raises UnknownSongError."""
        return self.songs[self._place(song_id)]

    def coming(self) -> Song | None:
        """The song after the one that is on or, if it was taken out, was on; else the first."""
        return next(iter(self.songs[self._from() :]), None)

    def all_json(self) -> dict[str, Any]:
        """The whole list, as `read` takes it."""
        return {
            "revision": self.changes,
            "now": self.song.id if self.song else None,
            "undo": bool(self._undo),
            "songs": [song.as_json() for song in self.songs],
        }

    def csv(self) -> str:
        return songs_to_csv(self.songs, self.context.roster.ids())

    def _read_one(self, row: object) -> Song:
        song, faults = read_song(row, self._band())
        if faults:
            raise SongsError(faults)
        return song

    def _check(self, revision: int | None) -> None:
        if revision is not None and revision != self.changes:
            raise NotNowError("somebody else changed the running order meanwhile: look at it anew")

    def _take(self, songs: tuple[Song, ...]) -> None:
        check_size(songs)
        self._undo = [*self._undo, self.songs][-UNDO_MAX:]
        self._set(songs)

    def _set(self, songs: tuple[Song, ...]) -> None:
        if self.song is not None:
            self._gone_from = self._now()  # should it be taken out, that is where to go on
        self.songs = songs
        self._next_id = max([self._next_id, *(song.id + 1 for song in songs)])
        if self.song is not None:
            self.song = next((song for song in songs if song.id == self.song.id), None)
        self.changes += 1

    def _place(self, song_id: int) -> int:
        for place, song in enumerate(self.songs):
            if song.id == song_id:
                return place
        raise UnknownSongError(f"song {song_id}: it is not in the running order (any more)")

    def _now(self) -> int:
        return -1 if self.song is None else self._place(self.song.id)

    def _from(self) -> int:
        """The place, from 0, of the song that comes next."""
        return self._gone_from if self.song is None else self._now() + 1

    def _band(self) -> Band:
        roster = self.context.roster
        players = {seat.player.id: seat.player for seat in roster}
        return Band(players, roster.instruments)

    # -- a song begins -----------------------------------------------------------------

    def begin(self, song: Song) -> Changes:
        """The song is on from now; what is to be changed, by player, with `finish` after it."""
        self._giving = True
        self._asked = {}
        changes: Changes = {}
        for seat in self.context.roster:
            player = seat.player
            wanted = self._wanted(song, player)
            if wanted is not None and any(
                wanted[key] != value for key, value in _as_changes(player).items() if key in wanted
            ):
                changes[player.id] = wanted
        self.song = song
        self.changes += 1
        return changes

    def finish(self, before: Mapping[str, Player], problems: Mapping[str, str]) -> None:
        """What was to be changed has been, but for ``problems``, by player in words."""
        self._giving = False
        for seat in self.context.roster:
            player, was = seat.player, before[seat.player.id]
            if player != was:
                self._given[player.id] = player
                self._asked[player.id] = {
                    "instrument": _other(player.instrument, was.instrument, seat.instrument.label),
                    "tuning": seat.tuning.label if seat.tuning else None,
                    "capo": _other(player.capo, was.capo, player.capo),
                    "problem": None,
                }
        for player_id, words in problems.items():
            asked = {"instrument": None, "tuning": None, "capo": None, "problem": words}
            self._asked[player_id] = asked

    def _wanted(self, song: Song, player: Player) -> dict[str, Any] | None:
        setup = song.setup(player.id)
        if setup is None:
            return self._own.pop(player.id, None)
        if setup_of(player) == setup:
            return None
        self._own.setdefault(player.id, _as_changes(player))
        own = self._own[player.id]
        if Setup(own["instrument"], own["tuning"], own["capo"]) == setup:
            return own
        return setup.changes()

    def players_changed(self) -> None:
        """What players choose themselves is theirs from now on."""
        self.retuned.follow()
        if self._giving:
            return
        for seat in self.context.roster:
            given = self._given.get(seat.player.id)
            if given is not None and setup_of(given) != setup_of(seat.player):
                self._own.pop(seat.player.id, None)
                del self._given[seat.player.id]
                self._asked.pop(seat.player.id, None)

    # -- what is heard and shown -----------------------------------------------------------

    def hear(self, heard: Heard, now_s: float) -> bool:
        return self.retuned.hear(heard, now_s)

    def tick(self, now_s: float) -> bool:
        return self.retuned.tick(now_s, self.doing())

    def as_json(self, now_s: float) -> dict[str, Any]:  # noqa: ARG002 - a part's
        """The song that is on and who has to do what; the list itself has a route of its own."""
        coming = self.coming()
        players = {}
        for player_id in self.context.roster.ids():
            told = self._player(player_id)
            if told is not None:
                players[player_id] = told
        asked = [players[each]["ready"] for each in self._asked if each in players]
        return {
            "revision": self.changes,
            "count": len(self.songs),
            "place": self._now() + 1 if self.song else None,
            "song": None if self.song is None else _shown(self.song),
            "coming": None if coming is None else {"id": coming.id, "title": coming.title},
            "ready": sum(asked),
            "of": len(asked),
            "players": players,
        }

    def _player(self, player_id: str) -> dict[str, Any] | None:
        strings = [
            {**each.as_json(number), **self._peg(player_id, number, each)}
            for number, each in sorted(self.retuned.of(player_id).items(), reverse=True)
            if each.stage != "settling"
        ]
        asked = self._asked.get(player_id)
        if asked is None and not strings:
            return None
        none = {"instrument": None, "tuning": None, "capo": None, "problem": None}
        ready = not self.retuned.pending(player_id) and not (asked or none)["problem"]
        return {**(asked or none), "ready": ready, "strings": strings}

    def _peg(self, player_id: str, number: int, each: Retune) -> dict[str, Any]:
        """How far the peg has to be turned, where that is known."""
        if each.stage != "turn":
            return {}
        found = self.forecast(player_id, number, *self.retuned.way_hz(player_id, number))
        return {} if found is None else {"peg": found}

    # -- what is kept ------------------------------------------------------------------------

    def state(self) -> dict[str, Any]:
        return {
            "songs": [song.as_json() for song in self.songs],
            "now": self.song.id if self.song else None,
            "own": self._own,
            "given": {key: setup_of(player).changes() for key, player in self._given.items()},
            "asked": self._asked,
            "retuned": self.retuned.state(),
        }

    def restore(self, stored: Any) -> list[str]:
        """Songs come back as they were, but for what fits no more, a line for each."""
        if not isinstance(stored, Mapping) or not isinstance(stored.get("songs"), list):
            return ["the running order could not be read back: it is empty"]
        lines, songs = self._restored_songs(stored["songs"])
        self.songs = songs
        self._next_id = max([1, *(song.id + 1 for song in songs)])
        self.song = next((s for s in songs if s.id == stored.get("now")), None)
        self._restore_players(stored)
        rows = stored.get("retuned")
        self.retuned.restore(rows if isinstance(rows, list) else ())
        return lines

    def _restored_songs(self, rows: list[Any]) -> tuple[list[str], tuple[Song, ...]]:
        lines, songs, band = [], [], self._band()
        taken: set[int] = set()
        for number, row in enumerate(rows[:200], start=1):
            song, faults = read_song(row, band)
            lines += [f"running order, row {number}, {fault}" for fault in faults[:2]]
            song_id = row.get("id") if isinstance(row, Mapping) else None
            if not song.title:
                continue
            if not isinstance(song_id, int) or not 0 < song_id < 10**9 or song_id in taken:
                song_id = 10**9 + number
            songs.append(replace(song, id=song_id))
            taken.add(songs[-1].id)
        return lines[:8], tuple(songs)

    def _restore_players(self, stored: Mapping[str, Any]) -> None:
        """What the order gave and took; a player whose row is odd has none."""
        for player_id in self.context.roster.ids():
            player = self.context.roster.seat(player_id).player
            own, given, asked = (
                (stored.get(key) or {}).get(player_id)
                if isinstance(stored.get(key) or {}, Mapping)
                else None
                for key in ("own", "given", "asked")
            )
            if given == setup_of(player).changes():
                self._given[player_id] = player
                if isinstance(own, dict) and _is_like(own, _as_changes(player)):
                    self._own[player_id] = dict(own)
            if isinstance(asked, dict) and _is_asked(asked):
                self._asked[player_id] = dict(asked)


class HasOrder(Protocol):
    """A room with a running order."""

    order: Order

    def change_player(
        self, player_id: str, *, now_s: float | None = None, **changes: Any
    ) -> list[Event]: ...

    def change_part(self, change: Callable[[], object], now_s: float) -> list[Event]: ...


def begin_song(
    room: HasOrder, song_id: int | None, now_s: float, after: int | None = None
) -> list[Event]:
    """Make a song the one that is on, None for the one that comes next, and retune the room.

    ``after`` is the song the asker saw on when asking for the next: two who press at once
    mean one step. A player who cannot have what the song says keeps what there is, and it
    is told. Raises UnknownSongError, and NotNowError when no song comes next.
    """
    order = room.order
    if song_id is None:
        if after is not None and after != (order.song.id if order.song else 0):
            return []
        coming = order.coming()
        if coming is None:
            why = "that was the last song" if order.songs else "there are no songs"
            raise NotNowError(f"{why}: add one, or choose where to go on")
        song = coming
    else:
        song = order.find(song_id)
    roster = order.context.roster
    before = {seat.player.id: seat.player for seat in roster}
    problems: dict[str, str] = {}
    for player_id, changes in order.begin(song).items():
        try:
            room.change_player(player_id, now_s=now_s, **changes)
        except StationError as error:
            problems[player_id] = str(error)
    return room.change_part(lambda: order.finish(before, problems), now_s)


def _as_changes(player: Player) -> dict[str, Any]:
    """All that a song may change of a player, as `roster.change` takes it."""
    return {**setup_of(player).changes(), "offsets_cents": offsets_as_json(player.offsets_cents)}


def _other(now: object, was: object, told: Any) -> Any:
    return told if now != was else None


def _shown(song: Song) -> dict[str, Any]:
    told = song.as_json()
    del told["players"]
    return told


def _is_like(value: Mapping[str, Any], wanted: Mapping[str, Any]) -> bool:
    return set(value) == set(wanted) and all(
        type(value[key]) is type(like) for key, like in wanted.items()
    )


def _is_asked(value: Mapping[str, Any]) -> bool:
    if set(value) != {"instrument", "tuning", "capo", "problem"}:
        return False
    texts = (value["instrument"], value["tuning"], value["problem"])
    return all(each is None or isinstance(each, str) for each in texts) and (
        value["capo"] is None or type(value["capo"]) is int
    )
