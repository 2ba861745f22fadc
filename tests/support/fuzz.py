"""Input that nobody would give on purpose, and what must hold whatever it is.

Each ``check_...`` lets pass what is read and what is refused by a deliberate error in
one line; anything else is raised. The tests take a few examples of the same,
`tests.bench.bench_fuzz` as many as it is given time for.
"""

from __future__ import annotations

import contextlib
import json
import shutil
import sqlite3
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
from hypothesis import strategies as st

from station.errors import LineInputError, SettingsError, SongsError, SoundFileError, StorageError
from station.music.tunings import load_instruments
from station.room.model import STATE_PARTS, Player, Reference
from station.room.room import Room
from station.room.songs import Band
from station.room.songs_csv import songs_from_csv, songs_to_csv
from station.room.store import open_store
from station.settings import load_settings
from station.sound import wire
from station.sound.blocks import are_sound, decode
from station.sound.files import read_blocks

EXAMPLE = Path(__file__).parents[2] / "station/settings_example.toml"

# -- strategies ----------------------------------------------------------------

json_values = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(2**70), 2**70)
    | st.floats()
    | st.text(max_size=12)
    | st.sampled_from(["tove", "standard", "guitar", "2031-05-06T18:00:00Z", "A4", "in", 440.0, 1]),
    lambda inner: (
        st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=8), inner, max_size=4)
    ),
    max_leaves=12,
)

_TOML_BITS = st.sampled_from([
    b"[", b"]", b"[[", b"]]", b"{", b"}", b"=", b".", b",", b"\n", b"\r", b'"', b"'", b'"""',
    b"'''", b"#", b"\\", b"\\u0000", b"\\U0010ffff", b"\x00", b"\xff", "é".encode(), b"nan",
    b"-inf", b"1e999", b"0x", b"1_000", b"true", b"2031-05-06", b"25:61:00", b"9" * 5000,
    b"0x" + b"f" * 5000, b"[" * 3000, b"a." * 150, b"a." * 5000, b"players", b"[station]",
    b"[[players]]", b"[[tunings]]", b"name", b"instrument", b"tuning", b"guitar", b"offsets_cents",
])  # fmt: skip


@st.composite
def changed(draw: st.DrawFn, whole: bytes, bits: st.SearchStrategy[bytes], most: int = 8) -> bytes:
    """`whole` with pieces of it left out, put in, doubled or overwritten."""
    raw = whole
    for _ in range(draw(st.integers(1, most))):
        start = draw(st.integers(0, len(raw)))
        stop = draw(st.integers(start, min(len(raw), start + 60)))
        put = draw(
            st.one_of(st.just(b""), bits, st.binary(max_size=8), st.just(raw[start:stop] * 2))
        )
        raw = raw[:start] + put + raw[stop:]
    return raw


settings_files = st.one_of(
    changed(EXAMPLE.read_bytes(), _TOML_BITS),
    st.lists(_TOML_BITS, max_size=30).map(b"".join),
    st.binary(max_size=200),
)

# -- what must hold ----------------------------------------------------------------


def one_line(text: str) -> None:
    assert text
    assert "\n" not in text
    assert len(text) < 4000


def check_settings(raw: bytes, folder: Path) -> bool:
    """Whether the file was taken."""
    path = folder / "settings.toml"
    path.write_bytes(raw)
    try:
        load_settings(path)
    except SettingsError as error:
        assert error.faults
        for fault in error.faults:
            one_line(fault)
            assert fault.startswith(str(path))
        return False
    return True


def check_sound(raw: bytes, path: Path) -> bool:
    """Whether the sound file was read to its end; no more of it than there is bytes."""
    path.write_bytes(raw)
    read = 0
    try:
        info, blocks = read_blocks(path)
        for block in blocks:
            assert block.dtype == np.float32
            assert block.shape[1] == info.channels
            assert are_sound(block).all()
            read += block.size
            # No coding takes less than a thousandth of a byte a sample but silence of FLAC.
            assert read < 1_000_000 + 10_000 * len(raw)
    except SoundFileError as error:
        one_line(str(error))
        assert str(error).startswith(str(path))
        return False
    return True


