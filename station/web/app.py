"""The page and its JSON API, as a Flask application around a station.

The application holds no state of the room: it asks the station and passes on
what it says. Calls into the station may wait for a lock or for a storage card,
so they run in worker threads while the serving thread keeps the streams going.
What the routes need of a station is `station.web.facade.Station`.
"""

from __future__ import annotations

from pathlib import Path

from flask import Flask, Response, render_template, request
from werkzeug.exceptions import MethodNotAllowed

from station.errors import PageRequestError
from station.web import guards, join_code
from station.web.api import Api
from station.web.events import StreamTimes
from station.web.facade import Station, off_loop
from station.web.json_body import JsonRequest
from station.web.models.words import RoomCode
from station.web.openapi import add_api_routes
from station.web.refusals import add_refusals

HEADERS = {
    "Content-Security-Policy": "default-src 'self'; base-uri 'none'; object-src 'none'; "
    "form-action 'self'; frame-ancestors 'none'",
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
}


def create_app(station: Station, times: StreamTimes | None = None) -> Flask:
    """The WSGI application of one station's page."""
    app = Flask(__name__)
    app.request_class = JsonRequest
    app.url_map.merge_slashes = False  # or // would be answered by an HTML redirect
    app.json.ensure_ascii = False  # type: ignore[attr-defined]
    app.config["MAX_CONTENT_LENGTH"] = guards.MAX_BODY_BYTES
    codes = guards.CodeCheck()

    @app.before_request
    def guard() -> None:
        guards.check_host(request.headers.get("Host", ""), station.addresses())
        if isinstance(request.routing_exception, MethodNotAllowed):
            return  # it is told so, whoever asks: nothing here could change anything
        if request.method not in ("GET", "HEAD", "OPTIONS"):
            guards.check_origin(request.headers.get("Origin"), request.host)
            if request.routing_exception is None:  # else nothing reads it, whatever it is
                guards.check_content(request.mimetype, request.content_length, request.path)
            codes.check(_given_code(), station.room_code, request.remote_addr or "")

    @app.after_request
    def add_headers(response: Response) -> Response:
        response.headers.update(HEADERS)
        if not request.path.startswith("/static/"):
            response.headers.setdefault("Cache-Control", "no-store")
        return response

    add_refusals(app)
    _add_page(app, station)
    add_api_routes(Api(app), station, times or StreamTimes())
    return app


def _given_code() -> str | None:
    try:
        return RoomCode.model_validate(dict(request.headers)).code
    except PageRequestError:
        return None


def _add_page(app: Flask, station: Station) -> None:
    static = Path(app.static_folder or "")

    @app.get("/")
    def page() -> Response:
        name = off_loop(station.snapshot)["station"]["name"]
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
