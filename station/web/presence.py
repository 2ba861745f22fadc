"""Whose phones are here: the players that hold at least one event stream open.

A stream that names a player counts for that player while it is open, however
many phones the player has. One listener is told, with the whole list, whenever
it changes: in a thread of its own, so that a station that waits for a lock or
for its storage card delays no stream. Changes that come while it is busy are
told together, the newest last; the listener is never called twice at once.

A stream opens without the room code, so presence is a courtesy and no proof:
somebody on the network who names a player can make the band wait for that
player's yes, but can give none.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable, Hashable

log = logging.getLogger(__name__)


class Presence:
    """Counts open streams per player; safe from any thread, never waits for its listener."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._streams: dict[Hashable, str] = {}
        self._told: list[str] = []
        self._listener: Callable[[list[str]], object] | None = None
        self._paused = False
        self._telling = False

    def listen(self, listener: Callable[[list[str]], object] | None) -> None:
        """Tell ``listener`` from now on; it replaces the one before."""
        with self._lock:
            self._listener = listener
        self._tell()

    def enter(self, stream: Hashable, player_id: str) -> None:
        """``stream`` belongs to that player's phone."""
        with self._lock:
            self._streams[stream] = player_id
        self._tell()

    def leave(self, stream: Hashable) -> None:
        """``stream`` has ended; harmless when it never counted."""
        with self._lock:
            known = self._streams.pop(stream, None)
        if known is not None:
            self._tell()

    def players(self) -> list[str]:
        """Ids of the players whose phone is here, in the order they came."""
        with self._lock:
            return self._players()

    def pause(self) -> None:
        """Tell nothing: the server ends its streams, which is no phone's leaving."""
        with self._lock:
            self._paused = True

    def resume(self) -> None:
        """Tell again, at once if the list is another than the one last told."""
        with self._lock:
            self._paused = False
        self._tell()

    def _players(self) -> list[str]:
        return list(dict.fromkeys(self._streams.values()))

    def _news(self) -> list[str] | None:
        """The list to be told, None when there is nothing to tell; under the lock."""
        here = self._players()
        silent = self._paused or self._listener is None
        return None if silent or sorted(here) == sorted(self._told) else here

    def _tell(self) -> None:
        with self._lock:
            if self._telling or self._news() is None:
                return
            self._telling = True
        # A thread for the moment: phones come and go a few times an hour.
        threading.Thread(target=self._tell_all, name="presence", daemon=True).start()

    def _tell_all(self) -> None:
        while True:
            with self._lock:
                here, listener = self._news(), self._listener
                if here is None or listener is None:
                    self._telling = False
                    return
                self._told = here
            try:
                listener(list(here))
            except Exception:
                # The next change is told all the same.
                log.exception("who is present could not be passed on")
