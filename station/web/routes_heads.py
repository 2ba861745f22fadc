"""Drum heads: the guided pass, and both heads; each route tells them as it leaves them."""

from __future__ import annotations

from flask import Response, jsonify

from station.web.api import Api
from station.web.facade import Station, off_loop
from station.web.models.heads import (
    BeginHead,
    ChooseLug,
    CompareHeads,
    HeadNow,
    TapAgain,
    Turned,
    TurnedBack,
)
from station.web.models.words import By, PlayerAddress

_BASE = "/api/v1/players/<player_id>/head"


def add_head_routes(api: Api, station: Station) -> None:
    """Routes of a head pass, and of the comparison of both heads."""

    def heads(path: PlayerAddress) -> Response:
        told = off_loop(station.snapshot)["heads"]
        return jsonify(
            told=told["told"],
            head=told["passes"].get(path.player_id),
            both=told["both"].get(path.player_id),
        )

    @api.post(_BASE, "Begin to go round a head", HeadNow)
    def begin_head(path: PlayerAddress, body: BeginHead) -> Response:
        off_loop(station.begin_head, path.player_id, body.lugs, body.phase, body.drum or "")
        return heads(path)

    @api.post(f"{_BASE}/lug", "The next tap is beside this lug", HeadNow)
    def head_lug(path: PlayerAddress, body: ChooseLug) -> Response:
        off_loop(station.choose_lug, path.player_id, body.lug)
        return heads(path)

    @api.post(f"{_BASE}/again", "Tap a lug anew, the last one unless said", HeadNow)
    def head_again(path: PlayerAddress, body: TapAgain) -> Response:
        off_loop(station.tap_lug_again, path.player_id, body.lug)
        return heads(path)

    @api.post(
        f"{_BASE}/turned",
        "A lug was turned, as advised unless said; all that is advised without a lug",
        HeadNow,
    )
    def head_turned(path: PlayerAddress, body: Turned) -> Response:
        off_loop(station.turned, path.player_id, body.lug, body.turns)
        return heads(path)

    @api.post(f"{_BASE}/turned-back", "All lugs were turned as the way back says", HeadNow)
    def head_turned_back(path: PlayerAddress, body: TurnedBack) -> Response:
        off_loop(station.turned_back, path.player_id, body.drum)
        return heads(path)

    @api.post(f"{_BASE}/restart", "Tap the round anew", HeadNow)
    def head_restart(path: PlayerAddress, body: By) -> Response:  # noqa: ARG001 -- who asks
        off_loop(station.restart_round, path.player_id)
        return heads(path)

    @api.post(f"{_BASE}/leave", "End the pass", HeadNow)
    def head_leave(path: PlayerAddress, body: By) -> Response:  # noqa: ARG001 -- who asks
        off_loop(station.leave_head, path.player_id)
        return heads(path)

    @api.post("/api/v1/players/<player_id>/both-heads", "Compare batter and resonant head", HeadNow)
    def both_heads(path: PlayerAddress, body: CompareHeads) -> Response:
        off_loop(station.both_heads, path.player_id, body.step, body.snare_side)
        return heads(path)
