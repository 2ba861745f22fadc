"""The record of rehearsals on storage: a database of its own, kept within a size.

It is apart from the room's (`station.room.store`): a full disk or a torn record costs the record
and never the reference. Write-ahead log and ``synchronous=NORMAL``: a power cut may
cost the last minute, never what was there before (sqlite.org/pragma.html#pragma_synchronous).
What is damaged is renamed aside and a fresh record begun. Beyond ``SIZE_MAX_BYTES`` or
``REHEARSALS_MAX`` the oldest rehearsals give way.
"""

from __future__ import annotations

import json
import sqlite3
from contextlib import closing, suppress
from pathlib import Path
from typing import Any

from station.errors import StorageError, UsageError
from station.record.model import ROW_KEYS, Rehearsal, Row

RECORD_NAME = "rehearsals.sqlite"
LAYOUT = 1
SIZE_MAX_BYTES = 16_000_000
REHEARSALS_MAX = 200
BUSY_TIMEOUT_S = 2.0
_DAMAGE = frozenset({sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB})
_TABLES = """
CREATE TABLE rehearsals (
    number INTEGER PRIMARY KEY AUTOINCREMENT, began_at TEXT NOT NULL, lasted_s REAL NOT NULL,
    room TEXT NOT NULL, players TEXT NOT NULL);
CREATE TABLE rows (
    rehearsal INTEGER NOT NULL REFERENCES rehearsals (number), kind TEXT NOT NULL,
    at_s REAL NOT NULL, player TEXT NOT NULL, string INTEGER, cents REAL,
    uncertainty_cents REAL, hz REAL, end_s REAL, word TEXT NOT NULL);
CREATE INDEX rows_of ON rows (rehearsal, at_s);
"""
_INSERT = (
    f"INSERT INTO rows (rehearsal, {', '.join(ROW_KEYS)})"  # noqa: S608 - fixed names
    f" VALUES (?, {', '.join('?' * len(ROW_KEYS))})"
)


