"""What the API tells of a drummer's taps, as JSON Schema 2020-12."""

from __future__ import annotations

from typing import Any, get_args

from station.measure.drums.types import StrokeVerdict, TapKind
from station.web.schema_words import (
    COUNT,
    MAYBE_NUMBER,
    MAYBE_TEXT,
    NUMBER,
    TEXT,
    YES_OR_NO,
    an_object,
    list_of,
    named,
    or_null,
)

_VERDICT = {"enum": list(get_args(StrokeVerdict))}

DRUM_SCHEMAS: dict[str, Any] = {
    "Tap": an_object(
        "What several strokes on one drum say together. `fundamental_hz` is the head as a whole, "
        "`overtone_hz` its two halves against each other; `note` and `cents` are the "
        "fundamental's nearest note at the room's reference. `uncertainty_cents` is one standard "
        "deviation, `spread_cents` that of a single stroke. `ring_s` is the time to fall by 60 "
        "dB. `beat_hz`: two heads nearly alike beat so often a second. `sure` is false "
        "where another mode may be the fundamental. `used` strokes count, `dropped` did not.",
        fundamental_hz=NUMBER,
        uncertainty_cents=NUMBER,
        note=TEXT,
        cents=NUMBER,
        overtone_hz=MAYBE_NUMBER,
        ring_s=MAYBE_NUMBER,
        overtone_ring_s=MAYBE_NUMBER,
        beat_hz=MAYBE_NUMBER,
        spread_cents=NUMBER,
        kind={"enum": list(get_args(TapKind))},
        sure=YES_OR_NO,
        used=COUNT,
        dropped=list_of(an_object("A stroke that does not count.", at_s=NUMBER, why=TEXT)),
    ),
    "Taps": an_object(
        "What a drummer has tapped since starting over. `last` is the last stroke heard, good or "
        "not. `strokes` are those of the tap and those just left out, oldest first; `why` is null "
        "for one that counts. `began` says why it began anew by itself, if it did. Of two "
        "tellings the one with more `changes` is newer.",
        tap=or_null(named("Tap")),
        last=or_null(
            an_object(
                "One stroke.",
                at_s=NUMBER,
                verdict=_VERDICT,
                fundamental_hz=MAYBE_NUMBER,
                note=MAYBE_TEXT,
                cents=MAYBE_NUMBER,
            )
        ),
        wanted=COUNT,
        strokes=list_of(
            an_object(
                "One stroke and whether it counts.",
                at_s=NUMBER,
                verdict=_VERDICT,
                why=MAYBE_TEXT,
                fundamental_hz=MAYBE_NUMBER,
                overtone_hz=MAYBE_NUMBER,
            )
        ),
        began={"enum": ["", "another drum"]},
        changes=COUNT,
    ),
    "TapsNow": an_object("A drummer's taps.", taps=named("Taps")),
    "StrokeEvent": an_object(
        "A stroke was heard, or heard better: what the drummer has tapped by now.",
        player=TEXT,
        line=COUNT,
        taps=named("Taps"),
    ),
}
