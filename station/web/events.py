"""One phone's stream of server-sent events: snapshot, news, heartbeats, an end in time.

Runs in a greenlet of the serving thread. A stream ends by itself after its
lease: a phone that vanished behind a proxy's or a kernel's buffer cannot hold
its place for ever, and a live one opens the next stream at once.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import gevent
from gevent.event import Event

from station.web.hub import Hub, encode_event


@dataclass(frozen=True, slots=True)
class StreamTimes:
    """The stream's times, in seconds."""

    heartbeat_s: float = 4.0
    lease_s: float = 300.0
    # News that arrives closer together than this goes out together: twenty
    # writes a second look live, and 64 phones cost one small computer little.
    flush_s: float = 0.05


HEARTBEAT = encode_event("heartbeat", {})
LEASE_OVER = encode_event("lease", {})


class EventStream:
    """An iterable of encoded events for one response; call ``close`` when it has ended.

    ``gone`` says whether the phone has closed its side: a write alone would
    notice only the time after next. ``player_id`` is whose phone it is: while
    the stream is open that player counts as present. A player the room does not
    know (any more) makes it a stream like any other: a screen shows the room.
    """

    def __init__(
        self,
        hub: Hub,
        snapshot: Callable[[], Any],
        times: StreamTimes,
        gone: Callable[[], bool] = lambda: False,
        player_id: str | None = None,
    ) -> None:
        self._player_id = player_id
        self._gone = gone
        self._hub = hub
        self._snapshot = snapshot
        self._times = times
        self._news = Event()
        self._box = hub.subscribe(self._news.set)

    def close(self) -> None:
        """Free the stream's place; harmless when called twice."""
        self._hub.unsubscribe(self._box)

    def __iter__(self) -> Iterator[bytes]:
        clock, times = self._hub.clock, self._times
        room = self._snapshot()
        if any(player["id"] == self._player_id for player in room["players"]):
            self._hub.presence.enter(self._box, str(self._player_id))
        yield b"retry: 1000\n\n" + encode_event("room", room)
        started_s = written_s = clock()
        self._box.room_sent(started_s)
        while (now_s := clock()) - started_s < times.lease_s:
            if self._gone():
                return
            self._news.clear()
            frames = self._box.take(now_s)
            if not frames and now_s - written_s >= times.heartbeat_s:
                frames = HEARTBEAT
            if frames:
                yield frames
                written_s = clock()
                gevent.sleep(times.flush_s)
            else:
                rest_s = min(written_s + times.heartbeat_s, started_s + times.lease_s) - now_s
                self._news.wait(self._box.due_in_s(now_s, rest_s))
        yield LEASE_OVER
