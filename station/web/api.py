"""The JSON API: routes that are checked and described by the models in `station.web.models`.

A route says what it takes by the types of its arguments, ``path``, ``query`` and ``body``, and
what it tells by ``told``. While the station serves, `Api` reads requests into these models and
does nothing else. Who asks for the description gets what `station.web.description` writes down of
the same routes.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar, get_type_hints

from flask import Flask, request
from pydantic import BaseModel

Route = TypeVar("Route", bound=Callable[..., Any])
Told = type[BaseModel] | dict[str, Any]

REF = "#/components/schemas/{model}"
READ_REFUSALS = {
    400: "What was asked cannot be meant.",
    403: "The Host header names another station.",
}
CHANGE_REFUSALS = {
    400: "What was sent cannot be meant.",
    403: "Room code, Origin or Host are wrong.",
    404: "The room knows nobody and nothing of that id.",
    408: "The body did not arrive in time.",
    409: "Not now, or not by this player.",
    413: "The body is larger than 16 KB.",
    415: "The body is not JSON.",
    429: "Too many wrong room codes; see Retry-After.",
    503: "It cannot be saved, or cannot be done.",
}


def telling(description: str, mimetype: str, **more: Any) -> dict[str, Any]:
    """What a route tells that is no JSON of a model, in OpenAPI's words."""
    content = {mimetype: {"schema": {"type": "string"}, **more}}
    return {"description": description, "content": content}


class Api:
    """Where areas add their routes; these are served by ``app``."""

    def __init__(self, app: Flask) -> None:
        self.app = app

    def get(self, path: str, summary: str, told: Told, **refusals: str) -> Callable[[Route], Route]:
        """A route that reads; ``refusals`` besides `READ_REFUSALS` as ``on_404="..."``."""
        more = {int(key.removeprefix("on_")): why for key, why in refusals.items()}
        if "<" in path:
            more = {404: CHANGE_REFUSALS[404], **more}
        return self._route("GET", path, summary, {200: told}, READ_REFUSALS | more)

    def put(self, path: str, summary: str, told: Told) -> Callable[[Route], Route]:
        """A route that changes something."""
        return self._route("PUT", path, summary, {200: told}, CHANGE_REFUSALS)

    def post(
        self, path: str, summary: str, told: Told, status: int = 200
    ) -> Callable[[Route], Route]:
        """A route that changes something, or adds it."""
        return self._route("POST", path, summary, {status: told}, CHANGE_REFUSALS)

    def names(self, *models: type[BaseModel]) -> None:
        """Models that no route answers with, such as those of events: for the description."""

    def _route(
        self,
        method: str,
        path: str,
        summary: str,  # noqa: ARG002 -- of the description
        told: dict[int, Told],  # noqa: ARG002 -- of the description
        refusals: dict[int, str],  # noqa: ARG002 -- of the description
    ) -> Callable[[Route], Route]:
        def add(call: Route) -> Route:
            self.app.add_url_rule(path, call.__name__, _checked(call), methods=[method])
            return call

        return add


def _checked(call: Callable[..., Any]) -> Callable[..., Any]:
    """The route with what is asked read into its models; they raise PageRequestError."""
    models = get_type_hints(call)

    def view(**ids: str) -> Any:
        asked = {}
        if "path" in models:
            asked["path"] = models["path"].model_validate(ids)
        if "query" in models:
            asked["query"] = models["query"].model_validate(request.args.to_dict())
        if "body" in models:
            asked["body"] = models["body"].model_validate(request.get_json())
        return call(**asked)

    return view
