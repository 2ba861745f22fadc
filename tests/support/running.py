"""Whole stations in the test's own process, and that none outlives it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Any

from station.daemon import TunerStation
from station.probe import Probe
from station.room.model import Player
from station.settings import LampSettings, PageSettings, Settings, StationSettings
from station.settings_model import InputSettings
from tests.support.hand_input import HandInput

CODE = "hemlock-9"
TOVE = Player("tove", "Tove", "guitar", "standard", line=1)
BRANNOCK = Player("brannock", "Brannock", "bass", "standard", line=2)

Start = Callable[..., TunerStation]


def cellar(folder: Path, *players: Player) -> Settings:
    """A room kept in `folder`, three lines wide, on a free port, with pins that only pretend."""
    return Settings(
        station=StationSettings("Cellar room", CODE, folder / "state"),
        input=InputSettings("by hand", channels=3),
        page=PageSettings("127.0.0.1", 0),
        lamps=LampSettings("mock"),
        players=players,
    )


@contextmanager
def starting(settings: Settings, **usual: Any) -> Iterator[Start]:
    """What starts a station; whatever still runs at the end is stopped."""
    with ExitStack() as running:

        def begin(make_input: Any = None, of: Settings = settings, **options: Any) -> TunerStation:
            options = {**usual, **options}
            made = TunerStation(of, make_input or HandInput(), Probe("numpy"), **options)
            return running.enter_context(made)

        yield begin
