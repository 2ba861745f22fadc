"""Instruments measured, the reference tone, and quiet."""

from __future__ import annotations

from flask import Flask, Response, jsonify

from station.errors import PageRequestError
from station.web import fields
from station.web.facade import Station, off_loop
from station.web.openapi_reference import TONE_DBFS, TONE_S, VOICES


def add_measuring_routes(app: Flask, station: Station) -> None:
    """Routes that begin and end the measuring of an instrument."""

    def measured_now() -> Response:
        room = off_loop(station.snapshot)
        return jsonify({key: room[key] for key in ("measuring", "measured", "compromise")})

    @app.post("/api/v1/measuring")
    def begin() -> Response:
        off_loop(station.begin_measuring, *_whose())
        return measured_now()

    @app.post("/api/v1/measuring/finish")
    def finish() -> Response:
        off_loop(station.finish_measuring, fields.by())
        return measured_now()

    @app.post("/api/v1/measuring/cancel")
    def cancel() -> Response:
        off_loop(station.cancel_measuring, fields.by())
        return measured_now()

    @app.post("/api/v1/measured/<instrument_id>/forget")
    def forget(instrument_id: str) -> Response:
        off_loop(station.forget_measured, instrument_id, fields.by())
        return measured_now()


def add_tone_routes(app: Flask, station: Station) -> None:
    """Routes that let the room hear a tone, or nothing at all."""

    @app.post("/api/v1/tone")
    def tone() -> Response:
        body = fields.body_with("note", "voice", "level_dbfs", "seconds")
        off_loop(
            station.play_tone,
            fields.short_text(body, "note"),
            fields.one_of(body, "voice", VOICES),
            fields.number(body, "level_dbfs", *TONE_DBFS),
            fields.number(body, "seconds", *TONE_S),
        )
        return jsonify(tone=off_loop(station.snapshot)["tone"])

    @app.post("/api/v1/tone/stop")
    def stop() -> Response:
        off_loop(station.stop_tone, fields.by())
        return jsonify(tone=off_loop(station.snapshot)["tone"])

    @app.put("/api/v1/quiet")
    def quiet() -> Response:
        off_loop(station.set_quiet, fields.yes_or_no(fields.body_with("quiet"), "quiet"))
        return jsonify(quiet=off_loop(station.snapshot)["station"]["quiet"])


def _whose() -> tuple[str | None, int | None, str | None]:
    """player, line and name of the instrument that is to be measured."""
    body = fields.body_with("player", "line", "name")
    if "player" in body:
        for key in ("line", "name"):
            if key in body:
                raise PageRequestError(f"give player alone, or line and name: not player and {key}")
        return fields.short_text(body, "player"), None, None
    line = fields.whole_number(body, "line", at_least=1)
    return None, line, fields.short_text(body, "name") if "name" in body else None
