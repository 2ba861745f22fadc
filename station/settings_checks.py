"""Checks of single settings: each takes a value and returns it, or raises ValueError.

The message says the value met and the limit; file, line and key are added by
the caller. Pure.
"""

from __future__ import annotations

import ipaddress
import re
import unicodedata
from collections.abc import Callable, Mapping
from difflib import get_close_matches
from itertools import chain
from itertools import count as count_from
from pathlib import Path
from typing import Any

from station.errors import UsageError
from station.music.pitch import check_a4
from station.room.model import TEXT_LIMIT, clean_text

Check = Callable[[Any], Any]
_ID = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*")
_CONTROL = re.compile(r"[\x00-\x1f\x7f]")
_INDEX = re.compile(r"\d+$|(plug)?hw:\s*(\d|CARD=\d+(,|$))", re.IGNORECASE)
ID_LIMIT = 32


def text(least: int = 0, most: int = TEXT_LIMIT) -> Check:
    """Text of ``least`` to ``most`` characters, on one line."""

    def check(value: Any) -> str:
        try:
            found = clean_text(value, "the text", most)
        except UsageError as error:
            raise ValueError(f"{shown(value)}: {error}") from error
        if len(found) < least:
            raise ValueError(f"{shown(value)} is too short: write at least {least} characters")
        return found

    return check


def secret(most: int) -> Check:
    """Text like any other, never shown: a fault in it is told without its value."""

    def check(value: Any) -> str:
        if not isinstance(value, str):
            raise ValueError("it is not text: write it in quotes (its value is not shown here)")
        found = " ".join(value.split())
        if len(found) > most or not found.isprintable():
            raise ValueError(f"it is not one line of at most {most} printable characters")
        return found

    return check


def whole(least: int, most: int) -> Check:
    """A whole number from ``least`` to ``most``."""

    def check(value: Any) -> int:
        if isinstance(value, bool) or not isinstance(value, int) or not least <= value <= most:
            raise ValueError(f"{shown(value)} is not a whole number from {least} to {most}")
        return value

    return check


def number(least: float, most: float, unit: str) -> Check:
    """A number from ``least`` to ``most``; neither nan nor infinity is one."""

    def check(value: Any) -> float:
        is_number = isinstance(value, int | float) and not isinstance(value, bool)
        if not is_number or not least <= value <= most:
            raise ValueError(f"{shown(value)} is not a number from {least:g} to {most:g} {unit}")
        return float(value)

    return check


def one_of(*choices: str | int) -> Check:
    """One of a few values, the nearest of which is offered."""

    def check(value: Any) -> Any:
        if value in choices and type(value) is type(choices[0]):
            return value
        listed = ", ".join(shown(choice) for choice in choices)
        raise ValueError(f"{shown(value)} is not one of {listed}{_nearest(value, choices)}")

    return check


def a4(value: Any) -> float:
    """A reference in hertz."""
    return check_a4(value)


def device(value: Any) -> str:
    """A sound card by a name that does not change when cards are plugged in."""
    name: str = text(1, 120)(value)
    if _INDEX.match(name):
        raise ValueError(
            f"{shown(value)} is an index, which changes when cards are plugged in:"
            ' write a name such as "hw:CARD=Name,DEV=0"'
        )
    return name


def device_or_off(value: Any) -> str:
    """A sound card, or "off" however it is written."""
    name = device(value)
    return name.lower() if name.lower() == "off" else name


def host(value: Any) -> str:
    """An address of this box to serve the page on."""
    if value == "localhost":
        return "127.0.0.1"
    try:
        if not isinstance(value, str):
            raise ValueError
        return str(ipaddress.ip_address(value))
    except ValueError:
        raise ValueError(
            f'{shown(value)} is not an address: write "0.0.0.0" for every network'
            ' or "127.0.0.1" for this box alone'
        ) from None


def folder(value: Any) -> Path | None:
    """A folder; empty text means none is given, a leading ~ the home folder."""
    if not isinstance(value, str) or _CONTROL.search(value):
        raise ValueError(f"{shown(value)} is not the name of a folder")
    try:
        return Path(value).expanduser() if value.strip() else None
    except RuntimeError:
        raise ValueError(
            f"{shown(value)}: there is no home folder of that name: write the whole path"
        ) from None


def player_id(value: Any) -> str:
    """An id fit for an address: small letters, digits, single hyphens."""
    if isinstance(value, str) and len(value) <= ID_LIMIT and _ID.fullmatch(value):
        return value
    raise ValueError(
        f"{shown(value)} is not an id: write small letters, digits and hyphens, at most {ID_LIMIT}"
    )


def notes(value: Any) -> list[str]:
    """A list of note names; whether they are notes is for the tuning to say."""
    if isinstance(value, list) and value and all(isinstance(note, str) for note in value):
        return value
    raise ValueError(f'{shown(value)} is not a list of note names such as ["E1", "A1"]')


def offsets(value: Any) -> Any:
    """Offsets by string, or the name of a preset; whether they fit is for the tuning to say."""
    if isinstance(value, dict | str):
        return value
    raise ValueError(
        f'{shown(value)} is no table of offsets: write {{"4" = -5.865}}, by string in cents'
    )


def unknown_key(key: str, table: str, known: Mapping[str, Mapping[str, Check]]) -> str:
    """Why a key is not taken, with the nearest valid one.

    ``known`` has the keys of every table; top-level keys stand in table "".
    """
    own = list(known.get(table, ())) if table else list(known)
    homes = [name for name, keys in known.items() if key in keys and name != table]
    if homes:
        return f"no such key here; it belongs to [{homes[0]}]"
    near = get_close_matches(key.lower(), own, n=1, cutoff=0.5)
    if near:
        return f"no such key; the nearest valid key is {near[0]}"
    if not table:
        for name, keys in known.items():
            near = get_close_matches(key.lower(), list(keys), n=1, cutoff=0.7)
            if near:
                return f"no such key; the nearest valid key is {near[0]} in [{name}]"
    return f"no such key; the valid keys are {', '.join(own)}"


def slug(name: str) -> str:
    """A name as small letters, digits and hyphens; empty where nothing of it is left."""
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    return re.sub(r"[^a-z0-9]+", "-", plain)[: ID_LIMIT - 4].strip("-")


def free_id(name: str, number: int, taken: set[str]) -> str:
    """An id made from a name, told apart from those there are by a number."""
    base = slug(name) or f"player-{number + 1}"
    candidates = chain([base], (f"{base}-{count}" for count in count_from(2)))
    return next(candidate for candidate in candidates if candidate not in taken)


def shown(value: object) -> str:
    """A value as the settings file would spell it, shortened to one line."""
    if isinstance(value, str):
        spelled = '"' + value.encode("unicode_escape").decode().replace('"', '\\"') + '"'
    elif isinstance(value, bool):
        spelled = str(value).lower()
    else:
        spelled = " ".join(repr(value).split())
    return spelled if len(spelled) <= 40 else f"{spelled[:37]}..."


def _nearest(value: object, choices: tuple[str | int, ...]) -> str:
    if isinstance(value, str):
        near = get_close_matches(value.lower(), [str(c) for c in choices], n=1, cutoff=0.5)
        return f"; the nearest is {near[0]}" if near else ""
    if isinstance(value, int | float) and isinstance(choices[0], int):
        numbers = [choice for choice in choices if isinstance(choice, int)]
        return f"; the nearest is {min(numbers, key=lambda choice: abs(choice - value))}"
    return ""
