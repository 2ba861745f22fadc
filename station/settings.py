"""The settings file: TOML, checked as a whole, every fault reported at once.

Each fault is one line, ``file:line: key: what is wrong, the limit, the nearest
valid key``. Only a file that is not TOML stops the checking at its first fault:
past it nothing can be read. ``station/settings_example.toml`` shows every key
with what holds without it.
"""

from __future__ import annotations

import json
import secrets
from collections.abc import Mapping
from dataclasses import asdict
from difflib import get_close_matches
from pathlib import Path
from typing import Any, get_args

from station import settings_checks as check
from station import settings_pins as pins
from station.errors import SettingsError
from station.music.names import NamingSystem
from station.music.offsets import offsets_as_json
from station.music.tunings import CAPO_MAX
from station.plain_text import path_text
from station.room.model import Player
from station.room.quiet import Automatic
from station.settings_checks import Check, shown
from station.settings_entries import Entry, Tunings, read_players, read_tunings
from station.settings_model import (
    FIRST_PLAYER,
    AgreementSettings,
    InputSettings,
    LampSettings,
    PageSettings,
    QuietSettings,
    Settings,
    StationSettings,
    ToneSettings,
)
from station.sound.limits import (
    MAX_CHANNELS,
    MAX_FRAMES_PER_BLOCK,
    MIN_FRAMES_PER_BLOCK,
    RATES_HZ,
)
from station.toml_file import parse_toml, read_text
from station.toml_lines import key_lines, line_of

__all__ = [
    "KEYS",
    "MASK",
    "InputSettings",
    "LampSettings",
    "PageSettings",
    "Settings",
    "StationSettings",
    "default_settings",
    "effective",
    "effective_toml",
    "load_settings",
    "make_room_code",
    "parse_settings",
]

MASK = "********"
ROOM_CODE_LETTERS = "abcdefghkmnpqrstuvwxyz23456789"  # none that look alike
ROOM_CODE_LENGTH = 6


_TABLES: Mapping[str, Mapping[str, Check]] = {
    "station": {
        "name": check.text(1),
        "room_code": check.secret(64),
        "data_dir": check.folder,
        "a4_hz": check.a4,
        "in_cents": check.number(0.5, 10.0, "cents"),
        "note_names": check.one_of(*get_args(NamingSystem)),
    },
    "input": {
        "device": check.device,
        "rate_hz": check.one_of(*RATES_HZ),
        "channels": check.whole(1, MAX_CHANNELS),
        "sample_format": check.one_of("int16", "int24", "float32"),
        "frames_per_block": check.whole(MIN_FRAMES_PER_BLOCK, MAX_FRAMES_PER_BLOCK),
    },
    "page": {
        "host": check.host,
        "port": check.whole(1, 65535),
        "max_streams": check.whole(1, 256),
    },
    "lamps": {
        "mode": check.one_of("gpio", "mock", "off"),
        "player": check.text(),
        "column": pins.column,
        "band": pins.lamp,
        "quiet_button": pins.button,
        "reference_button": pins.button,
    },
    "agreement": {"decides": check.one_of("everyone", "leader"), "leader": check.text()},
    "tone": {"device": check.device_or_off},
    "quiet": {"automatic": check.one_of(*get_args(Automatic))},
}
_LISTS: Mapping[str, Mapping[str, Check]] = {
    "players": {
        "name": check.text(1),
        "id": check.player_id,
        "instrument": check.text(1),
        "tuning": check.text(),
        "line": check.whole(1, MAX_CHANNELS),
        "capo": check.whole(0, CAPO_MAX),
        "offsets_cents": check.offsets,
    },
    "tunings": {"name": check.text(1), "instrument": check.text(1), "notes": check.notes},
}
_REQUIRED = {"players": ("name", "instrument"), "tunings": ("name", "instrument", "notes")}
KEYS: Mapping[str, Mapping[str, Check]] = {**_TABLES, **_LISTS}


def default_settings() -> Settings:
    """What holds without a settings file: one guitar on line 1."""
    return Settings()


def load_settings(path: Path) -> Settings:
    """Read and check a settings file.

    Raises SettingsError with a line for every fault found.
    """
    return parse_settings(path, read_text(path))


def parse_settings(path: Path, text: str) -> Settings:
    """Check `text` as what stands in the settings file `path`; raises as `load_settings` does."""
    data = parse_toml(path, text)
    return _Reader(path, data, key_lines(text)).settings()


def effective(settings: Settings) -> dict[str, Any]:
    """The settings as plain data, the room code masked."""
    station = asdict(settings.station) | {"data_dir": str(settings.data_dir())}
    if settings.station.room_code:
        station["room_code"] = MASK
    return {
        "station": station,
        "input": asdict(settings.input),
        "page": asdict(settings.page),
        "lamps": {key: pins.spelled(value) for key, value in asdict(settings.lamps).items()},
        "agreement": asdict(settings.agreement),
        "tone": asdict(settings.tone),
        "quiet": asdict(settings.quiet),
        "players": [
            {key: getattr(player, key) for key in KEYS["players"]}
            | {"offsets_cents": offsets_as_json(player.offsets_cents)}
            for player in settings.players
        ],
        "tunings": [
            {
                "name": tuning.label,
                "instrument": tuning.instrument,
                "notes": [string.note for string in reversed(tuning.strings)],
            }
            for tuning in settings.tunings
        ],
    }


def effective_toml(settings: Settings) -> str:
    """The same as the text of a settings file."""
    blocks = []
    for table, content in effective(settings).items():
        repeated = isinstance(content, list)
        for entry in content if repeated else [content]:
            head = f"[[{table}]]" if repeated else f"[{table}]"
            keys = [f"{key} = {_toml_value(value)}" for key, value in entry.items()]
            blocks.append("\n".join([head, *keys]))
    return "\n\n".join(blocks) + "\n"


