"""The page and its JSON API, as a Flask application around a station.

The application holds no state of the room: it asks the station and passes on
what it says. Calls into the station may wait for a lock or for a storage card,
so they run in worker threads while the serving thread keeps the streams going.
"""

from __future__ import annotations

import json
import logging
from collections.abc import Callable
from pathlib import Path
from typing import Any, Protocol

import gevent
from flask import Flask, Response, jsonify, render_template, request
from werkzeug.exceptions import HTTPException

from station.errors import (
    PageRequestError,
    RoomCodeError,
    StationError,
    StorageError,
    StreamsFullError,
    UnknownPlayerError,
    UsageError,
)
from station.web import guards, join_code
from station.web.events import EventStream, StreamTimes
from station.web.hub import Hub
from station.web.openapi import describe_api

log = logging.getLogger(__name__)

BODY_TIME_S = 10.0
FULL_RETRY_S = 5
PLAIN_WORDS = {
    404: "nothing is at this address",
    405: "this address does not take that method",
    413: guards.TOO_LARGE,
}
HEADERS = {
    "Content-Security-Policy": "default-src 'self'; base-uri 'none'; object-src 'none'; "
    "form-action 'self'; frame-ancestors 'none'",
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
}


class Station(Protocol):
    """What the page needs of a station."""

    hub: Hub
    room_code: str

    def snapshot(self) -> dict[str, Any]: ...
    def set_reference(self, a4_hz: float, by: str, source: str) -> object: ...
    def change_player(self, player_id: str, changes: dict[str, Any]) -> object: ...
    def instruments(self) -> dict[str, Any]: ...
    def addresses(self) -> list[str]: ...


def off_loop(call: Callable[..., Any], *args: Any) -> Any:
    """Run ``call`` in a worker thread; only the asking greenlet waits for it."""

    def attempt() -> tuple[Any, Exception | None]:
        # Carried over by hand: the pool prints what it sees raised.
        try:
            return call(*args), None
        except Exception as error:  # noqa: BLE001 -- raised again by the asker
            return None, error

    value, error = gevent.get_hub().threadpool.apply(attempt)
    if error is not None:
        raise error
    return value


def create_app(station: Station, times: StreamTimes | None = None) -> Flask:
    """The WSGI application of one station's page."""
    app = Flask(__name__)
    app.json.ensure_ascii = False  # type: ignore[attr-defined]
    app.config["MAX_CONTENT_LENGTH"] = guards.MAX_BODY_BYTES
    codes = guards.CodeCheck()

    @app.before_request
    def guard() -> None:
        guards.check_host(request.headers.get("Host", ""), station.addresses())
        if request.method not in ("GET", "HEAD", "OPTIONS"):
            guards.check_origin(request.headers.get("Origin"), request.host)
            guards.check_content(request.mimetype, request.content_length)
            given = request.headers.get("X-Room-Code")
            codes.check(given, station.room_code, request.remote_addr or "")

    @app.after_request
    def add_headers(response: Response) -> Response:
        response.headers.update(HEADERS)
        if not request.path.startswith("/static/"):
            response.headers.setdefault("Cache-Control", "no-store")
        return response

    _add_errors(app)
    _add_page(app, station)
    _add_reading_routes(app, station, times or StreamTimes())
    _add_changing_routes(app, station)
    return app


def _add_page(app: Flask, station: Station) -> None:
    static = Path(app.static_folder or "")

    @app.get("/")
    def page() -> Response:
        name = station.snapshot()["station"]["name"]
        response = Response(render_template("page.html", name=name), mimetype="text/html")
        response.headers["Cache-Control"] = "no-cache"
        return response

    @app.get("/manifest.webmanifest")
    def manifest() -> Response:
        text = (static / "manifest.webmanifest").read_bytes()
        return Response(text, mimetype="application/manifest+json")

    @app.get("/service-worker.js")
    def service_worker() -> Response:
        # Served from the root so that its scope is the whole page.
        text = (static / "js" / "service-worker.js").read_bytes()
        response = Response(text, mimetype="text/javascript")
        response.headers["Cache-Control"] = "no-cache"
        return response

    @app.get("/favicon.ico")
    def favicon() -> Response:
        return app.send_static_file("icons/icon.svg")

    @app.get("/qr.svg")
    def join() -> Response:
        return Response(join_code.svg(station.addresses()), mimetype="image/svg+xml")


