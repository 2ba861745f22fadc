"""The OpenAPI 3.1 document of all routes, written down by flask-openapi3 from their models.

Run as a program it prints the document: a station lets a process of its own do it, for writing
it takes 12 MB, which a room that nobody describes shall not carry. flask-openapi3's own pages
are left out, for they hold scripts that our policy forbids.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from typing import Any, cast, get_type_hints

from flask_openapi3 import APIBlueprint, Info, OpenAPI
from pydantic import BaseModel
from pydantic.json_schema import models_json_schema

from station import __version__
from station.web.api import REF, Api, Route, Told
from station.web.events import StreamTimes
from station.web.facade import Station
from station.web.models.schema import Plain
from station.web.models.words import Error, RoomCode
from station.web.openapi import add_api_routes


class Description(Api):
    """Routes that are written down, not served."""

    def __init__(self) -> None:
        app = OpenAPI(
            "station",
            info=Info(title="Rehearsal-room tuner station", version=__version__),
            doc_ui=False,
            validation_error_status=400,
            validation_error_model=Error,
            static_folder=None,
        )
        super().__init__(app)
        self._openapi = app
        self._blueprint = APIBlueprint("api", __name__)
        self._models: set[type[BaseModel]] = {Error}

    def names(self, *models: type[BaseModel]) -> None:
        self._models.update(models)

    def as_json(self) -> dict[str, Any]:
        """The document, as JSON-ready data."""
        self._openapi.register_api(self._blueprint)
        told: dict[str, Any] = self._openapi.api_doc
        models = sorted(self._models, key=lambda model: model.__name__)
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

    def _route(
        self,
        method: str,
        path: str,
        summary: str,
        told: dict[int, Told],
        refusals: dict[int, str],
    ) -> Callable[[Route], Route]:
        answers = {str(status): self._in_words(each) for status, each in told.items()}
        for status, why in refusals.items():
            answers[str(status)] = {**self._in_words(Error), "description": why}
        add = {
            "GET": self._blueprint.get,
            "PUT": self._blueprint.put,
            "POST": self._blueprint.post,
        }[method]

        def write_down(call: Route) -> Route:
            body = get_type_hints(call).get("body")
            if body is not None:
                self._models.add(body)
            add(path, summary=summary, responses=answers)(call)
            return call

        return write_down

    def _in_words(self, told: Told) -> dict[str, Any]:
        if isinstance(told, dict):
            return told
        self._models.add(told)
        schema = {"$ref": REF.format(model=told.__name__)}
        return {
            "description": " ".join((told.__doc__ or "").split()),
            "content": {"application/json": {"schema": schema}},
        }


def _room_code() -> dict[str, Any]:
    """The header that every change carries, see `station.web.guards`."""
    ((name, schema),) = RoomCode.model_json_schema()["properties"].items()
    told = " ".join((RoomCode.__doc__ or "").split())
    return {"name": name, "in": "header", "required": True, "schema": schema, "description": told}


def describe() -> str:
    """The document as JSON."""
    description = Description()
    add_api_routes(description, cast("Station", None), StreamTimes())  # described, not asked
    return json.dumps(description.as_json(), ensure_ascii=False, separators=(",", ":"))


if __name__ == "__main__":
    sys.stdout.buffer.write(describe().encode())
