"""A kit and its songs from a file, from options, or from both; every fault at once.

    a4_hz = 440.0                 # may be left out

    [[drums]]
    name = "high tom"
    kind = "tom"                  # tom (also without this line), snare, bass or timbale
    diameter_in = 10              # or diameter_mm = 254
    depth_in = 7                  # or depth_mm; may be left out
    pitch = "G3+12"               # note and cents as `station drum tap` says, or hz = 197.4
    overtone_hz = 310.5           # if measured
    keep = true                   # its player wants it left as it is

    [[songs]]
    name = "Low tide"
    key = "E minor"
    bass = ["E1", "A1", "B1"]     # roots; the tonic without this line

The same as JSON is what the page saves (*my drums*, *as a file*); of it, drums whose size or pitch
nobody has told are left out, and named.

As options the same is `high tom:10x7:G3+12:tom` and `Low tide:E minor:E1,A1,B1`.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, get_args

from station import settings_checks as check
from station.errors import SettingsError, UsageError
from station.json_file import parse_json
from station.music.drums import DrumKind
from station.music.keys import Key, parse_key
from station.music.kit import (
    DEPTH_LIMITS_IN,
    DIAMETER_LIMITS_IN,
    MAX_DRUMS,
    MAX_SONGS,
    MM_PER_INCH,
    PITCH_LIMITS_HZ,
    Drum,
    Song,
    make_drum,
    make_song,
    pitch_hz,
)
from station.music.pitch import A4_STANDARD_HZ
from station.plain_text import path_text
from station.settings_checks import Check, shown
from station.toml_file import parse_toml, read_text
from station.toml_lines import Path as KeyPath
from station.toml_lines import key_lines, line_of

Fault = Callable[[KeyPath, str], None]

_SIZE = re.compile(r"([0-9.]+)\s*(?:[xX×]\s*([0-9.]+))?\s*(in|mm)?")


def _flag(value: Any) -> bool:
    if not isinstance(value, bool):
        raise ValueError(f"{shown(value)} is not true or false")
    return value


def _key(value: Any) -> Key:
    return parse_key(value)


def _in_mm(limits_in: tuple[float, float]) -> Check:
    least, most = (round(each * MM_PER_INCH) for each in limits_in)
    return check.number(least, most, "mm")


KEYS: Mapping[str, Mapping[str, Check]] = {
    "drums": {
        "name": check.text(1),
        "kind": check.one_of(*get_args(DrumKind)),
        "diameter_in": check.number(*DIAMETER_LIMITS_IN, "inches"),
        "diameter_mm": _in_mm(DIAMETER_LIMITS_IN),
        "depth_in": check.number(*DEPTH_LIMITS_IN, "inches"),
        "depth_mm": _in_mm(DEPTH_LIMITS_IN),
        "pitch": check.text(1),
        "hz": check.number(*PITCH_LIMITS_HZ, "Hz"),
        "overtone_hz": check.number(PITCH_LIMITS_HZ[0], 3 * PITCH_LIMITS_HZ[1], "Hz"),
        "keep": _flag,
    },
    "songs": {"name": check.text(1), "key": _key, "bass": check.notes},
}
_TOP: Mapping[str, Mapping[str, Check]] = {"a4_hz": {}, **KEYS}
_REQUIRED: Mapping[str, tuple[tuple[str, ...], ...]] = {
    "drums": (("name",), ("diameter_in", "diameter_mm"), ("pitch", "hz")),
    "songs": (("name",), ("key",)),
}
_EITHER = (("diameter_in", "diameter_mm"), ("depth_in", "depth_mm"), ("pitch", "hz"))
_MOST = {"drums": MAX_DRUMS, "songs": MAX_SONGS}


@dataclass(frozen=True, slots=True)
class KitToRead:
    """Where a kit is written: a file, options, or both. ``a4_hz`` overrides the file's."""

    file: Path | None = None
    drums: tuple[str, ...] = ()
    songs: tuple[str, ...] = ()
    a4_hz: float | None = None


@dataclass(frozen=True, slots=True)
class _Entry:
    """One drum or song as written, and who tells its faults."""

    content: Mapping[str, Any]
    path: KeyPath
    fault: Fault


def read_kit(
    wanted: KitToRead, left_out: list[str] | None = None
) -> tuple[tuple[Drum, ...], tuple[Song, ...], float]:
    """The drums, the songs, and A4. Raises SettingsError with a line for every fault.

    ``left_out`` is given a line for each drum of the page's file that is not known well enough.
    """
    reader = _Reader(wanted)
    found = reader.read()
    if left_out is not None:
        left_out += reader.left_out
    return found


