"""The log of references in the room's database: written with the room's state, read by anybody."""

from __future__ import annotations

import json
import shutil
import sqlite3
import tempfile
from collections.abc import Iterable, Mapping
from contextlib import closing
from pathlib import Path
from typing import Any, get_args

from station.errors import StorageError
from station.room.history import LOG_MAX, ChangeKind, LogEntry
from station.room.store_schema import SCHEMA_VERSION, is_known, layout_of

_INSERT = "INSERT OR REPLACE INTO reference_log VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)"
_SELECT = """SELECT serial, at, a4_hz, kind, "by", source, agreed, away, evidence
    FROM reference_log ORDER BY serial DESC"""
_DROP_OLD = """DELETE FROM reference_log WHERE serial <=
    (SELECT serial FROM reference_log ORDER BY serial DESC LIMIT 1 OFFSET ?)"""
_BEFORE_THE_LOG = """SELECT serial, set_at, a4_hz, 'set', "by", source, '[]', '[]', NULL
    FROM reference WHERE serial > 0"""
_BUSY_TIMEOUT_S = 2.0


def append(connection: sqlite3.Connection, rows: Iterable[Mapping[str, Any]]) -> None:
    """Write entries in the caller's transaction; the oldest go when there are too many."""
    values = [
        (
            row["serial"],
            row["at"],
            row["a4_hz"],
            row["kind"],
            row["by"],
            row["source"],
            json.dumps(row["agreed"]),
            json.dumps(row["away"]),
            None if row["evidence"] is None else json.dumps(row["evidence"]),
        )
        for row in rows
    ]
    if values:
        connection.executemany(_INSERT, values)
        connection.execute(_DROP_OLD, (LOG_MAX,))


def last_serial(connection: sqlite3.Connection) -> int:
    """The newest entry's serial, 0 without any."""
    (serial,) = connection.execute("SELECT max(serial) FROM reference_log").fetchone()
    return serial if isinstance(serial, int) else 0


def entries(connection: sqlite3.Connection) -> list[LogEntry]:
    """Every entry, newest first."""
    return _whole(connection.execute(_SELECT))


def read_log(path: Path) -> list[LogEntry]:
    """The log in a station's database, newest first, whether the station runs or not.

    Nothing is written, not even the files SQLite keeps beside a database in
    use: made by another user, they would keep the station out. Raises
    StorageError when there is no database, or it cannot be read.
    """
    try:
        path.stat()
        wal_size = _size(path, "-wal")
        with tempfile.TemporaryDirectory() as spare:
            uri = _uri(path, wal_size, Path(spare))
            with closing(_connected(uri)) as connection:
                return _read(connection, path)
    except FileNotFoundError:
        raise StorageError(
            f"{path}: there is no database: has the station run with these settings?"
        ) from None
    except OSError as error:
        if isinstance(error, StorageError):
            raise
        raise StorageError(f"{path}: cannot be read: {error.strerror}") from error
    except (sqlite3.Error, UnicodeDecodeError) as error:
        raise StorageError(f"{path}: cannot be read: {' '.join(str(error).split())}") from error


def decoded(raw: bytes) -> str:
    """A database's text; bytes that are none must not cost the whole of it."""
    return raw.decode("utf-8", "replace")


def _size(path: Path, suffix: str) -> int | None:
    part = path.with_name(path.name + suffix)
    return part.stat().st_size if part.exists() else None


def _uri(path: Path, wal_size: int | None, spare: Path) -> str:
    """How to open it without leaving a trace (sqlite.org/wal.html, "Read-Only Databases").

    With its shared memory there, a reader changes nothing. Without, nobody has
    it open: then it cannot change, and a log that a crash left is read in a copy.
    """
    if _size(path, "-shm") is not None:
        return f"{path.absolute().as_uri()}?mode=ro"
    if not wal_size:
        return f"{path.absolute().as_uri()}?immutable=1"
    copy = spare / "copy.sqlite"
    shutil.copyfile(path, copy)
    shutil.copyfile(path.with_name(f"{path.name}-wal"), spare / "copy.sqlite-wal")
    return f"{copy.as_uri()}?mode=rw"


def _connected(uri: str) -> sqlite3.Connection:
    connection = sqlite3.connect(uri, uri=True, timeout=_BUSY_TIMEOUT_S, isolation_level=None)
    connection.text_factory = decoded
    return connection


def _read(connection: sqlite3.Connection, path: Path) -> list[LogEntry]:
    layout = layout_of(connection)
    if layout == 0:
        return []
    if not is_known(layout):
        raise StorageError(
            f"{path}: its layout {layout} is newer than {SCHEMA_VERSION}, the newest known here"
        )
    if layout < SCHEMA_VERSION:
        return _whole(connection.execute(_BEFORE_THE_LOG))
    return entries(connection)


def _whole(rows: Iterable[tuple[Any, ...]]) -> list[LogEntry]:
    return [entry for entry in map(_entry, rows) if entry is not None]


def _entry(row: tuple[Any, ...]) -> LogEntry | None:
    """A stored row; what a hand has spoilt is left out, for a log is there to be read.

    None without a serial number and a frequency.
    """
    serial, at, a4_hz, kind, by, source, agreed, away, evidence = row
    if not isinstance(serial, int) or not isinstance(a4_hz, float | int):
        return None
    found = _parsed(evidence)
    return LogEntry(
        serial,
        str(at),
        float(a4_hz),
        kind if kind in get_args(ChangeKind) else "set",
        str(by),
        str(source),
        _names(agreed),
        _names(away),
        found if isinstance(found, dict) else None,
    )


def _names(text: Any) -> tuple[str, ...]:
    names = _parsed(text)
    return tuple(map(str, names)) if isinstance(names, list) else ()


def _parsed(text: Any) -> Any:
    try:
        return json.loads(text)
    except (TypeError, ValueError, RecursionError):
        return None
