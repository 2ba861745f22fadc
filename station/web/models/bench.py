"""The string bench: a strum, two strings together, the round of pairs, strings as wire."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import AfterValidator, Field

from station.measure.string_health_types import Health
from station.music.intonation import Against, Direction
from station.music.windings import Winding
from station.room.bench import BenchKind
from station.room.bench_sets import TEXT_MAX
from station.web.models.gauge_view import GaugeView
from station.web.models.plain import Must
from station.web.models.words import (
    PRINTABLE,
    Answer,
    Body,
    Count,
    FromOne,
    Number,
    Query,
    ShortText,
    Verdict,
    left_out,
    printable,
)

BenchWay = Literal["harmonics", "fretted", "open"]
Typed = Annotated[
    str,
    Field(max_length=TEXT_MAX, pattern=PRINTABLE),
    AfterValidator(printable),
    Must(f"be at most {TEXT_MAX} printable characters"),
]
Written = Annotated[
    str, Field(max_length=TEXT_MAX), Must(f"be text of at most {TEXT_MAX} characters")
]


class OpenPair(Body):
    """Two strings, as 6-5 or E2-A2; the usual way when it is left out; the string to hold."""

    pair: ShortText
    way: BenchWay | None = None
    hold: FromOne | None = None
    by: ShortText = left_out()


class OpenSaddle(Body):
    """A string whose saddle is looked at, against its open note or its harmonic."""

    string: FromOne
    against: Against
    by: ShortText = left_out()


class OpenHealth(Body):
    """A string that is heard against its first day."""

    string: FromOne
    by: ShortText = left_out()


class KeepSet(Body):
    """The set that is on."""

    gauges: Written = ""
    scale: Written = ""
    string: Written = ""
    wrap: Written = ""
    winding: Written = ""
    by: ShortText = left_out()


class GaugeQuery(Query):
    """A set to look at, another tuning, a change of temperature, whether bending is kept."""

    gauges: Typed = ""
    scale: Typed = ""
    string: Typed = ""
    wrap: Typed = ""
    winding: Typed = ""
    to: Typed = ""
    degrees: Typed = ""
    bending: Typed = ""


class StrumString(Answer):
    """A string of a strum; `cents` null where it was not heard. `place` numbers the strings of a
    course of one number, 1 the lower; `together`: its pitch stands for others, too; `counts`:
    it counts for the roll call; `earlier`: heard in a strum before.
    """

    string: Count
    place: Count
    note: str
    cents: Number | None
    uncertainty_cents: Number | None
    verdict: Verdict | None
    together: bool
    counts: bool
    earlier: bool


class Side(Answer):
    """One of the two: pressed at `fret` (0: open) or touched over the fret `touched` (0: not)."""

    string: Count
    note: str
    fret: Count
    touched: Count
    does: str


class Pair(Answer):
    """Two strings whose partials meet, and how many beats a second to leave. `beatless_cents`:
    how far off the second ends if none are left; `hold` is the string that stays.
    """

    name: str
    way: BenchWay
    first: Side
    second: Side
    partials: list[Count]
    leave_hz: Number
    beatless_cents: Number
    hold: int | None


class LastStrum(Answer):
    """The last strum: the string to do `first`, those `missing`."""

    number: Count
    at_s: Number
    heard_s: Number
    clipped: bool
    strings: list[StrumString]
    first: int | None
    first_place: Count
    missing: list[Count]


class Opened(Answer):
    """What a player has open on the bench, and when it ends by itself."""

    kind: BenchKind
    ends_in_s: Number
    strum: LastStrum | None
    pair: Pair | None
    saddle: SaddleNotes | None
    health: StringHealth | None


class SaddleNotes(Answer):
    """A string's saddle: how many notes were taken that are `right` (open, or the 12th harmonic)
    and `pressed` at the 12th fret, which comes `next`; how sharp the pressed one is; `mm`
    back (negative: forward) and what that means; `problem` where it means nothing.
    """

    string: Count
    note: str
    against: Against
    right: Count
    pressed: Count
    next: Literal["pressed", "open", "harmonic"]
    wanted: Count
    cents: Number | None
    uncertainty_cents: Number | None
    mm: Number | None
    uncertainty_mm: Number | None
    direction: Direction | None
    enough: bool
    beyond: bool
    scale_mm: Number | None
    problem: str | None
    caution: str


class StringHealth(Answer):
    """A string's plucks today and its first day: `since` when the strings are on (null: never
    said), how many plucks are `wanted`, the strings whose first day is `known`, what was
    `found` of each today, and the word for this one with the evidence.
    """

    string: Count
    note: str
    since: str | None
    plucks: Count
    wanted: Count
    first_plucks: Count
    known: list[Count]
    found: dict[str, Health]
    health: Health | None
    why: list[str]


class Bench(Answer):
    """What is open, by player; `told` grows."""

    told: Count
    open: dict[str, Opened]


class BenchNow(Answer):
    """What the player has open now."""

    told: Count
    open: Opened | None


class StrumEvent(LastStrum):
    """A strum on a player's line."""

    player: str
    line: Count
    told: Count


class BeatsEvent(Answer):
    """How two strings beat now. Unless `resolved`, at most `bound_hz`. `off_cents`: how far the
    string to `move` is from its place as long as the other stays, `either_cents` the two it
    may be. `phase_turns`: 0 loudest; `depth`: how much the loudness swings, 0 to 1.
    """

    player: str
    line: Count
    told: Count
    at_s: Number
    beat_hz: Number
    uncertainty_hz: Number
    resolved: bool
    bound_hz: Number | None
    signed_hz: Number | None
    leave_hz: Number
    phase_turns: Number | None
    depth: Number
    off_cents: Number | None
    either_cents: list[Number]
    move: int | None
    verdict: Verdict | None
    own_cents: list[Number | None]
    missing: int | None
    clipped: bool


class StartString(Answer):
    """The string it begins with."""

    string: Count
    note: str


class Step(Pair):
    """A pair: the string it tunes, against which, and what no beat at all adds."""

    tuned: Count
    against: Count
    beatless_adds_cents: Number
    adds_up_to_cents: Number


class LeftString(Answer):
    """A string, and where it ends if nothing is left to beat."""

    string: Count
    note: str
    cents: Number


class Round(Answer):
    """The round of pairs, begun at a string that is tuned to the reference; `beatless`: where
    each string ends if nothing is left to beat.
    """

    start: StartString
    steps: list[Step]
    beatless: list[LeftString]
    worst_cents: Number
    left_out: list[Count]


class TypedSet(Answer):
    """A set as a player writes it; empty where nothing was said."""

    gauges: str
    scale: str
    string: str
    wrap: str
    winding: str


class Material(Answer):
    """What a string or its wrap may be made of."""

    key: str
    label: str


class Choices(Answer):
    """What a set may be of: materials of strings and of wraps, and windings."""

    string: list[Material]
    wrap: list[Material]
    winding: list[Winding]


class GaugeTuning(Answer):
    """Another tuning."""

    tuning: str
    label: str


class Gauge(Answer):
    """A player's strings as wire. `taken`: whether `set` was typed, kept, is usual, or none is
    known; `view`: pull, load (1 breaks), margin, the other tuning, the cold room.
    """

    set: TypedSet
    taken: Literal["typed", "kept", "usual", "none"]
    kept: TypedSet | None
    instrument: str
    tuning: str
    capo: Count
    count: Count
    notes: list[str]
    scale_mm: Number | None
    tunings: list[GaugeTuning]
    choices: Choices
    view: GaugeView | None
