"""The API's description (OpenAPI 3.1), served at ``/api/v1/openapi.json``."""

from __future__ import annotations

from typing import Any

from station import __version__
from station.music.pitch import A4_MAX_HZ, A4_MIN_HZ
from station.room.proposal import KINDS as PROPOSAL_KINDS
from station.web.openapi_bench import bench_paths
from station.web.openapi_heads import head_paths
from station.web.openapi_pegs import peg_paths
from station.web.openapi_reference import TONE_DBFS, TONE_S, VOICES
from station.web.openapi_schemas import SCHEMAS
from station.web.openapi_songs import song_paths
from station.web.schema_words import COUNT, NUMBER, TEXT, YES_OR_NO, named

_A4_HZ = {"type": "number", "minimum": A4_MIN_HZ, "maximum": A4_MAX_HZ}
_LINE = {"type": "integer", "minimum": 1}
_OFFSETS = {
    "oneOf": [
        {"type": "object", "additionalProperties": NUMBER},
        {"enum": ["pure fifths", "none"]},
    ]
}


def _answer(description: str, schema: dict[str, Any] | None = None) -> dict[str, Any]:
    content = {"application/json": {"schema": schema or {"type": "object"}}}
    return {"description": description, "content": content}


def _in_path(name: str, schema: dict[str, Any] | None = None) -> dict[str, Any]:
    return {"name": name, "in": "path", "required": True, "schema": schema or TEXT}


def _body(*required: str, **properties: Any) -> dict[str, Any]:
    return {
        "type": "object",
        "minProperties": 1,
        "additionalProperties": False,
        "required": list(required),
        "properties": properties,
    }


_BY = _body("by", by=TEXT)


def _change(
    summary: str, body: dict[str, Any], told: str, *in_path: dict[str, Any], status: int = 200
) -> dict[str, Any]:
    code = {"name": "X-Room-Code", "in": "header", "required": True, "schema": TEXT}
    refused = _answer(
        "Refused, in one line: 400 what was sent, 403 room code or origin, 404 an unknown id, "
        "409 not now, or not by this player.",
        named("Error"),
    )
    not_saved = _answer("The room cannot be saved.", named("Error"))
    return {
        "summary": summary,
        "parameters": [code, *in_path],
        "requestBody": {
            "required": True,
            "content": {"application/json": {"schema": body}},
        },
        "responses": {
            str(status): _answer("As it now stands.", named(told)),
            "4XX": refused,
            "503": not_saved,
        },
    }


def _read(summary: str, answer: dict[str, Any]) -> dict[str, Any]:
    return {"get": {"summary": summary, "responses": {"200": answer}}}


def _events() -> dict[str, Any]:
    stream = {
        "description": "`room` (a whole snapshot) first, then `reading`, `note`, `room` and "
        "`stroke` (StrokeEvent, or HeadEvent while a drummer goes round a head); `strum` "
        "(StrumEvent) and `beats` (BeatsEvent) while a player has them open on the bench; "
        "`heartbeat` when nothing else was sent for four seconds; `lease` when the stream ends "
        "and the next one should be opened.",
        "content": {"text/event-stream": {"schema": TEXT}},
    }
    whose = {
        "name": "player",
        "in": "query",
        "required": False,
        "schema": TEXT,
        "description": "The id of the player whose phone this is: while the stream is open that "
        "player is present and is asked about proposals. Without it, or with an id the room "
        "does not know, the stream is a screen's.",
    }
    described = _read("Live events", stream)
    described["get"]["parameters"] = [whose]
    described["get"]["responses"]["503"] = _answer(
        "Every stream is in use; see Retry-After.", named("Error")
    )
    return described


