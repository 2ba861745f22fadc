"""What a rehearsal's record holds. Times ``at_s`` are seconds since the rehearsal began.

They are of a clock that no change of the time of day can move; ``began_at`` alone is wall-clock
time (ISO 8601, UTC), for people.
"""

from __future__ import annotations

from dataclasses import dataclass, field, fields
from typing import Any, Literal

Kind = Literal["reading", "check", "reference", "gap", "drift"]


@dataclass(frozen=True, slots=True)
class Row:
    """One thing that was noted; what does not belong to its kind is None.

    ``reading``: a string as last heard, at most one a minute and string. ``check``: its place in
    the roll call changed to ``word`` ("in", "out"). ``reference``: A4 is ``hz`` from now
    on, ``word`` says by whom and from what. ``gap``: a pause between songs, until ``end_s``.
    ``drift``: at a gap a string (None: the player altogether; player "": the whole band)
    was found to have drifted.
    """

    kind: Kind
    at_s: float
    player: str = ""
    string: int | None = None
    cents: float | None = None
    uncertainty_cents: float | None = None
    hz: float | None = None
    end_s: float | None = None
    word: str = ""


ROW_KEYS = tuple(each.name for each in fields(Row))


@dataclass(frozen=True, slots=True)
class Rehearsal:
    """A rehearsal as it is listed; ``number`` counts from 1 and is never given twice."""

    number: int
    began_at: str
    lasted_s: float
    room: str = ""
    players: dict[str, str] = field(default_factory=dict)
    """Names as they were then, by the players' ids."""

    def as_json(self) -> dict[str, Any]:
        return {
            "rehearsal": self.number,
            "began_at": self.began_at,
            "lasted_s": self.lasted_s,
            "room": self.room,
            "players": self.players,
        }
