"""The room's instruments of fixed pitch: measured on the page or with the box's button. Pure."""

from __future__ import annotations

from abc import abstractmethod
from collections.abc import Iterable
from typing import Literal

from station.errors import ReferenceRangeError
from station.measure.fixed.types import FixedNote
from station.room.board import Board
from station.room.measured import Measured
from station.room.model import Event, Reference
from station.room.offers import measured_offer
from station.room.proposal import Offer
from station.room.roster import Roster

BY_BOX = "the box"


class FixedPitch(Board):
    """The third of a room that measures what cannot be tuned."""

    _roster: Roster
    _measured: Measured

    @abstractmethod
    def _take(
        self,
        new: Reference,
        kind: Literal["adopted", "set"],
        offer: Offer | None = None,
        away: tuple[str, ...] = (),
    ) -> None:
        """A reference holds from now on."""

    def measure(
        self, line: int, notes: Iterable[FixedNote], sounding: bool, now_s: float
    ) -> list[Event]:
        """Take in what the ear for fixed pitch told of a line (of `measuring_lines`)."""
        return self._room_event(self._measured.hear(line, notes, sounding, now_s), now_s)

    def measuring_lines(self) -> frozenset[int]:
        """The lines on which an instrument of fixed pitch is being measured."""
        return self._measured.lines()

    def begin_measuring(
        self,
        at: str,
        now_s: float,
        *,
        player: str | None = None,
        line: int | None = None,
        name: str = "",
    ) -> list[Event]:
        """Listen to a player's instrument, or to another on a line, until it is measured.

        Raises UsageError (UnknownPlayerError) for what cannot be meant, and
        NotNowError while another is being measured.
        """
        source = self._roster.source(player, line, name)
        return self._room_event(self._measured.begin([source], at, now_s), now_s)

    def finish_measuring(self, by: str, at: str, now_s: float) -> list[Event]:
        """Keep what was measured; raises NotNowError when nothing was."""
        self._roster.who(by)
        self._measured.finish(at)
        return self._room_event(True, now_s)

    def cancel_measuring(self, by: str, now_s: float) -> list[Event]:
        """Keep nothing of it; raises NotNowError when nothing is being measured."""
        self._roster.who(by)
        self._measured.cancel()
        return self._room_event(True, now_s)

    def forget_measured(self, instrument_id: str, now_s: float) -> list[Event]:
        """Raises UnknownMeasurementError."""
        self._measured.forget(instrument_id)
        return self._room_event(True, now_s)

    def press_reference_button(self, at: str, now_s: float, long: bool = False) -> list[Event]:
        """The box's button: listen; press again to adopt what was measured; long to cancel.

        Until a note has been heard the second press does nothing. A pitch no
        band could tune to is kept as measured, but not adopted.
        """
        self._pass_time(now_s)
        measuring = self._measured.measuring
        if measuring is None:
            began = not long and self._measured.begin(self._roster.sources(), at, now_s)
            return self._room_event(began)
        if long:
            self._measured.cancel()
        elif measuring.instrument is None:
            return []
        else:
            self._adopt_measured(at)
        return self._room_event(True)

    def _adopt_measured(self, at: str) -> None:
        instrument = self._measured.finish(at)
        try:
            offer = measured_offer(instrument)
        except ReferenceRangeError:
            return
        self._take(Reference(offer.a4_hz, at, BY_BOX, offer.reason), "adopted", offer)
