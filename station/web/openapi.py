"""The API's description (OpenAPI 3.1), served at ``/api/v1/openapi.json``."""

from __future__ import annotations

from typing import Any, get_args

from station import __version__
from station.music.names import NamingSystem

_NUMBER = {"type": "number"}
_TEXT = {"type": "string"}
_MAYBE_NUMBER = {"type": ["number", "null"]}
_MAYBE_TEXT = {"type": ["string", "null"]}
_COUNT = {"type": "integer", "minimum": 0}
_YES_OR_NO = {"type": "boolean"}


def _object(description: str, **properties: Any) -> dict[str, Any]:
    return {
        "type": "object",
        "description": description,
        "required": list(properties),
        "properties": properties,
    }


def _list_of(schema: dict[str, Any]) -> dict[str, Any]:
    return {"type": "array", "items": schema}


def _named(name: str) -> dict[str, Any]:
    return {"$ref": f"#/components/schemas/{name}"}


_VERDICT = {"enum": ["tighten", "slacken", "in", None]}

_SCHEMAS: dict[str, Any] = {
    "Error": _object("One line saying what was wrong.", error=_TEXT),
    "Reference": _object(
        "The frequency of A4 the whole room tunes to, hertz.",
        a4_hz=_NUMBER,
        set_at=_TEXT,
        by=_TEXT,
        source=_TEXT,
    ),
    "Reading": _object(
        "One measured pitch. `cents` is from the nearest note, `string_cents` from the string's "
        "target; `uncertainty_cents` is one standard deviation; `beats_hz` is the beat rate "
        "between the string and its target.",
        player=_MAYBE_TEXT,
        line=_COUNT,
        at_s=_NUMBER,
        hz=_NUMBER,
        uncertainty_cents=_NUMBER,
        note=_TEXT,
        cents=_NUMBER,
        string={"type": ["integer", "null"]},
        target=_MAYBE_TEXT,
        target_hz=_MAYBE_NUMBER,
        string_cents=_MAYBE_NUMBER,
        beats_hz=_MAYBE_NUMBER,
        verdict=_VERDICT,
        clipped=_YES_OR_NO,
    ),
    "String": _object(
        "An open string, its target, and its place in the roll call.",
        string=_COUNT,
        note=_TEXT,
        target_hz=_NUMBER,
        roll={"enum": ["not heard", "in", "out"]},
        cents=_MAYBE_NUMBER,
        uncertainty_cents=_MAYBE_NUMBER,
        verdict=_VERDICT,
        age_s=_MAYBE_NUMBER,
    ),
    "Player": _object(
        "A band member with an instrument on a line.",
        id=_TEXT,
        name=_TEXT,
        instrument=_TEXT,
        instrument_label=_TEXT,
        kind=_TEXT,
        tuning=_MAYBE_TEXT,
        tuning_label=_MAYBE_TEXT,
        line=_COUNT,
        capo=_COUNT,
        strings=_list_of(_named("String")),
        now={"oneOf": [_named("Reading"), {"type": "null"}]},
    ),
    "Line": _object(
        "The level of one input channel, relative to full scale. `hum_hz` is the frequency of "
        "the mains hum last heard on it and `hum_dbfs` the rms of all its multiples together; "
        "null without hum.",
        line=_COUNT,
        rms_dbfs=_MAYBE_NUMBER,
        peak_dbfs=_MAYBE_NUMBER,
        dc=_MAYBE_NUMBER,
        clipped=_YES_OR_NO,
        state={"enum": ["signal", "quiet", "no signal", "unknown"]},
        hum_hz=_MAYBE_NUMBER,
        hum_dbfs=_MAYBE_NUMBER,
    ),
    "Station": _object(
        "The box itself. `in_cents` is how close to its target a string counts as in, cents; "
        "`note_names` is how pages name notes to people; the API names them in "
        "English, with # and b. `quiet`: the lamps are dimmed.",
        name=_TEXT,
        version=_TEXT,
        simulated=_YES_OR_NO,
        in_cents=_NUMBER,
        tracker={"enum": ["aubio", "numpy"]},
        tracker_reason=_MAYBE_TEXT,
        note_names={"enum": list(get_args(NamingSystem))},
        quiet=_YES_OR_NO,
        input=_object(
            "Whether the line input is listening, and if not, why.",
            state={"enum": ["listening", "waiting", "failed"]},
            device=_TEXT,
            reason=_MAYBE_TEXT,
            overruns=_COUNT,
            restarts=_COUNT,
        ),
        lamps=_object(
            "Whether the lamps are lit, and if not, why.",
            state={"enum": ["lit", "off"]},
            reason=_MAYBE_TEXT,
        ),
        addresses=_list_of(_TEXT),
        banners=_list_of(_TEXT),
    ),
    "Room": _object(
        "All that one station knows.",
        station=_named("Station"),
        reference=_named("Reference"),
        lines=_list_of(_named("Line")),
        players=_list_of(_named("Player")),
        roll_call=_object(
            "Who has been in since the reference last changed.",
            **{"in": _COUNT},
            out=_COUNT,
            not_heard=_COUNT,
            total=_COUNT,
            complete=_YES_OR_NO,
        ),
    ),
}


