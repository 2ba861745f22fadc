"""A fault that pydantic found, told in one plain line: value, limit, likely mistake."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, get_args

from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo

from station.errors import PageRequestError, StationError

MAX_SHOWN_CHARACTERS = 40
_LIMITS = {
    "greater_than_equal": ("least", "ge"),
    "less_than_equal": ("most", "le"),
}
_KINDS = {
    "float_type": "be a number",
    "finite_number": "be a number",
    "int_type": "be a number",
    "bool_type": "be true or false",
    "string_type": "be text",
    "list_type": "be a list",
    "dict_type": "be a table",
    "model_type": "be an object",
}


@dataclass(frozen=True, slots=True)
class Must:
    """What a value has to be, in the words that follow *must*."""

    words: str


def shown(value: object) -> str:
    """What was sent, as one short printable line of an answer."""
    try:
        return repr(value)[:MAX_SHOWN_CHARACTERS]
    except ValueError:  # Python writes no whole number of more than 4300 digits
        return "a number of thousands of digits"


def told(model: type[BaseModel], error: ValidationError) -> PageRequestError:
    """The first fault of a request, what is not known before what is wrong."""
    faults = error.errors(include_url=False)
    for fault in faults:
        if fault["type"] == "extra_forbidden":
            return PageRequestError(_unknown(model, fault))
    fault = faults[0]
    raised = fault.get("ctx", {}).get("error")
    if isinstance(raised, PageRequestError):
        return raised
    if isinstance(raised, StationError):
        return PageRequestError(str(raised))
    return PageRequestError(_wrong(model, fault))


def _unknown(model: type[BaseModel], fault: Any) -> str:
    *place, key = fault["loc"]
    inner = _model_at(model, place)
    known = ", ".join(_keys(inner or model))
    where = f"{_place(place)}: " if place else ""
    return f"{where}{shown(key)} cannot be set here; known: {known}"


def _wrong(model: type[BaseModel], fault: Any) -> str:
    loc, kind, value = fault["loc"], fault["type"], fault["input"]
    if not loc:
        return f"the body must be a JSON object with {', '.join(_keys(model))}"
    key = _place(loc)
    if loc[-1] == "[key]":
        return f"{_place(loc[:1])}: {shown(loc[-2])} is not the number of a string"
    if kind == "fraction":
        return f"{key} must be a whole number, not {value:g}"
    if kind in _LIMITS:
        which, limit = _LIMITS[kind]
        return f"{key} is {_number(value)}: the {which} is {_number(fault['ctx'][limit])}"
    if kind == "too_long" and not isinstance(value, str):
        what = "strings" if isinstance(value, dict) else "entries"
        return f"{key} names {len(value)} {what}: the most is {fault['ctx']['max_length']}"
    if kind == "literal_error":
        words = ", ".join(re.findall(r"'([^']*)'", fault["ctx"]["expected"]))
        return f"{key} must be one of {words}, not {shown(value)}"
    must = _must(model, loc) or _KINDS.get(kind, "be as the API's description says")
    return f"{key} must {must}"


def _number(value: Any) -> str:
    return f"{value:g}" if abs(value) < 1e15 else shown(value)


def _keys(model: type[BaseModel]) -> list[str]:
    return [field.alias or key for key, field in model.model_fields.items()]


def _place(loc: Any) -> str:
    """``songs row 2, title``; tags of unions, which are no keys, begin with a dot."""
    head, *rest = [each for each in loc if not str(each).startswith(".")]
    words = str(head)
    for each in rest:
        if isinstance(each, int):
            words = f"row {each + 1}" if words == "songs" else f"{words} {each + 1}"
        elif words == "offsets_cents":
            words = f"{words} of string {shown(each)[1:-1]}"
        else:
            sign = ", " if words.startswith("row") else "'s "
            words = f"{words}{sign}{shown(each)[1:-1]}"
    return words


def _must(model: type[BaseModel], loc: Any) -> str | None:
    """What the key at that place has to be, as its type says."""
    inner = _model_at(model, loc[:-1]) if len(loc) > 1 else model
    field = inner.model_fields.get(str(loc[-1])) if inner else None
    if field is None:
        return None
    found = next(_words(field), None)
    if found:
        return found
    choices = [each for each in get_args(field.annotation) if isinstance(each, str)]
    return f"be one of {', '.join(choices)}" if choices else None


def _words(field: FieldInfo) -> Iterator[str]:
    said = [*field.metadata]
    for part in get_args(field.annotation):
        said += getattr(part, "__metadata__", ())
    yield from (each.words for each in said if isinstance(each, Must))


def _model_at(model: type[BaseModel], place: Any) -> type[BaseModel] | None:
    """The model of the object at that place of the body."""
    found: type[BaseModel] | None = model
    for key in place:
        if isinstance(key, int):
            continue
        field = found.model_fields.get(key) if found else None
        found = _inner(field.annotation) if field else None
    return found


def _inner(annotation: Any) -> type[BaseModel] | None:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    return next(filter(None, map(_inner, get_args(annotation))), None)
