"""The part of the API's schemas that is about the reference: measured, agreed, heard."""

from __future__ import annotations

from typing import Any, get_args

from station.music.temperaments import TEMPERAMENTS
from station.room.history import ChangeKind
from station.room.proposal import KINDS as PROPOSAL_KINDS
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

FAMILIES = (*TEMPERAMENTS, "per-note offsets")
VOICES = ("sine", "string")
# Least and most of what may be asked of the reference tone.
TONE_DBFS = (-60.0, -20.0)
TONE_S = (0.2, 60.0)

_TEMPERAMENT = {"enum": [*FAMILIES, None]}

REFERENCE_SCHEMAS: dict[str, Any] = {
    "Proposal": an_object(
        "A reference waiting for the band's yes. `cents` is from the present reference; `by` is "
        "null when somebody proposed who is no player; `yes`, `not_yet` and `waiting_for` hold "
        "players' ids.",
        id=COUNT,
        a4_hz=NUMBER,
        cents=NUMBER,
        by=MAYBE_TEXT,
        by_name=TEXT,
        kind={"enum": list(PROPOSAL_KINDS)},
        reason=TEXT,
        made_at=TEXT,
        yes=list_of(TEXT),
        not_yet=list_of(TEXT),
        waiting_for=list_of(TEXT),
    ),
    "Agreement": an_object(
        "How the reference is decided and what is proposed. `leader` and `present` are players' "
        "ids; present are those whose phone is here, or was within the last half minute.",
        decides={"enum": ["everyone", "leader"]},
        leader=MAYBE_TEXT,
        present=list_of(TEXT),
        proposals=list_of(named("Proposal")),
    ),
    "Decision": an_object(
        "What became of a proposal: null once it is adopted or withdrawn.",
        proposal=or_null(named("Proposal")),
        adopted=YES_OR_NO,
        reference=named("Reference"),
    ),
    "MeasuredNote": an_object(
        "One note of a measured instrument. `cents` is from equal temperament on the "
        "instrument's own A4, `temperament_cents` what its temperament asks there. `bad`: left "
        "out, it disagrees with the others. `beat_hz`: between its two strongest reeds.",
        note=TEXT,
        midi=COUNT,
        hz=NUMBER,
        cents=NUMBER,
        uncertainty_cents=NUMBER,
        temperament_cents=MAYBE_NUMBER,
        bad=YES_OR_NO,
        times=COUNT,
        reeds_hz=list_of(NUMBER),
        beat_hz=MAYBE_NUMBER,
    ),
    "Instrument": an_object(
        "A measured instrument of fixed pitch. `uncertainty_cents` is one standard deviation of "
        "its A4; `cents` and `beats_hz` are from the present reference, a held A against it; "
        "`temperament` is null when the notes cannot tell. `enough`: more notes would change "
        "little; if not, `play_next` says which would help.",
        id=TEXT,
        name=TEXT,
        line=COUNT,
        measured_at=TEXT,
        a4_hz=NUMBER,
        uncertainty_cents=NUMBER,
        cents=NUMBER,
        beats_hz=NUMBER,
        temperament=_TEMPERAMENT,
        root=MAYBE_TEXT,
        evidence=list_of(
            an_object(
                "A temperament and how probable it is.",
                temperament={"enum": list(FAMILIES)},
                root=MAYBE_TEXT,
                probability=NUMBER,
            )
        ),
        stretch_cents_per_octave=MAYBE_NUMBER,
        distinct=COUNT,
        spread_cents=MAYBE_NUMBER,
        enough=YES_OR_NO,
        says=TEXT,
        play_next=list_of(TEXT),
        notes=list_of(named("MeasuredNote")),
    ),
    "Measuring": an_object(
        "The instrument being listened to, with what is known of it so far.",
        id=TEXT,
        name=TEXT,
        lines=list_of(COUNT),
        player=MAYBE_TEXT,
        sounding=YES_OR_NO,
        instrument=or_null(named("Instrument")),
    ),
    "Middle": an_object(
        "A reference between the measured instruments. `cents` is what an instrument would be "
        "off from it, positive when it is sharp; `beats_hz` how fast a held A would beat.",
        a4_hz=NUMBER,
        worst_cents=NUMBER,
        instruments=list_of(
            an_object(
                "One instrument against it.",
                id=TEXT,
                name=TEXT,
                cents=NUMBER,
                beats_hz=NUMBER,
            )
        ),
    ),
    "Compromise": an_object(
        "Where the worst error is smallest, and where the weighted mean square error is.",
        worst=named("Middle"),
        mean=named("Middle"),
    ),
    "Measured": an_object(
        "The part of the room that measuring changes.",
        measuring=or_null(named("Measuring")),
        measured=list_of(named("Instrument")),
        compromise=or_null(named("Compromise")),
    ),
    "Tone": an_object(
        "The reference tone that sounds from the line output.",
        note=TEXT,
        hz=NUMBER,
        voice={"enum": list(VOICES)},
        level_dbfs=NUMBER,
        ends_in_s=NUMBER,
    ),
    "ToneNow": an_object("The tone, null in silence.", tone=or_null(named("Tone"))),
    "Quiet": an_object("Whether lamps are dimmed and tones refused.", quiet=YES_OR_NO),
    "Clock": an_object(
        "The sound card's rate against the system's clock: `ppm` is how much too fast the card "
        "runs, `card_cents` what is left of its error in readings.",
        state={"enum": ["calibrated", "measuring", "not calibrated"]},
        ppm=MAYBE_NUMBER,
        uncertainty_ppm=MAYBE_NUMBER,
        synchronised=YES_OR_NO,
        source={"enum": ["chrony", "systemd-timesyncd", "kernel", None]},
        reason=MAYBE_TEXT,
        card_cents=NUMBER,
    ),
    "PastReference": an_object(
        "One reference the room had. `agreed` and `away`: the names of those who said yes, and of "
        "those who were asked but had left; `evidence` is what it was measured from.",
        serial=COUNT,
        at=TEXT,
        a4_hz=NUMBER,
        kind={"enum": list(get_args(ChangeKind))},
        by=TEXT,
        source=TEXT,
        agreed=list_of(TEXT),
        away=list_of(TEXT),
        evidence={"type": ["object", "null"]},
    ),
    "References": an_object(
        "Every reference the room had, newest first.", references=list_of(named("PastReference"))
    ),
}
