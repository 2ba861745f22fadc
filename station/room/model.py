"""The values a room is made of. All immutable; frequencies in hertz, times in seconds.

``heard_at_s`` and every ``now_s`` are seconds of one monotonic clock that the
caller reads; a wall clock that jumps therefore changes no age and no order.
``set_at`` is wall-clock time as ISO 8601 text in UTC, for people to read only.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any, Literal

from station.errors import UsageError
from station.music.names import NamingSystem
from station.music.pitch import check_a4
from station.music.verdict import Verdict

Roll = Literal["not heard", "in", "out"]
ROLLS: tuple[Roll, ...] = ("not heard", "in", "out")
LineState = Literal["signal", "quiet", "no signal", "unknown"]
EventKind = Literal["reading", "note", "room"]

TEXT_LIMIT = 60
CAPO_MAX = 12


@dataclass(frozen=True, slots=True)
class Player:
    """A band member with an instrument on a line.

    ``line`` counts from 1. ``tuning`` is empty where an instrument has none;
    ``kind`` is filled in by the room from the instrument.
    """

    id: str
    name: str
    instrument: str
    tuning: str = ""
    line: int = 1
    capo: int = 0
    kind: str = "strings"


@dataclass(frozen=True, slots=True)
class Reference:
    """The frequency of A4 everyone tunes to, who set it, and what it was taken from."""

    a4_hz: float = 440.0
    set_at: str = ""
    by: str = ""
    source: str = "settings"

    def __post_init__(self) -> None:
        object.__setattr__(self, "a4_hz", check_a4(self.a4_hz))
        for key in ("set_at", "by", "source"):
            object.__setattr__(self, key, clean_text(getattr(self, key), key))


@dataclass(frozen=True, slots=True)
class StringState:
    """What was last heard of one open string, against the present reference."""

    cents: float | None = None
    uncertainty_cents: float | None = None
    verdict: Verdict | None = None
    roll: Roll = "not heard"
    heard_at_s: float | None = None


@dataclass(frozen=True, slots=True)
class LineLevel:
    """How loud one line was last measured; None until the first measurement.

    ``hum_hz`` and ``hum_dbfs`` are the mains hum last heard on it, None without any.
    """

    line: int
    rms_dbfs: float | None = None
    peak_dbfs: float | None = None
    dc: float | None = None
    clipped: bool = False
    state: str = "unknown"
    hum_hz: float | None = None
    hum_dbfs: float | None = None


@dataclass(frozen=True, slots=True)
class Station:
    """What the room says of the box it runs on; the daemon keeps it up to date.

    ``note_names`` is how pages name notes to people; the snapshot itself, like
    every event, names them in English. ``quiet`` is whether the lamps are dimmed.
    """

    name: str = "Rehearsal room"
    version: str = ""
    simulated: bool = False
    tracker: str = "numpy"
    tracker_reason: str | None = None
    note_names: NamingSystem = "english"
    quiet: bool = False
    addresses: tuple[str, ...] = ()

    def as_json(self) -> dict[str, Any]:
        return {**asdict(self), "addresses": list(self.addresses)}


@dataclass(frozen=True, slots=True)
class InputStatus:
    """Whether the line input is listening, and if not, why."""

    state: str = "waiting"
    device: str = ""
    reason: str | None = None
    overruns: int = 0
    restarts: int = 0


@dataclass(frozen=True, slots=True)
class LampStatus:
    """Whether the lamps are lit, and if not, why."""

    state: str = "off"
    reason: str | None = None


@dataclass(frozen=True, slots=True)
class Event:
    """Something subscribers should know; of two with one ``key`` only the later matters."""

    kind: EventKind
    key: str
    payload: dict[str, Any]


def clean_text(value: object, what: str, limit: int = TEXT_LIMIT) -> str:
    """Text for a page, a lamp or a log line: one line, no control characters.

    Raises UsageError when it is not text or longer than ``limit`` characters.
    """
    if not isinstance(value, str):
        raise UsageError(f"{what} {value!r:.40} is not text")
    text = " ".join(value.split())
    if len(text) > limit:
        raise UsageError(f"{what} is {len(text)} characters long: the limit is {limit}")
    if not text.isprintable():
        raise UsageError(f"{what} {text!r:.40} holds control characters")
    return text