def _add_reading_routes(app: Flask, station: Station, times: StreamTimes) -> None:
    @app.get("/api/v1/room")
    def room() -> Response:
        return jsonify(off_loop(station.snapshot))

    @app.get("/api/v1/instruments")
    def instruments() -> Response:
        return jsonify(off_loop(station.instruments))

    @app.get("/api/v1/events")
    def events() -> Response:
        if request.method == "HEAD":
            return Response(mimetype="text/event-stream")
        gone = request.environ.get("station.gone", lambda: False)
        stream = EventStream(station.hub, lambda: off_loop(station.snapshot), times, gone)
        response = Response(stream, mimetype="text/event-stream")
        response.call_on_close(stream.close)
        return response

    @app.get("/api/v1/openapi.json")
    def openapi() -> Response:
        return jsonify(describe_api())

    @app.get("/health")
    def health() -> Response:
        told = off_loop(station.snapshot)["station"]
        return jsonify(
            status="ok",
            version=told["version"],
            input=told["input"]["state"],
            streams=station.hub.streams,
            max_streams=station.hub.max_streams,
        )


def _add_changing_routes(app: Flask, station: Station) -> None:
    @app.put("/api/v1/reference")
    def reference() -> Response:
        body = guards.check_keys(_json_body(), ("a4_hz", "by"))
        a4_hz = guards.number(body, "a4_hz")
        by = guards.short_text(body, "by") if "by" in body else "someone on the page"
        off_loop(station.set_reference, a4_hz, by, "set on the page")
        return jsonify(off_loop(station.snapshot)["reference"])

    @app.put("/api/v1/players/<player_id>")
    def player(player_id: str) -> Response:
        body = guards.check_keys(_json_body(), ("name", "instrument", "tuning", "capo"))
        changes: dict[str, Any] = {
            key: guards.short_text(body, key)
            for key in ("name", "instrument", "tuning")
            if key in body
        }
        if "capo" in body:
            changes["capo"] = guards.whole_number(body, "capo")
        off_loop(station.change_player, player_id, changes)
        players = off_loop(station.snapshot)["players"]
        return jsonify(next(each for each in players if each["id"] == player_id))


def _json_body() -> Any:
    """The request's JSON, read within ``BODY_TIME_S``."""
    slow = PageRequestError(f"the body did not arrive within {BODY_TIME_S:g} s", 408)
    with gevent.Timeout(BODY_TIME_S, slow):
        raw = request.get_data()
    if request.content_length is None and len(raw) >= guards.MAX_BODY_BYTES:
        # A chunked body is cut at the limit without a word.
        raise PageRequestError(guards.TOO_LARGE, 413)
    try:
        return _strict_json(raw)
    except (ValueError, RecursionError):
        raise PageRequestError("the body is not JSON") from None


def _strict_json(raw: bytes) -> Any:
    """Parse strict JSON: NaN and Infinity, which Python would let pass, are refused."""

    def refuse(name: str) -> None:
        raise ValueError(name)

    return json.loads(raw, parse_constant=refuse)


def _add_errors(app: Flask) -> None:
    def refuse(status: int, message: str, retry_after_s: int | None = None) -> Response:
        response = jsonify(error=" ".join(message.split()))
        response.status_code = status
        if retry_after_s is not None:
            response.headers["Retry-After"] = str(retry_after_s)
        return response

    @app.errorhandler(StationError)
    def deliberate(error: StationError) -> Response:
        retry_after_s = FULL_RETRY_S if isinstance(error, StreamsFullError) else None
        if isinstance(error, PageRequestError):
            retry_after_s = error.retry_after_s
        return refuse(_status_of(error), str(error), retry_after_s)

    @app.errorhandler(HTTPException)
    def http(error: HTTPException) -> Response:
        code = error.code or 500
        response = refuse(code, PLAIN_WORDS.get(code) or error.description or error.name)
        for name, value in error.get_headers():
            if name == "Allow":
                response.headers["Allow"] = value
        return response

    @app.errorhandler(Exception)
    def unexpected(error: Exception) -> Response:
        log.error("request %s %s failed", request.method, request.path, exc_info=error)
        return refuse(500, "the station failed to answer; its log says why")


def _status_of(error: StationError) -> int:
    """The HTTP status a deliberate error is told with."""
    if isinstance(error, PageRequestError):
        return error.status
    known: tuple[tuple[type[StationError], int], ...] = (
        (RoomCodeError, 403),
        (UnknownPlayerError, 404),
        (UsageError, 400),
        (StreamsFullError, 503),
        (StorageError, 503),
    )
    return next((status for kind, status in known if isinstance(error, kind)), 500)
