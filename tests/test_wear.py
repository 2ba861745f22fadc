"""How often a card is written to: an evening with all that a room does, then nobody.

The room, its storage and the record are the real ones; the clock is the test's, and what keeps
house does what `TunerStation._keep_house` does, a second at a time. Written is what changes a file.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import nullcontext
from itertools import pairwise
from pathlib import Path

import pytest

from station import keeping
from station.daemon import HOUSEKEEPING_S
from station.keeping import Keeping
from station.measure.types import Level
from station.room.model import Reference
from station.room.room import Room
from station.room.running_order import begin_song
from tests.support.rehearsal import PLAYERS, make_rehearsal
from tests.support.rehearsal_events import heard_of_events, told_s

SONGS = [
    {"title": "Low tide"},
    {"title": "Paper lantern", "players": {"wren": "drop-d"}},
    {"title": "Slow ferry", "players": {"isolde": "capo 2"}},
]
BEGIN_S = 1000.0
IDLE_S = 12 * 60
QUIET_LEVEL_S = 0.25


class House:
    """A room that is kept, and when its folder was written to."""

    def __init__(self, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        self.now_s = BEGIN_S
        monkeypatch.setattr(keeping.time, "monotonic", lambda: self.now_s)
        self.room = Room(PLAYERS, Reference(440.0), 4)
        self.folder, self.writes = folder, []
        self.keeping = Keeping(folder, "now", self.room, nullcontext(), lambda change: change())
        self._mark, self._seen = self.room.save_mark, self._files()

    def _files(self) -> dict[str, tuple[int, int]]:
        files = ((each, each.stat()) for each in self.folder.iterdir())
        return {each.name: (told.st_mtime_ns, told.st_size) for each, told in files}

    def ask(self, change: Callable[[], object]) -> None:
        """Something a person asks for: it is saved at once, and no wear of the station's own."""
        change()
        self.keeping.save()
        self._mark, self._seen = self.room.save_mark, self._files()

    def second(self) -> None:
        """What the station does by itself."""
        self.room.tick("", self.now_s)
        if self.room.save_mark != self._mark:
            self._mark = self.room.save_mark
            self.keeping.save()
        self.keeping.note("2031-03-04T18:42:00Z", self.now_s)
        if self.now_s % HOUSEKEEPING_S == 0:
            self.keeping.save(only_if_due=True)
        now = self._files()
        if now != self._seen:
            self._seen = now
            self.writes.append(self.now_s)
        self.now_s += 1.0


def play_an_evening(house: House) -> None:
    """Three songs with gaps between; each is begun on the page, and a peg is told."""
    rehearsal = make_rehearsal(5, songs=3, song_s=75.0, gap_s=(25.0, 40.0))
    heard = heard_of_events(rehearsal, 5)
    house.ask(lambda: house.room.order.read(None, songs=SONGS))
    house.room.set_present([each.id for each in PLAYERS], BEGIN_S)
    for number, (begins_s, _) in enumerate(rehearsal.songs, start=1):
        while heard and told_s(heard[0]) < begins_s - 5.0:
            _a_second(house, heard)
        house.ask(lambda number=number: begin_song(house.room, number, house.now_s))
    while heard:
        _a_second(house, heard)


def _a_second(house: House, heard: list) -> None:
    while heard and told_s(heard[0]) < house.now_s + 1.0 - BEGIN_S:
        each = heard.pop(0)
        house.room.hear(each, BEGIN_S + told_s(each))
    house.second()


@pytest.fixture
def house(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[House]:
    kept = House(tmp_path, monkeypatch)
    yield kept
    kept.keeping.close()


def test_an_evening_is_written_once_a_minute_and_an_idle_room_not_at_all(house):
    play_an_evening(house)
    evening_s, evening = house.now_s - BEGIN_S, list(house.writes)
    house.writes.clear()
    end_s = house.now_s
    for _ in range(IDLE_S):
        for line in (1, 2, 3, 4):
            for part in range(4):
                at_s = house.now_s - BEGIN_S + part * QUIET_LEVEL_S
                house.room.hear(Level(line, at_s, -78.0, -70.0, 0.0, False, "quiet"), house.now_s)
        house.second()

    assert evening_s > 240.0
    assert house.room.snapshot(house.now_s)["evening"]["songs"] == 3
    assert len(evening) >= 4
    assert min(later - at_s for at_s, later in pairwise(evening)) >= 60.0
    # What was heard last is stored yet, and then nothing is.
    assert all(at_s <= end_s + 65.0 for at_s in house.writes)
    assert len(house.writes) <= 2
