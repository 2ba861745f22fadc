"""The reference: set outright, proposed, answered, undone; and every one there was."""

from __future__ import annotations

from typing import Any

from flask import Response, jsonify

from station.web.api import Api, telling
from station.web.facade import Station, off_loop
from station.web.models.reference import (
    AnswerAddress,
    AnswerProposal,
    Decision,
    ProposalAddress,
    Propose,
    Reference,
    References,
    SetReference,
)
from station.web.models.words import By


def add_reference_routes(api: Api, station: Station) -> None:
    """Routes that agree on the reference and tell its history."""

    def reference_now() -> dict[str, Any]:
        told: dict[str, Any] = off_loop(station.snapshot)["reference"]
        return told

    @api.put(
        "/api/v1/reference",
        "Set the reference for the whole room, outright; 409 while phones of other players are "
        "present, unless the leader decides and asks",
        Reference,
    )
    def reference(body: SetReference) -> Response:
        off_loop(station.set_reference, body.a4_hz, body.by, "set on the page")
        return jsonify(reference_now())

    @api.post("/api/v1/reference/undo", "Back to the one before", Reference)
    def undo(body: By) -> Response:
        off_loop(station.undo, body.by)
        return jsonify(reference_now())

    @api.post("/api/v1/proposals", "Propose a reference", Decision, status=201)
    def propose(body: Propose) -> tuple[Response, int]:
        told = off_loop(
            station.propose, body.by, body.kind, body.a4_hz, body.instrument, body.chosen_rule
        )
        return jsonify(told), 201

    @api.put(
        "/api/v1/proposals/<proposal_id>/answers/<player_id>",
        "Answer a proposal for a player",
        Decision,
    )
    def answer(path: AnswerAddress, body: AnswerProposal) -> Response:
        return jsonify(off_loop(station.answer, path.proposal_id, path.player_id, body.answer))

    @api.post("/api/v1/proposals/<proposal_id>/withdraw", "Withdraw a proposal", Decision)
    def withdraw(path: ProposalAddress, body: By) -> Response:
        return jsonify(off_loop(station.withdraw, path.proposal_id, body.by))

    @api.get("/api/v1/references", "Every reference the room had", References)
    def references() -> Response:
        return jsonify(references=off_loop(station.references))

    table = telling("RFC 4180, one reference in a line, a header first.", "text/csv")

    @api.get("/api/v1/references.csv", "The same as a table", table)
    def references_csv() -> Response:
        # RFC 4180 names the parameter; the file is kept, not shown.
        response = Response(
            off_loop(station.references_csv), content_type="text/csv; charset=utf-8; header=present"
        )
        response.headers["Content-Disposition"] = 'attachment; filename="references.csv"'
        return response
