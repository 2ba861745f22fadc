"""Drum heads: the guided pass, and both heads."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import BeforeValidator, ConfigDict, Field, model_validator

from station.errors import PageRequestError
from station.measure.drums.head_pass import TURNS_MAX, Phase
from station.measure.drums.types import LugVerdict
from station.music.lugs import LUG_COUNTS
from station.room.both_heads import Which
from station.web.models.plain import Must
from station.web.models.words import (
    Answer,
    Body,
    Count,
    MaybeText,
    Number,
    ShortText,
    YesOrNo,
    left_out,
    whole,
)

Lug = Annotated[int, Field(ge=1, le=max(LUG_COUNTS)), BeforeValidator(whole), Must("be a number")]


class BeginHead(Body):
    """How many lugs the head has, and whether it is slack or nearly in."""

    lugs: Annotated[
        int,
        Field(json_schema_extra={"enum": list(LUG_COUNTS)}, ge=min(LUG_COUNTS), le=max(LUG_COUNTS)),
        BeforeValidator(whole),
        Must("be a number"),
    ]
    phase: Phase
    drum: MaybeText | None = None
    by: ShortText = left_out()


class ChooseLug(Body):
    """The lug the next tap is beside."""

    lug: Lug
    by: ShortText = left_out()


class TapAgain(Body):
    """The lug to tap anew, the last one unless said."""

    lug: Lug = left_out()
    by: ShortText = left_out()


class Turned(Body):
    """The lug that was turned, as advised unless `turns` says; without one all that is advised."""

    model_config = ConfigDict(
        json_schema_extra={"minProperties": 1, "dependentRequired": {"turns": ["lug"]}}
    )

    lug: Lug = left_out()
    turns: Annotated[float, Field(ge=-TURNS_MAX, le=TURNS_MAX), Must("be a number")] = left_out()
    by: ShortText = left_out()

    @model_validator(mode="after")
    def _turns_have_a_lug(self) -> Self:
        if "turns" in self.model_fields_set and "lug" not in self.model_fields_set:
            raise PageRequestError("turns need the lug that was turned")
        return self


class TurnedBack(Body):
    """The drum whose lugs were all turned as its way back says."""

    drum: ShortText
    by: ShortText = left_out()


class CompareHeads(Body):
    """A step of the comparison of batter and resonant head."""

    step: Literal["begin", "next", "back", "leave"]
    snare_side: YesOrNo = False
    by: ShortText = left_out()


class LugHeard(Answer):
    """One lug."""

    lug: Count
    hz: Number
    offset_cents: Number
    uncertainty_cents: Number
    verdict: LugVerdict | None


class TurnNext(Answer):
    """What to turn now."""

    lug: Count
    verdict: LugVerdict
    turns: Number
    how: str


class Farthest(Answer):
    """The lug most likely farthest from the head's mean. `opposite` sounds the same; one of
    `candidates`, opposite lugs together and the likeliest first, is the farthest with
    `probability`, 0.95 or more.
    """

    lug: Count
    opposite: Count
    candidates: list[list[Count]]
    probability: Number
    says: str


class HeadPass(Answer):
    """A head that is gone round lug by lug; lugs are counted clockwise from 1. `heard`: each
    lug's pitch and its distance from the head's mean; while a round goes on what the taps
    sounded like by themselves, from their middle. `turn_next` is what to turn now, `to_turn`
    all lugs still to be turned. `farthest`: null while taps are wanted and when even.
    `confusion`: what no tap can tell apart. `taken` counts this round's taps from lug 1 on;
    `chosen` is true where the drummer named the lug. Of two tellings the one with more `told` is
    newer.
    """

    lugs: Count
    phase: Phase
    drum: str
    order: list[Count]
    tap_next: int | None
    chosen: bool
    taps_wanted: Count
    taken: list[Count]
    last: int | None
    heard: list[LugHeard]
    turn_next: TurnNext | None
    to_turn: list[Count]
    evenness_cents: Number | None
    even: bool
    farthest: Farthest | None
    overtone_hz: Number | None
    alone_cents: Number | None
    passes: Count
    learned: Count
    confusion: str | None
    warning: str | None
    says: str
    told: Count


class OneHead(Answer):
    """One head of a drum, the other damped."""

    hz: Number
    uncertainty_cents: Number
    note: str
    cents: Number


class HeadsCompared(Answer):
    """Both against each other."""

    cents: Number
    semitones: Number
    uncertainty_cents: Number
    higher: Literal["batter", "resonant", "neither"]
    beat_hz: Number
    warning: str | None
    advice: list[str]


class BothHeads(Answer):
    """Batter and resonant head, one after the other. `result.cents` is from the batter up to the
    resonant head.
    """

    asked_for: Which | None
    how: str
    snare_side: bool
    batter: OneHead | None
    resonant: OneHead | None
    result: HeadsCompared | None


class Heads(Answer):
    """Head passes and comparisons under way, by player; `drums` counts those that are kept."""

    told: Count
    drums: Count
    passes: dict[str, HeadPass]
    both: dict[str, BothHeads]


class HeadNow(Answer):
    """A player's head pass and comparison, as they now stand."""

    told: Count
    head: HeadPass | None
    both: BothHeads | None


class HeadEvent(Answer):
    """A stroke beside a lug was heard, or heard better."""

    player: str
    line: Count
    head: HeadPass
