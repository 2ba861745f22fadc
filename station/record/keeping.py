"""The record while a station runs: what the recorder gives is stored, and what fails is said."""

from __future__ import annotations

import logging
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from station.errors import StorageError
from station.record.model import Rehearsal
from station.record.recorder import Recorder
from station.record.store import RECORD_NAME, RecordStore

log = logging.getLogger(__name__)

TRY_AGAIN_S = 60.0


class RecordKeeping:
    """Keeps the record in `folder`; None keeps none. `stamp` is text fit for a file name.

    The database is opened with the first rehearsal that begins, so that a station nobody
    plays to writes nothing. ``trouble`` is one line while the record cannot be kept.
    """

    def __init__(self, folder: Path | None, stamp: str) -> None:
        self._path = None if folder is None else folder / RECORD_NAME
        self._stamp = stamp
        self._store: RecordStore | None = None
        self._number: int | None = None
        self._try_at_s = float("-inf")
        self.recorder = Recorder()
        self.trouble: str | None = None
        self.reason: str | None = None

    def take(self, room: Mapping[str, Any], at: str, now_s: float, may_write: bool = True) -> bool:
        """A snapshot a second, or so; stores about once a minute. Never raises for storage.

        Whether it has stored; what it may not store now waits.
        """
        if self._path is None:
            return False
        self.recorder.take(room, at, now_s)
        over = may_write and self.recorder.over(now_s)
        wrote = may_write and (self.recorder.due(now_s) or over) and self._write(now_s)
        if over:
            self.recorder.end()
            self._number = None
        return wrote

    def close(self, now_s: float) -> None:
        """Store what waits."""
        if self._path is not None:
            self._write(now_s)

    def _write(self, now_s: float) -> bool:
        if self._path is None or now_s < self._try_at_s:
            return False
        rows = self.recorder.give(now_s)
        if not rows:
            return False
        recorder = self.recorder
        try:
            if self._store is None:
                self._store = RecordStore(self._path, self._stamp)
                self.reason = self._store.reason
            if self._number is None:
                self._number = self._store.begin(
                    Rehearsal(0, recorder.began_at, recorder.lasted_s(), recorder.room)
                )
            self._store.add(self._number, rows, recorder.lasted_s(), recorder.players)
        except StorageError as error:
            log.warning("%s", error)
            recorder.give_back(rows)
            self._try_at_s = now_s + TRY_AGAIN_S
            self.trouble = f"Rehearsal not recorded: {error}. Tuning goes on."
        else:
            self.trouble = None
        return True