class RecordStore:
    """One record; a connection lives only while something is read or written.

    ``stamp`` is wall-clock text fit for a file name. Every method raises StorageError where
    storage does not do what it should; nothing of the record is lost by that. ``reason`` says
    in one line what was damaged and moved aside. ``only_read`` makes and moves nothing.
    """

    def __init__(
        self,
        path: Path,
        stamp: str = "",
        *,
        size_max_bytes: int = SIZE_MAX_BYTES,
        only_read: bool = False,
    ) -> None:
        self.path = path
        self.reason: str | None = None
        self._size_max_bytes = size_max_bytes
        if only_read and not path.exists():
            raise StorageError(f"{path.parent}: there is no record of rehearsals here yet")
        try:
            self._prepare()
        except sqlite3.Error as error:
            damaged = getattr(error, "sqlite_errorcode", 0) & 0xFF in _DAMAGE
            if only_read or not damaged:
                raise self._explained(error) from error
            aside = self._move_aside(stamp)
            self.reason = f"the record of rehearsals was damaged; kept as {aside}, a new one begun"
            self._prepare_anew()

    def begin(self, rehearsal: Rehearsal) -> int:
        """A new rehearsal, by its number."""
        told = (rehearsal.began_at, rehearsal.lasted_s, rehearsal.room, _text(rehearsal.players))
        try:
            with closing(self._connect()) as connection, connection:
                cursor = connection.execute(
                    "INSERT INTO rehearsals (began_at, lasted_s, room, players)"
                    " VALUES (?, ?, ?, ?)",
                    told,
                )
                return int(cursor.lastrowid or 0)
        except sqlite3.Error as error:
            raise self._explained(error) from error

    def add(self, number: int, rows: list[Row], lasted_s: float, players: dict[str, str]) -> None:
        """Add rows to a rehearsal, and make room where there is too much."""
        values = [(number, *(getattr(row, key) for key in ROW_KEYS)) for row in rows]
        try:
            with closing(self._connect()) as connection:
                with connection:
                    connection.executemany(_INSERT, values)
                    connection.execute(
                        "UPDATE rehearsals SET lasted_s = ?, players = ? WHERE number = ?",
                        (lasted_s, _text(players), number),
                    )
                self._make_room(connection, number)
        except sqlite3.Error as error:
            raise self._explained(error) from error

    def rehearsals(self) -> list[Rehearsal]:
        """Every rehearsal, newest first."""
        found = self._read(
            "SELECT number, began_at, lasted_s, room, players FROM rehearsals ORDER BY number DESC"
        )
        return [Rehearsal(a, b, c, room, _names(names)) for a, b, c, room, names in found]

    def rehearsal(self, number: int | None = None) -> Rehearsal:
        """One of them, the newest with None; raises UsageError where there is none such."""
        known = self.rehearsals()
        chosen = next((each for each in known if number in (None, each.number)), None)
        if chosen is None:
            numbers = ", ".join(str(each.number) for each in known[:8]) or "none yet"
            raise UsageError(f"rehearsal {number or 'last'}: there is none such; kept: {numbers}")
        return chosen

    def rows(self, number: int) -> list[Row]:
        """What was noted in a rehearsal, in order."""
        keys = ", ".join(ROW_KEYS)
        query = f"SELECT {keys} FROM rows WHERE rehearsal = ? ORDER BY at_s, rowid"  # noqa: S608
        return [Row(*row) for row in self._read(query, number)]

    # -- storage -------------------------------------------------------------------

    def _connect(self) -> sqlite3.Connection:
        connection = sqlite3.connect(self.path, timeout=BUSY_TIMEOUT_S)
        try:
            connection.execute("PRAGMA synchronous=NORMAL")
            connection.execute("PRAGMA foreign_keys=ON")
        except sqlite3.Error:  # a torn file is found out here
            connection.close()
            raise
        return connection

    def _prepare(self) -> None:
        try:
            self.path.parent.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise StorageError(f"{self.path.parent}: cannot make the folder: {error}") from error
        with closing(self._connect()) as connection:
            (layout,) = connection.execute("PRAGMA user_version").fetchone()
            (found,) = connection.execute("PRAGMA quick_check(1)").fetchone()
            if found != "ok":
                raise _damaged(str(found))
            if layout not in (0, LAYOUT):
                raise _damaged(f"layout {layout}")
            if layout == 0:
                connection.execute("PRAGMA journal_mode=WAL")
                connection.executescript(f"BEGIN;{_TABLES}PRAGMA user_version={LAYOUT};COMMIT;")

    def _prepare_anew(self) -> None:
        try:
            self._prepare()
        except sqlite3.Error as error:
            raise self._explained(error) from error

    def _make_room(self, connection: sqlite3.Connection, current: int) -> None:
        """Drop the oldest rehearsals, never the one under way."""
        while True:
            (count,) = connection.execute("SELECT COUNT(*) FROM rehearsals").fetchone()
            if count <= REHEARSALS_MAX and self._used(connection) <= self._size_max_bytes:
                return
            (oldest,) = connection.execute("SELECT MIN(number) FROM rehearsals").fetchone()
            if oldest == current:
                return
            with connection:
                connection.execute("DELETE FROM rows WHERE rehearsal = ?", (oldest,))
                connection.execute("DELETE FROM rehearsals WHERE number = ?", (oldest,))

    def _used(self, connection: sqlite3.Connection) -> int:
        """Bytes in use: what was freed is used again before the file grows."""
        pages, free, size = (
            connection.execute(f"PRAGMA {name}").fetchone()[0]
            for name in ("page_count", "freelist_count", "page_size")
        )
        return int((pages - free) * size)

    def _read(self, query: str, *values: object) -> list[tuple[Any, ...]]:
        try:
            with closing(self._connect()) as connection:
                return connection.execute(query, values).fetchall()
        except sqlite3.Error as error:
            raise self._explained(error) from error

    def _move_aside(self, stamp: str) -> str:
        aside = self.path.with_name(f"{self.path.name}.corrupt-{stamp or 'aside'}")
        try:
            for suffix in ("-wal", "-shm"):
                self.path.with_name(self.path.name + suffix).unlink(missing_ok=True)
            self.path.replace(aside)
        except OSError as error:
            raise StorageError(f"{self.path}: cannot move it aside: {error.strerror}") from error
        return aside.name

    def _explained(self, error: sqlite3.Error) -> StorageError:
        return StorageError(f"{self.path}: the record of rehearsals cannot be kept: {error}")


def _damaged(why: str) -> sqlite3.DatabaseError:
    error = sqlite3.DatabaseError(why)
    with suppress(AttributeError):
        error.sqlite_errorcode = sqlite3.SQLITE_CORRUPT
    return error


def _text(players: dict[str, str]) -> str:
    return json.dumps(players, ensure_ascii=False)


def _names(text: str) -> dict[str, str]:
    try:
        found = json.loads(text)
    except ValueError:
        return {}
    return {str(key): str(value) for key, value in found.items()} if isinstance(found, dict) else {}
