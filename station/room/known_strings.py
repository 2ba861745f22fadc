"""What is known of each player's strings while the band plays, and who is named for it. Pure."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from station.measure.rehearsal.common import Moved, Shares
from station.measure.rehearsal.drift import PlayerDrift
from station.measure.rehearsal.heard import StringDrift
from station.room.roster import FIXED
from station.room.seats import Seat

REACH_UP = 24.5  # semitones over the highest open string
REACH_DOWN = 0.6  # under the lowest
NAMED = 0.5  # more probably drifted than not
NAMED_SD = 2.5  # cents: what is less sure names nobody, unless it is a drift all the same
SURELY_NAMED = 0.9
OPEN_DOUBT = 0.15  # so probably it was another string: that names nobody
PLAYER_STRINGS = 3  # so many, and all that are known, alike: it is the player

Target = tuple[int, int, float]  # string, MIDI note, offset in cents
Data = dict[str, Any]


@dataclass(slots=True)
class Known:
    """What is kept of one player, on one line with one instrument in one tuning."""

    line: int
    instrument: str
    targets: tuple[Target, ...]
    drift: PlayerDrift
    found: list[StringDrift]
    solved_s: float = float("-inf")


@dataclass(frozen=True, slots=True)
class Work:
    """One player's drift to be solved for; `last`: of all that are due now."""

    solve: Callable[[], list[StringDrift]]
    of: Known
    last: bool


def targets_of(seat: Seat) -> tuple[Target, ...]:
    """A player's strings as drift is counted by them."""
    return tuple((s.number, s.midi, s.offset_cents) for s in seat.open_strings())


def can_play(seat: Seat, midi: float) -> bool:
    """Whether a pitch, as a MIDI note number, may have been this player's."""
    if seat.player.kind == FIXED:
        return True
    strings = [string.midi for string in seat.open_strings()]
    return bool(strings) and min(strings) - REACH_DOWN <= midi <= max(strings) + REACH_UP


def named(player: str, known: Known, shares: Shares) -> list[Data]:
    """A player's strings that have drifted, or the player where all of them did alike."""
    strings = {n: own for (p, n), own in shares.strings.items() if p == player}
    doubt = {each.string: each.doubt for each in known.found}
    moved = {
        n: own for n, own in strings.items() if _is_named(own) and doubt.get(n, 0.0) < OPEN_DOUBT
    }
    whole = shares.players.get(player)
    alike = {each.string: each.alike for each in known.found}
    if whole is not None and _is_named(whole) and len(moved) == len(strings) >= PLAYER_STRINGS:
        every = sorted(n for first in moved for n in (first, *alike.get(first, ())))
        return [_entry(player, known.line, None, every, whole)]
    return [_entry(player, known.line, n, [n, *alike.get(n, ())], own) for n, own in moved.items()]


def player_as_json(
    player: str, known: Known, shares: Shares, ago_s: Callable[[float], float]
) -> Data:
    """All that is known of a player's strings; `ago_s` makes a time of the stream an age."""
    whole = shares.players.get(player)
    return {
        "player": player,
        "own": None if whole is None else moved_as_json(whole),
        "strings": [
            {
                "string": each.string,
                "alike": list(each.alike),
                "cents": each.cents,
                "uncertainty_cents": each.uncertainty_cents,
                "offset_cents": each.offset_cents,
                "own": None if own is None else moved_as_json(own),
                "since_s": ago_s(each.since_s),
            }
            for each, own in ((s, shares.strings.get((player, s.string))) for s in known.found)
        ],
    }


def moved_as_json(moved: Moved) -> Data:
    """Cents, one standard deviation, and the probability that it is a drift."""
    return {
        "cents": moved.cents,
        "uncertainty_cents": moved.uncertainty_cents,
        "confidence": moved.probability,
    }


def _is_named(own: Moved) -> bool:
    if own.uncertainty_cents > NAMED_SD:
        return own.probability >= SURELY_NAMED
    return own.probability >= NAMED


def _entry(player: str, line: int, string: int | None, strings: list[int], own: Moved) -> Data:
    told = {"player": player, "line": line, "string": string, "strings": strings}
    return {**told, **moved_as_json(own)}
