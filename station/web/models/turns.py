"""Turns on a shared line, and what a player played last."""

from __future__ import annotations

from station.web.models.words import Answer, Body, Count, Number, ShortText


class HandOn(Body):
    """Who hands the turn on, and to whom; to who waits longest unless said."""

    by: ShortText
    to: ShortText | None = None


class Turn(Answer):
    """A line that several players share: who has the `turn`, who waits for it, and when it ends
    by itself if nobody plays.
    """

    line: Count
    players: list[str]
    turn: str | None
    waiting: list[str]
    ends_in_s: Number | None


class TurnsNow(Answer):
    """Every shared line."""

    turns: list[Turn]


class Setup(Answer):
    """An instrument as it was left."""

    instrument: str
    tuning: str
    capo: Count
    offsets_cents: dict[str, Number]
    instrument_label: str
    tuning_label: str


class Setups(Answer):
    """What a player played last, the newest first."""

    setups: list[Setup]