def check_wire(raw: bytes) -> int:
    """How many records there are before the bytes are none; none can stall the reading."""
    buffer, found = bytearray(raw), 0
    with contextlib.suppress(ValueError):
        while (record := wire.unpack(buffer)) is not None:
            found += 1
            assert len(record.payload) <= wire.MAX_PAYLOAD_BYTES
            assert np.isfinite([record.captured_at_s, record.adc_delay_s]).all()
            with contextlib.suppress(LineInputError):
                decode(record.payload, "int24", 2)
    assert found <= len(raw) // wire.HEADER.size
    return found


def check_songs(text: str) -> bool:
    """Whether the table was taken; what was, is the same after it has been written and read."""
    band = Band({"tove": Player("tove", "Tove", "guitar", "standard")}, load_instruments())
    try:
        songs = songs_from_csv(text, band)
    except SongsError as error:
        one_line(str(error))
        for fault in error.faults:
            one_line(fault)
        return False
    assert songs_from_csv(songs_to_csv(songs, ("tove",)), band) == songs
    return True


def fresh_room() -> Room:
    players = (
        Player("tove", "Tove", "guitar", "standard", 1),
        Player("ida", "Ida", "drum-kit", line=2),
        Player("ilse", "Ilse", "piano", line=2),
    )
    return Room(players, Reference(440.0), lines=2)


def check_restore(spoilt: dict[str, Any]) -> list[str]:
    """What the room says it cannot take back; then it works, and can be kept and shown."""
    room = fresh_room()
    refused = room.restore({**json.loads(json.dumps(lived_in_room().state())), **spoilt})
    for line in refused:
        one_line(line)
    json.dumps(room.snapshot(5.0), allow_nan=False)
    room.tick("2031-05-06T18:00:00Z", 6.0)
    room.set_present([], 7.0)
    room.set_reference(441.0, "Tove", "fork", "2031-05-06T18:00:00Z", 1e5)
    room.change_player("tove", tuning="open-g", now_s=1e5)
    json.dumps(room.snapshot(1e5), allow_nan=False)
    again = fresh_room()
    kept = json.loads(json.dumps(room.state()))
    left = again.restore(kept)
    assert len(left) <= len(refused) + 5
    return refused


def lived_in_room() -> Room:
    """A room in which things have happened that are kept."""
    room = fresh_room()
    room.set_reference(442.0, "Tove", "Ilse's piano", "2031-05-06T18:00:00Z", 1.0)
    room.set_present(["tove", "ilse"], 2.0)
    room.propose("tove", "typed", "2031-05-06T18:00:00Z", 3.0, a4_hz=443.0)
    room.change_player("tove", tuning="drop-d", now_s=3.0)
    return room


def check_database(path: Path) -> bool:
    """Whether a database was taken as it is; else it was moved aside and a fresh one begun."""
    try:
        opened = open_store(path, "now")
    except StorageError as error:
        one_line(str(error))
        raise AssertionError(f"no state can be kept beside this file: {error}") from error
    try:
        if opened.reason is not None:
            one_line(opened.reason)
            assert opened.state is None
        room = fresh_room()
        if opened.state is not None:
            for line in room.restore(opened.state):
                one_line(line)
        json.dumps(room.snapshot(5.0), allow_nan=False)
        for entry in opened.store.log():
            json.dumps(entry.as_json())
        opened.store.save(json.loads(json.dumps(room.state())))
    finally:
        opened.store.close()
    return opened.reason is None


def stored_room(path: Path) -> bytes:
    """A database with a reference, strings, players, parts and a log in it, closed."""
    store = open_store(path, "now").store
    store.save(lived_in_room().state())
    store.close()
    return path.read_bytes()


@contextlib.contextmanager
def edited(path: Path) -> Iterator[sqlite3.Connection]:
    """A database open to be spoilt by hand."""
    connection = sqlite3.connect(path, isolation_level=None)
    try:
        yield connection
    finally:
        connection.close()


def clear(folder: Path) -> None:
    """Remove what a check left in its folder."""
    for each in folder.iterdir():
        shutil.rmtree(each) if each.is_dir() else each.unlink()


def spoil_leaf(state: Any, place: int, put: Any) -> Any:
    """A copy of JSON data with another value at the place of that number, the whole being 1."""
    counter = [0]

    def copy(value: Any) -> Any:
        counter[0] += 1
        if counter[0] == place:
            return put
        if isinstance(value, dict):
            return {key: copy(each) for key, each in value.items()}
        if isinstance(value, list):
            return [copy(each) for each in value]
        return value

    return copy(state)