def _answer(description: str, schema: dict[str, Any] | None = None) -> dict[str, Any]:
    content = {"application/json": {"schema": schema or {"type": "object"}}}
    return {"description": description, "content": content}


def _change(summary: str, body: dict[str, Any], told: str) -> dict[str, Any]:
    refused = _answer("Refused, in one line.", _named("Error"))
    return {
        "summary": summary,
        "parameters": [{"name": "X-Room-Code", "in": "header", "required": True, "schema": _TEXT}],
        "requestBody": {
            "required": True,
            "content": {"application/json": {"schema": body}},
        },
        "responses": {"200": _answer("As it now stands.", _named(told)), "4XX": refused},
    }


def _read(summary: str, answer: dict[str, Any]) -> dict[str, Any]:
    return {"get": {"summary": summary, "responses": {"200": answer}}}


def describe_api() -> dict[str, Any]:
    """The whole description as one JSON-ready object."""
    events = {
        "description": "`room` (a whole snapshot) first, then `reading`, `note`, `room`; "
        "`heartbeat` when nothing else was sent for four seconds; `lease` when the stream ends "
        "and the next one should be opened.",
        "content": {"text/event-stream": {"schema": _TEXT}},
    }
    full = _answer("Every stream is in use; see Retry-After.", _named("Error"))
    streams = _read("Live events", events)
    streams["get"]["responses"]["503"] = full
    reference = {
        "type": "object",
        "required": ["a4_hz"],
        "properties": {"a4_hz": {"type": "number", "minimum": 390, "maximum": 470}, "by": _TEXT},
    }
    player = {
        "type": "object",
        "minProperties": 1,
        "properties": {
            "name": _TEXT,
            "instrument": _TEXT,
            "tuning": _TEXT,
            "capo": {"type": "integer", "minimum": 0},
        },
    }
    put_player = _change("Change a player's name, instrument, tuning or capo", player, "Player")
    put_player["parameters"].append(
        {"name": "player_id", "in": "path", "required": True, "schema": _TEXT}
    )
    return {
        "openapi": "3.1.0",
        "info": {"title": "Rehearsal-room tuner station", "version": __version__},
        "paths": {
            "/api/v1/room": _read("The whole room", _answer("The room.", _named("Room"))),
            "/api/v1/events": streams,
            "/api/v1/instruments": _read("Instruments and their tunings", _answer("By key.")),
            "/api/v1/reference": {
                "put": _change("Set the reference for the whole room", reference, "Reference")
            },
            "/api/v1/players/{player_id}": {"put": put_player},
            "/api/v1/openapi.json": _read("This description", _answer("OpenAPI 3.1.")),
            "/health": _read("Whether the page is served", _answer("Counts and states.")),
        },
        "components": {"schemas": _SCHEMAS},
    }
