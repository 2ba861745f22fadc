"""What the API tells of the string bench, as JSON Schema 2020-12."""

from __future__ import annotations

from typing import Any, get_args

from station.measure.string_health_types import Health
from station.music.intonation import Against, Direction
from station.room.bench import BenchKind
from station.room.bench_sets import KEYS, TEXT_MAX
from station.web.routes_bench import WAYS
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

_MAYBE_STRING = {"type": ["integer", "null"]}
_VERDICT = {"enum": ["tighten", "slacken", "in", None]}
_WORD = {"type": "string", "maxLength": TEXT_MAX}
_STRUM = {
    "number": COUNT,
    "at_s": NUMBER,
    "heard_s": NUMBER,
    "clipped": YES_OR_NO,
    "strings": list_of(named("StrumString")),
    "first": _MAYBE_STRING,
    "first_place": COUNT,
    "missing": list_of(COUNT),
}
_SIDE = an_object(
    "One of the two: pressed at `fret` (0: open) or touched over the fret `touched` (0: not).",
    string=COUNT,
    note=TEXT,
    fret=COUNT,
    touched=COUNT,
    does=TEXT,
)
_PAIR = {
    "name": TEXT,
    "way": {"enum": list(WAYS)},
    "first": _SIDE,
    "second": _SIDE,
    "partials": list_of(COUNT),
    "leave_hz": NUMBER,
    "beatless_cents": NUMBER,
    "hold": _MAYBE_STRING,
}

BENCH_SCHEMAS: dict[str, Any] = {
    "StrumString": an_object(
        "A string of a strum; `cents` null where it was not heard. `place` numbers the strings of "
        "a course of one number, 1 the lower; `together`: its pitch stands for others, too; "
        "`counts`: it counts for the roll call; `earlier`: heard in a strum before.",
        string=COUNT,
        place=COUNT,
        note=TEXT,
        cents=MAYBE_NUMBER,
        uncertainty_cents=MAYBE_NUMBER,
        verdict=_VERDICT,
        together=YES_OR_NO,
        counts=YES_OR_NO,
        earlier=YES_OR_NO,
    ),
    "Pair": an_object(
        "Two strings whose partials meet, and how many beats a second to leave. `beatless_cents`: "
        "how far off the second ends if none are left; `hold` is the string that stays.",
        **_PAIR,
    ),
    "Opened": an_object(
        "What a player has open on the bench, and when it ends by itself.",
        kind={"enum": list(get_args(BenchKind))},
        ends_in_s=NUMBER,
        strum=or_null(
            an_object(
                "The last strum: the string to do `first`, those `missing`.",
                **_STRUM,
            )
        ),
        pair=or_null(named("Pair")),
        saddle=or_null(named("SaddleNotes")),
        health=or_null(named("StringHealth")),
    ),
    "SaddleNotes": an_object(
        "A string's saddle: how many notes were taken that are `right` (open, or the 12th "
        "harmonic) and `pressed` at the 12th fret, which comes `next`; how sharp the pressed one "
        "is; `mm` back (negative: forward) and what that means; `problem` where it means nothing.",
        string=COUNT,
        note=TEXT,
        against={"enum": list(get_args(Against))},
        right=COUNT,
        pressed=COUNT,
        next={"enum": ["pressed", *get_args(Against)]},
        wanted=COUNT,
        cents=MAYBE_NUMBER,
        uncertainty_cents=MAYBE_NUMBER,
        mm=MAYBE_NUMBER,
        uncertainty_mm=MAYBE_NUMBER,
        direction={"enum": [*get_args(Direction), None]},
        enough=YES_OR_NO,
        beyond=YES_OR_NO,
        scale_mm=MAYBE_NUMBER,
        problem=MAYBE_TEXT,
        caution=TEXT,
    ),
    "StringHealth": an_object(
        "A string's plucks today and its first day: `since` when the strings are on (null: never "
        "said), how many plucks are `wanted`, the strings whose first day is `known`, what was "
        "`found` of each today, and the word for this one with the evidence.",
        string=COUNT,
        note=TEXT,
        since=MAYBE_TEXT,
        plucks=COUNT,
        wanted=COUNT,
        first_plucks=COUNT,
        known=list_of(COUNT),
        found={"type": "object", "additionalProperties": {"enum": list(get_args(Health))}},
        health={"enum": [*get_args(Health), None]},
        why=list_of(TEXT),
    ),
    "Bench": an_object(
        "What is open, by player; `told` grows.",
        told=COUNT,
        open={"type": "object", "additionalProperties": named("Opened")},
    ),
    "BenchNow": an_object(
        "What the player has open now.", told=COUNT, open=or_null(named("Opened"))
    ),
    "StrumEvent": an_object(
        "A strum on a player's line.", player=TEXT, line=COUNT, told=COUNT, **_STRUM
    ),
    "BeatsEvent": an_object(
        "How two strings beat now. Unless `resolved`, at most `bound_hz`. `off_cents`: how far "
        "the string to `move` is from its place as long as the other stays, `either_cents` the "
        "two it may be. `phase_turns`: 0 loudest; `depth`: how much the loudness swings, 0 to 1.",
        player=TEXT,
        line=COUNT,
        told=COUNT,
        at_s=NUMBER,
        beat_hz=NUMBER,
        uncertainty_hz=NUMBER,
        resolved=YES_OR_NO,
        bound_hz=MAYBE_NUMBER,
        signed_hz=MAYBE_NUMBER,
        leave_hz=NUMBER,
        phase_turns=MAYBE_NUMBER,
        depth=NUMBER,
        off_cents=MAYBE_NUMBER,
        either_cents=list_of(NUMBER),
        move=_MAYBE_STRING,
        verdict=_VERDICT,
        own_cents=list_of(MAYBE_NUMBER),
        missing=_MAYBE_STRING,
        clipped=YES_OR_NO,
    ),
    "Round": an_object(
        "The round of pairs, begun at a string that is tuned to the reference; `beatless`: where "
        "each string ends if nothing is left to beat.",
        start=an_object("The string it begins with.", string=COUNT, note=TEXT),
        steps=list_of(
            an_object(
                "A pair: the string it tunes, against which, and what no beat at all adds.",
                **_PAIR,
                tuned=COUNT,
                against=COUNT,
                beatless_adds_cents=NUMBER,
                adds_up_to_cents=NUMBER,
            )
        ),
        beatless=list_of(an_object("A string.", string=COUNT, note=TEXT, cents=NUMBER)),
        worst_cents=NUMBER,
        left_out=list_of(COUNT),
    ),
    "Gauge": an_object(
        "A player's strings as wire. `taken`: whether `set` was typed, kept, is usual, or none "
        "is known; `view`: pull, load (1 breaks), margin, the other tuning, the cold room.",
        set={"type": "object", "additionalProperties": TEXT},
        taken={"enum": ["typed", "kept", "usual", "none"]},
        kept={"type": ["object", "null"]},
        instrument=TEXT,
        tuning=TEXT,
        capo=COUNT,
        count=COUNT,
        notes=list_of(TEXT),
        scale_mm=MAYBE_NUMBER,
        tunings=list_of(an_object("Another tuning.", tuning=TEXT, label=TEXT)),
        choices={"type": "object"},
        view={"type": ["object", "null"]},
    ),
}