def _reference_paths() -> dict[str, Any]:
    which = _in_path("proposal_id", COUNT)
    proposal = _body(
        "by",
        "kind",
        by=TEXT,
        kind={"enum": list(PROPOSAL_KINDS)},
        a4_hz={**_A4_HZ, "description": "With the kind typed."},
        instrument={"type": "string", "description": "With the kind measured: its id."},
        rule={"enum": ["worst", "mean"], "description": "With compromise; worst when left out."},
    )
    table = {
        "description": "RFC 4180, one reference in a line, a header first.",
        "content": {"text/csv": {"schema": TEXT}},
    }
    return {
        "/api/v1/reference": {
            "put": _change(
                "Set the reference for the whole room, outright; 409 while phones of other "
                "players are present, unless the leader decides and asks",
                _body("a4_hz", a4_hz=_A4_HZ, by=TEXT),
                "Reference",
            )
        },
        "/api/v1/reference/undo": {"post": _change("Back to the one before", _BY, "Reference")},
        "/api/v1/proposals": {
            "post": _change("Propose a reference", proposal, "Decision", status=201)
        },
        "/api/v1/proposals/{proposal_id}/answers/{player_id}": {
            "put": _change(
                "Answer a proposal for a player",
                _body("answer", answer={"enum": ["yes", "not yet"]}),
                "Decision",
                which,
                _in_path("player_id"),
            )
        },
        "/api/v1/proposals/{proposal_id}/withdraw": {
            "post": _change("Withdraw a proposal", _BY, "Decision", which)
        },
        "/api/v1/references": _read(
            "Every reference the room had", _answer("Newest first.", named("References"))
        ),
        "/api/v1/references.csv": _read("The same as a table", table),
    }


def _measuring_paths() -> dict[str, Any]:
    whose = {
        "oneOf": [_body("player", player=TEXT), _body("line", line=_LINE, name=TEXT)],
        "description": "A player's instrument, or whatever is on a line.",
    }
    tone = _body(
        "note",
        "voice",
        "level_dbfs",
        "seconds",
        note=TEXT,
        voice={"enum": list(VOICES)},
        level_dbfs={"type": "number", "minimum": TONE_DBFS[0], "maximum": TONE_DBFS[1]},
        seconds={"type": "number", "minimum": TONE_S[0], "maximum": TONE_S[1]},
    )
    quiet = _body("quiet", quiet=YES_OR_NO)
    return {
        "/api/v1/measuring": {
            "post": _change("Listen to an instrument of fixed pitch", whose, "Measured")
        },
        "/api/v1/measuring/finish": {"post": _change("Keep what was measured", _BY, "Measured")},
        "/api/v1/measuring/cancel": {"post": _change("Drop what was measured", _BY, "Measured")},
        "/api/v1/measured/{instrument_id}/forget": {
            "post": _change(
                "Forget a measured instrument", _BY, "Measured", _in_path("instrument_id")
            )
        },
        "/api/v1/tone": {
            "post": _change("Play a tone from the line output; 409 in quiet", tone, "ToneNow")
        },
        "/api/v1/tone/stop": {"post": _change("Stop the tone", _BY, "ToneNow")},
        "/api/v1/quiet": {"put": _change("Dim the lamps and refuse tones", quiet, "Quiet")},
    }


def _player_path() -> dict[str, Any]:
    capo = {"type": "integer", "minimum": 0}
    player = _body(name=TEXT, instrument=TEXT, tuning=TEXT, capo=capo, offsets_cents=_OFFSETS)
    summary = "Change a player's name, instrument, tuning, capo or offsets from equal temperament"
    return {"put": _change(summary, player, "Player", _in_path("player_id"))}


def describe_api() -> dict[str, Any]:
    """The whole description as one JSON-ready object."""
    return {
        "openapi": "3.1.0",
        "info": {"title": "Rehearsal-room tuner station", "version": __version__},
        "paths": {
            "/api/v1/room": _read("The whole room", _answer("The room.", named("Room"))),
            "/api/v1/events": _events(),
            "/api/v1/instruments": _read("Instruments and their tunings", _answer("By key.")),
            **_reference_paths(),
            **_measuring_paths(),
            "/api/v1/players/{player_id}": _player_path(),
            "/api/v1/players/{player_id}/taps/again": {
                "post": _change(
                    "Forget what a drummer tapped", _BY, "TapsNow", _in_path("player_id")
                )
            },
            **head_paths(_change, _read, _answer, _body, _in_path),
            **song_paths(_change, _read, _answer, _body, _in_path),
            **peg_paths(_change, _read, _answer, _body, _in_path),
            **bench_paths(_change, _read, _answer, _body, _in_path),
            "/api/v1/openapi.json": _read("This description", _answer("OpenAPI 3.1.")),
            "/health": _read("Whether the page is served", _answer("Counts and states.")),
        },
        "components": {"schemas": SCHEMAS},
    }
