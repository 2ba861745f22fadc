"""Drums that are kept, the way back to how they were, and the kit against the key."""

from __future__ import annotations

from flask import Response, jsonify

from station.web.api import Api
from station.web.facade import Station, off_loop
from station.web.models.kit import (
    BackQuery,
    Drums,
    DrumsFile,
    ForgetDrum,
    KeepDrum,
    Kit,
    PutDrum,
    SetKitSongs,
    WayBack,
)


def add_kit_routes(api: Api, station: Station) -> None:
    """Routes of kept drums; each change tells all of them as it leaves them."""

    def drums_now() -> Response:
        return jsonify(off_loop(station.kept_drums))

    @api.get("/api/v1/drums", "Drums that are kept", Drums)
    def drums() -> Response:
        return drums_now()

    @api.get("/api/v1/drums.json", "The same as a file", DrumsFile)
    def drums_file() -> Response:
        answer = jsonify(off_loop(station.kept_drums_file))
        answer.headers["Content-Disposition"] = 'attachment; filename="drums.json"'
        return answer

    @api.get("/api/v1/drums/kit", "The kit against the key", Kit)
    def kit() -> Response:
        return jsonify(off_loop(station.kit))

    @api.get(
        "/api/v1/drums/back",
        "What must be turned to go back",
        WayBack,
        on_404="The room knows no such player.",
        on_409="Nothing of it was tapped yet, or no good state is kept.",
    )
    def way_back(query: BackQuery) -> Response:
        return jsonify(off_loop(station.way_back, query.player, query.drum))

    @api.put("/api/v1/drums", "Keep a drum's size and pitch", Drums)
    def put_drum(body: PutDrum) -> Response:
        changes = body.changes()
        name, player = changes.pop("name"), changes.pop("player", None)
        off_loop(station.put_drum, name, player, changes)
        return drums_now()

    @api.post("/api/v1/drums/keep", "The drum as it is now is its good state", Drums)
    def keep_drum(body: KeepDrum) -> Response:
        off_loop(station.keep_drum, body.player, body.name, body.place or "")
        return drums_now()

    @api.post("/api/v1/drums/forget", "Forget a drum", Drums)
    def forget_drum(body: ForgetDrum) -> Response:
        off_loop(station.forget_drum, body.name, body.by)
        return drums_now()

    @api.put("/api/v1/drums/songs", "The songs the kit is held against", Kit)
    def kit_songs(body: SetKitSongs) -> Response:
        off_loop(station.set_kit_songs, body.changes()["songs"])
        return jsonify(off_loop(station.kit))
