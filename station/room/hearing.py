"""From a measured pitch to what the room says about it. Pure; cents positive when sharp.

A string's place in the roll call moves only on evidence the station would bet
on: a settled note, or two readings of one note, one after the other, each with
an uncertainty of at most ``STEADY_CENTS`` and within ``AGREE_CENTS`` of each
other. A single reading may be an attack; where a peg is in motion none counts. A plucked string
sounds some cents sharp at first and glides down, so readings of the first
``SETTLE_S`` of a note are shown, but prove nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from station.measure.types import Note, Reading
from station.music.names import note_name
from station.music.pitch import nearest_note
from station.music.strings import StringMatch, match_string
from station.music.verdict import Verdict, verdict
from station.room.model import Roll, StringState
from station.room.seats import Seat

STEADY_CENTS = 1.0
AGREE_CENTS = 1.0
SETTLE_S = 0.3  # strings glide by up to 10 cents meanwhile (measured on basses)
LEAVE_FACTOR = 1.5  # in at 2 cents, out again past 3: the word does not flicker at the edge
OTHER_NOTE_CENTS = 50.0  # half a semitone


@dataclass(frozen=True, slots=True)
class Attribution:
    """Whose sound it is and, where that is sure, which string."""

    seat: Seat
    match: StringMatch | None


@dataclass(frozen=True, slots=True)
class Take:
    """The last reading of the note now sounding on a line, when it had a string."""

    player: str
    string: int
    onset_s: float
    cents: float
    uncertainty_cents: float
    verdict: Verdict
    settled: bool
    moving: bool = False

    def goes_on_in(self, other: Take) -> bool:
        """Whether ``other`` is the same string in the same played note."""
        here = (self.player, self.string, self.onset_s)
        return here == (other.player, other.string, other.onset_s)

    @property
    def stands_in(self) -> bool:
        """Whether it was in to stay, not on its way through."""
        return self.settled and not self.moving and self.verdict == "in"

    def agrees_with(self, other: Take) -> bool:
        return (
            max(self.uncertainty_cents, other.uncertainty_cents) <= STEADY_CENTS
            and abs(self.cents - other.cents) <= AGREE_CENTS
        )


def attribute(hz: float, seats: Sequence[Seat], a4_hz: float) -> list[Attribution]:
    """Which of the players sharing a line made the sound.

    One player alone always did. Of several, a string is named only when no
    other of them could have sounded there; an instrument without strings to
    tune could have made any pitch. Otherwise all of them are given, stringless.
    """
    matched = [
        Attribution(seat, match_string(hz, seat.tuning, a4_hz) if seat.tuning else None)
        for seat in seats
    ]
    possible = [a for a in matched if a.match is not None or a.seat.tuning is None]
    if len(matched) == 1 or len(possible) != 1:
        return matched if len(matched) == 1 else [Attribution(a.seat, None) for a in matched]
    return possible


def judge(
    heard: Reading | Note, found: Attribution, before: Take | None, in_cents: float
) -> Take | None:
    """The verdict on a pitch with a string; None without one.

    Within one played note a string that was in stays in until it has clearly
    left; a fresh note is judged afresh.
    """
    match = found.match
    if match is None:
        return None
    same_note = (
        before is not None
        and before.onset_s == heard.onset_s
        and (before.player, before.string) == (found.seat.player.id, match.string)
    )
    was_in = before is not None and same_note and before.stands_in
    return Take(
        player=found.seat.player.id,
        string=match.string,
        onset_s=heard.onset_s,
        cents=match.cents,
        uncertainty_cents=heard.uncertainty_cents,
        verdict=verdict(match.cents, in_cents, was_in, in_cents * LEAVE_FACTOR),
        settled=isinstance(heard, Note) or heard.at_s - heard.onset_s >= SETTLE_S,
        moving=isinstance(heard, Reading) and heard.moving,
    )


def is_evidence(heard: Reading | Note, take: Take, before: Take | None, in_cents: float) -> bool:
    """Whether the pitch may move the string in the roll call.

    A note counts when its uncertainty leaves no doubt which side of the limit
    it lies on, within two standard deviations, or is below the limit itself.
    """
    if isinstance(heard, Note):
        doubt_cents = take.uncertainty_cents
        return doubt_cents <= in_cents or abs(take.cents) > in_cents + 2.0 * doubt_cents
    if before is None or not before.settled or before.moving or take.moving:
        return False
    return before.goes_on_in(take) and take.agrees_with(before)


def next_roll(state: StringState, take: Take) -> Roll:
    """The string's place in the roll call after a pitch that counts as evidence.

    A string that is in is not taken out by a pitch nearer to another semitone
    than to its own: that is a fretted note, not a string that slipped so far
    unnoticed.
    """
    if take.verdict == "in":
        return "in"
    if state.roll == "in" and abs(take.cents) > OTHER_NOTE_CENTS:
        return "in"
    return "out"


def pitch_payload(
    heard: Reading | Note, found: Attribution | None, take: Take | None, a4_hz: float
) -> dict[str, Any]:
    """The JSON shape of a reading or a note; frequencies in hertz, times in seconds.

    ``beats_hz`` counts against the string's target, or against the nearest
    note where no string is known.
    """
    match = found.match if found else None
    nearest = nearest_note(heard.hz, a4_hz)
    target_hz = match.target_hz if match else nearest.hz
    return {
        "player": found.seat.player.id if found else None,
        "line": heard.line,
        **_when(heard),
        "hz": heard.hz,
        "uncertainty_cents": heard.uncertainty_cents,
        "note": note_name(nearest.midi),
        "cents": nearest.cents,
        "string": match.string if match else None,
        "target": match.note if match else None,
        "target_hz": match.target_hz if match else None,
        "string_cents": match.cents if match else None,
        "beats_hz": abs(heard.hz - target_hz),
        "verdict": take.verdict if take else None,
        "clipped": heard.clipped,
    }


def _when(heard: Reading | Note) -> dict[str, Any]:
    if isinstance(heard, Reading):
        return {"at_s": heard.at_s}
    return {
        "onset_s": heard.onset_s,
        "end_s": heard.end_s,
        "inharmonicity": heard.inharmonicity,
        "partials": heard.partials,
    }
