"""What commands print: JSON a line, lines for people, faults on standard error."""

from __future__ import annotations

import json
import sys
from collections.abc import Sequence
from typing import Any

DIGITS = 8  # after the point: well below anything measured, and legible

on_one_line = json.JSONEncoder(separators=(",", ":")).encode
"""JSON without blanks; one encoder for all, which making takes as long as using."""


def rounded(value: Any, digits: int = DIGITS) -> Any:
    """The value with every float in it rounded; tables and lists are gone through."""
    if isinstance(value, float):
        return round(value, digits)
    if isinstance(value, dict):
        return {key: rounded(each, digits) for key, each in value.items()}
    return [rounded(each, digits) for each in value] if isinstance(value, list | tuple) else value


def json_line(said: dict[str, Any], digits: int = DIGITS) -> str:
    """One JSON object on one line, rounded."""
    return on_one_line(rounded(said, digits))


def print_lines(lines: Sequence[str]) -> None:
    """Print at once; nothing for no lines."""
    if lines:
        print("\n".join(lines), flush=True)  # noqa: T201


def complain(fault: str, exit_code: int) -> int:
    """Say a fault in one line on standard error; gives back the exit code it stands for."""
    print(f"station: {fault}", file=sys.stderr)  # noqa: T201
    return exit_code
