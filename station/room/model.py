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
from station.music.offsets import Offsets
from station.music.pitch import check_a4
from station.music.verdict import Verdict

Roll = Literal["not heard", "in", "out"]
ROLLS: tuple[Roll, ...] = ("not heard", "in", "out")
LineState = Literal["signal", "quiet", "no signal", "unknown"]
EventKind = Literal["reading", "note", "stroke", "strum", "beats", "room"]

TEXT_LIMIT = 60
STATE_PARTS = (
    "agreement", "measured", "steps", "heads", "bench", "order", "pegs", "turns", "evening",
    "members",
)  # fmt: skip
SOURCE_LIMIT = 200
"""How long the line may be that says what a reference was taken from."""
CAPO_MAX = 12
UNCALIBRATED_CENTS = 0.173
"""What 100 ppm are in cents, 1200 log2(1 + 1e-4): a sound card's usual limit (common practice)."""


@dataclass(frozen=True, slots=True)
class Player:
    """A band member with an instrument on a line.

    ``line`` counts from 1. ``tuning`` is empty where an instrument has none;
    ``kind`` is filled in by the room from the instrument. ``offsets_cents`` are
    the strings wanted off equal temperament and by how much, by string number.
    """

    id: str
    name: str
    instrument: str
    tuning: str = ""
    line: int = 1
    capo: int = 0
    kind: str = "strings"
    offsets_cents: Offsets = ()


@dataclass(frozen=True, slots=True)
class Reference:
    """The frequency of A4 everyone tunes to, who set it, and what it was taken from.

    ``agreed`` are the names of those who said yes to it; nobody was asked when it is empty.
    """

    a4_hz: float = 440.0
    set_at: str = ""
    by: str = ""
    source: str = "settings"
    agreed: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        object.__setattr__(self, "a4_hz", check_a4(self.a4_hz))
        for key in ("set_at", "by"):
            object.__setattr__(self, key, clean_text(getattr(self, key), key))
        object.__setattr__(self, "source", clean_text(self.source, "source", SOURCE_LIMIT))
        names = tuple(clean_text(name, "agreed") for name in self.agreed)
        object.__setattr__(self, "agreed", names)

    def as_json(self) -> dict[str, Any]:
        return {**asdict(self), "agreed": list(self.agreed)}


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
    every event, names them in English. In
    ``quiet`` the lamps are dimmed and no tone is sounded.
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
class Clock:
    """How far the sound card's rate is known: measured against a synchronised clock, or not.

    ``ppm`` is the card's error, positive when it runs fast; ``card_cents`` what
    of it may be left in a reading. ``budget`` says what makes a reading unsure, each
    with ``what``, ``cents`` and ``from``.
    """

    state: str = "not calibrated"
    ppm: float | None = None
    uncertainty_ppm: float | None = None
    synchronised: bool = False
    source: str | None = None
    reason: str | None = None
    card_cents: float = UNCALIBRATED_CENTS
    budget: tuple[dict[str, Any], ...] = ()

    def as_json(self) -> dict[str, Any]:
        return {**asdict(self), "budget": [dict(row) for row in self.budget]}


@dataclass(frozen=True, slots=True)
class ToneOut:
    """Whether the station can sound the reference itself: ``ready``, ``off`` or ``failed``."""

    state: str = "off"
    reason: str | None = None


@dataclass(frozen=True, slots=True)
class Tone:
    """A reference tone the station sounds; ``ends_at_s`` on the caller's clock."""

    note: str
    hz: float
    voice: str
    level_dbfs: float
    ends_at_s: float

    def as_json(self, now_s: float) -> dict[str, Any]:
        values = asdict(self)
        ends_in_s = max(0.0, values.pop("ends_at_s") - now_s)
        return {**values, "ends_in_s": ends_in_s}


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
