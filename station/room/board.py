"""What the station says of itself: its parts' state and what people must be told. Pure."""

from __future__ import annotations

from abc import ABC, abstractmethod
from dataclasses import asdict, replace
from typing import Any

from station.errors import NotNowError
from station.room.lines import Lines
from station.room.model import Clock, Event, InputStatus, LampStatus, Station, Tone, ToneOut


class Board(ABC):
    """The half of a room that the daemon keeps up to date and nobody in the band decides.

    Every method gives a ``room`` event when something changed. ``now_s`` None
    leaves the time where it was.
    """

    def __init__(self, station: Station, lines: Lines, in_cents: float) -> None:
        self.station = station
        self.in_cents = in_cents
        self.input = InputStatus()
        self.lamps = LampStatus()
        self.clock = Clock()
        self.tone_out = ToneOut()
        self.tone: Tone | None = None
        self._lines = lines
        self._banners: list[str] = []
        self._now_s = 0.0

    @abstractmethod
    def snapshot(self, now_s: float) -> dict[str, Any]:
        """The whole room as JSON data."""

    def set_station(self, now_s: float | None = None, **changes: Any) -> list[Event]:
        """Change what the station says of itself, by the names of `Station`."""
        if "addresses" in changes:
            changes["addresses"] = tuple(changes["addresses"])
        before, self.station = self.station, replace(self.station, **changes)
        return self._room_event(self.station != before, now_s)

    def set_quiet(self, quiet: bool, now_s: float) -> list[Event]:
        """No sound from the box and dimmed lamps, or not; quiet ends the tone."""
        self._pass_time(now_s)
        ended = self._end_tone() if quiet else False
        changed = self.station.quiet != quiet
        self.station = replace(self.station, quiet=quiet)
        return self._room_event(changed or ended)

    def set_input_state(
        self,
        state: str,
        device: str = "",
        reason: str | None = None,
        overruns: int = 0,
        restarts: int = 0,
        now_s: float | None = None,
    ) -> list[Event]:
        """Say whether the line input is ``listening``, ``waiting`` or ``failed``."""
        before = self.input
        self.input = InputStatus(state, device, reason, overruns, restarts)
        if state != "listening":
            self._lines.forget()
        return self._room_event(self.input != before, now_s)

    def set_lamp_state(
        self, state: str, reason: str | None = None, now_s: float | None = None
    ) -> list[Event]:
        """Say whether the lamps are ``lit`` or ``off``."""
        before, self.lamps = self.lamps, LampStatus(state, reason)
        return self._room_event(self.lamps != before, now_s)

    def set_clock(self, clock: Clock, now_s: float | None = None) -> list[Event]:
        """Say how far the sound card's rate is known."""
        before, self.clock = self.clock, clock
        return self._room_event(clock != before, now_s)

    def set_tone_out(
        self, state: str, reason: str | None = None, now_s: float | None = None
    ) -> list[Event]:
        """Say whether the station could sound the reference: ``ready``, ``off``, ``failed``."""
        before, self.tone_out = self.tone_out, ToneOut(state, reason)
        return self._room_event(self.tone_out != before, now_s)

    def set_tone(self, tone: Tone, now_s: float) -> list[Event]:
        """The station sounds a tone from now on; what is heard meanwhile proves nothing.

        Raises NotNowError in quiet.
        """
        self._pass_time(now_s)
        if self.station.quiet:
            raise NotNowError("the station is in quiet: it makes no sound until that is ended")
        self.tone = tone
        self._lines.tone_until(tone.ends_at_s)
        return self._room_event(True)

    def clear_tone(self, now_s: float) -> list[Event]:
        """The tone has ended."""
        self._pass_time(now_s)
        return self._room_event(self._end_tone())

    def add_banner(self, text: str, now_s: float | None = None) -> list[Event]:
        """Show a line of text on every page until it is removed; once, however often added."""
        if text in self._banners:
            return []
        self._banners.append(text)
        return self._room_event(True, now_s)

    def remove_banner(self, text: str, now_s: float | None = None) -> list[Event]:
        if text not in self._banners:
            return []
        self._banners.remove(text)
        return self._room_event(True, now_s)

    def _end_tone(self) -> bool:
        if self.tone is None:
            return False
        self._lines.tone_until(min(self._now_s, self.tone.ends_at_s))
        self.tone = None
        return True

    def _board(self) -> dict[str, Any]:
        """The snapshot's part on the station."""
        return {
            **self.station.as_json(),
            "in_cents": self.in_cents,
            "input": asdict(self.input),
            "lamps": asdict(self.lamps),
            "clock": self.clock.as_json(),
            "tone_out": asdict(self.tone_out),
            "banners": list(self._banners),
        }

    def _pass_time(self, now_s: float | None) -> None:
        if now_s is not None:
            self._now_s = now_s

    def _room_event(self, changed: bool, now_s: float | None = None) -> list[Event]:
        self._pass_time(now_s)
        return [Event("room", "room", self.snapshot(self._now_s))] if changed else []
