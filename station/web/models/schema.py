"""JSON Schema of the models, apart from them: only who asks for the description needs it."""

from __future__ import annotations

from typing import Any

from pydantic.json_schema import GenerateJsonSchema


class Plain(GenerateJsonSchema):
    """JSON Schema without the titles that only repeat a key."""

    def field_title_should_be_set(self, schema: Any) -> bool:  # noqa: ARG002
        return False
