"""One thing `station check` looked at: how it is, what was found, what to do about it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

State = Literal["ok", "remark", "fault"]


@dataclass(frozen=True, slots=True)
class Item:
    """`found` and `remedy` are one line each; what is ok needs no remedy.

    A remark leaves the station working, or is the band's to see to; with a
    fault it cannot do its job.
    """

    item: str
    state: State
    found: str
    remedy: str | None = None


@dataclass(frozen=True, slots=True)
class LineItem(Item):
    """A line of the input, and its mains hum: hertz and dBFS, None where none was found."""

    hum_hz: float | None = None
    hum_dbfs: float | None = None


def ok(item: str, found: str) -> Item:
    """Nothing to do."""
    return Item(item, "ok", found)


def remark(item: str, found: str, remedy: str) -> Item:
    """The station works; something about it should be known."""
    return Item(item, "remark", found, remedy)


def fault(item: str, found: str, remedy: str) -> Item:
    """The station cannot do its job like this."""
    return Item(item, "fault", found, remedy)
