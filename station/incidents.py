"""What befell the station, on storage: the boards keep the system's own journal in memory alone.

Starts and ends, a lost card, a fault of storage, supply or lamps, whatever the
station logs as a warning. One line each, written and flushed when it happens and at no
other time: nothing happens, nothing is written. Two files, each of half of `MAX_BYTES`,
take turns, so that there is always a past. At most `MOST_A_MINUTE` lines a
minute wear the storage; what comes beyond is counted.

A line is wall-clock time, seconds since this start (which no jump of the clock
changes), and what happened. Whoever tells of an incident never waits for storage.
"""

from __future__ import annotations

import logging
import os
import threading
import time
from collections import deque
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from station.room.model import Event

NAME = "incidents.log"
BEFORE = "incidents.before.log"
MAX_BYTES = 256 * 1024
MOST_A_MINUTE = 10
MINUTE_S = 60.0
LINE_MAX = 400
WAITING_MAX = 100
STOP_WAIT_S = 2.0
STARTED, ENDED = "started", "ended"
CUT_OFF = "the start before did not end by itself: power cut, watchdog or kill"


@dataclass(frozen=True, slots=True)
class Incident:
    """A line read back; ``up_s`` are seconds since that start."""

    at: str
    up_s: int
    what: str


class Budget:
    """How many lines may be written; pure. What is refused is counted until there is room."""

    def __init__(self, most: int = MOST_A_MINUTE, per_s: float = MINUTE_S) -> None:
        self._most, self._per_s = most, per_s
        self._written_at_s: deque[float] = deque()
        self.refused = 0

    def take(self, now_s: float) -> bool:
        """Whether one more line may be written now."""
        written = self._written_at_s
        while written and now_s - written[0] >= self._per_s:
            written.popleft()
        if len(written) >= self._most:
            self.refused += 1
            return False
        written.append(now_s)
        return True

    def count_of_refused(self) -> int:
        """How many were refused since it was last asked."""
        refused, self.refused = self.refused, 0
        return refused


class Incidents:
    """The log of one run, in `folder`. ``tell`` from any thread; storage that fails is passed over.

    `clock` is monotonic seconds, `at` the wall clock as text.
    """

    def __init__(
        self, folder: Path, at: Callable[[], str], clock: Callable[[], float] = time.monotonic
    ) -> None:
        self._folder = folder
        self._at, self._clock = at, clock
        self._began_s = clock()
        self._budget = Budget()
        self._last: str | None = None
        self._lines: deque[str] = deque(maxlen=WAITING_MAX)
        self._news = threading.Condition()
        self._ending = False
        self._seen = Seen()
        self._thread = threading.Thread(target=self._write_all, name="incidents", daemon=True)

    def start(self, version: str) -> None:
        """Begin to write; says first if the start before was cut off."""
        before = read_incidents(self._folder, 1)
        cut_off = [CUT_OFF] if before and not before[0].what.startswith(ENDED) else []
        first = [self._line(what) for what in (*cut_off, f"{STARTED}, version {version}")]
        with self._news:
            self._lines.extendleft(reversed(first))
        self._thread.start()

    def stop(self, why: str | None = None) -> None:
        """Write the end and whatever waits; without a `start` nothing is written at all."""
        with self._news:
            refused = self._budget.count_of_refused()
        self._say(f"{ENDED}{f': {why}' if why else ''}" + _more(refused))
        with self._news:
            self._ending = True
            self._news.notify()
        if self._thread.is_alive():
            self._thread.join(STOP_WAIT_S)

    def tell(self, what: str) -> None:
        """Something happened; returns at once. The same again, right after, is told once."""
        with self._news:
            if what == self._last:
                return
            self._last = what
            if not self._budget.take(self._clock()):
                return
            refused = self._budget.count_of_refused()
        self._say(what + _more(refused))

    def hear(self, event: Event) -> None:
        """Tell what is new in a snapshot of the room; other events are none."""
        if event.kind == "room":
            with self._news:
                news = self._seen.news(event.payload["station"])
            for what in news:
                self.tell(what)

    def _say(self, what: str) -> None:
        line = self._line(what)
        with self._news:
            self._lines.append(line)
            self._news.notify()

    def _line(self, what: str) -> str:
        text = " ".join(what.split()).encode("utf-8", "backslashreplace").decode()
        return f"{self._at()} {int(self._clock() - self._began_s)} {text}"[:LINE_MAX]

    def _write_all(self) -> None:
        while True:
            with self._news:
                self._news.wait_for(lambda: self._lines or self._ending)
                lines = list(self._lines)
                self._lines.clear()
            if not lines:
                return
            # A disk that is full, gone or read-only is said elsewhere; here it costs the line.
            try:
                self._append("".join(f"{line}\n" for line in lines).encode())
            except OSError as error:
                logging.getLogger(__name__).info("incidents are not kept: %s", error)

    def _append(self, content: bytes) -> None:
        path = self._folder / NAME
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_APPEND | os.O_NOFOLLOW, 0o644)
        try:
            if os.fstat(handle).st_size + len(content) > MAX_BYTES // 2:
                path.replace(self._folder / BEFORE)
                os.close(handle)
                handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o644)
            os.write(handle, content)
            os.fsync(handle)
        finally:
            os.close(handle)


