"""What the API tells of songs, gaps and drifts, as JSON Schema 2020-12."""

from __future__ import annotations

from typing import Any

from station.web.schema_words import (
    COUNT,
    MAYBE_NUMBER,
    NUMBER,
    TEXT,
    YES_OR_NO,
    an_object,
    list_of,
    named,
    or_null,
)

_MOVED = {"cents": NUMBER, "uncertainty_cents": NUMBER}

EVENING_SCHEMAS: dict[str, Any] = {
    "Drifted": an_object(
        "A string that has drifted, or all of a player's that moved alike (`string` null): by "
        "`cents`, positive when sharp, apart from the band's common drift; `confidence` is the "
        "probability that it is a drift at all.",
        player=TEXT,
        line=COUNT,
        string={"type": ["integer", "null"]},
        strings=list_of(COUNT),
        **_MOVED,
        confidence=NUMBER,
    ),
    "Evening": an_object(
        "What the band does: `state` is `playing`, `gap`, `tuning` (a gap in which somebody "
        "tunes) or `not known`, for `for_s`; `songs` played so far; `common` is the whole band's "
        "drift; without `told_apart` nobody's own drift can be told from it.",
        state={"enum": ["playing", "gap", "tuning", "not known"]},
        for_s=MAYBE_NUMBER,
        songs=COUNT,
        common=or_null(an_object("The whole band together.", **_MOVED)),
        told_apart=YES_OR_NO,
        drifted=list_of(named("Drifted")),
    ),
}
