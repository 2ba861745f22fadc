"""Two strings sounded together, for the page: which, how, and what to do. Pure."""

from __future__ import annotations

from typing import Any, NamedTuple

from station.errors import PairError
from station.measure.beats.types import BeatReading, OwnPitch
from station.music.catalogue import Tuning
from station.music.pairs import Side, StringPair, Way, move, pair_by_way, strings_named, ways_of
from station.music.pairs_tour import Step, tour
from station.music.pitch import cents_between

PREFERRED: tuple[Way, ...] = ("harmonics", "fretted", "open")
PREFERRED_WITHOUT_FRETS: tuple[Way, ...] = ("open", "harmonics")
STILL_SHARE = 0.5
"""A beat that is too slow to be told is none where it is at most so much of the one to leave."""

Data = dict[str, Any]


class PairAsked(NamedTuple):
    """What an ear for two strings has to know; `hold` is the side (0 or 1) that stays."""

    pair: StringPair
    a4_hz: float
    hold: int | None


def find_pair(name: str, tuning: Tuning, way: Way | None, frets: bool) -> StringPair:
    """The pair of a tuning that is meant, such as ``6-5`` or ``E2-A2``.

    Without a way the one that is usual: harmonics, else at a fret. Raises PairError.
    """
    one, other = strings_named(name, tuning)
    if way is not None:
        found = pair_by_way(one, other, way)
        if found is None:
            known = [pair.way for pair in ways_of(one, other)]
            may = f"they can be sounded {' or '.join(known)}" if known else "choose two others"
            raise PairError(f"strings {one.note} and {other.note} do not meet {way}: {may}")
        return found
    for each in PREFERRED if frets else PREFERRED_WITHOUT_FRETS:
        found = pair_by_way(one, other, each)
        if found is not None:
            return found
    raise PairError(f"strings {one.note} and {other.note} have no partials that meet")


def held_side(pair: StringPair, string: int | None) -> int | None:
    """Which side of a pair a string is; raises PairError for a string of neither."""
    if string is None:
        return None
    numbers = [pair.first.string.number, pair.second.string.number]
    if string not in numbers:
        raise PairError(f"string {string} is neither of the pair {pair.name}")
    return numbers.index(string)


def side_as_json(side: Side) -> Data:
    return {
        "string": side.string.number,
        "note": side.string.note,
        "fret": side.fret,
        "touched": side.touched_fret,
        "does": side.handling,
    }


def pair_as_json(pair: StringPair, a4_hz: float, hold: int | None) -> Data:
    """The pair, how either string is sounded, and the beat to leave."""
    sides = (pair.first, pair.second)
    return {
        "name": pair.name,
        "way": pair.way,
        "first": side_as_json(pair.first),
        "second": side_as_json(pair.second),
        "partials": list(pair.partials),
        "leave_hz": round(pair.equal_beat_hz(a4_hz), 4),
        "beatless_cents": round(pair.beatless_cents, 3),
        "hold": None if hold is None else sides[hold].string.number,
    }


def beats_as_json(reading: BeatReading, asked: PairAsked) -> Data:
    """A reading of a pair with what to do.

    ``off_cents`` is how far the string to move is from its place as long as the other stays
    (positive: sharp), ``either_cents`` the two it may be while which string is which cannot be
    told; ``move`` its number, ``verdict`` its word.
    """
    pair = asked.pair
    sides = (pair.first, pair.second)
    own = (_own_cents(reading.first, sides[0], asked), _own_cents(reading.second, sides[1], asked))
    signed_hz = _signed(reading, pair, asked.a4_hz)
    line_hz = sum(reading.line_hz) / 2 + (signed_hz or 0.0) / 2
    beat_hz = reading.beat_hz if reading.bound_hz is None else reading.bound_hz
    told = move(
        pair, beat_hz, signed_hz, line_hz, own, asked.hold, asked.a4_hz, _stiffness(reading)
    )
    moved = 0 if (told.string is pair.first or asked.hold == 1) else 1
    sign = -1.0 if moved == 0 else 1.0
    missing = reading.missing
    return {
        "at_s": round(reading.at_s, 3),
        "beat_hz": round(reading.beat_hz, 4),
        "uncertainty_hz": round(reading.uncertainty_hz, 4),
        "resolved": reading.resolved,
        "bound_hz": None if reading.bound_hz is None else round(reading.bound_hz, 4),
        "signed_hz": None if signed_hz is None else round(signed_hz, 4),
        "leave_hz": round(told.leave_hz, 4),
        "phase_turns": _short(reading.phase_turns),
        "depth": round(reading.depth, 3),
        "off_cents": None if told.cents is None else round(sign * told.cents, 2),
        "either_cents": sorted(round(sign * each, 2) for each in told.either_cents),
        "move": None if told.string is None else told.string.string.number,
        "verdict": told.verdict,
        "own_cents": [_short(each) for each in own],
        "missing": None if missing is None else sides[missing].string.number,
        "clipped": reading.clipped,
    }


def _own_cents(own: OwnPitch | None, side: Side, asked: PairAsked) -> float | None:
    return None if own is None else cents_between(own.hz, side.target_hz(asked.a4_hz))


def _stiffness(reading: BeatReading) -> tuple[float, float]:
    """B of both strings where both were heard by themselves, else none."""
    if reading.first is None or reading.second is None:
        return 0.0, 0.0
    return reading.first.inharmonicity, reading.second.inharmonicity


def _signed(reading: BeatReading, pair: StringPair, a4_hz: float) -> float | None:
    """Which way it beats; no way at all where it is far slower than the beat to leave."""
    if reading.resolved or reading.bound_hz is None:
        return reading.signed_hz
    leave_hz = pair.equal_beat_hz(a4_hz)
    return 0.0 if reading.bound_hz <= STILL_SHARE * leave_hz else reading.signed_hz


def _short(value: float | None) -> float | None:
    return None if value is None else round(value, 3)


# -- the round -------------------------------------------------------------------------


def tour_as_json(tuning: Tuning, a4_hz: float) -> Data:
    """The whole round of a tuning's pairs, and where it ends if nothing is left to beat."""
    found = tour(tuning, a4_hz)
    notes = {string.number: string.note for string in tuning.strings}
    return {
        "start": {"string": found.start.number, "note": found.start.note},
        "steps": [_step_as_json(step, a4_hz) for step in found.steps],
        "beatless": [
            {"string": number, "note": notes[number], "cents": round(cents, 3)}
            for number, cents in sorted(found.beatless, reverse=True)
        ],
        "worst_cents": round(found.worst_cents, 3),
        "left_out": [string.number for string in found.left_out],
    }


def _step_as_json(step: Step, a4_hz: float) -> Data:
    hold = 1 if step.tuned.number == step.pair.first.string.number else 0
    return {
        **pair_as_json(step.pair, a4_hz, hold),
        "tuned": step.tuned.number,
        "against": step.against.number,
        "beatless_adds_cents": round(step.beatless_cents, 3),
        "adds_up_to_cents": round(step.adds_up_to_cents, 3),
    }
