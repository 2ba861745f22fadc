"""From a measured pitch to what the room says about it. Pure; cents positive when sharp.

A string's place in the roll call moves only on evidence the station would bet
on: a settled note, or two readings of one note, one after the other, each with
an uncertainty of at most ``STEADY_CENTS`` and within ``AGREE_CENTS`` of each
other. A single reading may be an attack; where a peg is in motion none counts. A plucked string
sounds some cents sharp at first and glides down, so readings of the first
``SETTLE_S`` of a note are shown, but prove nothing.

Unison strings. A pitch goes to the string with the nearest target. Another
string whose target lies closer to that one's than the limit within which a
string is in cannot be told from it: standing exactly on the one's target, a
string would be in for the other as well. So what is heard of either is heard
of both, each at its own distance; otherwise the roll call might never
complete. Offsets that put the targets as far apart as the limit or farther
(a course that is meant to beat) make them two strings again, and each has to
be heard for itself.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from station.measure.types import Note, Reading
from station.music.names import note_name
from station.music.pitch import nearest_note, shift_cents
from station.music.strings import REACH_CENTS, StringMatch, alike_strings, match_string
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
    """The last reading of the note now sounding on a line, when it had a string.

    ``also`` is the same sound as a take of the strings it cannot be told from.
    """

    player: str
    string: int
    onset_s: float
    cents: float
    uncertainty_cents: float
    verdict: Verdict
    settled: bool
    moving: bool = False
    also: tuple[Take, ...] = ()

    def of(self, player: str, string: int) -> Take | None:
        """The take of that string of that player, if this sound may have been its."""
        takes = (self, *self.also)
        return next((t for t in takes if (t.player, t.string) == (player, string)), None)

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


def attribute(
    hz: float, seats: Sequence[Seat], a4_hz: float, turn: str | None = None
) -> list[Attribution]:
    """Which of the players sharing a line made the sound.

    One player alone always did, and the player who has the ``turn``, unless the
    sound is too low for any string of theirs. Of several, a string is named only
    when no other of them could have sounded there; an instrument without strings
    to tune could have made any pitch. Otherwise all of them are given, stringless.
    """
    holder = next((seat for seat in seats if seat.player.id == turn), None)
    if holder is not None and len(seats) > 1:
        others = [seat for seat in seats if seat is not holder]
        mine = _may_sound(hz, holder, a4_hz)
        return attribute(hz, [holder] if mine else others, a4_hz)
    matched = [
        Attribution(seat, match_string(hz, seat.tuning, a4_hz) if seat.tuning else None)
        for seat in seats
    ]
    possible = [a for a in matched if a.match is not None or a.seat.tuning is None]
    if len(matched) == 1 or len(possible) != 1:
        return matched if len(matched) == 1 else [Attribution(a.seat, None) for a in matched]
    return possible


def _may_sound(hz: float, seat: Seat, a4_hz: float) -> bool:
    """Whether an instrument goes down to there; up there is no end, for harmonics."""
    if seat.tuning is None:
        return True
    lowest_hz = min(string.target_hz(a4_hz) for string in seat.tuning.strings)
    return hz >= shift_cents(lowest_hz, -REACH_CENTS)


def judge(
    heard: Reading | Note, found: Attribution, before: Take | None, in_cents: float
) -> Take | None:
    """The verdict on a pitch with a string; None without one.

    Within one played note a string that was in stays in until it has clearly
    left; a fresh note is judged afresh.
    """
    match, tuning = found.match, found.seat.tuning
    if match is None or tuning is None:
        return None
    take = _take(heard, found.seat, match.string, match.cents, before, in_cents)
    alike = alike_strings(tuning, match.string, in_cents)
    also = (_take(heard, found.seat, n, match.cents + up, before, in_cents) for n, up in alike)
    return replace(take, also=tuple(also))


def _take(
    heard: Reading | Note,
    seat: Seat,
    string: int,
    cents: float,
    before: Take | None,
    in_cents: float,
) -> Take:
    """The sound as that of one string, from which it is ``cents`` away."""
    earlier = before.of(seat.player.id, string) if before is not None else None
    same_note = earlier is not None and earlier.onset_s == heard.onset_s
    was_in = earlier is not None and same_note and earlier.stands_in
    return Take(
        player=seat.player.id,
        string=string,
        onset_s=heard.onset_s,
        cents=cents,
        uncertainty_cents=heard.uncertainty_cents,
        verdict=verdict(cents, in_cents, was_in, in_cents * LEAVE_FACTOR),
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
    earlier = before.of(take.player, take.string) if before is not None else None
    if earlier is None or not earlier.settled or earlier.moving or take.moving:
        return False
    return earlier.goes_on_in(take) and take.agrees_with(earlier)


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
