"""What the API tells of drum heads, kept drums and the kit, as JSON Schema 2020-12."""

from __future__ import annotations

from typing import Any, get_args

from station.measure.drums.head_pass import TURNS_MAX, Phase
from station.measure.drums.types import LugVerdict
from station.music.drums import DrumKind
from station.music.lugs import LUG_COUNTS
from station.room.both_heads import Which
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

_VERDICT = {"enum": list(get_args(LugVerdict))}
_MAYBE_LUG = {"type": ["integer", "null"]}
_BY_DRUM = {"type": "object", "additionalProperties": named("HeadPass")}

HEAD_SCHEMAS: dict[str, Any] = {
    "HeadPass": an_object(
        "A head that is gone round lug by lug; lugs are counted clockwise from 1. `heard`: each "
        "lug's pitch and its distance from the head's mean; while a round goes on what the taps "
        "sounded like by themselves, from their middle. `turn_next` is what to turn now, `to_turn` "
        "all lugs still to be turned. `confusion`: what no tap can tell apart. `taken` counts "
        "this round's taps from lug 1 on; `chosen` is true where the drummer named the lug. "
        "Of two tellings the one with more `told` is newer.",
        lugs=COUNT,
        phase={"enum": list(get_args(Phase))},
        drum=TEXT,
        order=list_of(COUNT),
        tap_next=_MAYBE_LUG,
        chosen=YES_OR_NO,
        taps_wanted=COUNT,
        taken=list_of(COUNT),
        last=_MAYBE_LUG,
        heard=list_of(
            an_object(
                "One lug.",
                lug=COUNT,
                hz=NUMBER,
                offset_cents=NUMBER,
                uncertainty_cents=NUMBER,
                verdict={"enum": [*get_args(LugVerdict), None]},
            )
        ),
        turn_next=or_null(
            an_object("What to turn now.", lug=COUNT, verdict=_VERDICT, turns=NUMBER, how=TEXT)
        ),
        to_turn=list_of(COUNT),
        evenness_cents=MAYBE_NUMBER,
        even=YES_OR_NO,
        overtone_hz=MAYBE_NUMBER,
        alone_cents=MAYBE_NUMBER,
        passes=COUNT,
        learned=COUNT,
        confusion=MAYBE_TEXT,
        warning=MAYBE_TEXT,
        says=TEXT,
        told=COUNT,
    ),
    "OneHead": an_object(
        "One head of a drum, the other damped.",
        hz=NUMBER,
        uncertainty_cents=NUMBER,
        note=TEXT,
        cents=NUMBER,
    ),
    "BothHeads": an_object(
        "Batter and resonant head, one after the other. `result.cents` is from the batter up to "
        "the resonant head.",
        asked_for={"enum": [*get_args(Which), None]},
        how=TEXT,
        snare_side=YES_OR_NO,
        batter=or_null(named("OneHead")),
        resonant=or_null(named("OneHead")),
        result=or_null(
            an_object(
                "Both against each other.",
                cents=NUMBER,
                semitones=NUMBER,
                uncertainty_cents=NUMBER,
                higher={"enum": ["batter", "resonant", "neither"]},
                beat_hz=NUMBER,
                warning=MAYBE_TEXT,
                advice=list_of(TEXT),
            )
        ),
    ),
    "Heads": an_object(
        "Head passes and comparisons under way, by player; `drums` counts those that are kept.",
        told=COUNT,
        drums=COUNT,
        passes=_BY_DRUM,
        both={"type": "object", "additionalProperties": named("BothHeads")},
    ),
    "HeadNow": an_object(
        "A player's head pass and comparison, as they now stand.",
        told=COUNT,
        head=or_null(named("HeadPass")),
        both=or_null(named("BothHeads")),
    ),
    "HeadEvent": an_object(
        "A stroke beside a lug was heard, or heard better.",
        player=TEXT,
        line=COUNT,
        head=named("HeadPass"),
    ),
    "GoodState": an_object(
        "What a drum was when its player said it was right, and the room it was in.",
        at=TEXT,
        a4_hz=NUMBER,
        reference=TEXT,
        place=TEXT,
        taps=or_null(
            an_object(
                "What the taps said.",
                fundamental_hz=NUMBER,
                uncertainty_cents=NUMBER,
                overtone_hz=MAYBE_NUMBER,
                ring_s=MAYBE_NUMBER,
                kind=TEXT,
                used=COUNT,
            )
        ),
        head=or_null(
            an_object(
                "What a head pass said.",
                lugs=COUNT,
                lug_hz=list_of(NUMBER),
                overtone_hz=NUMBER,
                fundamental_hz=NUMBER,
                evenness_cents=NUMBER,
                at=TEXT,
            )
        ),
    ),
    "Drum": an_object(
        "A drum that is kept. `learned`: how many passes have told what its key does.",
        name=TEXT,
        kind={"enum": list(get_args(DrumKind))},
        diameter_in=MAYBE_NUMBER,
        depth_in=MAYBE_NUMBER,
        hz=MAYBE_NUMBER,
        note=MAYBE_TEXT,
        cents=MAYBE_NUMBER,
        overtone_hz=MAYBE_NUMBER,
        keep=YES_OR_NO,
        good=or_null(named("GoodState")),
        learned=COUNT,
    ),
    "KitSong": an_object("A song's key and bass roots.", name=TEXT, key=TEXT, bass=list_of(TEXT)),
    "Drums": an_object(
        "Every drum that is kept, and the kit's songs.",
        drums=list_of(named("Drum")),
        songs=list_of(named("KitSong")),
        cautions=list_of(TEXT),
    ),
    "WayBack": an_object(
        "What must be turned to bring a drum back to its good state; `cents` is how far it is from "
        "it now. `turns` is null where what the key does has not been learned.",
        drum=TEXT,
        source={"enum": ["head pass", "taps"]},
        cents=NUMBER,
        verdict=_VERDICT,
        tension_percent=NUMBER,
        turns=MAYBE_NUMBER,
        turns_uncertainty=MAYBE_NUMBER,
        how=MAYBE_TEXT,
        lugs=list_of(
            an_object(
                "One lug.",
                lug=COUNT,
                cents=NUMBER,
                verdict=_VERDICT,
                turns=MAYBE_NUMBER,
                turns_uncertainty=MAYBE_NUMBER,
                how=MAYBE_TEXT,
            )
        ),
        says=list_of(TEXT),
    ),
    "Kit": an_object(
        "Drums of known size and pitch (`missing` are the others) against the songs: `view` as "
        "`station drum kit --json` tells it, null without a drum or a song.",
        view={"type": ["object", "null"]},
        missing=list_of(TEXT),
        songs=list_of(named("KitSong")),
        from_order=YES_OR_NO,
    ),
}


