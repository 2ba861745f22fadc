"""Instruments measured, the reference tone, and quiet."""

from __future__ import annotations

from flask import Response, jsonify

from station.web.api import Api
from station.web.facade import Station, off_loop
from station.web.models.measuring import (
    Measure,
    Measured,
    MeasuredAddress,
    PlayTone,
    Quiet,
    SetQuiet,
    ToneNow,
)
from station.web.models.words import By


def add_measuring_routes(api: Api, station: Station) -> None:
    """Routes that begin and end the measuring of an instrument."""

    def measured_now() -> Response:
        room = off_loop(station.snapshot)
        return jsonify({key: room[key] for key in ("measuring", "measured", "compromise")})

    @api.post("/api/v1/measuring", "Listen to an instrument of fixed pitch", Measured)
    def begin(body: Measure) -> Response:
        off_loop(station.begin_measuring, body.player, body.line, body.name)
        return measured_now()

    @api.post("/api/v1/measuring/finish", "Keep what was measured", Measured)
    def finish(body: By) -> Response:
        off_loop(station.finish_measuring, body.by)
        return measured_now()

    @api.post("/api/v1/measuring/cancel", "Drop what was measured", Measured)
    def cancel(body: By) -> Response:
        off_loop(station.cancel_measuring, body.by)
        return measured_now()

    @api.post("/api/v1/measured/<instrument_id>/forget", "Forget a measured instrument", Measured)
    def forget(path: MeasuredAddress, body: By) -> Response:
        off_loop(station.forget_measured, path.instrument_id, body.by)
        return measured_now()


def add_tone_routes(api: Api, station: Station) -> None:
    """Routes that let the room hear a tone, or nothing at all."""

    @api.post("/api/v1/tone", "Play a tone from the line output; 409 in quiet", ToneNow)
    def tone(body: PlayTone) -> Response:
        off_loop(station.play_tone, body.note, body.voice, body.level_dbfs, body.seconds)
        return jsonify(tone=off_loop(station.snapshot)["tone"])

    @api.post("/api/v1/tone/stop", "Stop the tone", ToneNow)
    def stop(body: By) -> Response:
        off_loop(station.stop_tone, body.by)
        return jsonify(tone=off_loop(station.snapshot)["tone"])

    @api.put("/api/v1/quiet", "Dim the lamps and refuse tones", Quiet)
    def quiet(body: SetQuiet) -> Response:
        off_loop(station.set_quiet, body.quiet)
        return jsonify(quiet=off_loop(station.snapshot)["station"]["quiet"])
