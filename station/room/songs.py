"""Songs of the running order: what each asks of everybody, read strictly and told plainly. Pure.

A song has a title and, where the band cares to say, a key, the notes its bass roots are on,
a line of remarks free of any tempo, what each player plays (`setups`), and notes for drums.
Whatever does not fit is told with its row and column; of a list with one fault nothing is taken.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from station.errors import NoteNameError, SongsError, UsageError
from station.music.keys import parse_key
from station.music.names import note_in, parse_note
from station.music.tunings import Instrument
from station.room.model import Player, clean_text
from station.room.setups import Setup, read_setup

SONGS_MAX = 60
ORDER_MAX_BYTES = 16_000
"""As JSON, so that all of it can be sent back in one request of 16 KB (`web.guards`): about 266
bytes a song when there are sixty."""
TITLE_MAX = 60
NOTES_MAX = 160
BASS_MAX = 12
DRUMS_MAX = 12
COLUMNS = ("title", "key", "bass", "notes", "drums")


@dataclass(frozen=True, slots=True)
class Song:
    """One song; ``id`` stays its own however often it is moved or changed.

    ``key`` is spelled as `music.keys` does, ``bass`` are notes in English such as ``"E1"``,
    ``players`` what is played by players' ids, ``drums`` names with their notes.
    """

    id: int
    title: str
    key: str = ""
    bass: tuple[str, ...] = ()
    notes: str = ""
    players: tuple[tuple[str, Setup], ...] = ()
    drums: tuple[tuple[str, str], ...] = ()

    def setup(self, player_id: str) -> Setup | None:
        return dict(self.players).get(player_id)

    def as_json(self) -> dict[str, Any]:
        """The song as `read_songs` takes it, and its id."""
        return {
            "id": self.id,
            "title": self.title,
            "key": self.key,
            "bass": list(self.bass),
            "notes": self.notes,
            "players": {player: setup.text for player, setup in self.players},
            "drums": dict(self.drums),
        }


@dataclass(frozen=True, slots=True)
class Band:
    """Who a song may name, and every instrument there is."""

    players: Mapping[str, Player]
    instruments: Mapping[str, Instrument]


def read_songs(rows: object, band: Band) -> tuple[Song, ...]:
    """Songs from JSON, numbered from 1; raises SongsError with every fault's row and column."""
    if not isinstance(rows, Sequence) or isinstance(rows, str | bytes):
        raise SongsError(["songs are no list: write one object for each song"])
    if not 0 < len(rows) <= SONGS_MAX:
        raise SongsError([f"{len(rows)} songs: a running order takes 1 to {SONGS_MAX}"])
    faults: list[str] = []
    songs = []
    for number, row in enumerate(rows, start=1):
        song, wrong = read_song(row, band)
        faults += [f"row {number}, {fault}" for fault in wrong]
        songs.append(replace(song, id=number))
    if faults:
        raise SongsError(faults)
    return tuple(songs)


def read_song(row: object, band: Band) -> tuple[Song, list[str]]:
    """A song from a JSON object, and its faults, each beginning with its column."""
    if not isinstance(row, Mapping):
        return Song(0, ""), [f"title: {row!r:.40} is no song: write an object with a title"]
    faults: list[str] = []

    def take(column: str, read: Any, none: Any) -> Any:
        try:
            return read(row[column]) if row.get(column) not in (None, "") else none
        except UsageError as error:
            faults.append(f"{column}: {error}")
            return none

    for column in row:
        if column not in (*COLUMNS, "players", "id"):
            known = ", ".join((*COLUMNS, "players"))
            faults.append(f"{str(column)!r:.40}: a song has no such column; there are {known}")
    song = Song(
        id=0,
        title=take("title", lambda value: clean_text(value, "title", TITLE_MAX), ""),
        key=take("key", lambda value: parse_key(value).label(), ""),
        bass=take("bass", _bass, ()),
        notes=take("notes", lambda value: clean_text(value, "notes", NOTES_MAX), ""),
        drums=take("drums", _drums, ()),
        players=_players(row.get("players"), band, faults),
    )
    if not song.title and not any(fault.startswith("title:") for fault in faults):
        faults.insert(0, "title: it is missing: every song needs one")
    return song, faults