def head_paths(change: Any, read: Any, answer: Any, body: Any, in_path: Any) -> dict[str, Any]:
    """The paths, by the words that `openapi` describes all paths with."""
    base = "/api/v1/players/{player_id}/head"
    whose = in_path("player_id")
    by = body("by", by=TEXT)
    lug = {"type": "integer", "minimum": 1}
    turns = {"type": "number", "minimum": -TURNS_MAX, "maximum": TURNS_MAX}

    def post(summary: str, asked: dict[str, Any]) -> dict[str, Any]:
        return {"post": change(summary, asked, "HeadNow", whose)}

    begin = body(
        "lugs", "phase", lugs={"enum": list(LUG_COUNTS)}, phase={"enum": list(get_args(Phase))},
        drum=TEXT, by=TEXT,
    )  # fmt: skip
    both = body(
        "step", step={"enum": ["begin", "next", "back", "leave"]}, snare_side=YES_OR_NO, by=TEXT
    )
    back = read("What must be turned to go back", answer("The way back.", named("WayBack")))
    back["get"]["parameters"] = [
        {"name": name, "in": "query", "required": True, "schema": TEXT}
        for name in ("player", "drum")
    ]
    maybe_size = {"type": ["number", "null"], "minimum": 1, "maximum": 60}
    drum = body(
        "name", name=TEXT, player=TEXT, kind={"enum": list(get_args(DrumKind))},
        diameter_in=maybe_size, depth_in=maybe_size, pitch=MAYBE_TEXT, keep=YES_OR_NO,
    )  # fmt: skip
    return {
        base: post("Begin to go round a head", begin),
        f"{base}/lug": post("The next tap is beside this lug", body("lug", lug=lug, by=TEXT)),
        f"{base}/again": post("Tap a lug anew, the last one unless said", body(lug=lug, by=TEXT)),
        f"{base}/turned": post(
            "A lug was turned, as advised unless said; all that is advised without a lug",
            body(lug=lug, turns=turns, by=TEXT),
        ),
        f"{base}/turned-back": post(
            "All lugs were turned as the way back says", body("drum", drum=TEXT, by=TEXT)
        ),
        f"{base}/restart": post("Tap the round anew", by),
        f"{base}/leave": post("End the pass", by),
        "/api/v1/players/{player_id}/both-heads": post("Compare batter and resonant head", both),
        "/api/v1/drums": {
            **read("Drums that are kept", answer("By name.", named("Drums"))),
            "put": change("Keep a drum's size and pitch", drum, "Drums"),
        },
        "/api/v1/drums.json": read(
            "The same as a file", answer("In the words of `station drum kit`.")
        ),
        "/api/v1/drums/keep": {
            "post": change(
                "The drum as it is now is its good state",
                body("player", "name", player=TEXT, name=TEXT, place=TEXT),
                "Drums",
            )
        },
        "/api/v1/drums/forget": {
            "post": change("Forget a drum", body("name", "by", name=TEXT, by=TEXT), "Drums")
        },
        "/api/v1/drums/back": back,
        "/api/v1/drums/kit": read("The kit against the key", answer("As it is.", named("Kit"))),
        "/api/v1/drums/songs": {
            "put": change(
                "The songs the kit is held against",
                body("songs", songs=list_of({"type": "object"})),
                "Kit",
            )
        },
    }
