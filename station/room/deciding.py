"""The reference and how it changes: adopted, set outright, undone; each change logged. Pure.

A new frequency resets the roll call. What it was is kept, so that undoing one
step gives back the reference before and the roll call of every string that
nobody has sounded since; a string heard since was judged by the other
reference and counts as not heard. Each step can be undone once; an undoing cannot be.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from station.errors import NotNowError, UsageError
from station.music.pitch import check_a4
from station.room.agreement import hz_text
from station.room.history import LOG_MAX, ChangeKind, LogEntry
from station.room.model import ROLLS, SOURCE_LIMIT, Event, Reference
from station.room.roster import Roster

STEPS_MAX = 8
_NUMBER = (int, float, type(None))
_ROW: Mapping[str, tuple[type, ...]] = {
    "player": (str,),
    "string": (int,),
    "midi": (int,),
    "roll": (str,),
    "cents": _NUMBER,
    "uncertainty_cents": _NUMBER,
    "verdict": (str, type(None)),
}


@dataclass(frozen=True, slots=True)
class Decision:
    """What came of a proposal or an answer: ``reply`` is the JSON whoever asked gets.

    Its ``proposal`` is None once that is open no more, and ``adopted`` whether
    the reference was changed by it.
    """

    events: list[Event]
    reply: dict[str, Any]


@dataclass(frozen=True, slots=True)
class Step:
    """A reference as it was, with the roll call taken against it."""

    reference: Reference
    strings: tuple[dict[str, Any], ...]

    def as_stored(self) -> dict[str, Any]:
        return {"reference": self.reference.as_json(), "strings": list(self.strings)}


class Deciding:
    """The present reference, those before it, and the log of this run.

    ``serial`` grows by one with every change of the reference.
    """

    def __init__(self, reference: Reference, roster: Roster) -> None:
        self.reference = reference
        self.serial = 0
        self._roster = roster
        self._steps: list[Step] = []
        self._log: deque[LogEntry] = deque(maxlen=LOG_MAX)

    @property
    def undo_hz(self) -> float | None:
        """The frequency `undo` would go back to."""
        return self._steps[-1].reference.a4_hz if self._steps else None

    def log(self) -> list[LogEntry]:
        """Every change of this run, oldest first."""
        return list(self._log)

    def change(
        self,
        new: Reference,
        kind: ChangeKind,
        evidence: dict[str, Any] | None = None,
        away: tuple[str, ...] = (),
    ) -> bool:
        """Take ``new`` for the reference; whether the frequency is another."""
        moved = new.a4_hz != self.reference.a4_hz
        if moved:
            self._steps.append(Step(self.reference, tuple(self._roster.string_states())))
            del self._steps[:-STEPS_MAX]
            self._roster.forget()
        self.reference = new
        self._enter(kind, new.set_at, new.by, new.source, evidence, away)
        return moved

    def undo(self, by: str, at: str) -> None:
        """Go back one step; raises NotNowError when there is none."""
        if not self._steps:
            raise NotNowError("there is no reference before this one to go back to")
        undone, step = self.reference, self._steps.pop()
        self.reference = step.reference
        self._roster.give_back(step.strings)
        source = f"back from {hz_text(undone.a4_hz)}: {step.reference.source}"[:SOURCE_LIMIT]
        self._enter("undone", at, by, source.rstrip())

    def _enter(
        self,
        kind: ChangeKind,
        at: str,
        by: str,
        source: str,
        evidence: dict[str, Any] | None = None,
        away: tuple[str, ...] = (),
    ) -> None:
        self.serial += 1
        now = self.reference
        self._log.append(
            LogEntry(self.serial, at, now.a4_hz, kind, by, source, now.agreed, away, evidence)
        )

    # -- what is kept ------------------------------------------------------------

    def state(self) -> dict[str, Any]:
        """The reference's row for the store."""
        return {"serial": self.serial, **self.reference.as_json()}

    def steps_state(self) -> list[dict[str, Any]]:
        return [step.as_stored() for step in self._steps]

    def restore(self, stored: Mapping[str, Any]) -> None:
        """Take back what `state` gave."""
        self.serial = stored["serial"]
        self.reference = _reference(stored)

    def restore_steps(self, stored: Any) -> list[str]:
        """Take back what `steps_state` gave; a line if it cannot be used."""
        try:
            if not isinstance(stored, list):
                raise UsageError(f"{stored!r:.40} are no steps")
            self._steps = [_step(row) for row in stored][-STEPS_MAX:]
        except (KeyError, TypeError, ValueError, AttributeError) as error:
            what = " ".join(str(error).split())[:120]
            return [f"the references to go back to are lost: {what}"]
        return []


def _reference(stored: Mapping[str, Any]) -> Reference:
    return Reference(
        check_a4(stored["a4_hz"]),
        stored["set_at"],
        stored["by"],
        stored["source"],
        tuple(stored.get("agreed", ())),
    )


def _step(row: Any) -> Step:
    """Raises UsageError and the like for a row that is no step."""
    strings = tuple(dict(each) for each in row["strings"])
    for each in strings:
        if each["roll"] not in ROLLS or not all(type(each[key]) in _ROW[key] for key in _ROW):
            raise UsageError(f"{each!r:.60} is no string of a roll call")
    return Step(_reference(row["reference"]), strings)
