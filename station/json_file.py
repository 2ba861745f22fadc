"""JSON files: read strictly, and a fault told in one line with its place."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from station.errors import SettingsError
from station.plain_text import path_text


def parse_json(path: Path, text: str) -> Any:
    """`text` as data; raises SettingsError with the one fault past which nothing can be read."""
    name = path_text(path)
    try:
        return json.loads(text, parse_constant=_refuse)
    except json.JSONDecodeError as error:
        fault = f"{name}:{error.lineno}: not JSON: {error.msg}, at character {error.colno}"
    except RecursionError:
        fault = f"{name}: not read: brackets within brackets too deep"
    except ValueError as error:  # a number too long for Python, or none
        fault = f"{name}: not JSON: {str(error).partition(';')[0]}"
    raise SettingsError([fault])


def _refuse(name: str) -> None:
    raise ValueError(f"{name} is no number")
