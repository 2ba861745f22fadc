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
``Room.state()`` gives), never the room. The log (`store_log`) is written in
the same transaction as the reference it tells of.

One station at a time has a store: two would undo each other's saves. A lock
on a file beside the database (flock(2)) says who, and ends with its process,
however that ends. The lock file itself stays: were it removed, a third
station could lock a new one while the second still holds the old.
"""

from __future__ import annotations

import json
import math
import os
import sqlite3
import threading
from dataclasses import dataclass
from pathlib import Path
from types import NoneType
from typing import Any

from station.errors import StorageError
from station.room import store_log
from station.room.history import LogEntry
from station.room.model import STATE_PARTS, Reference
from station.room.store_files import (
    LOCK_SUFFIX,
    START_ANEW,
    Damaged,
    check_size,
    identity,
    move_aside,
    take_lock,
)
from station.room.store_schema import SCHEMA_VERSION, bring_up, is_known, layout_of, misfit

SAVE_EVERY_S = 60.0
BUSY_TIMEOUT_S = 2.0

_REFERENCE_KEYS = ("serial", "a4_hz", "set_at", "by", "source", "agreed")
_STRING_KEYS = (
    "player", "string", "serial", "midi", "offset_cents", "roll", "cents", "uncertainty_cents",
    "verdict",
)  # fmt: skip
_PLAYER_KEYS = (
    "id", "name", "instrument", "tuning", "line", "capo", "offsets_cents", "configured",
)  # fmt: skip
_PLAYER_TYPES: dict[str, Any] = {
    "id": str, "name": str, "instrument": str, "tuning": str, "line": int, "capo": int,
}  # fmt: skip
_STRING_TYPES: dict[str, Any] = {
    "player": str, "string": int, "midi": int, "roll": str, "cents": (float, int, NoneType),
    "uncertainty_cents": (float, int, NoneType), "verdict": (str, NoneType),
    "offset_cents": (float, int, NoneType),
}  # fmt: skip
"""What is kept as JSON: the room reads each by itself and says which it cannot use."""
_DAMAGE = frozenset({sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB})
_DAMAGE_AT_OPENING = _DAMAGE | {0, sqlite3.SQLITE_ERROR, sqlite3.SQLITE_TOOBIG}
"""Beside these: names that are no text (Python's own error, without a code), and tables that are
not what they should be."""


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
    lock_fd = take_lock(path.with_name(path.name + LOCK_SUFFIX))
    try:
        return _open_locked(path, stamp, lock_fd)
    except BaseException:
        os.close(lock_fd)
        raise


def _open_locked(path: Path, stamp: str, lock_fd: int) -> Opened:
    try:
        store = RoomStore(path, lock_fd)
        return Opened(store, store.state, None)
    except Damaged as error:
        aside = move_aside(path, stamp)
        reason = f"saved state was damaged ({error}); kept as {aside.name}, starting afresh"
        return Opened(RoomStore(path, lock_fd), None, reason)


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
        self._parts: dict[str, str] = {}  # as they are on storage
        self._log_serial = 0
        self._saved_at_s: float | None = None
        check_size(path)
        self._connection = self._connect()
        try:
            self._prepare()
            self.state = self._load()
            self._saved_text = _text(self.state)
            self._identity = identity(path)
        except (sqlite3.Error, UnicodeDecodeError) as error:
            self._connection.close()
            raise self._explained(error, "open", _DAMAGE_AT_OPENING) from error
        except StorageError:
            self._connection.close()
            raise

    def save(self, state: dict[str, Any], now_s: float | None = None) -> None:
        """Write the whole state in one transaction, flushed before returning.

        Of the log only entries newer than those stored are written, of the
        parts only those that changed.

        Raises StorageError; what was stored before then still stands, and a
        later call may succeed.
        """
        text = _text(state)
        with self._lock:
            self._saved_text = None  # should it fail, even an unchanged state is due again
            # SQLite would go on writing, without a word, to a file that has no name any more.
            if identity(self.path) != self._identity:
                raise StorageError(f"{self.path}: was replaced while in use: {START_ANEW}")
            try:
                with self._connection:
                    self._connection.execute("BEGIN IMMEDIATE")
                    parts = self._write(state)
            except sqlite3.Error as error:
                raise self._explained(error, "save to") from error
            self._parts = parts
            self._log_serial = max([self._log_serial, *_serials(state)])
            self._saved_text = text
            self._saved_at_s = now_s

    def save_if_due(self, state: dict[str, Any], now_s: float) -> bool:
        """Save when a minute has passed since the last save and something changed.

        An idle room therefore writes nothing at all. Returns whether it saved;
        raises StorageError.
        """
        if self._saved_at_s is not None and now_s - self._saved_at_s < SAVE_EVERY_S:
            return False
        if _text(state) == self._saved_text:
            return False
        self._saved_at_s = now_s  # a failing disk, too, is tried once a minute only
        self.save(state, now_s)
        return True

    def log(self) -> list[LogEntry]:
        """Every change of the reference that is stored, newest first; raises StorageError."""
        with self._lock:
            try:
                return store_log.entries(self._connection)
            except sqlite3.Error as error:
                raise self._explained(error, "read") from error

    def close(self) -> None:
        """Close the database and let another station have it; harmless when called twice."""
        with self._lock:
            self._connection.close()
            lock_fd, self._lock_fd = self._lock_fd, None
            if lock_fd is not None:
                os.close(lock_fd)

    def _connect(self) -> sqlite3.Connection:
        try:
            connection = sqlite3.connect(
                self.path,
                timeout=BUSY_TIMEOUT_S,
                isolation_level=None,
                check_same_thread=False,
            )
            connection.text_factory = store_log.decoded
            return connection
        except sqlite3.Error as error:
            raise self._explained(error, "open") from error

    def _prepare(self) -> None:
        connection = self._connection
        connection.execute("PRAGMA journal_mode=WAL")
        connection.execute("PRAGMA synchronous=FULL")
        (check,) = connection.execute("PRAGMA quick_check(1)").fetchone()
        if check != "ok":
            raise Damaged(" ".join(str(check).split()))
        layout = layout_of(connection)
        if not is_known(layout):
            raise Damaged(f"layout {layout} is not the known layout {SCHEMA_VERSION}")
        wrong = misfit(connection, layout)
        if wrong is not None:
            raise Damaged(wrong)
        try:
            bring_up(connection)
        except sqlite3.Error as error:  # ours, or the disk's: what is stored is whole
            raise self._explained(error, "bring up to date") from error

    def _write(self, state: dict[str, Any]) -> dict[str, str]:
        """Write in the caller's transaction; the parts as they are stored after it."""
        for table in ("reference", "strings", "players"):
            self._connection.execute(f"DELETE FROM {table}")  # noqa: S608 - fixed names above
        reference = state["reference"]
        serial = reference["serial"]
        self._insert("reference", _REFERENCE_KEYS, [_packed(reference, "agreed")])
        self._insert("strings", _STRING_KEYS, [s | {"serial": serial} for s in state["strings"]])
        players = [_packed(player, "offsets_cents", "configured") for player in state["players"]]
        self._insert("players", _PLAYER_KEYS, players)
        new = [row for row in state.get("log", ()) if row["serial"] > self._log_serial]
        store_log.append(self._connection, new)
        parts = {name: json.dumps(state[name]) for name in STATE_PARTS if name in state}
        for name, value in parts.items():
            if self._parts.get(name) != value:
                self._connection.execute(
                    "INSERT OR REPLACE INTO parts (name, value) VALUES (?, ?)", (name, value)
                )
        return parts

    def _insert(self, table: str, keys: tuple[str, ...], rows: list[dict[str, Any]]) -> None:
        columns = ", ".join(f'"{key}"' for key in keys)
        marks = ", ".join("?" for _ in keys)
        values = [tuple(row[key] for key in keys) for row in rows]
        self._connection.executemany(
            f"INSERT INTO {table} ({columns}) VALUES ({marks})",  # noqa: S608 - fixed names above
            values,
        )

    def _load(self) -> dict[str, Any] | None:
        """What is stored, None when nothing was saved yet; raises Damaged."""
        connection = self._connection
        connection.execute("BEGIN")  # one snapshot for all the tables
        try:
            references = self._rows("reference", _REFERENCE_KEYS)
            strings = self._rows("strings", _STRING_KEYS)
            players = self._rows("players", _PLAYER_KEYS)
            self._parts = dict(connection.execute("SELECT name, value FROM parts"))
            logged = store_log.last_serial(connection)
        finally:
            connection.execute("COMMIT")
        if not references:
            return None
        state = _checked({"reference": references[0], "strings": strings, "players": players})
        self._log_serial = min(logged, state["reference"]["serial"])
        known = (name for name in STATE_PARTS if name in self._parts)
        return state | {name: _unpacked(self._parts[name]) for name in known}

    def _rows(self, table: str, keys: tuple[str, ...]) -> list[dict[str, Any]]:
        columns = ", ".join(f'"{key}"' for key in keys)
        found = self._connection.execute(f"SELECT {columns} FROM {table} ORDER BY rowid")  # noqa: S608
        return [dict(zip(keys, row, strict=True)) for row in found]

    def _explained(
        self, error: Exception, doing: str, damage: frozenset[int] = _DAMAGE
    ) -> StorageError:
        code, what = getattr(error, "sqlite_errorcode", 0) & 0xFF, " ".join(str(error).split())
        if code in damage:
            return Damaged(what[:120])
        return StorageError(f"{self.path}: cannot {doing} the room's state: {what}")


def _checked(state: dict[str, Any]) -> dict[str, Any]:
    """The state with its parts proved to belong together; raises Damaged."""
    serial = state["reference"]["serial"]
    try:
        state["reference"]["agreed"] = _names(state["reference"]["agreed"])
        _check_reference(state["reference"])
        for player in state["players"]:
            for key in ("offsets_cents", "configured"):
                player[key] = _mapping(player[key])
            _check_types(player, _PLAYER_TYPES)
        for string in state["strings"]:
            _check_types(string, _STRING_TYPES)
    except (ValueError, TypeError, RecursionError) as error:
        raise Damaged(" ".join(str(error).split())[:120]) from error
    if any(string.pop("serial") != serial for string in state["strings"]):
        raise Damaged("roll call and reference do not belong together")
    return state


def _check_reference(row: dict[str, Any]) -> None:
    if not isinstance(row["serial"], int):
        raise TypeError(f"the reference's serial number is {row['serial']!r:.40}")
    Reference(row["a4_hz"], row["set_at"], row["by"], row["source"], tuple(row["agreed"]))


def _check_types(row: dict[str, Any], types: dict[str, Any]) -> None:
    for key, kind in types.items():
        endless = isinstance(row[key], float) and not math.isfinite(row[key])
        if endless or not isinstance(row[key], kind):
            raise TypeError(f"{key} is {row[key]!r:.40}")


def _mapping(text: Any) -> dict[str, Any]:
    found = json.loads(text)
    if not isinstance(found, dict):
        raise TypeError(f"{found!r:.40} is no table of values")
    return found


def _names(text: Any) -> list[str]:
    found = json.loads(text)
    if not isinstance(found, list) or not all(isinstance(name, str) for name in found):
        raise TypeError("who agreed is no list of names")
    return found


def _text(state: dict[str, Any] | None) -> str:
    """What tells one state from another; the log is told by the reference's serial."""
    told = None if state is None else {key: state[key] for key in state if key != "log"}
    return json.dumps(told, sort_keys=True)


def _serials(state: dict[str, Any]) -> list[int]:
    return [row["serial"] for row in state.get("log", ())]


def _packed(row: dict[str, Any], *keys: str) -> dict[str, Any]:
    return row | {key: json.dumps(row[key]) for key in keys}


def _unpacked(text: Any) -> Any:
    """A part as it was stored; what is no JSON is handed on, as text, for the room to refuse."""
    try:
        return None if text is None else json.loads(text)
    except (ValueError, TypeError, RecursionError):
        return str(text)[:80]
