"""What a strum says of a player's strings, for the page and for the roll call. Pure.

Whether a strum counts for the roll call: it is one sound in which partials of several strings
stand within a few cents of each other, so a string heard in it is less sure than one alone, and
what is wrong is wrong alike at every strum of the same strings. So a strum counts string by
string, and only
- where its uncertainty, `TOGETHER_CENTS` added for what the other strings do to it, leaves the
  limit of "in" two standard deviations away on either side,
- and where the strum before said the same within `AGREE_CENTS`, as two readings have to.
A string that is not heard in a strum proves nothing: it keeps its place.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

from station.measure.strum.types import StringHeard, Strum
from station.music.catalogue import OpenString, Tuning
from station.music.pitch import cents_between
from station.music.verdict import Verdict, verdict
from station.room.hearing import AGREE_CENTS, OTHER_NOTE_CENTS, STEADY_CENTS
from station.room.model import StringState
from station.room.seats import Seat

TOGETHER_CENTS = 0.5
"""What the strings of a strum may do to each other's pitch, one standard deviation."""

Data = dict[str, Any]


class StrumRow(NamedTuple):
    """One string of a strum. `place` numbers the strings of a course that has one number (1 is
    the lower), 0 where it stands alone; `together`: its pitch is that of others, too."""

    string: int
    place: int
    note: str
    target_hz: float
    hz: float | None
    cents: float
    uncertainty_cents: float
    verdict: Verdict | None
    together: bool
    earlier: bool = False  # heard in a strum before this one

    @property
    def heard(self) -> bool:
        return self.hz is not None


class Earlier(NamedTuple):
    """What the strum before said of a string."""

    cents: float
    uncertainty_cents: float


def strum_rows(strum: Strum, tuning: Tuning, a4_hz: float, in_cents: float) -> tuple[StrumRow, ...]:
    """Every string of the tuning, the highest number first, as the strum has it."""
    known = {string.number: string for string in tuning.strings}
    rows = [
        _row(heard, known[number], a4_hz, in_cents)
        for heard in strum.strings
        for number in heard.numbers
        if number in known
    ]
    return tuple(sorted(rows, key=lambda row: (-row.string, row.place)))


def _row(heard: StringHeard, string: OpenString, a4_hz: float, in_cents: float) -> StrumRow:
    target_hz = string.target_hz(a4_hz)
    if heard.hz is None or heard.uncertainty_cents is None:
        return StrumRow(
            string.number, heard.of_course, string.note, target_hz, None, 0.0, 0.0, None, False
        )
    cents = cents_between(heard.hz, target_hz)
    return StrumRow(
        string.number,
        heard.of_course,
        string.note,
        target_hz,
        heard.hz,
        cents,
        heard.uncertainty_cents,
        verdict(cents, in_cents),
        heard.together,
    )


def touched_up(fresh: Sequence[StrumRow], before: Sequence[StrumRow]) -> tuple[StrumRow, ...]:
    """The rows to show: a strum's own, or, after one string or two were played by themselves,
    those with what was known of the others.

    A sound of fewer than half of the strings is no strum that misses the rest.
    """
    if 2 * sum(row.heard for row in fresh) >= len(fresh):
        return tuple(fresh)
    heard = {row.string for row in fresh if row.heard}
    kept = [row._replace(earlier=True) for row in before if row.string not in heard]
    known = {row.string for row in kept}
    shown = [row for row in fresh if row.string in heard or row.string not in known]
    return tuple(sorted([*shown, *kept], key=lambda row: (-row.string, row.place)))


def first_to_do(rows: Sequence[StrumRow]) -> StrumRow | None:
    """The string that is farthest out; None where all that were heard are in."""
    out = [row for row in rows if row.verdict not in (None, "in")]
    return max(out, key=lambda row: abs(row.cents), default=None)


def strum_as_json(
    strum: Strum, rows: Sequence[StrumRow], counted: frozenset[int], number: int
) -> Data:
    """A strum as the page has it; `counted` are the strings that count for the roll call."""
    first = first_to_do(rows)
    return {
        "number": number,
        "at_s": round(strum.at_s, 3),
        "heard_s": round(strum.heard_s, 3),
        "clipped": strum.clipped,
        "strings": [_row_as_json(row, row.string in counted) for row in rows],
        "first": None if first is None else first.string,
        "first_place": 0 if first is None else first.place,
        "missing": sorted({row.string for row in rows if not row.heard}, reverse=True),
    }


def _row_as_json(row: StrumRow, counts: bool) -> Data:
    return {
        "string": row.string,
        "place": row.place,
        "note": row.note,
        "cents": round(row.cents, 2) if row.heard else None,
        "uncertainty_cents": round(row.uncertainty_cents, 3) if row.heard else None,
        "verdict": row.verdict,
        "together": row.together,
        "counts": counts and row.heard and not row.earlier,
        "earlier": row.earlier,
    }


# -- the roll call ---------------------------------------------------------------------


def earlier_of(rows: Sequence[StrumRow]) -> dict[tuple[int, int], Earlier]:
    """What the next strum is held against, by string and place in its course."""
    return {
        (row.string, row.place): Earlier(row.cents, row.uncertainty_cents)
        for row in rows
        if row.heard
    }


def counting(
    rows: Sequence[StrumRow], before: Mapping[tuple[int, int], Earlier], in_cents: float
) -> frozenset[int]:
    """The strings of which this strum, after the one before, may move the roll call.

    Of a course with one number all of its strings have to be sure.
    """
    sure: dict[int, bool] = {}
    for row in rows:
        earlier = before.get((row.string, row.place))
        fits = row.heard and _is_sure(row, earlier, in_cents)
        sure[row.string] = sure.get(row.string, True) and fits
    return frozenset(number for number, fits in sure.items() if fits)


def _is_sure(row: StrumRow, earlier: Earlier | None, in_cents: float) -> bool:
    if earlier is None or abs(row.cents - earlier.cents) > AGREE_CENTS:
        return False
    if max(row.uncertainty_cents, earlier.uncertainty_cents) > STEADY_CENTS:
        return False
    doubt_cents = 2.0 * math.hypot(row.uncertainty_cents, TOGETHER_CENTS)
    return abs(abs(row.cents) - in_cents) >= doubt_cents


def enter(seat: Seat, rows: Sequence[StrumRow], counted: frozenset[int], now_s: float) -> bool:
    """Note the strum down for the player's strings; whether the roll call moved.

    Of a course with one number the string that is farther out speaks for both.
    """
    moved = False
    heard = sorted((row for row in rows if row.heard), key=lambda row: abs(row.cents))
    for row in heard:
        state = seat.strings.get(row.string)
        if state is None or row.string not in counted:
            continue
        roll = state.roll
        far = abs(row.cents) > OTHER_NOTE_CENTS and state.roll == "in"
        if not far:
            roll = "in" if row.verdict == "in" else "out"
        seat.strings[row.string] = StringState(
            row.cents, row.uncertainty_cents, row.verdict, roll, now_s
        )
        moved |= roll != state.roll
    return moved
