"""The songs that a kit is held against: typed by the drummer, as key and bass roots. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from station.errors import DrumError, StationError, UsageError
from station.music.keys import parse_key
from station.music.kit import Drum, Song, make_song
from station.music.kit_view import kit_view
from station.room.drum_book import DrumBook
from station.room.model import clean_text

SONGS_MAX = 40
BASS_MAX = 12
NAME_LIMIT = 40

Data = dict[str, Any]


def read_song(row: object) -> Song:
    """A song of ``name``, ``key`` and ``bass``, roots such as "E1".

    Raises UsageError, NoteNameError and DrumError.
    """
    if not isinstance(row, dict):
        raise UsageError("a song is a table of name, key and bass")
    name = clean_text(row.get("name"), "song's name", NAME_LIMIT)
    if not name:
        raise UsageError('a song needs a name: write one, such as "Low tide"')
    bass = row.get("bass", [])
    if not isinstance(bass, list) or len(bass) > BASS_MAX:
        raise UsageError(f"bass roots of {name}: write at most {BASS_MAX}, such as E1, A1, B1")
    if not all(isinstance(each, str) for each in bass):
        raise UsageError(f"bass roots of {name}: write notes, such as E1")
    try:
        return make_song(name, parse_key(row.get("key")), bass)
    except StationError as error:
        raise UsageError(f"{name}: {error}") from None


def read_songs(rows: object) -> tuple[Song, ...]:
    """At most SONGS_MAX songs; raises what `read_song` raises."""
    if not isinstance(rows, list):
        raise UsageError("songs are a list")
    if len(rows) > SONGS_MAX:
        raise UsageError(f"{len(rows)} songs: the most is {SONGS_MAX}")
    return tuple(read_song(row) for row in rows)


def songs_as_data(songs: Iterable[Song]) -> list[Data]:
    return [{"name": song.name, "key": song.key.label(), "bass": list(song.bass)} for song in songs]


def kit_of(book: DrumBook) -> tuple[list[Drum], list[str]]:
    """The drums whose size and pitch are known, and the names of the others."""
    kit, missing = [], []
    for kept in book:
        try:
            drum = kept.in_kit()
        except DrumError:
            drum = None
        if drum is None:
            missing.append(kept.name)
        else:
            kit.append(drum)
    return kit, missing


def against(kit: Sequence[Drum], songs: Sequence[Song], a4_hz: float) -> Data | None:
    """`kit_view`, None without a drum or a song; raises what it raises."""
    return kit_view(kit, songs, a4_hz) if kit and songs else None