def bench_paths(change: Any, read: Any, answer: Any, body: Any, in_path: Any) -> dict[str, Any]:
    """The paths, by the words that `openapi` describes all paths with."""
    whose = in_path("player_id")
    by = body("by", by=TEXT)
    base = "/api/v1/players/{player_id}/bench"

    def read_for_player(summary: str, schema: str, *queries: str) -> dict[str, Any]:
        told = read(summary, answer("As it now stands.", named(schema)))
        asked = [
            {"name": each, "in": "query", "required": False, "schema": _WORD} for each in queries
        ]
        told["get"]["parameters"] = [whose, *asked]
        return dict(told)

    pair = body(
        "pair",
        pair={**TEXT, "description": "Two strings, as 6-5 or E2-A2."},
        way={"enum": [*WAYS, None], "description": "The usual one when left out."},
        hold={"type": ["integer", "null"], "description": "The string that stays as it is."},
        by=TEXT,
    )
    strings = body("gauges", **dict.fromkeys(KEYS, _WORD), by=TEXT)
    return {
        f"{base}/strum": {
            "post": change("Listen for strums on the player's line", by, "BenchNow", whose)
        },
        f"{base}/pair": {
            "post": change("Listen for two strings that sound together", pair, "BenchNow", whose)
        },
        f"{base}/saddle": {
            "post": change(
                "Take the notes of a string for its saddle",
                body(
                    "string",
                    "against",
                    string={"type": "integer", "minimum": 1},
                    against={"enum": list(get_args(Against))},
                    by=TEXT,
                ),
                "BenchNow",
                whose,
            )
        },
        f"{base}/saddle/drop": {
            "post": change("Leave out the last of the saddle's notes", by, "BenchNow", whose)
        },
        f"{base}/health": {
            "post": change(
                "Hear a string's plucks against its first day",
                body("string", string={"type": "integer", "minimum": 1}, by=TEXT),
                "BenchNow",
                whose,
            )
        },
        f"{base}/new-strings": {
            "post": change("New strings are on: their first day begins", by, "BenchNow", whose)
        },
        f"{base}/close": {"post": change("Listen to it no more", by, "BenchNow", whose)},
        f"{base}/tour": read_for_player("The round of pairs of the player's tuning", "Round"),
        f"{base}/gauge": read_for_player(
            "The player's strings as wire, with a set that is typed, kept or usual",
            "Gauge",
            *KEYS,
            "to",
            "degrees",
            "bending",
        ),
        f"{base}/set": {"put": change("Keep the set that is on", strings, "Gauge", whose)},
    }
