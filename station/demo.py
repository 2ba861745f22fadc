"""The settings of `station demo`."""

from __future__ import annotations

from dataclasses import replace

from station.room.model import Player
from station.settings import Settings
from station.settings_model import AgreementSettings


def demo_settings(settings: Settings, port: int | None, a4_hz: float | None) -> Settings:
    """`settings` with the simulated band for players and mock pins for lamps."""
    # Imported late: the band's sound is made by what only the demo needs.
    from station.sound.band import BAND

    players = tuple(Player(m.id, m.name, m.instrument, line=m.line) for m in BAND)
    page = settings.page if port is None else replace(settings.page, port=port)
    station = settings.station if a4_hz is None else replace(settings.station, a4_hz=a4_hz)
    return replace(
        settings,
        station=station,
        page=page,
        players=players,
        input=replace(settings.input, channels=len(BAND), rate_hz=48000),
        lamps=replace(settings.lamps, mode="mock", player=""),
        agreement=AgreementSettings(),
    )
