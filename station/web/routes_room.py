"""The room itself: read as a whole or as a stream of events; its players changed."""

from __future__ import annotations

from flask import Response, jsonify, request

from station.web.api import REF, Api, telling
from station.web.events import EventStream, StreamTimes
from station.web.facade import Station, off_loop
from station.web.models.bench import BeatsEvent, StrumEvent
from station.web.models.drums import StrokeEvent
from station.web.models.heads import HeadEvent
from station.web.models.room import (
    ChangePlayer,
    EventsQuery,
    Health,
    Instruments,
    Note,
    Nothing,
    Player,
    Reading,
    Room,
)
from station.web.models.words import Answer, PlayerAddress

EVENTS: dict[str, tuple[type[Answer], ...]] = {
    "room": (Room,),
    "reading": (Reading,),
    "note": (Note,),
    "stroke": (StrokeEvent, HeadEvent),
    "strum": (StrumEvent,),
    "beats": (BeatsEvent,),
    "heartbeat": (Nothing,),
    "lease": (Nothing,),
}
_STREAM = telling(
    "Server-sent events: `room` (a whole snapshot) first, then `reading`, `note`, `room` and "
    "`stroke` (StrokeEvent, or HeadEvent while a drummer goes round a head); `strum` and `beats` "
    "while a player has them open on the bench; `heartbeat` when nothing else was sent for four "
    "seconds; `lease` when the stream ends and the next one should be opened. The data of each "
    "is JSON, as `x-events` says.",
    "text/event-stream",
    schema={
        "type": "object",
        "required": ["event", "data"],
        "properties": {
            "event": {"enum": list(EVENTS)},
            "data": {"type": "string"},
            "retry": {"type": "integer"},
        },
    },
    **{
        "x-events": {
            kind: {"oneOf": [{"$ref": REF.format(model=model.__name__)} for model in models]}
            for kind, models in EVENTS.items()
        }
    },
)


def add_room_routes(api: Api, station: Station, times: StreamTimes) -> None:
    """Routes that read the room, and the one that changes a player."""

    @api.get("/api/v1/room", "The whole room", Room)
    def room() -> Response:
        return jsonify(off_loop(station.snapshot))

    @api.get("/api/v1/instruments", "Instruments and their tunings", Instruments)
    def instruments() -> Response:
        return jsonify(off_loop(station.instruments))

    api.names(*(model for models in EVENTS.values() for model in models))

    @api.get(
        "/api/v1/events",
        "Live events",
        _STREAM,
        on_503="Every stream is in use; see Retry-After.",
    )
    def events(query: EventsQuery) -> Response:
        if request.method == "HEAD":
            return Response(mimetype="text/event-stream")
        gone = request.environ.get("station.gone", lambda: False)
        snapshot = lambda: off_loop(station.snapshot)  # noqa: E731
        stream = EventStream(station.hub, snapshot, times, gone, query.player)
        response = Response(stream, mimetype="text/event-stream")
        response.call_on_close(stream.close)
        return response

    @api.get("/health", "Whether the page is served", Health)
    def health() -> Response:
        told = off_loop(station.snapshot)["station"]
        return jsonify(
            status="ok",
            version=told["version"],
            input=told["input"]["state"],
            streams=station.hub.streams,
            max_streams=station.hub.max_streams,
        )

    @api.put(
        "/api/v1/players/<player_id>",
        "Change a player's name, instrument, tuning, capo or offsets from equal temperament",
        Player,
    )
    def player(path: PlayerAddress, body: ChangePlayer) -> Response:
        off_loop(station.change_player, path.player_id, body.changes())
        players = off_loop(station.snapshot)["players"]
        return jsonify(next(each for each in players if each["id"] == path.player_id))
