"""The reference: set outright, proposed, answered, undone; and every one there was."""

from __future__ import annotations

from typing import Any

from flask import Flask, Response, jsonify

from station.errors import PageRequestError
from station.music.compromise import RULES
from station.web import fields
from station.web.facade import Station, off_loop

ANSWERS = ("yes", "not yet")
# The kinds of proposal, and the key that goes with each and with no other.
KINDS = {"standard": None, "typed": "a4_hz", "measured": "instrument", "compromise": "rule"}


def add_reference_routes(app: Flask, station: Station) -> None:
    """Routes that agree on the reference and tell its history."""

    def reference_now() -> dict[str, Any]:
        told: dict[str, Any] = off_loop(station.snapshot)["reference"]
        return told

    @app.put("/api/v1/reference")
    def reference() -> Response:
        body = fields.body_with("a4_hz", "by")
        a4_hz = fields.number(body, "a4_hz")
        by = fields.short_text(body, "by") if "by" in body else "someone on the page"
        off_loop(station.set_reference, a4_hz, by, "set on the page")
        return jsonify(reference_now())

    @app.post("/api/v1/reference/undo")
    def undo() -> Response:
        off_loop(station.undo, fields.by())
        return jsonify(reference_now())

    @app.post("/api/v1/proposals")
    def propose() -> tuple[Response, int]:
        return jsonify(off_loop(station.propose, *_proposal())), 201

    @app.put("/api/v1/proposals/<proposal_id>/answers/<player_id>")
    def answer(proposal_id: str, player_id: str) -> Response:
        number = fields.path_id(proposal_id, "proposal")
        said = fields.one_of(fields.body_with("answer"), "answer", ANSWERS)
        return jsonify(off_loop(station.answer, number, player_id, said))

    @app.post("/api/v1/proposals/<proposal_id>/withdraw")
    def withdraw(proposal_id: str) -> Response:
        number = fields.path_id(proposal_id, "proposal")
        by = fields.by()
        return jsonify(off_loop(station.withdraw, number, by))

    @app.get("/api/v1/references")
    def references() -> Response:
        return jsonify(references=off_loop(station.references))

    @app.get("/api/v1/references.csv")
    def references_csv() -> Response:
        # RFC 4180 names the parameter; the file is kept, not shown.
        response = Response(
            off_loop(station.references_csv), content_type="text/csv; charset=utf-8; header=present"
        )
        response.headers["Content-Disposition"] = 'attachment; filename="references.csv"'
        return response


def _proposal() -> tuple[str, str, float | None, str | None, str | None]:
    """by, kind, a4_hz, instrument and rule of the request's body, None where they do not go."""
    body = fields.body_with("by", "kind", "a4_hz", "instrument", "rule")
    by, kind = fields.short_text(body, "by"), fields.one_of(body, "kind", KINDS)
    for its_kind, key in KINDS.items():
        if key in body and its_kind != kind:
            raise PageRequestError(f"{key} goes with the kind {its_kind!r}, not with {kind!r}")
    return (
        by,
        kind,
        fields.number(body, "a4_hz") if kind == "typed" else None,
        fields.short_text(body, "instrument") if kind == "measured" else None,
        _rule(body) if kind == "compromise" else None,
    )


def _rule(body: dict[str, Any]) -> str:
    return fields.one_of(body, "rule", RULES) if "rule" in body else RULES[0]
