"""The room's state on storage, so that a power cut costs nothing the band agreed on.

SQLite in write-ahead-log mode with ``synchronous=FULL``, and not a file
written aside and renamed: one transaction covers reference, roll call and
players, every commit is flushed to storage before it is reported, and a torn
log is noticed by its checksums and cut back to the last whole commit
(sqlite.org/wal.html, sqlite.org/pragma.html#pragma_synchronous). A rename
would do for one small file, but needs its directory flushed as well and
rewrites everything each time.

Every row of the roll call carries the serial number of the reference it was
taken against, so a roll call that belongs to another reference can be seen
for what it is. The store knows only plain dictionaries (the shape
``Room.state()`` gives), never the room.

One station at a time has a store: two would undo each other's saves. A lock
on a file beside the database (flock(2)) says who, and ends with its process,
however that ends. The lock file itself stays: were it removed, a third
station could lock a new one while the second still holds the old.
"""

from __future__ import annotations

import fcntl
import json
import os
import sqlite3
import threading
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from station.errors import StorageError
from station.music.pitch import check_a4

SCHEMA_VERSION = 1
SAVE_EVERY_S = 60.0
BUSY_TIMEOUT_S = 2.0
LOCK_SUFFIX = ".lock"
_START_ANEW = "start the station anew to save again"

_SCHEMA = (
    """CREATE TABLE reference (
        id INTEGER PRIMARY KEY CHECK (id = 1), serial INTEGER NOT NULL, a4_hz REAL NOT NULL,
        set_at TEXT NOT NULL, "by" TEXT NOT NULL, source TEXT NOT NULL)""",
    """CREATE TABLE strings (
        player TEXT NOT NULL, string INTEGER NOT NULL, serial INTEGER NOT NULL,
        midi INTEGER NOT NULL, roll TEXT NOT NULL, cents REAL, uncertainty_cents REAL,
        verdict TEXT, PRIMARY KEY (player, string))""",
    """CREATE TABLE players (
        id TEXT PRIMARY KEY, name TEXT NOT NULL, instrument TEXT NOT NULL, tuning TEXT NOT NULL,
        line INTEGER NOT NULL, capo INTEGER NOT NULL, configured TEXT NOT NULL)""",
)
_REFERENCE_KEYS = ("serial", "a4_hz", "set_at", "by", "source")
_STRING_KEYS = (
    "player", "string", "serial", "midi", "roll", "cents", "uncertainty_cents", "verdict",
)  # fmt: skip
_PLAYER_KEYS = ("id", "name", "instrument", "tuning", "line", "capo", "configured")
_DAMAGE = frozenset({sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB})


class _Damaged(StorageError):
    """What is stored cannot be a room's state; it is moved aside, never repaired."""


@dataclass(frozen=True, slots=True)
class Opened:
    """A store ready for use, what it held, and why it holds nothing if it was damaged."""

    store: RoomStore
    state: dict[str, Any] | None
    reason: str | None


