"""The room on storage: taken back at the start, saved when due, and what the page says if not.

What cannot be saved never stops the station: a banner says so until it can.
"""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable
from contextlib import AbstractContextManager
from pathlib import Path

from station.errors import StorageError
from station.record.keeping import RecordKeeping
from station.room.model import Event
from station.room.room import Room
from station.room.store import SAVE_EVERY_S, RoomStore, open_store

log = logging.getLogger(__name__)

STORE_NAME = "room.sqlite"
NOT_SAVED = "Not saved: {}. Everything goes on, but a power cut would lose it."

Change = Callable[[], list[Event]]


class Keeping:
    """Keeps `room` in `folder`, None for a room that is not kept.

    `stamp` is wall-clock text fit for a file name. `lock` guards the room, `do` makes
    a change to it and tells its events. Once closed nothing is saved any more.
    """

    def __init__(
        self,
        folder: Path | None,
        stamp: str,
        room: Room,
        lock: AbstractContextManager[object],
        do: Callable[[Change], None],
    ) -> None:
        self._room = room
        self._lock = lock
        self._do = do
        self._saving = threading.Lock()  # or an older state might be stored last
        self.record = RecordKeeping(folder, stamp)
        self._said: list[str] = []  # banners about the record
        # Room and record are written in the same moments, or a card would be twice a minute.
        self._next_s = float("-inf")
        self.store: RoomStore | None = None if folder is None else self._open(folder, stamp)

    def _open(self, folder: Path, stamp: str) -> RoomStore | None:
        room = self._room
        try:
            opened = open_store(folder / STORE_NAME, stamp)
        except StorageError as error:
            room.add_banner(NOT_SAVED.format(error))
            return None
        if opened.reason is not None:
            room.add_banner(opened.reason)
        if opened.state is not None:
            for line in room.restore(opened.state):
                room.add_banner(line)
        return opened.store

    def save(self, only_if_due: bool = False) -> None:
        """Save now, or only when a minute has passed and something changed."""
        store = self.store
        if store is None:
            return
        try:
            saved = self._save(store, only_if_due)
        except StorageError as error:
            log.warning("%s", error)
            banner = NOT_SAVED.format(error)
            self._clear_banners(but=banner)
            self._do(lambda: self._room.add_banner(banner))
        else:
            if saved:
                self._clear_banners()

    def _save(self, store: RoomStore, only_if_due: bool) -> bool:
        with self._saving:
            with self._lock:
                state = self._room.state()
            now_s = time.monotonic()
            if not only_if_due:
                store.save(state, now_s)
                return True
            if now_s < self._next_s:
                return False
            saved = store.save_if_due(state, now_s)
            if saved:
                self._next_s = now_s + SAVE_EVERY_S
            return saved

    def note(self, at: str, now_s: float) -> None:
        """Note what is new of the rehearsal in its record, and say it where that fails.

        Without a store nothing is noted: another station may keep its record here.
        """
        if self.store is None:
            return
        with self._lock:
            room = self._room.snapshot(now_s)
        if self.record.take(room, at, now_s, now_s >= self._next_s):
            self.save(only_if_due=True)
            self._next_s = now_s + SAVE_EVERY_S
        say = [text for text in (self.record.trouble, self.record.reason) if text is not None]
        for text in self._said:
            if text not in say:
                self._do(lambda text=text: self._room.remove_banner(text))
        for text in say:
            self._do(lambda text=text: self._room.add_banner(text))
        self._said = say

    def close(self) -> None:
        """Save a last time and let another station have the store."""
        if self.store is not None:
            self.record.close(time.monotonic())
        store, self.store = self.store, None
        if store is None:
            return
        try:
            self._save(store, only_if_due=False)
        except StorageError as error:
            log.warning("%s", error)
        store.close()

    def _clear_banners(self, but: str = "") -> None:
        prefix = NOT_SAVED.partition("{")[0]
        with self._lock:
            banners = self._room.snapshot(time.monotonic())["station"]["banners"]
        for banner in banners:
            if banner.startswith(prefix) and banner != but:
                self._do(lambda banner=banner: self._room.remove_banner(banner))
