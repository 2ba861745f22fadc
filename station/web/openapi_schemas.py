"""What the API's answers look like, as JSON Schema 2020-12, which OpenAPI 3.1 uses."""

from __future__ import annotations

from typing import Any, get_args

from station.music.names import NamingSystem
from station.web.openapi_bench import BENCH_SCHEMAS
from station.web.openapi_drums import DRUM_SCHEMAS
from station.web.openapi_evening import EVENING_SCHEMAS
from station.web.openapi_heads import HEAD_SCHEMAS
from station.web.openapi_pegs import PEG_SCHEMAS
from station.web.openapi_reference import REFERENCE_SCHEMAS
from station.web.openapi_songs import SONG_SCHEMAS
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

_VERDICT = {"enum": ["tighten", "slacken", "in", None]}

SCHEMAS: dict[str, Any] = {
    "Error": an_object("One line saying what was wrong.", error=TEXT),
    "Reference": an_object(
        "The frequency of A4 the whole room tunes to, hertz. `agreed`: the names of those who "
        "said yes; `undo_hz`: the reference that undo would go back to.",
        a4_hz=NUMBER,
        set_at=TEXT,
        by=TEXT,
        source=TEXT,
        agreed=list_of(TEXT),
        undo_hz=MAYBE_NUMBER,
    ),
    "Reading": an_object(
        "One measured pitch. `cents` is from the nearest note, `string_cents` from the string's "
        "target; `uncertainty_cents` is one standard deviation; `beats_hz` is the beat rate "
        "between the string and its target.",
        player=MAYBE_TEXT,
        line=COUNT,
        at_s=NUMBER,
        hz=NUMBER,
        uncertainty_cents=NUMBER,
        note=TEXT,
        cents=NUMBER,
        string={"type": ["integer", "null"]},
        target=MAYBE_TEXT,
        target_hz=MAYBE_NUMBER,
        string_cents=MAYBE_NUMBER,
        beats_hz=MAYBE_NUMBER,
        verdict=_VERDICT,
        clipped=YES_OR_NO,
    ),
    "String": an_object(
        "An open string, its target, and its place in the roll call. `target_hz` includes "
        "`offset_cents`, what the player wants this string off from equal temperament.",
        string=COUNT,
        note=TEXT,
        target_hz=NUMBER,
        offset_cents=NUMBER,
        roll={"enum": ["not heard", "in", "out"]},
        cents=MAYBE_NUMBER,
        uncertainty_cents=MAYBE_NUMBER,
        verdict=_VERDICT,
        age_s=MAYBE_NUMBER,
    ),
    "Player": an_object(
        "A band member with an instrument on a line. `offsets_cents` names the strings that are "
        "meant to be off from equal temperament, by number, and how far. `taps` is null for "
        "everyone but drummers.",
        id=TEXT,
        name=TEXT,
        instrument=TEXT,
        instrument_label=TEXT,
        kind=TEXT,
        tuning=MAYBE_TEXT,
        tuning_label=MAYBE_TEXT,
        line=COUNT,
        capo=COUNT,
        offsets_cents={"type": "object", "additionalProperties": NUMBER},
        offsets_label={"enum": ["", "pure fifths", "own"]},
        strings=list_of(named("String")),
        now=or_null(named("Reading")),
        taps=or_null(named("Taps")),
    ),
    "Line": an_object(
        "The level of one input channel, relative to full scale. `hum_hz` is the frequency of "
        "the mains hum last heard on it and `hum_dbfs` the rms of all its multiples together; "
        "null without hum.",
        line=COUNT,
        rms_dbfs=MAYBE_NUMBER,
        peak_dbfs=MAYBE_NUMBER,
        dc=MAYBE_NUMBER,
        clipped=YES_OR_NO,
        state={"enum": ["signal", "quiet", "no signal", "unknown"]},
        hum_hz=MAYBE_NUMBER,
        hum_dbfs=MAYBE_NUMBER,
    ),
    "Station": an_object(
        "The box itself. `in_cents` is how close to its target a string counts as in, cents; "
        "`note_names` is how pages name notes to people; the API names them in "
        "English, with # and b. `quiet`: the lamps are dimmed and no tone is played.",
        name=TEXT,
        version=TEXT,
        simulated=YES_OR_NO,
        in_cents=NUMBER,
        tracker={"enum": ["aubio", "numpy"]},
        tracker_reason=MAYBE_TEXT,
        note_names={"enum": list(get_args(NamingSystem))},
        quiet=YES_OR_NO,
        input=an_object(
            "Whether the line input is listening, and if not, why.",
            state={"enum": ["listening", "waiting", "failed"]},
            device=TEXT,
            reason=MAYBE_TEXT,
            overruns=COUNT,
            restarts=COUNT,
        ),
        lamps=an_object(
            "Whether the lamps are lit, and if not, why.",
            state={"enum": ["lit", "off"]},
            reason=MAYBE_TEXT,
        ),
        tone_out=an_object(
            "Whether the line output can play the reference tone, and if not, why.",
            state={"enum": ["ready", "off", "failed"]},
            reason=MAYBE_TEXT,
        ),
        clock=named("Clock"),
        addresses=list_of(TEXT),
        banners=list_of(TEXT),
    ),
    **REFERENCE_SCHEMAS,
    **DRUM_SCHEMAS,
    **HEAD_SCHEMAS,
    **SONG_SCHEMAS,
    **PEG_SCHEMAS,
    **EVENING_SCHEMAS,
    **BENCH_SCHEMAS,
    "Room": an_object(
        "All that one station knows. `measuring` is the instrument that is listened to, "
        "`measured` those that were, newest first; `compromise` is null for fewer than two.",
        station=named("Station"),
        reference=named("Reference"),
        agreement=named("Agreement"),
        measuring=or_null(named("Measuring")),
        measured=list_of(named("Instrument")),
        compromise=or_null(named("Compromise")),
        tone=or_null(named("Tone")),
        lines=list_of(named("Line")),
        players=list_of(named("Player")),
        roll_call=an_object(
            "Who has been in since the reference last changed.",
            **{"in": COUNT},
            out=COUNT,
            not_heard=COUNT,
            total=COUNT,
            complete=YES_OR_NO,
        ),
        heads=named("Heads"),
        order=named("Order"),
        pegs={"type": "object", "additionalProperties": named("PegAsked")},
        evening=named("Evening"),
        turns=named("Turns"),
        members=COUNT,
        bench=named("Bench"),
    ),
}
