"""The settings file: TOML, checked as a whole, every fault reported at once.

Each fault is one line, ``file:line: key: what is wrong, the limit, the nearest
valid key``. Only a file that is not TOML stops the checking at its first fault:
past it nothing can be read. ``station/settings_example.toml`` shows every key
with what holds without it.
"""

from __future__ import annotations

import json
import re
import secrets
import tomllib
from collections.abc import Mapping
from dataclasses import asdict
from difflib import get_close_matches
from pathlib import Path
from typing import Any

from station import settings_checks as check
from station.errors import SettingsError, UsageError
from station.music.tunings import (
    CAPO_MAX,
    Instrument,
    Tuning,
    custom_tuning,
    find_instrument,
)
from station.room.model import Player
from station.room.seats import take_seat
from station.settings_checks import Check, shown
from station.settings_model import (
    FIRST_PLAYER,
    InputSettings,
    LampSettings,
    PageSettings,
    Settings,
    StationSettings,
    with_tunings,
)
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
]

MASK = "********"
MAX_LINES = 32
ROOM_CODE_LETTERS = "abcdefghkmnpqrstuvwxyz23456789"  # none that look alike
ROOM_CODE_LENGTH = 6


_TABLES: Mapping[str, Mapping[str, Check]] = {
    "station": {
        "name": check.text(1),
        "room_code": check.secret(64),
        "data_dir": check.folder,
        "a4_hz": check.a4,
        "in_cents": check.number(0.5, 10.0, "cents"),
    },
    "input": {
        "device": check.device,
        "rate_hz": check.one_of(44100, 48000, 96000),
        "channels": check.whole(1, MAX_LINES),
        "sample_format": check.one_of("int16", "int24", "float32"),
        "frames_per_block": check.whole(128, 8192),
    },
    "page": {
        "host": check.host,
        "port": check.whole(1, 65535),
        "max_streams": check.whole(1, 256),
    },
    "lamps": {"mode": check.one_of("gpio", "mock", "off"), "player": check.text()},
}
_LISTS: Mapping[str, Mapping[str, Check]] = {
    "players": {
        "name": check.text(1),
        "id": check.player_id,
        "instrument": check.text(1),
        "tuning": check.text(),
        "line": check.whole(1, MAX_LINES),
        "capo": check.whole(0, CAPO_MAX),
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
    text = _read(path)
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise SettingsError([_not_toml(path, text, error)]) from error
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
        "lamps": asdict(settings.lamps),
        "players": [
            {key: getattr(player, key) for key in KEYS["players"]} for player in settings.players
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
            # JSON's strings, numbers and lists are also TOML's.
            keys = [
                f"{key} = {json.dumps(value, ensure_ascii=False)}" for key, value in entry.items()
            ]
            blocks.append("\n".join([head, *keys]))
    return "\n\n".join(blocks) + "\n"


def make_room_code() -> str:
    """A fresh room code, for a station whose settings give none."""
    return "".join(secrets.choice(ROOM_CODE_LETTERS) for _ in range(ROOM_CODE_LENGTH))


def _read(path: Path) -> str:
    try:
        raw = path.read_bytes()
    except FileNotFoundError:
        raise SettingsError([f"{path}: there is no such file: is the path right?"]) from None
    except OSError as error:
        raise SettingsError([f"{path}: cannot be read: {error.strerror}"]) from error
    try:
        return raw.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        raise SettingsError([f"{path}:{line}: not UTF-8 text: save the file as UTF-8"]) from error


def _not_toml(path: Path, text: str, error: tomllib.TOMLDecodeError) -> str:
    what, _, place = str(error).rpartition(" (at ")
    found = re.match(r"line (\d+), column", place)
    line = int(found[1]) if found else _unfinished_line(text)
    return f"{path}:{line}: not TOML: {what} (nothing after this line could be checked)"


def _unfinished_line(text: str) -> int:
    """Where the thing begins whose end is missing: the parser knows only that the text ended.

    It is the line after the longest beginning of the text that can be parsed.
    """
    rows = text.splitlines(keepends=True)
    for count in range(len(rows) - 1, 0, -1):
        try:
            tomllib.loads("".join(rows[:count]))
        except tomllib.TOMLDecodeError:
            continue
        return count + 1
    return 1


class _Reader:
    """One pass over parsed settings, collecting faults."""

    def __init__(
        self, path: Path, data: dict[str, Any], lines: Mapping[tuple[str | int, ...], int]
    ) -> None:
        self._path = path
        self._data = data
        self._lines = lines
        self._faults: list[tuple[int, str]] = []
        # Tunings with a fault of their own; who plays one is not at fault too.
        self._misspelled: set[str] = set()

    def settings(self) -> Settings:
        for key in self._data:
            if key not in KEYS:
                self._fault((key,), check.unknown_key(key, "", KEYS))
        tables = {name: self._table(name) for name in _TABLES}
        tunings = self._tunings(self._list("tunings"))
        self._misspelled = self._declared_tunings() - {tuning.key for tuning in tunings}
        line_input = InputSettings(**tables["input"])
        players = self._players(self._list("players"), tunings, line_input.channels)
        lamps = LampSettings(**tables["lamps"])
        if len(players) == len(self._data.get("players", players)):
            self._check_lamp_player(lamps.player, players)
        if self._faults:
            raise SettingsError([text for _, text in sorted(self._faults)])
        return Settings(
            StationSettings(**self._below_here(tables["station"])),
            line_input,
            PageSettings(**tables["page"]),
            lamps,
            players,
            tunings,
        )

    def _fault(self, path: tuple[str | int, ...], what: str) -> None:
        line = line_of(self._lines, path)
        dotted = ".".join(str(part) for part in path if isinstance(part, str))
        entry = f"{self._path}:{line}: {dotted}: {' '.join(what.split())}"
        if (line, entry) not in self._faults:
            self._faults.append((line, entry))

    def _table(self, name: str) -> dict[str, Any]:
        content = self._data.get(name, {})
        if isinstance(content, dict):
            return self._checked((name,), content, name)
        self._fault((name,), f"{shown(content)} is not a table: write [{name}] and its keys")
        return {}

    def _list(self, name: str) -> list[tuple[int, dict[str, Any]]]:
        """The entries of an array of tables with their numbers; those with faults left out."""
        entries = self._data.get(name, [])
        if not isinstance(entries, list) or not all(isinstance(e, dict) for e in entries):
            self._fault((name,), f"these are not entries: write [[{name}]] above each of them")
            return []
        sound = []
        for number, entry in enumerate(entries):
            before = len(self._faults)
            values = self._checked((name, number), entry, name)
            for key in _REQUIRED[name]:
                if key not in entry:
                    self._fault((name, number, key), "the key is missing")
            if len(self._faults) == before:
                sound.append((number, values))
        return sound

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

    def _tunings(self, entries: list[tuple[int, dict[str, Any]]]) -> tuple[Tuning, ...]:
        made: dict[str, Tuning] = {}
        for number, entry in entries:
            path = ("tunings", number)
            try:
                instrument = find_instrument(entry["instrument"])
            except UsageError as error:
                self._fault((*path, "instrument"), str(error))
                continue
            try:
                tuning = custom_tuning(entry["name"], instrument.key, entry["notes"])
            except UsageError as error:
                # A name that is taken is the only fault that is not one of the notes.
                key = "name" if str(error).startswith("tuning name") else "notes"
                self._fault((*path, key), str(error))
                continue
            if tuning.name in made:
                self._fault((*path, "name"), f"{shown(entry['name'])} is the name of two tunings")
            made[tuning.name] = tuning
        return tuple(made.values())

    def _declared_tunings(self) -> set[str]:
        entries = self._data.get("tunings", [])
        tables = [e for e in entries if isinstance(e, dict)] if isinstance(entries, list) else []
        return {check.slug(str(entry.get("name", ""))) for entry in tables}

    def _players(
        self,
        entries: list[tuple[int, dict[str, Any]]],
        tunings: tuple[Tuning, ...],
        channels: int,
    ) -> tuple[Player, ...]:
        if not self._data.get("players"):
            return (FIRST_PLAYER,)
        instruments = with_tunings(tunings)
        taken = {entry["id"] for _, entry in entries if "id" in entry}
        seated: dict[str, Player] = {}
        for number, entry in entries:
            own_id = entry.get("id") or check.free_id(entry["name"], number, taken)
            taken.add(own_id)
            if own_id in seated:
                self._fault(("players", number, "id"), f"{shown(own_id)} is another player's id")
            player = self._player(number, {**entry, "id": own_id}, instruments, channels)
            if player is not None:
                seated[own_id] = player
        return tuple(seated.values())

    def _player(
        self,
        number: int,
        entry: dict[str, Any],
        instruments: Mapping[str, Instrument],
        channels: int,
    ) -> Player | None:
        """A player checked against the instruments and lines there are; None with a fault."""
        path = ("players", number)
        before = len(self._faults)
        if entry.get("line", 1) > channels:
            self._fault(
                (*path, "line"),
                f"{entry['line']} is beyond the lines there are: 1 to {channels},"
                " the channels of [input]",
            )
        try:
            instrument = instruments[find_instrument(entry["instrument"]).key]
        except UsageError as error:
            self._fault((*path, "instrument"), str(error))
            return None
        entry["tuning"] = self._tuning_key((*path, "tuning"), entry.get("tuning", ""), instrument)
        if len(self._faults) > before:
            return None
        try:
            return take_seat(Player(**entry), instruments, channels).player
        except UsageError as error:
            self._fault((*path, "capo" if entry.get("capo") else "tuning"), str(error))
            return None

    def _tuning_key(self, path: tuple[str | int, ...], wanted: str, instrument: Instrument) -> str:
        """The key of the tuning written by key or label, those of the settings included."""
        if not wanted or not instrument.tunings:
            return wanted
        keys = {
            name.casefold(): tuning.key
            for tuning in instrument.tunings.values()
            for name in (tuning.label, tuning.key)
        }
        found = keys.get(wanted.casefold())
        if found is None and check.slug(wanted) not in self._misspelled:
            near = get_close_matches(wanted.casefold(), list(keys), n=1, cutoff=0.5)
            nearest = f"; the nearest is {keys[near[0]]}" if near else ""
            listed = ", ".join(instrument.tunings)
            self._fault(
                path,
                f"{shown(wanted)} is no tuning of {instrument.key}{nearest} (there are {listed})",
            )
        return found or ""

    def _check_lamp_player(self, wanted: str, players: tuple[Player, ...]) -> None:
        ids = [player.id for player in players]
        if wanted and wanted not in ids:
            near = get_close_matches(wanted, ids, n=1, cutoff=0.0)[0]
            self._fault(
                ("lamps", "player"), f"{shown(wanted)} is no player's id; the nearest is {near}"
            )

    def _below_here(self, station: dict[str, Any]) -> dict[str, Any]:
        """A relative ``data_dir`` counts from the settings file's own folder."""
        if station.get("data_dir") is None:
            return station
        return station | {"data_dir": self._path.absolute().parent / station["data_dir"]}
