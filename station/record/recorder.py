"""What of the room is worth noting: told by its snapshots, thinned, and held until it is due. Pure.

A rehearsal begins with the first string or song that is heard and has ended when nothing was
heard for `OVER_S`. Nothing is noted between rehearsals, so an idle room has nothing to store.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from station.record.model import Row

READING_EVERY_S = 60.0
"""A string is noted at most so often: an evening of four hours and 40 strings stays below 1 MB."""
WRITE_EVERY_S = 60.0
OVER_S = 45.0 * 60.0
WAITING_MAX = 5000
"""Rows that wait for storage that does not take them: about 1 MB."""
BREAK_S = 5.0
"""A pause shorter than this is a rest in a song."""

Snapshot = Mapping[str, Any]


@dataclass(slots=True)
class _Gap:
    """A pause that goes on: where it began in the rehearsal, and on the caller's clock."""

    at_s: float
    now_s: float
    drifts_noted: bool = False


class Recorder:
    """Takes a snapshot a second, gives rows about once a minute.

    ``take`` is given wall-clock text for the rehearsal's beginning, and seconds of a
    monotonic clock for all else.
    """

    def __init__(self) -> None:
        self.began_at = ""
        self.room = ""
        self.players: dict[str, str] = {}
        self._began_s: float | None = None
        self._heard_at_s = 0.0
        self._given_at_s = float("-inf")
        self._rows: list[Row] = []
        self._noted: dict[tuple[str, int], float] = {}
        self._rolls: dict[tuple[str, int], str] = {}
        self._reference: tuple[float, str] | None = None
        self._gap: _Gap | None = None

    @property
    def under_way(self) -> bool:
        """Whether a rehearsal is going on."""
        return self._began_s is not None

    def take(self, room: Snapshot, at: str, now_s: float) -> None:
        """Note what is new in the room."""
        if self._sounds(room):
            self._heard_at_s = now_s
            if self._began_s is None:
                self._begin(room, at, now_s)
        if self._began_s is None:
            return
        self.players = {each["id"]: each["name"] for each in room["players"]}
        self._take_reference(room)
        self._take_strings(room)
        self._take_evening(_evening(room), now_s)

    def over(self, now_s: float) -> bool:
        """Whether a rehearsal that was under way has ended; `end` it then."""
        return self._began_s is not None and now_s - self._heard_at_s > OVER_S

    def end(self) -> None:
        """Forget the rehearsal; the next sound begins another."""
        self.__init__()  # type: ignore[misc]

    def lasted_s(self) -> float:
        """From the rehearsal's beginning to what was heard last."""
        return 0.0 if self._began_s is None else self._heard_at_s - self._began_s

    def due(self, now_s: float) -> bool:
        """Whether rows wait and it is a minute since the last were given."""
        return bool(self._rows) and now_s - self._given_at_s >= WRITE_EVERY_S

    def give(self, now_s: float) -> list[Row]:
        """The rows that wait; `give_back` those that could not be stored."""
        rows, self._rows = self._rows, []
        self._given_at_s = now_s
        return rows

    def give_back(self, rows: list[Row]) -> None:
        """They could not be stored: they wait again, the oldest readings giving way."""
        self._rows = [*rows, *self._rows][-WAITING_MAX:]

    # -- what is new -------------------------------------------------------------

    def _begin(self, room: Snapshot, at: str, now_s: float) -> None:
        self.began_at, self.room, self._began_s = at, room["station"]["name"], now_s
        self._rolls = {key: each["roll"] for key, each in _strings(room)}

    def _sounds(self, room: Snapshot) -> bool:
        if _evening(room).get("state") in ("playing", "tuning"):
            return True
        return any(each["age_s"] is not None and each["age_s"] < 2.0 for _, each in _strings(room))

    def _now_s(self) -> float:
        return self._heard_at_s - (self._began_s or 0.0)

    def _take_reference(self, room: Snapshot) -> None:
        told = room["reference"]
        now = (float(told["a4_hz"]), str(told["source"]))
        if now != self._reference:
            self._reference = now
            by = f"{told['by']}: " if told["by"] else ""
            self._rows.append(Row("reference", self._now_s(), hz=now[0], word=f"{by}{now[1]}"))

    def _take_strings(self, room: Snapshot) -> None:
        now_s = self._now_s()
        for key, each in _strings(room):
            player, string = key
            if each["age_s"] is not None and each["age_s"] < 2.0 and self._is_due(key, now_s):
                self._noted[key] = now_s
                found = (each["cents"], each["uncertainty_cents"])
                self._rows.append(Row("reading", now_s, player, string, *found))
            if each["roll"] != self._rolls.get(key, "not heard"):
                if each["roll"] != "not heard":
                    self._rows.append(
                        Row("check", now_s, player, string, each["cents"], word=each["roll"])
                    )
                self._rolls[key] = each["roll"]

    def _is_due(self, key: tuple[str, int], now_s: float) -> bool:
        return now_s - self._noted.get(key, float("-inf")) >= READING_EVERY_S

    def _take_evening(self, evening: Snapshot, now_s: float) -> None:
        at_s = self._now_s()
        in_gap = evening.get("state") in ("gap", "tuning")
        if in_gap and self._gap is None:
            self._gap = _Gap(at_s, now_s)
        elif in_gap and self._gap is not None and not self._gap.drifts_noted:
            # By then the room has worked out who drifted, and nobody has tuned yet.
            if now_s - self._gap.now_s >= BREAK_S:
                self._gap.drifts_noted = True
                self._rows += _drifts(evening, self._gap.at_s)
        elif not in_gap and self._gap is not None:
            if at_s - self._gap.at_s >= BREAK_S:
                self._rows.append(Row("gap", self._gap.at_s, end_s=at_s))
            self._gap = None


def _strings(room: Snapshot) -> list[tuple[tuple[str, int], Mapping[str, Any]]]:
    return [
        ((player["id"], string["string"]), string)
        for player in room["players"]
        for string in player["strings"]
    ]


def _evening(room: Snapshot) -> Mapping[str, Any]:
    return room.get("evening") or {}


def _drifts(evening: Mapping[str, Any], now_s: float) -> list[Row]:
    """What the gap's list says of strings, of players, and of the whole band."""
    rows = [
        Row(
            "drift",
            now_s,
            each["player"],
            each.get("string"),
            each["cents"],
            each.get("uncertainty_cents"),
        )
        for each in evening.get("drifted") or ()
    ]
    common = evening.get("common") or {}
    if common.get("cents") is not None:
        rows.append(
            Row(
                "drift",
                now_s,
                cents=common["cents"],
                uncertainty_cents=common.get("uncertainty_cents"),
            )
        )
    return rows