def check_size(songs: Sequence[Song]) -> None:
    """Raises SongsError for more songs than `SONGS_MAX`, or more text than one request holds."""
    if len(songs) > SONGS_MAX:
        raise SongsError([f"{len(songs)} songs: a running order takes {SONGS_MAX}"])
    told = [{k: v for k, v in song.as_json().items() if v and k != "id"} for song in songs]
    size = len(json.dumps(told, ensure_ascii=False, separators=(",", ":")).encode())
    if size > ORDER_MAX_BYTES:
        raise SongsError(
            [
                f"the running order is {size} bytes: {ORDER_MAX_BYTES} fit, about"
                f" {ORDER_MAX_BYTES // SONGS_MAX} a song for {SONGS_MAX} songs; shorten the notes"
            ]
        )


def with_ids(songs: Iterable[Song], before: Iterable[Song], first_new: int) -> tuple[Song, ...]:
    """The songs, those of a title that was there before with the id it had."""
    had: dict[str, list[int]] = {}
    for song in before:
        had.setdefault(song.title.casefold(), []).append(song.id)
    numbered = []
    for song in songs:
        ids = had.get(song.title.casefold())
        number = ids.pop(0) if ids else first_new
        first_new += number == first_new
        numbered.append(replace(song, id=number))
    return tuple(numbered)


def _listed(value: object, what: str, most: int) -> list[Any]:
    if isinstance(value, str):
        value = value.replace(",", " ").replace(";", " ").split()
    if not isinstance(value, Sequence):
        raise UsageError(f"{value!r:.40} is no list of {what}")
    if len(value) > most:
        raise UsageError(f"{len(value)} {what}: a song takes {most}")
    return list(value)


def _bass(value: object) -> tuple[str, ...]:
    """Notes, from a list or from a text with spaces between them."""
    return tuple(_note(each) for each in _listed(value, "notes", BASS_MAX))


def _drums(value: object) -> tuple[tuple[str, str], ...]:
    """Drums and their notes: an object, or a text such as ``"floor tom G2; rack tom C3"``."""
    if isinstance(value, str):
        value = dict(_named_note(part) for part in value.split(";") if part.strip())
    if not isinstance(value, Mapping):
        raise UsageError(f"{value!r:.40} is no table of drums: write floor tom G2; rack tom C3")
    if len(value) > DRUMS_MAX:
        raise UsageError(f"{len(value)} drums: a song takes {DRUMS_MAX}")
    return tuple((_drum_name(name), _note(note)) for name, note in value.items())


def _named_note(part: str) -> tuple[str, str]:
    name, _, note = part.strip().rpartition(" ")
    if not name:
        raise UsageError(f"{part.strip()!r:.40}: write the drum and its note, floor tom G2")
    return name, note


def _drum_name(name: object) -> str:
    plain = clean_text(name, "drum's name", 24)
    if not plain or ";" in plain:
        raise UsageError(f"{plain!r} is no name of a drum: write letters without a semicolon")
    return plain


def _note(value: object) -> str:
    if not isinstance(value, str):
        raise NoteNameError(f"note {value!r:.40} is not text: write E1, Bb2")
    parse_note(value)
    return note_in(value, "english")


def _players(value: object, band: Band, faults: list[str]) -> tuple[tuple[str, Setup], ...]:
    if value is None:
        return ()
    if not isinstance(value, Mapping):
        faults.append(f"players: {value!r:.40} is no table by player")
        return ()
    found = []
    for player_id, text in value.items():
        player = band.players.get(player_id)
        if player is None:
            known = ", ".join(band.players) or "none"
            faults.append(f"{str(player_id)!r:.40}: no such player; there are {known}")
            continue
        if text in (None, ""):
            continue
        try:
            found.append((player_id, read_setup(text, player, band.instruments)))
        except UsageError as error:
            faults.append(f"{player_id}: {error}")
    return tuple(found)
