"""What the API tells of the running order, of turns and of setups, as JSON Schema 2020-12."""

from __future__ import annotations

from typing import Any, get_args

from station.room.retuned import Stage
from station.room.songs import SONGS_MAX
from station.web.schema_words import (
    COUNT,
    MAYBE_NUMBER,
    MAYBE_TEXT,
    NUMBER,
    TEXT,
    YES_OR_NO,
    an_object,
    list_of,
    named,
    or_null,
)

_BY_NAME = {"type": "object", "additionalProperties": TEXT}
_MAYBE_COUNT = {"type": ["integer", "null"]}
_SONG = {
    "id": COUNT,
    "title": TEXT,
    "key": TEXT,
    "bass": list_of(TEXT),
    "notes": TEXT,
    "drums": _BY_NAME,
}


def _with(told: dict[str, Any], **sometimes: Any) -> dict[str, Any]:
    """An object with keys that are not always there."""
    return {**told, "properties": {**told["properties"], **sometimes}}


SONG_SCHEMAS: dict[str, Any] = {
    "Song": an_object(
        "A song: `key` such as `E minor`, `bass` the notes of its roots, `notes` remarks, "
        "`players` what each plays, such as `guitar:drop-d capo 2` (who is not named goes back to "
        "what they had before the running order changed it), `drums` a note for each drum.",
        **_SONG,
        players=_BY_NAME,
    ),
    "Songs": an_object(
        "The running order. `revision` is another number after every change; `now` is the id of "
        "the song that is on; `undo` says whether a change can be taken back.",
        revision=COUNT,
        now=_MAYBE_COUNT,
        undo=YES_OR_NO,
        songs=list_of(named("Song")),
    ),
    "Retuned": _with(
        an_object(
            "A string whose target was changed. `turn`: from one note to another by `cents`; "
            "`check`: it only has to be played; `again`: it was in and has had time to creep, play "
            "it once more; `crept_cents` is what was found then. `peg` is there where it is known "
            "how far the peg has to go.",
            string=COUNT,
            **{"from": TEXT},
            to=TEXT,
            cents=NUMBER,
            state={"enum": list(get_args(Stage))},
            crept_cents=MAYBE_NUMBER,
        ),
        peg=named("Forecast"),
    ),
    "OrderPlayer": an_object(
        "What a player has to do: another `instrument`, `tuning`, `capo` (null where nothing "
        "changes), strings; `problem` says what could not be had.",
        ready=YES_OR_NO,
        instrument=MAYBE_TEXT,
        tuning=MAYBE_TEXT,
        capo=_MAYBE_COUNT,
        problem=MAYBE_TEXT,
        strings=list_of(named("Retuned")),
    ),
    "Order": an_object(
        "The song that is on, its place from 1, the one that comes, and how many of those who "
        "have to change something for it are `ready`. `players` holds those who have to do "
        "something, by id.",
        revision=COUNT,
        count=COUNT,
        place=_MAYBE_COUNT,
        song=or_null(an_object("The song that is on.", **_SONG)),
        coming=or_null(an_object("The song that comes.", id=COUNT, title=TEXT)),
        ready=COUNT,
        of=COUNT,
        players={"type": "object", "additionalProperties": named("OrderPlayer")},
    ),
    "OrderNow": an_object("The running order as it now stands.", order=named("Order")),
    "Turns": list_of(
        an_object(
            "A line that several players share: who has the `turn`, who waits for it, and when it "
            "ends by itself if nobody plays.",
            line=COUNT,
            players=list_of(TEXT),
            turn=MAYBE_TEXT,
            waiting=list_of(TEXT),
            ends_in_s=MAYBE_NUMBER,
        )
    ),
    "TurnsNow": an_object("Every shared line.", turns=named("Turns")),
    "Setups": an_object(
        "What a player played last, the newest first.",
        setups=list_of(
            an_object(
                "An instrument as it was left.",
                instrument=TEXT,
                tuning=TEXT,
                capo=COUNT,
                offsets_cents={"type": "object", "additionalProperties": NUMBER},
                instrument_label=TEXT,
                tuning_label=TEXT,
            )
        ),
    ),
}


def song_paths(change: Any, read: Any, answer: Any, body: Any, in_path: Any) -> dict[str, Any]:
    """The paths, by the words that `openapi` describes all paths with."""
    which = in_path("song_id", COUNT)
    whose = in_path("player_id")
    by = body("by", by=TEXT)
    song = body("by", "song", by=TEXT, song={"type": "object"})
    setups = read("What a player played last", answer("Newest first.", named("Setups")))
    setups["get"]["parameters"] = [whose]
    table = {
        "description": "RFC 4180: title, key, bass, notes, drums and a column for each player.",
        "content": {"text/csv": {"schema": TEXT}},
    }
    whole = body(
        "by",
        by=TEXT,
        revision={**COUNT, "description": "409 if it is another by now."},
        songs={"type": "array", "maxItems": SONGS_MAX, "items": {"type": "object"}},
        csv=TEXT,
    )
    then = body(
        "by",
        by=TEXT,
        song={**COUNT, "description": "Its id; the next one when left out."},
        after={**COUNT, "description": "The id of the song seen to be on, 0 for none."},
    )
    player = "/api/v1/players/{player_id}"
    return {
        "/api/v1/songs": {
            **read("The running order", answer("In order.", named("Songs"))),
            "put": change(
                "All songs anew, from a list or a table; all or, with a fault, nothing",
                whole,
                "Songs",
            ),
            "post": change("Add a song at the end", song, "Songs"),
        },
        "/api/v1/songs.csv": read("The same as a table", table),
        "/api/v1/songs/undo": {"post": change("Take the last change back", by, "Songs")},
        "/api/v1/songs/next": {"post": change("The next song, or another", then, "OrderNow")},
        "/api/v1/songs/{song_id}": {"put": change("Change a song", song, "Songs", which)},
        "/api/v1/songs/{song_id}/move": {
            "post": change(
                "Move a song to a place, from 1",
                body("by", "to", by=TEXT, to={"type": "integer", "minimum": 1}),
                "Songs",
                which,
            )
        },
        "/api/v1/songs/{song_id}/remove": {"post": change("Take a song out", by, "Songs", which)},
        f"{player}/turn": {
            "post": change("Take the turn on a shared line, or wait for it", by, "TurnsNow", whose)
        },
        f"{player}/turn/hand-on": {
            "post": change(
                "Hand the turn on, or wait no longer",
                body("by", by=TEXT, to=TEXT),
                "TurnsNow",
                whose,
            )
        },
        f"{player}/setups": setups,
    }
