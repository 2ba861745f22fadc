"""The reference: proposed, agreed on, measured; and every one the room had."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

from station.asked.asking import Asking, utc_now
from station.errors import NotNowError, StorageError
from station.room import history
from station.room.room import Decision


class AskedReference(Asking):
    """What people ask of the reference and of instruments of fixed pitch."""

    def set_reference(self, a4_hz: float, by: str, source: str) -> None:
        """Set it outright, durably; raises ReferenceRangeError, UsageError, NotAllowedError."""
        self._change(
            lambda: self.room.set_reference(a4_hz, by, source, utc_now(), time.monotonic()),
            save=True,
        )

    def propose(
        self,
        by: str,
        kind: str,
        a4_hz: float | None = None,
        instrument: str | None = None,
        rule: str | None = None,
    ) -> dict[str, Any]:
        """Put a reference to the band; raises what `Room.propose` raises."""
        return self._decide(
            lambda: self.room.propose(
                by,
                kind,
                utc_now(),
                time.monotonic(),
                a4_hz=a4_hz,
                instrument=instrument,
                rule=rule or "worst",
            )
        )

    def answer(self, proposal_id: int, player_id: str, answer: str) -> dict[str, Any]:
        """A player's yes or not yet; raises what `Room.answer` raises."""
        return self._decide(
            lambda: self.room.answer(proposal_id, player_id, answer, utc_now(), time.monotonic())
        )

    def withdraw(self, proposal_id: int, by: str) -> dict[str, Any]:
        """Take a proposal back; raises what `Room.withdraw` raises."""
        return self._decide(lambda: self.room.withdraw(proposal_id, by, time.monotonic()))

    def undo(self, by: str) -> None:
        """Go back to the reference before; raises NotNowError and NotAllowedError."""
        self._change(lambda: self.room.undo(by, utc_now(), time.monotonic()))

    def references(self) -> list[dict[str, Any]]:
        """Every reference the room had, newest first."""
        return history.to_json(self._log())

    def references_csv(self) -> str:
        """The same as a table."""
        return history.to_csv(self._log())

    def on_presence(self, player_ids: list[str]) -> None:
        """These players' phones are here now, and no others."""
        self._change(lambda: self.room.set_present(player_ids, time.monotonic()))

    def _decide(self, ask: Callable[[], Decision]) -> dict[str, Any]:
        replies: list[dict[str, Any]] = []

        def change() -> Any:
            decision = ask()
            replies.append(decision.reply)
            return decision.events

        self._change(change)
        return replies[0]

    def _log(self) -> list[history.LogEntry]:
        """Of all runs where the log can be read, else of this one."""
        try:
            stored = self.keeping.store.log() if self.keeping.store is not None else []
        except StorageError:
            stored = []
        return history.merged(stored, self.room.log())

    # -- instruments of fixed pitch ----------------------------------------------

    def begin_measuring(
        self, player: str | None = None, line: int | None = None, name: str | None = None
    ) -> None:
        """Listen to an instrument; raises what `Room.begin_measuring` raises."""
        self._change(
            lambda: self.room.begin_measuring(
                utc_now(), time.monotonic(), player=player, line=line, name=name or ""
            )
        )

    def finish_measuring(self, by: str) -> None:
        """Keep what was measured; raises NotNowError."""
        self._change(lambda: self.room.finish_measuring(by, utc_now(), time.monotonic()))

    def cancel_measuring(self, by: str) -> None:
        """Keep nothing of it; raises NotNowError."""
        self._change(lambda: self.room.cancel_measuring(by, time.monotonic()))

    def forget_measured(self, instrument_id: str, by: str) -> None:  # noqa: ARG002 - the page's
        """Raises UnknownMeasurementError."""
        self._change(lambda: self.room.forget_measured(instrument_id, time.monotonic()))

    def _reference_button(self, long: bool) -> None:
        """The box's button: listen, adopt, or, held, cancel."""
        self._change(lambda: self._pressed(long))

    def _pressed(self, long: bool) -> Any:
        try:
            return self.room.press_reference_button(utc_now(), time.monotonic(), long)
        except NotNowError:  # a press that came too late has nothing to undo
            return []