def open_store(path: Path, stamp: str) -> Opened:
    """Open the room's database, making it and its folder where missing.

    A damaged one is renamed to ``<name>.corrupt-<stamp>`` beside it and a fresh
    one begun; ``reason`` then says so in one line. ``stamp`` is wall-clock text
    fit for a file name. Raises StorageError when storage is missing, read-only,
    full or in use by another station or program.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise StorageError(f"{path.parent}: cannot make the folder: {error.strerror}") from error
    lock_fd = _lock(path.with_name(path.name + LOCK_SUFFIX))
    try:
        return _open_locked(path, stamp, lock_fd)
    except BaseException:
        os.close(lock_fd)
        raise


def _open_locked(path: Path, stamp: str, lock_fd: int) -> Opened:
    try:
        store = RoomStore(path, lock_fd)
        return Opened(store, store.state, None)
    except _Damaged as error:
        aside = _move_aside(path, stamp)
        reason = f"saved state was damaged ({error}); kept as {aside.name}, starting afresh"
        return Opened(RoomStore(path, lock_fd), None, reason)


def _lock(path: Path) -> int:
    """The open descriptor that holds the lock; raises StorageError when another has it."""
    try:
        lock_fd = os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o644)
    except OSError as error:
        raise StorageError(f"{path}: cannot make the lock file: {error.strerror}") from error
    try:
        fcntl.flock(lock_fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        os.close(lock_fd)
        if isinstance(error, BlockingIOError):
            raise StorageError(
                f"{path.parent}: another station keeps its state here:"
                " end one of them, or give it a data_dir of its own"
            ) from error
        raise StorageError(f"{path}: cannot be locked: {error.strerror}") from error
    return lock_fd


class RoomStore:
    """One open database. Methods may be called from any thread, one at a time.

    ``lock_fd`` is a descriptor to close with it.
    """

    def __init__(self, path: Path, lock_fd: int | None = None) -> None:
        self.path = path
        self._lock_fd = lock_fd
        self.state: dict[str, Any] | None = None
        self._lock = threading.Lock()
        self._saved_text: str | None = None
        self._saved_at_s: float | None = None
        self._connection = self._connect()
        try:
            self._prepare()
            self.state = self._load()
            self._saved_text = json.dumps(self.state, sort_keys=True)
            self._identity = _identity(path)
        except sqlite3.Error as error:
            self._connection.close()
            raise self._explained(error, "open") from error
        except StorageError:
            self._connection.close()
            raise

    def save(self, state: dict[str, Any], now_s: float | None = None) -> None:
        """Write reference, roll call and players in one transaction, flushed before returning.

        Raises StorageError; what was stored before then still stands, and a
        later call may succeed.
        """
        text = json.dumps(state, sort_keys=True)
        with self._lock:
            self._saved_text = None  # should it fail, even an unchanged state is due again
            # SQLite would go on writing, without a word, to a file that has no name any more.
            if _identity(self.path) != self._identity:
                raise StorageError(f"{self.path}: was replaced while in use: {_START_ANEW}")
            try:
                with self._connection:
                    self._connection.execute("BEGIN IMMEDIATE")
                    self._write(state)
            except sqlite3.Error as error:
                raise self._explained(error, "save to") from error
            self._saved_text = text
            self._saved_at_s = now_s

    def save_if_due(self, state: dict[str, Any], now_s: float) -> bool:
        """Save when a minute has passed since the last save and something changed.

        An idle room therefore writes nothing at all. Returns whether it saved;
        raises StorageError.
        """
        if self._saved_at_s is not None and now_s - self._saved_at_s < SAVE_EVERY_S:
            return False
        if json.dumps(state, sort_keys=True) == self._saved_text:
            return False
        self._saved_at_s = now_s  # a failing disk, too, is tried once a minute only
        self.save(state, now_s)
        return True

    def close(self) -> None:
        """Close the database and let another station have it; harmless when called twice."""
        with self._lock:
            self._connection.close()
            lock_fd, self._lock_fd = self._lock_fd, None
            if lock_fd is not None:
                os.close(lock_fd)

    def _connect(self) -> sqlite3.Connection:
        try:
            return sqlite3.connect(
                self.path,
                timeout=BUSY_TIMEOUT_S,
                isolation_level=None,
                check_same_thread=False,
            )
        except sqlite3.Error as error:
            raise self._explained(error, "open") from error

    def _prepare(self) -> None:
        connection = self._connection
        connection.execute("PRAGMA journal_mode=WAL")
        connection.execute("PRAGMA synchronous=FULL")
        (check,) = connection.execute("PRAGMA quick_check(1)").fetchone()
        if check != "ok":
            raise _Damaged(" ".join(str(check).split()))
        (version,) = connection.execute("PRAGMA user_version").fetchone()
        if version == 0:
            self._create()
        elif version != SCHEMA_VERSION:
            raise _Damaged(f"layout {version} is not the known layout {SCHEMA_VERSION}")

    def _create(self) -> None:
        with self._connection:
            self._connection.execute("BEGIN IMMEDIATE")
            for statement in _SCHEMA:
                self._connection.execute(statement)
            self._connection.execute(f"PRAGMA user_version={SCHEMA_VERSION}")

    def _write(self, state: dict[str, Any]) -> None:
        for table in ("reference", "strings", "players"):
            self._connection.execute(f"DELETE FROM {table}")  # noqa: S608 - fixed names above
        serial = state["reference"]["serial"]
        self._insert("reference", _REFERENCE_KEYS, [state["reference"]])
        self._insert("strings", _STRING_KEYS, [s | {"serial": serial} for s in state["strings"]])
        players = [p | {"configured": json.dumps(p["configured"])} for p in state["players"]]
        self._insert("players", _PLAYER_KEYS, players)

    def _insert(self, table: str, keys: tuple[str, ...], rows: list[dict[str, Any]]) -> None:
        columns = ", ".join(f'"{key}"' for key in keys)
        marks = ", ".join("?" for _ in keys)
        values = [tuple(row[key] for key in keys) for row in rows]
        self._connection.executemany(
            f"INSERT INTO {table} ({columns}) VALUES ({marks})",  # noqa: S608 - fixed names above
            values,
        )

    def _load(self) -> dict[str, Any] | None:
        """What is stored, None when nothing was saved yet; raises _Damaged."""
        connection = self._connection
        connection.execute("BEGIN")  # one snapshot for the three tables
        try:
            references = self._rows("reference", _REFERENCE_KEYS)
            strings = self._rows("strings", _STRING_KEYS)
            players = self._rows("players", _PLAYER_KEYS)
        finally:
            connection.execute("COMMIT")
        if not references:
            return None
        return _checked({"reference": references[0], "strings": strings, "players": players})

    def _rows(self, table: str, keys: tuple[str, ...]) -> list[dict[str, Any]]:
        columns = ", ".join(f'"{key}"' for key in keys)
        found = self._connection.execute(f"SELECT {columns} FROM {table} ORDER BY rowid")  # noqa: S608
        return [dict(zip(keys, row, strict=True)) for row in found]

    def _explained(self, error: sqlite3.Error, doing: str) -> StorageError:
        code = getattr(error, "sqlite_errorcode", 0) & 0xFF
        if code in _DAMAGE:
            return _Damaged(str(error))
        return StorageError(f"{self.path}: cannot {doing} the room's state: {error}")


def _checked(state: dict[str, Any]) -> dict[str, Any]:
    """The state with its parts proved to belong together; raises _Damaged."""
    serial = state["reference"]["serial"]
    try:
        check_a4(state["reference"]["a4_hz"])
        for player in state["players"]:
            player["configured"] = json.loads(player["configured"])
    except ValueError as error:
        raise _Damaged(str(error)) from error
    if any(string.pop("serial") != serial for string in state["strings"]):
        raise _Damaged("roll call and reference do not belong together")
    return state


def _identity(path: Path) -> tuple[int, int]:
    """Device and inode of what the name stands for now; an open file keeps its own."""
    try:
        found = path.stat()
    except OSError as error:
        raise StorageError(
            f"{path}: is gone ({error.strerror}), removed while in use: {_START_ANEW}"
        ) from error
    return found.st_dev, found.st_ino


def _move_aside(path: Path, stamp: str) -> Path:
    """Rename the database and its log, so that neither is read again; the new main name."""
    aside = path.with_name(f"{path.name}.corrupt-{stamp}")
    try:
        for suffix in ("-wal", "-shm", ""):
            part = path.with_name(path.name + suffix)
            if part.exists():
                part.replace(aside.with_name(aside.name + suffix))
    except OSError as error:
        raise StorageError(f"{path}: cannot move it aside: {error.strerror}") from error
    return aside
