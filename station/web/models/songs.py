"""The running order: what is asked of it, and what it tells."""

from __future__ import annotations

from typing import Annotated

from pydantic import BeforeValidator, Field

from station.room.retuned import Stage
from station.room.songs import BASS_MAX, DRUMS_MAX, NOTES_MAX, SONGS_MAX, TITLE_MAX
from station.web.models.pegs import Forecast
from station.web.models.plain import Must
from station.web.models.words import (
    Address,
    Answer,
    Asked,
    Body,
    Count,
    FromZero,
    Number,
    NumberInAddress,
    ShortText,
    left_out,
    whole,
)

CSV_MAX = 16_000
PLACE_MAX = 9999


class TypedSong(Asked):
    """A song as somebody writes it; what is null or empty is not said. `bass` and `drums` may be
    one text: `E1 A1`, `floor tom G2; rack tom C3`. `id` is passed over."""

    id: int | None = None
    title: Annotated[str, Field(max_length=4 * TITLE_MAX), Must("be text")] | None = None
    key: str | None = None
    bass: Annotated[list[str], Field(max_length=BASS_MAX)] | str | None = None
    notes: Annotated[str, Field(max_length=4 * NOTES_MAX), Must("be text")] | None = None
    drums: Annotated[dict[str, str], Field(max_length=DRUMS_MAX)] | str | None = None
    players: dict[str, str | None] | None = None


class PutSongs(Body):
    """All songs anew, as a list or as a table."""

    by: ShortText
    revision: FromZero = left_out()
    songs: Annotated[list[TypedSong], Field(max_length=SONGS_MAX)] = left_out()
    csv: Annotated[str, Field(max_length=CSV_MAX)] = left_out()


class PutSong(Body):
    """One song."""

    by: ShortText
    song: Annotated[TypedSong, Must('be an object with a title, such as {"title": "Low tide"}')]


class NextSong(Body):
    """The song that comes, unless another is named."""

    by: ShortText
    song: FromZero | None = Field(None, description="Its id; the next one when left out.")
    after: FromZero | None = Field(
        None, description="The id of the song seen to be on, 0 for none."
    )


class MoveSong(Body):
    """The place a song moves to, from 1."""

    by: ShortText
    to: Annotated[int, Field(ge=1, le=PLACE_MAX), BeforeValidator(whole), Must("be a number")]


class SongAddress(Address):
    """Which song it is."""

    song_id: NumberInAddress = Field(description="song")


class SongNow(Answer):
    """The song that is on."""

    id: Count
    title: str
    key: str
    bass: list[str]
    notes: str
    drums: dict[str, str]


class Song(SongNow):
    """A song: `key` such as `E minor`, `bass` the notes of its roots, `notes` remarks, `players`
    what each plays, such as `guitar:drop-d capo 2` (who is not named goes back to what they
    had before the running order changed it), `drums` a note for each drum.
    """

    players: dict[str, str]


class Songs(Answer):
    """The running order. `revision` is another number after every change; `now` is the id of the
    song that is on; `undo` says whether a change can be taken back.
    """

    revision: Count
    now: Count | None
    undo: bool
    songs: list[Song]


class Retuned(Answer):
    """A string whose target was changed. `turn`: from one note to another by `cents`; `check`:
    it only has to be played; `again`: it was in and has had time to creep, play it once more;
    `crept_cents` is what was found then. `peg` is there where it is
    known how far the peg has to go.
    """

    string: Count
    from_: str = Field(alias="from")
    to: str
    cents: Number
    state: Stage
    crept_cents: Number | None
    peg: Forecast = left_out()


class OrderPlayer(Answer):
    """What a player has to do: another `instrument`, `tuning`, `capo` (null where nothing
    changes), strings; `problem` says what could not be had.
    """

    ready: bool
    instrument: str | None
    tuning: str | None
    capo: int | None
    problem: str | None
    strings: list[Retuned]


class SongComing(Answer):
    """The song that comes."""

    id: Count
    title: str


class Order(Answer):
    """The song that is on, its place from 1, the one that comes, and how many of those who have
    to change something for it are `ready`. `players` holds those who have to do something, by
    id.
    """

    revision: Count
    count: Count
    place: Count | None
    song: SongNow | None
    coming: SongComing | None
    ready: Count
    of: Count
    players: dict[str, OrderPlayer]


class OrderNow(Answer):
    """The running order as it now stands."""

    order: Order
