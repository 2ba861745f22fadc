"""The JSON body of a change: each field is what it has to be, or is refused in one line."""

from __future__ import annotations

import json
from collections.abc import Iterable
from typing import Any

import gevent
from flask import request

from station.errors import PageRequestError
from station.web import guards

BODY_TIME_S = 10.0
MAX_NAME_CHARACTERS = 40
MAX_SHOWN_CHARACTERS = 40
LARGEST_NUMBER = 1e9
MAX_ID_DIGITS = 9
MAX_STRINGS = 64


def body_with(*known: str) -> dict[str, Any]:
    """The request's JSON object, which may hold ``known`` keys only, and at least one."""
    return check_keys(_json_body(), known)


def by() -> str:
    """Who asks, where the body says nothing else."""
    return short_text(body_with("by"), "by")


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


def check_keys(body: Any, known: Iterable[str]) -> dict[str, Any]:
    """The body when it is a JSON object holding only ``known`` keys, at least one."""
    known = tuple(known)
    if not isinstance(body, dict) or not body:
        raise PageRequestError(f"the body must be a JSON object with {', '.join(known)}")
    for key in body:
        if key not in known:
            raise PageRequestError(f"{shown(key)} cannot be set here; known: {', '.join(known)}")
    return body


def number(
    body: dict[str, Any], key: str, at_least: float | None = None, at_most: float | None = None
) -> float:
    """A finite JSON number within the limits."""
    value: Any = body.get(key)
    is_number = not isinstance(value, bool) and isinstance(value, (int, float))
    # NaN fails every comparison, so it is refused too.
    if not (is_number and abs(value) < LARGEST_NUMBER):
        raise PageRequestError(f"{key} must be a number")
    if at_least is not None and value < at_least:
        raise PageRequestError(f"{key} is {value:g}: the least is {at_least:g}")
    if at_most is not None and value > at_most:
        raise PageRequestError(f"{key} is {value:g}: the most is {at_most:g}")
    return float(value)


def whole_number(body: dict[str, Any], key: str, at_least: float | None = None) -> int:
    """A JSON number without a fraction."""
    value = number(body, key, at_least)
    if value != int(value):
        raise PageRequestError(f"{key} must be a whole number, not {value:g}")
    return int(value)


def short_text(body: dict[str, Any], key: str) -> str:
    """One line of 1 to 40 printable characters, trimmed."""
    value = body.get(key)
    text = " ".join(value.split()) if isinstance(value, str) else ""
    if not 0 < len(text) <= MAX_NAME_CHARACTERS or not text.isprintable():
        raise PageRequestError(f"{key} must be 1 to {MAX_NAME_CHARACTERS} printable characters")
    return text


def one_of(body: dict[str, Any], key: str, known: Iterable[str]) -> str:
    """One of the ``known`` words, letter by letter."""
    value, known = body.get(key), tuple(known)
    if isinstance(value, str) and value in known:
        return value
    told = f"{key} must be one of {', '.join(known)}"
    raise PageRequestError(told if key not in body else f"{told}, not {shown(value)}")


def yes_or_no(body: dict[str, Any], key: str) -> bool:
    """A JSON true or false."""
    value = body.get(key)
    if not isinstance(value, bool):
        raise PageRequestError(f"{key} must be true or false")
    return value


def offsets_cents(body: dict[str, Any], key: str, words: Iterable[str]) -> dict[str, float] | str:
    """Cents by string number, such as {"4": -5.865}, or one of the ``words``."""
    value = body.get(key)
    if not isinstance(value, dict):
        return one_of(body, key, words)
    if len(value) > MAX_STRINGS:
        raise PageRequestError(f"{key} names {len(value)} strings: the most is {MAX_STRINGS}")
    for string in value:
        if not (string.isascii() and string.isdigit() and string == str(int(string[:9]))):
            raise PageRequestError(f"{key}: {shown(string)} is not the number of a string")
    return {
        string: number({f"{key} of string {string}": cents}, f"{key} of string {string}")
        for string, cents in value.items()
    }


def path_id(written: str, what: str) -> int:
    """A whole number in an address; PageRequestError 404 when it can be nobody's."""
    if written.isascii() and written.isdigit() and len(written) <= MAX_ID_DIGITS:
        return int(written)
    raise PageRequestError(f"there is no {what} {shown(written)}", 404)


def shown(value: object) -> str:
    """What was sent, as one short printable line of an answer."""
    return repr(value)[:MAX_SHOWN_CHARACTERS]
