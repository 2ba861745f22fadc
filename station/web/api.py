"""The JSON API: routes that are checked and described by the models in `station.web.models`.

A route says what it takes by the types of its arguments, ``path``, ``query`` and ``body``, and
what it tells by ``told``. flask-openapi3 checks the first and writes both down; its own pages
are left out, for they hold scripts that our policy forbids. The description is made when
somebody asks for it, from routes that are registered once more beside those that serve: a
station that nobody asks pays nothing for it.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar, get_type_hints

from flask_openapi3 import APIBlueprint, Info, OpenAPI
from pydantic import BaseModel, ValidationError
from pydantic.json_schema import models_json_schema

from station import __version__
from station.errors import PageRequestError
from station.web.models.words import Error, Plain, RoomCode

Route = TypeVar("Route", bound=Callable[..., Any])

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


Told = type[BaseModel] | dict[str, Any]


def telling(description: str, mimetype: str, **more: Any) -> dict[str, Any]:
    """What a route tells that is no JSON of a model, in OpenAPI's words."""
    content = {mimetype: {"schema": {"type": "string"}, **more}}
    return {"description": description, "content": content}


class Api:
    """Where areas add their routes; ``described`` writes them down, else they are only served."""

    def __init__(self, described: bool = False) -> None:
        self.described = described
        self.blueprint = APIBlueprint("api", __name__, doc_ui=described)
        self.models: set[type[BaseModel]] = {Error}

    def get(self, path: str, summary: str, told: Told, **refusals: str) -> Callable[[Route], Route]:
        """A route that reads; ``refusals`` besides `READ_REFUSALS` as ``on_404="..."``."""
        more = {int(key.removeprefix("on_")): why for key, why in refusals.items()}
        if "<" in path:
            more = {404: CHANGE_REFUSALS[404], **more}
        return self._route(self.blueprint.get, path, summary, {200: told}, READ_REFUSALS | more)

    def put(self, path: str, summary: str, told: Told) -> Callable[[Route], Route]:
        """A route that changes something."""
        return self._route(self.blueprint.put, path, summary, {200: told}, CHANGE_REFUSALS)

    def post(
        self, path: str, summary: str, told: Told, status: int = 200
    ) -> Callable[[Route], Route]:
        """A route that changes something, or adds it."""
        return self._route(self.blueprint.post, path, summary, {status: told}, CHANGE_REFUSALS)

    def names(self, *models: type[BaseModel]) -> None:
        """Models that no route answers with, such as those of events."""
        self.models.update(models)

    def _route(
        self, add: Any, path: str, summary: str, told: dict[int, Told], refusals: dict[int, str]
    ) -> Callable[[Route], Route]:
        if not self.described:
            route: Callable[[Route], Route] = add(path)
            return route
        answers = {str(status): self._in_words(each) for status, each in told.items()}
        for status, why in refusals.items():
            answers[str(status)] = {**self._in_words(Error), "description": why}
        describe = add(path, summary=summary, responses=answers)

        def write_down(call: Route) -> Route:
            body = get_type_hints(call).get("body")
            if body is not None:
                self.models.add(body)
            described: Route = describe(call)
            return described

        return write_down

    def _in_words(self, told: Told) -> dict[str, Any]:
        if isinstance(told, dict):
            return told
        self.models.add(told)
        schema = {"$ref": REF.format(model=told.__name__)}
        return {
            "description": " ".join((told.__doc__ or "").split()),
            "content": {"application/json": {"schema": schema}},
        }


def serving_app(import_name: str, api: Api, **how: Any) -> OpenAPI:
    """A Flask application with these routes, without any page of flask-openapi3's own."""
    app = OpenAPI(
        import_name,
        info=Info(title="Rehearsal-room tuner station", version=__version__),
        doc_ui=False,
        validation_error_status=400,
        validation_error_model=Error,
        validation_error_callback=_never_raw,
        **how,
    )
    app.register_api(api.blueprint)
    return app


def described(api: Api) -> dict[str, Any]:
    """The OpenAPI document of the routes, as JSON-ready data."""
    told: dict[str, Any] = serving_app("station", api, static_folder=None).api_doc
    models = sorted(api.models, key=lambda model: model.__name__)
    # flask-openapi3 knows a part of JSON Schema, pydantic says all that it checks.
    _, defined = models_json_schema(
        [(model, "validation") for model in models], ref_template=REF, schema_generator=Plain
    )
    told["components"] = {"schemas": defined["$defs"]}
    told.pop("tags", None)
    for path in told["paths"].values():
        for method, operation in path.items():
            operation.pop("tags", None)
            if method != "get":
                operation["parameters"] = [_room_code(), *operation.get("parameters", [])]
    return told


def _room_code() -> dict[str, Any]:
    """The header that every change carries, see `station.web.guards`."""
    ((name, schema),) = RoomCode.model_json_schema()["properties"].items()
    told = " ".join((RoomCode.__doc__ or "").split())
    return {"name": name, "in": "header", "required": True, "schema": schema, "description": told}


def _never_raw(error: ValidationError) -> Any:
    """A model that is no `Asked` was used for a request."""
    raise PageRequestError(f"{error.title} cannot be read") from error