class _Reader:
    """One pass over file and options, collecting faults: those of the file by line, then others."""

    def __init__(self, wanted: KitToRead) -> None:
        self._wanted = wanted
        self._data: dict[str, Any] = {}
        self._lines: Mapping[KeyPath, int] | None = None  # of TOML; JSON's are not known
        self.left_out: list[str] = []
        self._in_file: list[tuple[int, str]] = []
        self._in_options: list[str] = []

    def read(self) -> tuple[tuple[Drum, ...], tuple[Song, ...], float]:
        if self._wanted.file is not None:
            self._open(self._wanted.file)
        a4_hz = self._a4_hz()
        drums = self._made("drums", lambda entry, values: _drum(entry, values, a4_hz))
        songs = self._made("songs", _song)
        faults = [text for _, text in sorted(self._in_file)] + self._in_options
        if faults:
            raise SettingsError(list(dict.fromkeys(faults)))
        return tuple(drums), tuple(songs), a4_hz

    def _open(self, path: Path) -> None:
        text = read_text(path)
        if text.lstrip().startswith("{") or path.suffix.lower() == ".json":
            self._data = self._of_page(parse_json(path, text))
        else:
            self._data = parse_toml(path, text)
            self._lines = key_lines(text)
        for key in self._data:
            if key not in _TOP:
                self._fault((key,), check.unknown_key(key, "", _TOP))

    def _of_page(self, data: Any) -> dict[str, Any]:
        """What the page saved: not every drum is known, and its good state is the station's."""
        if not isinstance(data, dict):
            what = "no table with drums and songs: save it with as a file, or write TOML"
            raise SettingsError([f"{path_text(self._wanted.file or '')}: {what}"])
        drums, songs = data.get("drums"), data.get("songs")
        if isinstance(songs, list) and all(isinstance(each, dict) for each in songs):
            # No roots are told by an empty list there, and by no line at all in TOML.
            rootless = [{k: v for k, v in e.items() if (k, v) != ("bass", [])} for e in songs]
            data = {**data, "songs": rootless}
        if not isinstance(drums, list) or not all(isinstance(each, dict) for each in drums):
            return data
        known = []
        for drum in drums:
            missing = [keys[0] for keys in _REQUIRED["drums"][1:] if not drum.keys() & set(keys)]
            if "good" in drum and missing:
                words = " and ".join("size" if key == "diameter_in" else key for key in missing)
                words += " are" if len(missing) > 1 else " is"
                self.left_out.append(
                    f"{shown(drum.get('name'))} is left out: its {words} not known"
                )
            else:
                known.append({key: value for key, value in drum.items() if key != "good"})
        return {**data, "drums": known}

    def _a4_hz(self) -> float:
        """The option's, else the file's, else 440; 440 also in place of one at fault."""
        asked = self._wanted.a4_hz
        try:
            written = check.a4(self._data.get("a4_hz", A4_STANDARD_HZ))
        except ValueError as error:
            self._fault(("a4_hz",), str(error))
            written = A4_STANDARD_HZ
        try:
            return float(written if asked is None else check.a4(asked))
        except ValueError as error:
            self._in_options.append(f"--a4: {error}")
            return A4_STANDARD_HZ

    def _made(
        self, table: str, make: Callable[[_Entry, Mapping[str, Any]], Any | None]
    ) -> list[Any]:
        """The drums or songs that hold."""
        entries = [*self._file_entries(table), *self._option_entries(table)]
        if not entries and table not in self._data:
            option = table.removesuffix("s")
            self._in_options.append(
                f"no {option}: give --{option}, or a --kit file with [[{table}]]"
            )
        found, names = [], set()
        for number, entry in enumerate(entries):
            values = _checked(entry, table)
            name = values.get("name", "").casefold()
            if name and name in names:
                entry.fault((*entry.path, "name"), f"{shown(values['name'])} is there already")
            names.add(name)
            if number == _MOST[table]:
                entry.fault(entry.path, f"there are more than {_MOST[table]} {table}")
            found.append(make(entry, values))
        return [each for each in found if each is not None]

    def _file_entries(self, table: str) -> list[_Entry]:
        entries = self._data.get(table, [])
        if not isinstance(entries, list) or not all(isinstance(e, dict) for e in entries):
            self._fault((table,), f"these are not entries: write [[{table}]] above each of them")
            return []
        return [_Entry(e, (table, number), self._fault) for number, e in enumerate(entries)]

    def _option_entries(self, table: str) -> list[_Entry]:
        split = _split_drum if table == "drums" else _split_song
        entries = []
        for written in self._wanted.drums if table == "drums" else self._wanted.songs:
            option = f"--{table.removesuffix('s')} {shown(written)}"
            try:
                content = split(written)
            except ValueError as error:
                self._in_options.append(f"{option}: {error}")
            else:
                entries.append(_Entry(content, (), self._option_fault(option)))
        return entries

    def _option_fault(self, option: str) -> Fault:
        def fault(path: KeyPath, what: str) -> None:
            key = f": {path[-1]}" if path else ""
            self._in_options.append(f"{option}{key}: {' '.join(what.split())}")

        return fault

    def _fault(self, path: KeyPath, what: str) -> None:
        line = 0 if self._lines is None else line_of(self._lines, path)
        parts = path if self._lines is None else [each for each in path if isinstance(each, str)]
        # A JSON file's entries are told by their number, from 1: drums.2.hz
        dotted = ".".join(str(each + 1 if isinstance(each, int) else each) for each in parts)
        file = path_text(self._wanted.file or "")
        place = f"{file}:{line}" if line else file
        self._in_file.append((line, f"{place}: {dotted}: {' '.join(what.split())}"))


