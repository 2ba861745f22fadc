"""How the invented station measures: the room's own keeping of instruments, fed by a test."""

from __future__ import annotations

from typing import Any

from station.room.instrument import Source
from station.room.measured import Measured
from tests.support.fake_reference import iso_now
from tests.support.invented import invented_instrument


class FakeMeasuring(Measured):
    """The instruments measured, and the one being measured, which a test lets be heard."""

    def begin_at(self, source: Source, now_s: float) -> None:
        self.begin([source], iso_now(), now_s)

    def hear_instrument(self, instrument: str | dict[str, Any], sounding: bool) -> None:
        """What is measured so far: one of the ready-made instruments, or one of a test's own."""
        measuring = self.measuring
        assert measuring is not None, "nothing is being measured"
        source = measuring.sources[0]
        heard = invented_instrument(instrument) if isinstance(instrument, str) else instrument
        measuring.sounding = {source.line} if sounding else set()
        measuring.instrument = {
            "id": source.id,
            "name": source.name,
            "line": source.line,
            "measured_at": measuring.began_at,
            **heard,
        }

    def snapshot(self, a4_hz: float) -> dict[str, Any]:
        """The room's "measuring", "measured" and "compromise"."""
        return {
            "measuring": self.measuring_as_json(a4_hz),
            "measured": self.as_json(a4_hz),
            "compromise": self.compromise(),
        }
