"""How a value met by mistake is shown in an error message."""

from __future__ import annotations

_LONGEST = 40


def shown(value: object) -> str:
    """``repr`` of a value as one short line, whatever was passed."""
    text = repr(value)
    if len(text) > _LONGEST:
        text = f"{text[: _LONGEST - 3]}..."
    return " ".join(text.split())
