"""Which connections may have to make room when all places are taken."""

from __future__ import annotations

import time
from typing import Protocol

# An answer that takes this long may lose its place when all are taken.
SLOW_ANSWER_S = 5.0


class Held(Protocol):
    """A connection as far as its place goes."""

    def end(self) -> None:
        """Give the place up; returns at once."""


class Places:
    """Connections that may have to make room, oldest first; streams, which the hub bounds, not."""

    def __init__(self, limit: int) -> None:
        self.limit = limit
        self._waiting: dict[Held, None] = {}
        self._answering: dict[Held, float] = {}

    def waits(self, handler: Held) -> None:
        """``handler`` has no whole request yet."""
        self.leaves(handler)
        self._waiting[handler] = None

    def answers(self, handler: Held) -> None:
        """``handler`` has begun to answer."""
        self.leaves(handler)
        self._answering[handler] = time.monotonic()

    def leaves(self, handler: Held) -> None:
        """``handler`` streams, or has ended."""
        self._waiting.pop(handler, None)
        self._answering.pop(handler, None)

    def make_room(self) -> bool:
        """End one connection for a newcomer; False when all are honestly busy."""
        oldest = next(iter(self._waiting), None)
        if oldest is None:
            oldest, begun_s = next(iter(self._answering.items()), (None, 0.0))
            if oldest is None or time.monotonic() - begun_s < SLOW_ANSWER_S:
                return False
        self.leaves(oldest)
        oldest.end()
        return True