def _checked(entry: _Entry, table: str) -> dict[str, Any]:
    """The values that hold; a fault for each that does not, is missing, or is said twice."""
    values = {}
    for key, value in entry.content.items():
        if key not in KEYS[table]:
            entry.fault((*entry.path, key), check.unknown_key(key, table, _TOP))
            continue
        try:
            values[key] = KEYS[table][key](value)
        except ValueError as error:
            entry.fault((*entry.path, key), str(error))
    for keys in _REQUIRED[table]:
        if not entry.content.keys() & set(keys):
            entry.fault((*entry.path, keys[0]), f"the key is missing{_or(keys[1:])}")
    for one, other in _EITHER:
        if {one, other} <= entry.content.keys():
            entry.fault((*entry.path, other), f"{one} says it already: leave one of them out")
    return values


def _or(others: Sequence[str]) -> str:
    return f" ({others[0]} will do)" if others else ""


def _drum(entry: _Entry, values: Mapping[str, Any], a4_hz: float) -> Drum | None:
    """A drum; None where something it depends on is at fault."""
    hz = values.get("hz")
    if "pitch" in values:
        try:
            hz = pitch_hz(values["pitch"], a4_hz)
        except UsageError as error:
            entry.fault((*entry.path, "pitch"), str(error))
            return None
    diameter_in, depth_in = (_inches(values, what) for what in ("diameter", "depth"))
    if hz is None or diameter_in is None or "name" not in values:
        return None
    overtone_hz, keep = values.get("overtone_hz"), values.get("keep", False)
    kind: DrumKind = values.get("kind", "tom")
    try:
        return make_drum(values["name"], diameter_in, hz, kind, depth_in, overtone_hz, keep)
    except UsageError as error:  # each value holds by itself: only the overtone may not fit
        entry.fault((*entry.path, "overtone_hz"), str(error))
        return None


def _inches(values: Mapping[str, Any], what: str) -> float | None:
    if f"{what}_in" in values:
        return float(values[f"{what}_in"])
    return float(values[f"{what}_mm"]) / MM_PER_INCH if f"{what}_mm" in values else None


def _song(entry: _Entry, values: Mapping[str, Any]) -> Song | None:
    """A song; None with a fault. Its bass notes are checked one by one, its key or none."""
    name, key, holds = values.get("name", ""), values.get("key"), True
    for note in values.get("bass", ()):
        try:
            make_song(name, key or parse_key("C"), [note])
        except UsageError as error:
            entry.fault((*entry.path, "bass"), str(error))
            holds = False
    if not holds or not name or key is None:
        return None
    return make_song(name, key, values.get("bass", ()))


def _split_drum(written: str) -> dict[str, Any]:
    """`NAME:SIZE:PITCH[:KIND]` as an entry of a file."""
    parts = [part.strip() for part in written.split(":")]
    if len(parts) not in (3, 4):
        raise ValueError('write NAME:SIZE:PITCH or NAME:SIZE:PITCH:KIND, "high tom:10x7:G3+12:tom"')
    name, size, pitch, *kind = parts
    found = _SIZE.fullmatch(size)
    try:
        sizes = [float(each) for each in found.groups()[:2] if each] if found else []
    except ValueError:
        sizes = []
    if found is None or not sizes:
        raise ValueError(f"size {shown(size)} is not known: write 10x7 in inches, or 254x178mm")
    unit = found[3] or "in"
    keys = (f"diameter_{unit}", f"depth_{unit}")
    entry = {"name": name, **dict(zip(keys, sizes, strict=False)), "pitch": pitch}
    return entry | ({"kind": kind[0]} if kind else {})


def _split_song(written: str) -> dict[str, Any]:
    """`NAME:KEY[:BASS,...]` as an entry of a file."""
    parts = [part.strip() for part in written.split(":")]
    if len(parts) not in (2, 3):
        raise ValueError('write NAME:KEY or NAME:KEY:BASS, "Low tide:E minor:E1,A1,B1"')
    name, key, *bass = parts
    notes = {"bass": [note.strip() for note in bass[0].split(",")]} if bass else {}
    return {"name": name, "key": key, **notes}
