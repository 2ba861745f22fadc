"""Songs, gaps and drifts of the evening."""

from __future__ import annotations

from typing import Literal

from station.web.models.words import Answer, Count, Number


class Drifted(Answer):
    """A string that has drifted, or all of a player's that moved alike (`string` null): by
    `cents`, positive when sharp, apart from the band's common drift; `confidence` is the
    probability that it is a drift at all.
    """

    player: str
    line: Count
    string: int | None
    strings: list[Count]
    cents: Number
    uncertainty_cents: Number
    confidence: Number


class CommonDrift(Answer):
    """The whole band together, since the string tuned longest ago was tuned, `since_s` ago;
    `confidence` is the probability that it is a drift at all.
    """

    cents: Number
    uncertainty_cents: Number
    confidence: Number
    since_s: Number


class Evening(Answer):
    """What the band does: `state` is `playing`, `gap`, `tuning` (a gap in which somebody tunes)
    or `not known`, for `for_s`; `songs` played so far; `common` is the whole band's drift;
    without `told_apart` nobody's own drift can be told from it.
    """

    state: Literal["playing", "gap", "tuning", "not known"]
    for_s: Number | None
    songs: Count
    common: CommonDrift | None
    told_apart: bool
    drifted: list[Drifted]
