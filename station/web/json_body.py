"""The JSON body of a change as it arrives: strict JSON within a time and a size, or one line.

Refused before any model sees it: what is no UTF-8, NaN and Infinity, a key that comes twice
(of two readers each might believe another), text that Unicode has no character for.
"""

from __future__ import annotations

import json
from typing import Any

import gevent
from flask import Request

from station.errors import PageRequestError
from station.web import guards
from station.web.models.plain import shown

BODY_TIME_S = 10.0


class JsonRequest(Request):
    """A request whose JSON is read strictly, and is an object; anything else is empty."""

    def get_json(self, force: bool = False, silent: bool = False, cache: bool = True) -> Any:  # noqa: ARG002
        """The request's JSON object, read within ``BODY_TIME_S``; raises PageRequestError."""
        slow = PageRequestError(f"the body did not arrive within {BODY_TIME_S:g} s", 408)
        with gevent.Timeout(BODY_TIME_S, slow):
            raw = self.get_data()
        if self.content_length is None and len(raw) >= guards.MAX_BODY_BYTES:
            # A chunked body is cut at the limit without a word.
            raise PageRequestError(guards.TOO_LARGE, 413)
        told = strict_json(raw)
        return told if isinstance(told, dict) else {}


def strict_json(raw: bytes) -> Any:
    """Parse what RFC 8259 calls JSON and every reader understands alike; PageRequestError."""
    try:
        told = json.loads(
            raw.decode(), parse_constant=_refuse, object_pairs_hook=_object_of_different_keys
        )
        if b"\\u" in raw:  # half a surrogate pair can be written, but is no character
            json.dumps(told, ensure_ascii=False).encode()
    except UnicodeEncodeError:
        raise PageRequestError("the body holds half a surrogate pair, which is no text") from None
    except PageRequestError:
        raise
    except (ValueError, RecursionError):
        raise PageRequestError("the body is not JSON") from None
    return told


def _refuse(name: str) -> None:
    raise ValueError(name)


def _object_of_different_keys(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) < len(pairs):
        keys = [key for key, _ in pairs]
        twice = next(key for key in found if keys.count(key) > 1)
        raise PageRequestError(f"the body names {shown(twice)} twice")
    return found
