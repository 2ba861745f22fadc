"""Latest-state mailboxes between the threads that listen and the phones that watch.

``Hub.publish`` may be called from any thread and never waits for a phone: it
encodes the message once, lays it into each stream's mailbox and rings a bell.
A mailbox keeps one message per (kind, key), the newest, so a stalled phone
costs a bounded amount of memory and, when it wakes, hears the present only.

Nothing here knows of sockets or of the server's event loop; times are seconds
of the hub's clock, monotonic unless a test brings its own.
"""

from __future__ import annotations

import json
import threading
import time
from collections.abc import Callable
from typing import Any

from station.errors import StreamsFullError
from station.web.presence import Presence

# A reading older than this no longer tells what the string does now.
READING_LIFE_S = 1.0
# The whole room is some kilobytes: a phone gets it at most this often.
ROOM_INTERVAL_S = 0.4


def encode_event(kind: str, payload: Any) -> bytes:
    """One server-sent event (WHATWG HTML, section 9.2) as bytes.

    JSON escapes every line break inside strings, so one ``data:`` line holds
    it. Raises ValueError for NaN and infinities, which JSON does not know.
    """
    data = json.dumps(payload, allow_nan=False, ensure_ascii=False, separators=(",", ":"))
    return f"event: {kind}\ndata: {data}\n\n".encode()


class Mailbox:
    """What one stream still has to send; filled from any thread, emptied by its stream."""

    def __init__(self, wake: Callable[[], None]) -> None:
        self.wake = wake
        self._lock = threading.Lock()
        self._latest: dict[tuple[str, str], tuple[float, bytes]] = {}
        self._room_sent_s = float("-inf")

    def put(self, kind: str, key: str, frame: bytes, now_s: float) -> None:
        """Replace what was waiting for this kind and key."""
        with self._lock:
            self._latest.pop((kind, key), None)
            self._latest[(kind, key)] = (now_s, frame)

    def take(self, now_s: float) -> bytes:
        """Everything due now, oldest first; empty when nothing is.

        Readings past ``READING_LIFE_S`` are dropped: sent late they would look live.
        """
        with self._lock:
            due = [item for item in self._latest.items() if self._wait_s(item[0][0], now_s) <= 0]
            for key, _ in due:
                del self._latest[key]
        frames = []
        for (kind, _), (put_s, frame) in due:
            if kind == "room":
                self._room_sent_s = now_s
            if kind != "reading" or now_s - put_s <= READING_LIFE_S:
                frames.append(frame)
        return b"".join(frames)

    def due_in_s(self, now_s: float, at_most_s: float) -> float:
        """Seconds until something waiting becomes due, at most ``at_most_s``."""
        with self._lock:
            waits = [self._wait_s(kind, now_s) for kind, _ in self._latest]
        return max(0.0, min([at_most_s, *waits]))

    def room_sent(self, now_s: float) -> None:
        """The stream sent a snapshot of its own accord; hold the next one back a moment."""
        self._room_sent_s = now_s

    def __len__(self) -> int:
        return len(self._latest)

    def _wait_s(self, kind: str, now_s: float) -> float:
        return self._room_sent_s + ROOM_INTERVAL_S - now_s if kind == "room" else 0.0


class Hub:
    """Hands each published message to every stream, at most ``max_streams`` of them.

    ``presence`` knows which of the streams belong to a player's phone.
    """

    def __init__(self, max_streams: int = 64, clock: Callable[[], float] = time.monotonic) -> None:
        self.max_streams = max_streams
        self.clock = clock
        self.presence = Presence()
        self._lock = threading.Lock()
        self._boxes: tuple[Mailbox, ...] = ()
        self._ring: Callable[[], None] = self.wake_streams

    def publish(self, kind: str, key: str, payload: Any) -> None:
        """Lay a message into every mailbox. Any thread; never waits for a phone.

        ``payload`` is encoded before this returns, so the caller may go on
        changing it. A ``room`` payload is the whole snapshot.
        """
        boxes = self._boxes
        if not boxes:
            return
        frame = encode_event(kind, payload)
        now_s = self.clock()
        for box in boxes:
            box.put(kind, key, frame, now_s)
        self._ring()

    def subscribe(self, wake: Callable[[], None]) -> Mailbox:
        """A new stream's mailbox. Raises StreamsFullError at the limit."""
        box = Mailbox(wake)
        with self._lock:
            if len(self._boxes) >= self.max_streams:
                raise StreamsFullError(
                    f"all {self.max_streams} event streams are in use; "
                    "close the page on a phone that does not need it"
                )
            self._boxes = (*self._boxes, box)
        return box

    def unsubscribe(self, box: Mailbox) -> None:
        """Forget a mailbox; harmless when it is already gone."""
        with self._lock:
            self._boxes = tuple(other for other in self._boxes if other is not box)
        self.presence.leave(box)

    @property
    def streams(self) -> int:
        """How many streams are open."""
        return len(self._boxes)

    def set_bell(self, ring: Callable[[], None] | None) -> None:
        """How to reach the thread that serves the streams; ``None`` wakes them directly.

        ``ring`` must be safe from any thread and must end in ``wake_streams``
        running in the serving thread.
        """
        self._ring = ring or self.wake_streams

    def wake_streams(self) -> None:
        """Wake each stream that has something to send; serving thread only."""
        for box in self._boxes:
            if len(box):
                box.wake()
