"""The room itself, its players, what comes by the stream, and what the box says of itself."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BeforeValidator, ConfigDict, Discriminator, Field, RootModel, Tag

from station.music.names import NamingSystem
from station.music.offsets import OFFSET_MAX_CENTS
from station.music.tunings import CAPO_MAX
from station.web.models.bench import Bench
from station.web.models.drums import Taps
from station.web.models.evening import Evening
from station.web.models.heads import Heads
from station.web.models.measuring import Clock, Compromise, Instrument, Measuring, Tone
from station.web.models.pegs import PegAsked
from station.web.models.plain import Must
from station.web.models.reference import Agreement, Reference
from station.web.models.songs import Order
from station.web.models.turns import Turn
from station.web.models.words import (
    Answer,
    Body,
    Count,
    Number,
    Query,
    ShortText,
    Verdict,
    left_out,
    whole,
)

MAX_STRINGS = 64
OFFSET_WORDS = ("pure fifths", "none")
StringNumber = Annotated[str, Field(pattern=r"^(0|[1-9][0-9]{0,8})$")]
OffsetCents = Annotated[float, Field(ge=-OFFSET_MAX_CENTS, le=OFFSET_MAX_CENTS)]


class ChangePlayer(Body):
    """A player's name, instrument, tuning, capo, or offsets from equal temperament by string."""

    name: ShortText = left_out()
    instrument: ShortText = left_out()
    tuning: ShortText = left_out()
    capo: Annotated[int, Field(ge=0, le=CAPO_MAX), BeforeValidator(whole), Must("be a number")] = (
        left_out()
    )
    offsets_cents: Annotated[
        Annotated[dict[StringNumber, OffsetCents], Field(max_length=MAX_STRINGS), Tag(".table")]
        | Annotated[Literal["pure fifths", "none"], Tag(".word")],
        Discriminator(lambda sent: ".table" if isinstance(sent, dict) else ".word"),
    ] = left_out()


class EventsQuery(Query):
    """Whose phone it is."""

    player: str | None = Field(
        None,
        description="The id of the player whose phone this is: while the stream is open that "
        "player is present and is asked about proposals. Without it, or with an id the room "
        "does not know, the stream is a screen's.",
    )


class Judged(Answer):
    """A pitch heard on a line, and what it is to the string it is held against."""

    player: str | None
    line: Count
    hz: Number
    uncertainty_cents: Number
    note: str
    cents: Number
    string: int | None
    target: str | None
    target_hz: Number | None
    string_cents: Number | None
    beats_hz: Number | None
    verdict: Verdict | None
    clipped: bool


class Reading(Judged):
    """One measured pitch. `cents` is from the nearest note, `string_cents` from the string's
    target; `uncertainty_cents` is one standard deviation; `beats_hz` is the beat rate between
    the string and its target.
    """

    at_s: Number


class String(Answer):
    """An open string, its target, and its place in the roll call. `target_hz` includes
    `offset_cents`, what the player wants this string off from equal temperament.
    """

    string: Count
    note: str
    target_hz: Number
    offset_cents: Number
    roll: Literal["not heard", "in", "out"]
    cents: Number | None
    uncertainty_cents: Number | None
    verdict: Verdict | None
    age_s: Number | None


class Player(Answer):
    """A band member with an instrument on a line. `offsets_cents` names the strings that are
    meant to be off from equal temperament, by number, and how far. `taps` is null for
    everyone but drummers.
    """

    id: str
    name: str
    instrument: str
    instrument_label: str
    kind: str
    tuning: str | None
    tuning_label: str | None
    line: Count
    capo: Count
    offsets_cents: dict[str, Number]
    offsets_label: Literal["", "pure fifths", "own"]
    strings: list[String]
    now: Reading | None
    taps: Taps | None


class Line(Answer):
    """The level of one input channel, relative to full scale. `hum_hz` is the frequency of the
    mains hum last heard on it and `hum_dbfs` the rms of all its multiples together; null
    without hum.
    """

    line: Count
    rms_dbfs: Number | None
    peak_dbfs: Number | None
    dc: Number | None
    clipped: bool
    state: Literal["signal", "quiet", "no signal", "unknown"]
    hum_hz: Number | None
    hum_dbfs: Number | None


class LineInput(Answer):
    """Whether the line input is listening, and if not, why."""

    state: Literal["listening", "waiting", "failed"]
    device: str
    reason: str | None
    overruns: Count
    restarts: Count


class Lamps(Answer):
    """Whether the lamps are lit, and if not, why."""

    state: Literal["lit", "off"]
    reason: str | None


class ToneOut(Answer):
    """Whether the line output can play the reference tone, and if not, why."""

    state: Literal["ready", "off", "failed"]
    reason: str | None


class Station(Answer):
    """The box itself. `in_cents` is how close to its target a string counts as in, cents;
    `note_names` is how pages name notes to people; the API names them in English, with # and
    b. `quiet`: the lamps are dimmed and no tone is played.
    """

    name: str
    version: str
    simulated: bool
    in_cents: Number
    tracker: Literal["aubio", "numpy"]
    tracker_reason: str | None
    note_names: NamingSystem
    quiet: bool
    input: LineInput
    lamps: Lamps
    tone_out: ToneOut
    clock: Clock
    addresses: list[str]
    banners: list[str]


class RollCall(Answer):
    """Who has been in since the reference last changed."""

    in_: Count = Field(alias="in")
    out: Count
    not_heard: Count
    total: Count
    complete: bool


class Room(Answer):
    """All that one station knows. `measuring` is the instrument that is listened to, `measured`
    those that were, newest first; `compromise` is null for fewer than two.
    """

    station: Station
    reference: Reference
    agreement: Agreement
    measuring: Measuring | None
    measured: list[Instrument]
    compromise: Compromise | None
    tone: Tone | None
    lines: list[Line]
    players: list[Player]
    roll_call: RollCall
    heads: Heads
    order: Order
    pegs: dict[str, PegAsked]
    evening: Evening
    turns: list[Turn]
    members: Count
    bench: Bench


class Note(Judged):
    """One note that was played, with its settled pitch; the other keys as in a reading."""

    onset_s: Number
    end_s: Number
    inharmonicity: Number | None
    partials: Count


class Nothing(Answer):
    """An event that says nothing but its name."""


class OneInstrument(Answer):
    """An instrument, and the labels of its tunings by key."""

    label: str
    kind: Literal["strings", "fixed", "drums"]
    tunings: dict[str, str]


class Instruments(RootModel[dict[str, OneInstrument]]):
    """Every instrument, by key."""

    model_config = ConfigDict(strict=True, defer_build=True)


class Health(Answer):
    """Whether the page is served, and to how many."""

    status: Literal["ok"]
    version: str
    input: Literal["listening", "waiting", "failed"]
    streams: Count
    max_streams: Count