def _more(refused: int) -> str:
    return f" ({refused} more incidents before it)" if refused else ""


class Seen:
    """What of the station's own account was last seen. Pure."""

    def __init__(self) -> None:
        self._input: tuple[str, int] = ("listening", 0)
        self._lamps = ""
        self._banners: frozenset[str] = frozenset()

    def news(self, station: Mapping[str, Any]) -> list[str]:
        """What has changed in it for the worse, or for the better again."""
        return [
            *self._input_news(station["input"]),
            *self._lamp_news(station["lamps"]),
            *self._banner_news(frozenset(station["banners"])),
        ]

    def _input_news(self, told: Mapping[str, Any]) -> list[str]:
        if told["state"] == "waiting" and told["reason"] in (None, "not started"):
            return []
        before, self._input = self._input, (told["state"], told["restarts"])
        if self._input == before:
            return []
        if told["state"] != "listening":
            return [f"input {told['state']}: {told['reason']}"]
        if before[0] != "listening":
            return [f"input listening to {told['device']}, lost {told['restarts']} times so far"]
        return [f"input lost and back at once, lost {told['restarts']} times so far"]

    def _lamp_news(self, told: Mapping[str, Any]) -> list[str]:
        before, self._lamps = self._lamps, told["state"]
        return [f"lamps off: {told['reason']}"] if before == "lit" != told["state"] else []

    def _banner_news(self, banners: frozenset[str]) -> list[str]:
        before, self._banners = self._banners, banners
        return [
            *(f"shown: {banner}" for banner in sorted(banners - before)),
            *(f"no longer: {banner}" for banner in sorted(before - banners)),
        ]


class IncidentHandler(logging.Handler):
    """What the station logs as a warning or worse is an incident: the watchdog's word, a fault."""

    def __init__(self, incidents: Incidents) -> None:
        super().__init__(logging.WARNING)
        self._incidents = incidents

    def emit(self, record: logging.LogRecord) -> None:
        fault = f": {record.exc_info[1]!r}" if record.exc_info and record.exc_info[1] else ""
        self._incidents.tell(f"{record.getMessage()}{fault}")


def read_incidents(folder: Path, newest: int) -> list[Incident]:
    """The last few, newest first; lines spoilt by a hand or a power cut are left out."""
    found: list[Incident] = []
    for name in (NAME, BEFORE):
        found += reversed(_read(folder / name))
        if len(found) >= newest:
            break
    return found[:newest]


def _read(path: Path) -> list[Incident]:
    try:
        with path.open("rb") as file:
            text = file.read(MAX_BYTES).decode("utf-8", "replace")
    except OSError:
        return []
    rows = (line.split(" ", 2) for line in text.split("\n"))
    return [
        Incident(row[0], int(row[1]), "".join(c for c in row[2] if c.isprintable())[:LINE_MAX])
        for row in rows
        if len(row) == 3 and row[1].isascii() and row[1].isdecimal() and len(row[1]) < 12
    ]