def _toml_value(value: Any) -> str:
    """A value as TOML writes it: JSON's strings, numbers and lists are also TOML's."""
    if not isinstance(value, dict):
        return json.dumps(value, ensure_ascii=False)
    return "{" + ", ".join(f"{json.dumps(k)} = {_toml_value(v)}" for k, v in value.items()) + "}"


def make_room_code() -> str:
    """A fresh room code, for a station whose settings give none."""
    return "".join(secrets.choice(ROOM_CODE_LETTERS) for _ in range(ROOM_CODE_LENGTH))


class _Reader:
    """One pass over parsed settings, collecting faults."""

    def __init__(
        self, path: Path, data: dict[str, Any], lines: Mapping[tuple[str | int, ...], int]
    ) -> None:
        self._path = path
        self._data = data
        self._lines = lines
        self._faults: dict[tuple[int, str], None] = {}

    def settings(self) -> Settings:
        for key in self._data:
            if key not in KEYS:
                self._fault((key,), check.unknown_key(key, "", KEYS))
        tables = {name: self._table(name) for name in _TABLES}
        tunings = read_tunings(self._list("tunings"), self._fault)
        line_input = InputSettings(**tables["input"])
        lines = line_input.channels if self._tells("input", "channels", tables) else MAX_CHANNELS
        players = self._players(tunings, lines, tables)
        for key, what in pins.clashes(tables["lamps"], self._data.get("lamps")):
            self._fault(("lamps", key), what)
        if self._faults:
            raise SettingsError([text for _, text in sorted(self._faults)])
        return Settings(
            StationSettings(**self._below_here(tables["station"])),
            line_input,
            PageSettings(**tables["page"]),
            LampSettings(**tables["lamps"]),
            AgreementSettings(**tables["agreement"]),
            ToneSettings(**tables["tone"]),
            QuietSettings(**tables["quiet"]),
            players,
            tunings.made,
        )

    def _tells(self, table: str, key: str, tables: Mapping[str, dict[str, Any]]) -> bool:
        """Whether the key's value is known: set and sound, or left out."""
        given = self._data.get(table, {})
        return isinstance(given, dict) and (key not in given or key in tables[table])

    def _fault(self, path: tuple[str | int, ...], what: str) -> None:
        line = line_of(self._lines, path)
        dotted = ".".join(str(part) for part in path if isinstance(part, str))
        entry = f"{path_text(self._path)}:{line}: {dotted}: {' '.join(what.split())}"
        self._faults[line, entry] = None

    def _table(self, name: str) -> dict[str, Any]:
        content = self._data.get(name, {})
        if isinstance(content, dict):
            return self._checked((name,), content, name)
        self._fault((name,), f"{shown(content)} is not a table: write [{name}] and its keys")
        return {}

    def _list(self, name: str) -> list[Entry] | None:
        """The entries of an array of tables; None where it is no such array."""
        entries = self._data.get(name, [])
        if not isinstance(entries, list) or not all(isinstance(e, dict) for e in entries):
            self._fault((name,), f"these are not entries: write [[{name}]] above each of them")
            return None
        return [self._entry((name, number), entry) for number, entry in enumerate(entries)]

    def _entry(self, path: tuple[str, int], content: dict[str, Any]) -> Entry:
        table, _ = path
        values = self._checked(path, content, table)
        missing = [key for key in _REQUIRED[table] if key not in content]
        for key in missing:
            self._fault((*path, key), "the key is missing")
        return Entry(path, values, frozenset([*missing, *(content.keys() - values.keys())]))

    def _checked(
        self, path: tuple[str | int, ...], content: dict[str, Any], table: str
    ) -> dict[str, Any]:
        """The values that hold; a fault for each key or value that does not."""
        values = {}
        for key, value in content.items():
            if key not in KEYS[table]:
                self._fault((*path, key), check.unknown_key(key, table, KEYS))
                continue
            try:
                values[key] = KEYS[table][key](value)
            except ValueError as error:
                self._fault((*path, key), str(error))
        return values

    def _players(
        self, tunings: Tunings, lines: int, tables: Mapping[str, dict[str, Any]]
    ) -> tuple[Player, ...]:
        entries = self._list("players")
        if entries is None:
            return ()
        ids: frozenset[str] | None = frozenset([FIRST_PLAYER.id])
        players: tuple[Player, ...] = (FIRST_PLAYER,)
        if entries:
            players, ids = read_players(entries, tunings, lines, self._fault)
        self._check_chosen(tables, ids)
        return players

    def _check_chosen(
        self, tables: Mapping[str, dict[str, Any]], ids: frozenset[str] | None
    ) -> None:
        """Players whom other tables name by their id; ``ids`` is None where not all are known."""
        for table, key in (("lamps", "player"), ("agreement", "leader")):
            chosen = tables[table].get(key, "")
            if chosen and ids is not None and chosen not in ids:
                near = get_close_matches(chosen, sorted(ids), n=1, cutoff=0.0)[0]
                self._fault(
                    (table, key), f"{shown(chosen)} is no player's id; the nearest is {near}"
                )
        agreement = tables["agreement"]
        nobody = not agreement.get("leader") and self._tells("agreement", "leader", tables)
        if agreement.get("decides") == "leader" and nobody:
            what = "the leader decides, but who is it? write leader = with a player's id"
            self._fault(("agreement", "decides"), what)

    def _below_here(self, station: dict[str, Any]) -> dict[str, Any]:
        """A relative ``data_dir`` counts from the settings file's own folder."""
        if station.get("data_dir") is None:
            return station
        return station | {"data_dir": self._path.absolute().parent / station["data_dir"]}
