"""How far players turned their pegs, and what was learned of it."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BeforeValidator, Field

from station.room.pegs import QUARTERS_MAX
from station.web.models.plain import Must
from station.web.models.words import (
    Answer,
    Body,
    Count,
    FromOne,
    Number,
    ShortText,
    YesOrNo,
    whole,
)

Turning = Literal["tighten", "slacken"]


class TellPeg(Body):
    """How far a peg went that was asked about, in quarters of a turn; 0 for no answer."""

    by: ShortText
    string: FromOne
    quarters: Annotated[
        int, Field(ge=0, le=QUARTERS_MAX), BeforeValidator(whole), Must("be a number")
    ]


class AskPegs(Body):
    """Whether the player's phone may ask."""

    by: ShortText
    asks: YesOrNo


class ForgetPegs(Body):
    """What was learned of one string is forgotten, or of all."""

    by: ShortText
    string: FromOne | None = None


class Forecast(Answer):
    """How far a peg is to be turned, as its player's answers have it: `turns` and their standard
    deviation `spread`, which way, and how many answers there are.
    """

    turns: Number
    spread: Number
    word: Turning
    reports: Count


class PegAsked(Answer):
    """A string that has come in after it was turned: how far did its peg go?"""

    string: Count
    from_: str = Field(alias="from")
    to: str
    word: Turning


class PegKnown(Answer):
    """One string."""

    string: Count
    reports: Count
    semitone: Forecast | None


class Pegs(Answer):
    """What is known of a player's pegs on the instrument in hand: `semitone` is what takes the
    string a semitone down, null while too little is known. `asks`: their phone may ask.
    """

    asks: bool
    strings: list[PegKnown]
