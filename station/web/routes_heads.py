"""Drum heads: the guided pass, both heads, drums that are kept, and the kit against the key."""

from __future__ import annotations

from typing import Any, get_args

from flask import Flask, Response, jsonify, request

from station.errors import PageRequestError
from station.measure.drums.head_pass import TURNS_MAX, Phase
from station.music.drums import DrumKind
from station.music.lugs import LUG_COUNTS
from station.web import fields
from station.web.facade import Station, off_loop

BOTH_STEPS = ("begin", "next", "back", "leave")
_LONGEST_QUERY = 80


def add_head_routes(app: Flask, station: Station) -> None:
    """Routes of drum heads; each tells the head pass, or the drums, as it leaves them."""
    _add_pass_routes(app, station)
    _add_drum_routes(app, station)


def _add_pass_routes(app: Flask, station: Station) -> None:
    base = "/api/v1/players/<player_id>/head"

    def heads(player_id: str) -> Response:
        told = off_loop(station.snapshot)["heads"]
        return jsonify(
            told=told["told"],
            head=told["passes"].get(player_id),
            both=told["both"].get(player_id),
        )

    @app.post(base)
    def begin_head(player_id: str) -> Response:
        body = fields.body_with("lugs", "phase", "drum", "by")
        lugs = fields.whole_number(body, "lugs", min(LUG_COUNTS))
        phase = fields.one_of(body, "phase", get_args(Phase))
        drum = fields.short_text(body, "drum") if body.get("drum") else ""
        off_loop(station.begin_head, player_id, lugs, phase, drum)
        return heads(player_id)

    @app.post(f"{base}/lug")
    def head_lug(player_id: str) -> Response:
        lug = fields.whole_number(fields.body_with("lug", "by"), "lug", 1)
        off_loop(station.choose_lug, player_id, lug)
        return heads(player_id)

    @app.post(f"{base}/again")
    def head_again(player_id: str) -> Response:
        body = fields.body_with("lug", "by")
        off_loop(station.tap_lug_again, player_id, _lug(body))
        return heads(player_id)

    @app.post(f"{base}/turned")
    def head_turned(player_id: str) -> Response:
        body = fields.body_with("lug", "turns", "by")
        turns = fields.number(body, "turns", -TURNS_MAX, TURNS_MAX) if "turns" in body else None
        if turns is not None and "lug" not in body:
            raise PageRequestError("turns need the lug that was turned")
        off_loop(station.turned, player_id, _lug(body), turns)
        return heads(player_id)

    @app.post(f"{base}/turned-back")
    def head_turned_back(player_id: str) -> Response:
        body = fields.body_with("drum", "by")
        off_loop(station.turned_back, player_id, fields.short_text(body, "drum"))
        return heads(player_id)

    @app.post(f"{base}/restart")
    def head_restart(player_id: str) -> Response:
        fields.by()
        off_loop(station.restart_round, player_id)
        return heads(player_id)

    @app.post(f"{base}/leave")
    def head_leave(player_id: str) -> Response:
        fields.by()
        off_loop(station.leave_head, player_id)
        return heads(player_id)

    @app.post("/api/v1/players/<player_id>/both-heads")
    def both_heads(player_id: str) -> Response:
        body = fields.body_with("step", "snare_side", "by")
        step = fields.one_of(body, "step", BOTH_STEPS)
        snare = fields.yes_or_no(body, "snare_side") if "snare_side" in body else False
        off_loop(station.both_heads, player_id, step, snare)
        return heads(player_id)


def _add_drum_routes(app: Flask, station: Station) -> None:
    def drums_now() -> Response:
        return jsonify(off_loop(station.kept_drums))

    @app.get("/api/v1/drums")
    def drums() -> Response:
        return drums_now()

    @app.get("/api/v1/drums.json")
    def drums_file() -> Response:
        answer = jsonify(off_loop(station.kept_drums_file))
        answer.headers["Content-Disposition"] = 'attachment; filename="drums.json"'
        return answer

    @app.get("/api/v1/drums/kit")
    def kit() -> Response:
        return jsonify(off_loop(station.kit))

    @app.get("/api/v1/drums/back")
    def way_back() -> Response:
        return jsonify(off_loop(station.way_back, _asked("player"), _asked("drum")))

    @app.put("/api/v1/drums")
    def put_drum() -> Response:
        body = fields.body_with(
            "name", "player", "kind", "diameter_in", "depth_in", "pitch", "keep"
        )
        name = fields.short_text(body, "name")
        player = fields.short_text(body, "player") if "player" in body else None
        off_loop(station.put_drum, name, player, _drum_changes(body))
        return drums_now()

    @app.post("/api/v1/drums/keep")
    def keep_drum() -> Response:
        body = fields.body_with("player", "name", "place")
        place = fields.short_text(body, "place") if body.get("place") else ""
        name = fields.short_text(body, "name")
        off_loop(station.keep_drum, fields.short_text(body, "player"), name, place)
        return drums_now()

    @app.post("/api/v1/drums/forget")
    def forget_drum() -> Response:
        body = fields.body_with("name", "by")
        off_loop(
            station.forget_drum, fields.short_text(body, "name"), fields.short_text(body, "by")
        )
        return drums_now()

    @app.put("/api/v1/drums/songs")
    def kit_songs() -> Response:
        songs = fields.body_with("songs").get("songs")
        if not isinstance(songs, list):
            raise PageRequestError("songs must be a list of name, key and bass")
        off_loop(station.set_kit_songs, songs)
        return jsonify(off_loop(station.kit))


def _lug(body: dict[str, Any]) -> int | None:
    return fields.whole_number(body, "lug", 1) if "lug" in body else None


def _drum_changes(body: dict[str, Any]) -> dict[str, Any]:
    """What is said of a drum; a size or a pitch that is null is not known."""
    changes: dict[str, Any] = {}
    if "kind" in body:
        changes["kind"] = fields.one_of(body, "kind", get_args(DrumKind))
    for key in ("diameter_in", "depth_in"):
        if key in body:
            changes[key] = None if body[key] is None else fields.number(body, key, 1.0, 60.0)
    if body.get("pitch") is not None:
        changes["pitch"] = fields.short_text(body, "pitch")
    if "keep" in body:
        changes["keep"] = fields.yes_or_no(body, "keep")
    return changes


def _asked(key: str) -> str:
    """What the address asks for, one short line."""
    text = request.args.get(key, "")
    if not 0 < len(text) <= _LONGEST_QUERY or not text.isprintable():
        raise PageRequestError(f"{key} must be in the address, such as ?{key}=...")
    return text
