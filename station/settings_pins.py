"""Checks of a builder's own pins, ``[lamps]`` of the settings: which GPIO takes what. Pure.

As in `settings_checks` a value is returned as it is meant, or ValueError says the value
met, the limit and the likely mistake; file, line and key are added by the caller.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from station.errors import LampMapError
from station.lamps.wiring import button_pin, check_count, lamp_pin
from station.settings_checks import shown
from station.settings_model import LampSettings

NONE = "none"
"""Stands for a lamp or button that is not wired: TOML has no word for nothing."""
KEYS = ("column", "band", "quiet_button", "reference_button")


def column(value: Any) -> tuple[int, ...]:
    """The column's pins from bottom to top."""
    if not isinstance(value, list):
        raise ValueError(
            f"{shown(value)} is no list: write the GPIO numbers from bottom to top, such as"
            " [13, 26, 16]"
        )
    check_count(value)
    return tuple(lamp_pin(each) for each in value)


def lamp(value: Any) -> int | None:
    """A lamp's pin, None for one that is not wired."""
    return None if value == NONE else lamp_pin(_number(value))


def button(value: Any) -> int | None:
    """A button's pin, None for one that is not wired."""
    return None if value == NONE else button_pin(_number(value))


def clashes(values: Mapping[str, Any], written: object) -> Iterator[tuple[str, str]]:
    """Key and fault of pins that hold one by one and cannot be together.

    ``values`` are the keys that hold, ``written`` is what the file has in ``[lamps]``. What
    is written is at fault, and not what is only as usual; a key that does not hold by itself
    clashes with nothing.
    """
    given = written if isinstance(written, dict) else {}
    chosen = LampSettings(**values)
    known = [key for key in KEYS if key in values or key not in given]
    taken: dict[int, str] = {}
    broken = len(known) < len(KEYS)
    for key in sorted(known, key=lambda each: each in given):
        pins = getattr(chosen, key)
        for bcm in pins if isinstance(pins, tuple) else [pins]:
            if bcm in taken:
                broken = True
                yield key, _twice(bcm, key, taken[bcm], taken[bcm] in given)
            elif bcm is not None:
                taken[bcm] = key
    if not broken:
        yield from _together(chosen)


def spelled(value: Any) -> Any:
    """A setting of ``[lamps]`` as the file would say it."""
    return NONE if value is None else list(value) if isinstance(value, tuple) else value


def _together(chosen: LampSettings) -> Iterator[tuple[str, str]]:
    try:
        chosen.wiring()
    except LampMapError as error:
        yield "column", str(error)


def _number(value: Any) -> Any:
    if isinstance(value, str):
        raise ValueError(
            f'{shown(value)} is no GPIO number: write one without quotes, or "{NONE}" where'
            " nothing is wired"
        )
    return value


def _twice(bcm: int, key: str, other: str, is_written: bool) -> str:
    if key == other:
        return f"GPIO {bcm} is given twice: every lamp needs its own"
    if is_written:
        return f"GPIO {bcm} is given to {other}, too: every lamp and button needs its own"
    none = "" if other == "column" else f', or "{NONE}" where there is none'
    return f"GPIO {bcm} is that of {other} unless it is written: write {other} with another{none}"
