"""What a settings file can say, as values; ``station/settings.py`` reads and checks them."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from types import MappingProxyType
from typing import Literal

from station.errors import StorageError
from station.lamps.pins import BAND, COLUMN, QUIET_BUTTON, REFERENCE_BUTTON
from station.lamps.wiring import Wiring, own_wiring
from station.music.names import NamingSystem
from station.music.tunings import Instrument, Tuning, load_instruments
from station.room.model import Player
from station.room.quiet import Automatic

HOME_FOLDER = "~/.local/state/rehearsal-room-station"
SERVICE_FOLDER = Path("/var/lib/rehearsal-room-station")
"""Where the installed service keeps its state (StateDirectory= of the unit)."""


@dataclass(frozen=True, slots=True)
class StationSettings:
    """The box itself. ``data_dir`` None means ``Settings.data_dir`` finds one.

    ``note_names`` is the system in which notes are shown to people; what
    settings and the API spell is always English.
    """

    name: str = "Rehearsal room"
    room_code: str = ""
    data_dir: Path | None = None
    a4_hz: float = 440.0
    in_cents: float = 2.0
    note_names: NamingSystem = "english"


@dataclass(frozen=True, slots=True)
class InputSettings:
    """The line input; ``channels`` is the number of lines."""

    device: str = "default"
    rate_hz: int = 48000
    channels: int = 2
    sample_format: Literal["int16", "int24", "float32"] = "int16"
    frames_per_block: int = 1024


@dataclass(frozen=True, slots=True)
class PageSettings:
    """Where the page is served."""

    host: str = "0.0.0.0"  # noqa: S104 - phones on the room's network must reach it
    port: int = 8000
    max_streams: int = 64


@dataclass(frozen=True, slots=True)
class LampSettings:
    """Which pins the lamps use, and whom the column shows (empty: whoever sounds first).

    ``column`` is its GPIO numbers from bottom to top, 3, 5 or 7 of them; of band lamp and
    buttons None are those that are not wired.
    """

    mode: Literal["gpio", "mock", "off"] = "gpio"
    player: str = ""
    column: tuple[int, ...] = tuple(lamp.bcm for lamp in COLUMN)
    band: int | None = BAND.bcm
    quiet_button: int | None = QUIET_BUTTON.bcm
    reference_button: int | None = REFERENCE_BUTTON.bcm

    def wiring(self) -> Wiring:
        """Lamps and buttons on their pins; raises LampMapError for what cannot be wired."""
        return own_wiring(self.column, self.band, self.quiet_button, self.reference_button)


@dataclass(frozen=True, slots=True)
class AgreementSettings:
    """Who decides on a reference: everyone who is there, or ``leader``, a player's id."""

    decides: Literal["everyone", "leader"] = "everyone"
    leader: str = ""


@dataclass(frozen=True, slots=True)
class ToneSettings:
    """Where the reference tone comes out: a sound card by its name, or "off"."""

    device: str = "default"


@dataclass(frozen=True, slots=True)
class QuietSettings:
    """When the station goes quiet by itself (`station.room.quiet.AutoQuiet`)."""

    automatic: Automatic = "off"


FIRST_PLAYER = Player("player-1", "Player 1", "guitar", "standard", line=1)


@dataclass(frozen=True, slots=True)
class Settings:
    """Everything a settings file can say, checked."""

    station: StationSettings = field(default_factory=StationSettings)
    input: InputSettings = field(default_factory=InputSettings)
    page: PageSettings = field(default_factory=PageSettings)
    lamps: LampSettings = field(default_factory=LampSettings)
    agreement: AgreementSettings = field(default_factory=AgreementSettings)
    tone: ToneSettings = field(default_factory=ToneSettings)
    quiet: QuietSettings = field(default_factory=QuietSettings)
    players: tuple[Player, ...] = (FIRST_PLAYER,)
    tunings: tuple[Tuning, ...] = ()
    remarks: tuple[str, ...] = ()
    """What every page says of these settings; not in any file."""

    def instruments(self) -> Mapping[str, Instrument]:
        """Every instrument, with the tunings of these settings among its own."""
        return with_tunings(self.tunings)

    def data_dir(self) -> Path:
        """Where to keep the room's state: as set, as the service manager says, else at home.

        Root, who looks after an installed service, means the service's own folder.
        Raises StorageError for a user without a home folder.
        """
        given = os.environ.get("STATE_DIRECTORY", "").partition(":")[0]
        if not given and os.geteuid() == 0 and SERVICE_FOLDER.is_dir():
            given = str(SERVICE_FOLDER)
        try:
            return self.station.data_dir or Path(given or HOME_FOLDER).expanduser()
        except RuntimeError:
            raise StorageError(
                "no folder for the room's state: this user has no home folder;"
                " set data_dir in [station], or HOME"
            ) from None


def with_tunings(tunings: tuple[Tuning, ...]) -> Mapping[str, Instrument]:
    """Every instrument, with custom tunings among those of their instruments."""
    instruments = dict(load_instruments())
    for tuning in tunings:
        instrument = instruments[tuning.instrument]
        merged = MappingProxyType({**instrument.tunings, tuning.key: tuning})
        instruments[tuning.instrument] = replace(instrument, tunings=merged)
    return MappingProxyType(instruments)
