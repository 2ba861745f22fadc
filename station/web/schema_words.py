"""Short words for JSON Schema 2020-12, which OpenAPI 3.1 uses."""

from __future__ import annotations

from typing import Any

NUMBER = {"type": "number"}
TEXT = {"type": "string"}
MAYBE_NUMBER = {"type": ["number", "null"]}
MAYBE_TEXT = {"type": ["string", "null"]}
COUNT = {"type": "integer", "minimum": 0}
YES_OR_NO = {"type": "boolean"}


def an_object(description: str, **properties: Any) -> dict[str, Any]:
    return {
        "type": "object",
        "description": description,
        "required": list(properties),
        "properties": properties,
    }


def list_of(schema: dict[str, Any]) -> dict[str, Any]:
    return {"type": "array", "items": schema}


def or_null(schema: dict[str, Any]) -> dict[str, Any]:
    return {"oneOf": [schema, {"type": "null"}]}


def named(name: str) -> dict[str, Any]:
    return {"$ref": f"#/components/schemas/{name}"}
