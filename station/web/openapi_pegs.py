"""What the API tells of turns of pegs, as JSON Schema 2020-12."""

from __future__ import annotations

from typing import Any

from station.room.pegs import QUARTERS_MAX
from station.web.schema_words import (
    COUNT,
    NUMBER,
    TEXT,
    YES_OR_NO,
    an_object,
    list_of,
    named,
    or_null,
)

_WORD = {"enum": ["tighten", "slacken"]}

PEG_SCHEMAS: dict[str, Any] = {
    "Forecast": an_object(
        "How far a peg is to be turned, as its player's answers have it: `turns` and their "
        "standard deviation `spread`, which way, and how many answers there are.",
        turns=NUMBER,
        spread=NUMBER,
        word=_WORD,
        reports=COUNT,
    ),
    "PegAsked": an_object(
        "A string that has come in after it was turned: how far did its peg go?",
        string=COUNT,
        **{"from": TEXT},
        to=TEXT,
        word=_WORD,
    ),
    "Pegs": an_object(
        "What is known of a player's pegs on the instrument in hand: `semitone` is what takes the "
        "string a semitone down, null while too little is known. `asks`: their phone may ask.",
        asks=YES_OR_NO,
        strings=list_of(
            an_object(
                "One string.", string=COUNT, reports=COUNT, semitone=or_null(named("Forecast"))
            )
        ),
    ),
}


def peg_paths(change: Any, read: Any, answer: Any, body: Any, in_path: Any) -> dict[str, Any]:
    """The paths, by the words that `openapi` describes all paths with."""
    whose = in_path("player_id")
    pegs = read("What is known of a player's pegs", answer("By string.", named("Pegs")))
    pegs["get"]["parameters"] = [whose]
    quarters = {
        "type": "integer",
        "minimum": 0,
        "maximum": QUARTERS_MAX,
        "description": "Quarters of a turn, 0 for no answer.",
    }
    told = body("by", "string", "quarters", by=TEXT, string=COUNT, quarters=quarters)
    path = "/api/v1/players/{player_id}/pegs"
    return {
        path: {
            **pegs,
            "post": change("Say how far a peg went that was asked about", told, "Pegs", whose),
        },
        f"{path}/asks": {
            "put": change(
                "Whether the player's phone may ask",
                body("by", "asks", by=TEXT, asks=YES_OR_NO),
                "Pegs",
                whose,
            )
        },
        f"{path}/forget": {
            "post": change(
                "Forget what was learned, of one string or of all",
                body("by", by=TEXT, string=COUNT),
                "Pegs",
                whose,
            )
        },
    }
