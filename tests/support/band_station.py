"""A whole station without sound, for tests of the page: what its listeners would say a test says.

Room, storage, lamps (mock pins), page and routes are the real ones.
"""

from __future__ import annotations

import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from station.daemon import TunerStation
from station.measure.types import Level, Note, Reading
from station.music.pitch import midi_to_hz, shift_cents
from station.probe import Probe
from station.room.model import Player
from station.settings import LampSettings, PageSettings, Settings, StationSettings
from station.settings_model import InputSettings
from station.sound.tone_muted import MutedToneOut
from tests.support.hand_input import HandInput
from tests.support.reference_page import CODE

LINES = 4


class BandStation(TunerStation):
    """Plays the part of the listeners. ``port`` is the page's."""

    @property
    def port(self) -> int:
        return self.page.port

    def _target_hz(self, player_id: str, string: int) -> tuple[int, float]:
        seat = self.room.context.roster.seat(player_id)
        wanted = next(each for each in seat.open_strings() if each.number == string)
        return seat.player.line, wanted.target_hz(self.room.reference.a4_hz)

    def sound(self, player_id: str, string: int, cents: float = 0.0) -> None:
        """Two readings of a string that goes on sounding."""
        line, hz = self._target_hz(player_id, string)
        self.sound_hz(line, shift_cents(hz, cents))

    def sound_hz(self, line: int, hz: float) -> None:
        at_s = time.monotonic()
        for later_s in (0.0, 0.02):
            self._hear([Reading(line, at_s + later_s, hz, 0.1, 1e-4, 12, at_s - 0.5)])

    def sound_note(self, line: int, midi: int) -> None:
        self.sound_hz(line, midi_to_hz(midi, self.room.reference.a4_hz))

    def play(self, player_id: str, string: int, cents: float = 0.0) -> None:
        """A whole note of a string, told once it has ended."""
        line, hz = self._target_hz(player_id, string)
        at_s = time.monotonic()
        self._hear([Note(line, at_s - 1.0, at_s, shift_cents(hz, cents), 0.1, 1e-4, 12)])

    def play_all(self, player_id: str, cents: float = 0.0) -> None:
        seat = self.room.context.roster.seat(player_id)
        for string in seat.open_strings():
            self.play(player_id, string.number, cents)

    def let_pass(self, seconds: float) -> None:
        """As if so many seconds had gone by for strings that creep and for turns."""
        later_s = time.monotonic() + seconds
        self._change(lambda: self.room.tick("", later_s))


def settings_of(*players: Player, rate_hz: int = 48_000, **station: Any) -> Settings:
    return Settings(
        station=StationSettings("Cellar room", CODE, **station),
        input=InputSettings("by hand", channels=LINES, rate_hz=rate_hz),
        page=PageSettings("127.0.0.1", 0),
        lamps=LampSettings("mock"),
        players=players,
    )


@contextmanager
def band_station(
    *players: Player,
    songs: list[Any] | None = None,
    sound: HandInput | None = None,
    rate_hz: int = 48_000,
) -> Iterator[BandStation]:
    """A running station of these players, with these songs; it hears what ``sound`` plays."""
    station = BandStation(
        settings_of(*players, rate_hz=rate_hz),
        sound or HandInput(),
        Probe("numpy"),
        keep=False,
        make_tone_out=lambda _, on_tone: MutedToneOut(on_tone),
    )
    with station:
        for line in range(1, LINES + 1) if sound is None else ():
            station._hear([Level(line, 0.1, -40.0, -30.0, 0.0, False, "signal")])
        if songs:
            station.read_songs("test", songs=songs)
        yield station
