"""How what goes wrong is told: one line of JSON and the HTTP status that fits."""

from __future__ import annotations

import logging

from flask import Flask, Response, jsonify, request
from werkzeug.exceptions import HTTPException

from station.errors import (
    NotNowError,
    PageRequestError,
    RoomCodeError,
    StationError,
    StorageError,
    StreamsFullError,
    ToneError,
    UnknownMeasurementError,
    UnknownPlayerError,
    UnknownSongError,
    UsageError,
)
from station.web import guards

log = logging.getLogger(__name__)

FULL_RETRY_S = 5
PLAIN_WORDS = {
    404: "nothing is at this address",
    405: "this address does not take that method",
    413: guards.TOO_LARGE,
}
# The first that fits counts. What somebody else has to decide (NotAllowedError) is a
# conflict with the room's state, not a missing right: 403 always means that code, Host
# or Origin are wrong, so that a page may ask for the code anew.
STATUSES: tuple[tuple[type[StationError], int], ...] = (
    (RoomCodeError, 403),
    (UnknownPlayerError, 404),
    (UnknownMeasurementError, 404),
    (UnknownSongError, 404),
    (NotNowError, 409),
    (UsageError, 400),
    (StreamsFullError, 503),
    (StorageError, 503),
    (ToneError, 503),
)


def add_refusals(app: Flask) -> None:
    """Answer every error in one line, the unexpected ones without their innards."""

    @app.errorhandler(StationError)
    def deliberate(error: StationError) -> Response:
        retry_after_s = FULL_RETRY_S if isinstance(error, StreamsFullError) else None
        if isinstance(error, PageRequestError):
            retry_after_s = error.retry_after_s
        return _refuse(_status_of(error), str(error), retry_after_s)

    @app.errorhandler(HTTPException)
    def http(error: HTTPException) -> Response:
        code = error.code or 500
        response = _refuse(code, PLAIN_WORDS.get(code) or error.description or error.name)
        for name, value in error.get_headers():
            if name == "Allow":
                response.headers["Allow"] = value
        return response

    @app.errorhandler(Exception)
    def unexpected(error: Exception) -> Response:
        log.error("request %s %s failed", request.method, request.path, exc_info=error)
        return _refuse(500, "the station failed to answer; its log says why")


def _refuse(status: int, message: str, retry_after_s: int | None = None) -> Response:
    response = jsonify(error=" ".join(message.split()))
    response.status_code = status
    if retry_after_s is not None:
        response.headers["Retry-After"] = str(retry_after_s)
    return response


def _status_of(error: StationError) -> int:
    """The HTTP status a deliberate error is told with."""
    if isinstance(error, PageRequestError):
        return error.status
    return next((status for kind, status in STATUSES if isinstance(error, kind)), 500)