# -- strategies that need the above ------------------------------------------------


@st.composite
def parts(draw: st.DrawFn) -> dict[str, Any]:
    """Parts as a store may hand them to a room: any JSON at all, or a true one spoilt in places."""
    whole = json.loads(json.dumps(lived_in_room().state()))
    chosen = draw(st.lists(st.sampled_from(STATE_PARTS), min_size=1, max_size=3, unique=True))
    spoilt = {}
    for name in chosen:
        spoilt[name] = whole.get(name)
        if name not in whole or draw(st.booleans()):
            spoilt[name] = draw(json_values)
            continue
        for _ in range(draw(st.integers(1, 3))):
            place = draw(st.integers(1, count_leaves(spoilt[name])))
            spoilt[name] = spoil_leaf(spoilt[name], place, draw(json_values))
    return spoilt


def count_leaves(value: Any) -> int:
    """How many places `spoil_leaf` can spoil."""
    inner = value.values() if isinstance(value, dict) else value if isinstance(value, list) else ()
    return 1 + sum(count_leaves(each) for each in inner)


_CELLS = ("NULL", "-1", "9e999", "1e300", "9223372036854775807", "0", "'x'", "''", "'[]'", "'{}'",
          "'[[]]'", "'{\"a\": 1}'", "x'ff00fe'", "cast(x'ff41' as text)", "zeroblob(3)",
          "'tove'", "'in'", "'nan'", "0.5", "char(0)", "char(10)")  # fmt: skip
_COLUMNS = {
    "reference": ("serial", "a4_hz", "set_at", "by", "source", "agreed"),
    "strings": ("player", "string", "serial", "midi", "offset_cents", "roll", "cents",
                "uncertainty_cents", "verdict"),
    "players": ("id", "name", "instrument", "tuning", "line", "capo", "offsets_cents",
                "configured"),
    "parts": ("name", "value"),
    "reference_log": ("serial", "at", "a4_hz", "kind", "by", "source", "agreed", "away",
                      "evidence"),
}  # fmt: skip
_OTHER_SCHEMAS = (
    *(f"DROP TABLE {table}" for table in _COLUMNS),
    *(f"DROP TABLE {table}; CREATE TABLE {table} (x)" for table in _COLUMNS),
    *(f"DELETE FROM {table}" for table in _COLUMNS),
    *(f"ALTER TABLE {table} RENAME TO other" for table in _COLUMNS),
    *(f"PRAGMA user_version={version}" for version in (-1, 0, 1, 3, 2147483647)),
    "CREATE TRIGGER no BEFORE INSERT ON reference BEGIN SELECT raise(abort, 'no'); END",
    "DROP TABLE reference; CREATE VIEW reference AS SELECT 1 AS serial",
    "DROP TABLE parts; CREATE TABLE parts (name, value); INSERT INTO parts VALUES (1, 2), (1, 3)",
    "INSERT INTO strings SELECT player, string + 100, serial, midi, roll, cents,"
    " uncertainty_cents, verdict, offset_cents FROM strings",
    "PRAGMA journal_mode=DELETE",
    "PRAGMA encoding='UTF-16'",
)

cell_edits = st.sampled_from(sorted(_COLUMNS)).flatmap(
    lambda table: st.tuples(st.sampled_from(_COLUMNS[table]), st.sampled_from(_CELLS)).map(
        lambda cell: f'UPDATE OR IGNORE {table} SET "{cell[0]}" = {cell[1]}'
    )
)
statements = st.lists(
    st.one_of(cell_edits, st.sampled_from(_OTHER_SCHEMAS)), min_size=1, max_size=3
)


spots = st.lists(
    st.tuples(st.integers(0, 200_000), st.binary(min_size=1, max_size=40)), min_size=1, max_size=6
)


def spoil_bytes(raw: bytes, put: list[tuple[int, bytes]], length: int) -> bytes:
    """`raw` overwritten in spots, each its place counted round, then cut off."""
    spoilt = bytearray(raw)
    for place, new in put:
        start = place % len(raw)
        spoilt[start : start + len(new)] = new
    return bytes(spoilt[:length])


def spoil_rows(path: Path, edits: list[str]) -> None:
    """Do each of the edits that SQLite itself allows."""
    with edited(path) as connection:
        for edit in edits:
            with contextlib.suppress(sqlite3.Error):
                connection.executescript(edit)
