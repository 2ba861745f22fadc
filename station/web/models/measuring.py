"""Instruments measured, the reference tone, quiet, and the sound card's clock."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator
from pydantic_core import CoreSchema, core_schema

from station.errors import PageRequestError
from station.music.temperaments import TEMPERAMENTS
from station.web.models.plain import Must
from station.web.models.words import (
    Address,
    Answer,
    Body,
    Count,
    FromOne,
    Id,
    Number,
    ShortText,
    YesOrNo,
    left_out,
)

Voice = Literal["sine", "string"]
# Least and most of what may be asked of the reference tone.
TONE_DBFS = (-60.0, -20.0)
TONE_S = (0.2, 60.0)
FAMILIES = (*TEMPERAMENTS, "per-note offsets")


class _Families:
    """One of the temperaments there are."""

    @classmethod
    def __get_pydantic_core_schema__(cls, *_: object) -> CoreSchema:
        return core_schema.literal_schema(list(FAMILIES))


Family = Annotated[str, _Families]


class Measure(Body):
    """A player's instrument, or whatever is on a line."""

    player: ShortText = left_out()
    line: FromOne = left_out()
    name: ShortText = left_out()

    @model_validator(mode="after")
    def _one_or_the_other(self) -> Self:
        sent = self.model_fields_set
        if "player" in sent:
            for key in ("line", "name"):
                if key in sent:
                    raise PageRequestError(
                        f"give player alone, or line and name: not player and {key}"
                    )
        elif "line" not in sent:
            raise PageRequestError("line must be a number")
        return self


class PlayTone(Body):
    """A note of the reference from the line output, for some seconds."""

    note: ShortText
    voice: Voice
    level_dbfs: Annotated[float, Field(ge=TONE_DBFS[0], le=TONE_DBFS[1]), Must("be a number")]
    seconds: Annotated[float, Field(ge=TONE_S[0], le=TONE_S[1]), Must("be a number")]


class SetQuiet(Body):
    """Whether lamps are dimmed and tones refused."""

    quiet: YesOrNo


class MeasuredAddress(Address):
    """Which measured instrument it is."""

    instrument_id: Id = Field(description="measured instrument")


class MeasuredNote(Answer):
    """One note of a measured instrument. `cents` is from equal temperament on the instrument's
    own A4, `temperament_cents` what its temperament asks there. `bad`: left out, it disagrees
    with the others. `beat_hz`: between its two strongest reeds.
    """

    note: str
    midi: Count
    hz: Number
    cents: Number
    uncertainty_cents: Number
    temperament_cents: Number | None
    bad: bool
    times: Count
    reeds_hz: list[Number]
    beat_hz: Number | None


class Evidence(Answer):
    """A temperament and how probable it is."""

    temperament: Family
    root: str | None
    probability: Number


class Instrument(Answer):
    """A measured instrument of fixed pitch. `uncertainty_cents` is one standard deviation of its
    A4; `cents` and `beats_hz` are from the present reference, a held A against it;
    `temperament` is null when the notes cannot tell; else it is the first of `evidence`, and
    the next one its runner-up: at a probability of 0.98 and more it is sure, with less it is
    the likeliest. `enough`: more notes would change
    little; if not, `play_next` says which would help.
    """

    id: str
    name: str
    line: Count
    measured_at: str
    a4_hz: Number
    uncertainty_cents: Number
    cents: Number
    beats_hz: Number
    temperament: Family | None
    root: str | None
    evidence: list[Evidence]
    stretch_cents_per_octave: Number | None
    distinct: Count
    spread_cents: Number | None
    enough: bool
    says: str
    play_next: list[str]
    notes: list[MeasuredNote]


class Measuring(Answer):
    """The instrument being listened to, with what is known of it so far."""

    id: str
    name: str
    lines: list[Count]
    player: str | None
    sounding: bool
    instrument: Instrument | None


class BesideMiddle(Answer):
    """One instrument against it."""

    id: str
    name: str
    cents: Number
    beats_hz: Number


class Middle(Answer):
    """A reference between the measured instruments. `cents` is what an instrument would be off
    from it, positive when it is sharp; `beats_hz` how fast a held A would beat.
    """

    a4_hz: Number
    worst_cents: Number
    instruments: list[BesideMiddle]


class Compromise(Answer):
    """Where the worst error is smallest, and where the weighted mean square error is."""

    worst: Middle
    mean: Middle


class Measured(Answer):
    """The part of the room that measuring changes."""

    measuring: Measuring | None
    measured: list[Instrument]
    compromise: Compromise | None


class Tone(Answer):
    """The reference tone that sounds from the line output."""

    note: str
    hz: Number
    voice: Voice
    level_dbfs: Number
    ends_in_s: Number


class ToneNow(Answer):
    """The tone, null in silence."""

    tone: Tone | None


class Quiet(Answer):
    """Whether lamps are dimmed and tones refused."""

    quiet: bool


class Share(Answer):
    """One cause of an error, as a standard uncertainty in cents; null while it is not known."""

    what: Literal["card", "estimator", "hearing"]
    cents: Number | None
    from_: str = Field(alias="from")


class Clock(Answer):
    """The sound card's rate against the system's clock: `ppm` is how much too fast the card
    runs, `card_cents` what is left of its error in readings.
    """

    state: Literal["calibrated", "measuring", "not calibrated"]
    ppm: Number | None
    uncertainty_ppm: Number | None
    synchronised: bool
    source: Literal["chrony", "systemd-timesyncd", "kernel"] | None
    reason: str | None
    card_cents: Number
    budget: list[Share]
