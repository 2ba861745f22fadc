"""What the service manager is told: ready, still getting on, ending.

sd_notify(3): datagrams of ``NAME=value`` lines to the socket that ``$NOTIFY_SOCKET``
names. ``WATCHDOG=1`` is due within ``$WATCHDOG_USEC`` of the one before, or the
manager ends the service and starts it anew.

It is sent for progress alone, never for being alive. Each core loop counts its turns, and
only when every loop that has work has turned since the last ``WATCHDOG=1`` the next
one goes out. So a loop that freezes is missed `LOOK_S` plus the manager's own time
later, and one that is merely slow may take nearly all of that time. A
sound card that is missing is no fault of a loop: waiting for it is a turn, too, and
who is handed no blocks owes none.
"""

from __future__ import annotations

import contextlib
import faulthandler
import logging
import os
import socket
import sys
import threading
from collections.abc import Callable, Iterator, Mapping, MutableMapping
from typing import NamedTuple, Protocol

log = logging.getLogger(__name__)

LOOK_S = 1.0
"""How often progress is looked at; more often where the manager is less patient."""
LOOKS = 4  # at least so many in the manager's time
STOP_WAIT_S = 2.0
VARIABLES = ("NOTIFY_SOCKET", "WATCHDOG_USEC", "WATCHDOG_PID")


class Count(NamedTuple):
    """How far a loop has come: what it has ``done`` and, unless it always has work, was ``given``.

    Both only grow. ``given`` None means that it turns by itself, whatever comes in.
    """

    done: int
    given: int | None = None


class Turns(Protocol):
    """A loop that counts how often it came round: the input's, the page's."""

    turns: int


class Hears(Protocol):
    """A loop that counts what it has heard."""

    blocks_heard: int


def core_loops(capture: Turns, listening: Hears, blocks: int, page: Turns) -> dict[str, Count]:
    """The three without which there is no station; `blocks` were handed to listening so far."""
    return {
        "capture": Count(capture.turns),
        "listening": Count(listening.blocks_heard, blocks),
        "page": Count(page.turns),
    }


Progress = Callable[[], Mapping[str, Count]]
"""Every core loop's count, by its name. May wait: while it does, nothing is fed."""


class Judge:
    """Which loops stand still. Pure: counts in, names out."""

    def __init__(self, first: Mapping[str, Count]) -> None:
        self._settled = dict(first)

    def standing_still(self, now: Mapping[str, Count]) -> list[str]:
        """Loops that had work and did nothing since the last time that none stood still."""
        still = [name for name, count in now.items() if not self._got_on(name, count)]
        if not still:
            self._settled = dict(now)
        return still

    def _got_on(self, name: str, count: Count) -> bool:
        was = self._settled[name]
        if count.done != was.done:
            return True
        # Work given before it last got on counts as done: it takes the oldest first.
        return count.given is not None and count.given == was.given


class ServiceManager:
    """The manager that started this process, or none: then nothing is sent at all.

    `address` is its socket, a path or ``@`` and an abstract name; `limit_s` how long
    it waits for the next sign of progress, None where it does not watch.
    """

    def __init__(self, address: str | None = None, limit_s: float | None = None) -> None:
        self._address = address
        self._limit_s = limit_s
        self._stopping = threading.Event()
        self._reached = True

    @classmethod
    def of(cls, environment: MutableMapping[str, str]) -> ServiceManager:
        """The one `environment` names. The names are taken out: no child may speak for us."""
        address, limit_us, pid = (environment.pop(name, "") for name in VARIABLES)
        if not address.startswith(("/", "@")):
            return cls()
        meant_for_us = pid in ("", str(os.getpid()))
        if not (limit_us.isdecimal() and int(limit_us) and meant_for_us):
            return cls(address)
        return cls(address, int(limit_us) / 1e6)

    @contextlib.contextmanager
    def watching(self, progress: Progress, status: str = "") -> Iterator[None]:
        """Ready from here on, and fed for as long as `progress` is made; ending afterwards."""
        self._send("READY=1", *([f"STATUS={status}"] if status else []))
        watch: threading.Thread | None = None
        if self._limit_s is not None:
            # A watchdog's SIGABRT then leaves in the log where every thread stood.
            if sys.stderr is not None:
                faulthandler.enable()
            watch = threading.Thread(
                target=self._watch, args=(progress, status), name="watchdog", daemon=True
            )
            watch.start()
        try:
            yield
        finally:
            # From here on the manager's time for ending counts.
            self._stopping.set()
            self._send("STOPPING=1")
            if watch is not None:
                watch.join(STOP_WAIT_S)

    def _watch(self, progress: Progress, status: str) -> None:
        limit_s = self._limit_s or LOOK_S
        look_s = min(LOOK_S, limit_s / LOOKS)
        judge, unfed_s, told = Judge(progress()), 0.0, False
        while not self._stopping.wait(look_s):
            still = judge.standing_still(progress())
            unfed_s = unfed_s + look_s if still else 0.0
            if not still:
                self._send("WATCHDOG=1", *([f"STATUS={status}"] if told else []))
                told = False
            elif unfed_s >= limit_s / 2 and not told:
                told = True
                log.warning("no progress for %.3g s: %s", unfed_s, ", ".join(still))
                self._send(f"STATUS=Standing still: {', '.join(still)}")

    def _send(self, *lines: str) -> None:
        """Tell the manager; one that cannot be reached is no reason to end."""
        if self._address is None:
            return
        address = self._address.replace("@", "\0", 1) if self._address[0] == "@" else self._address
        try:
            with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_CLOEXEC) as way:
                way.setblocking(False)
                way.sendto("\n".join(lines).encode(), address)
            self._reached = True
        except OSError as error:
            if self._reached:
                log.warning("the service manager cannot be told %s: %s", lines[0], error)
            self._reached = False
