"""A wall clock that jumps, as on a board without a clock of its own, changes only what is read."""

from __future__ import annotations

import ast
import itertools
import json
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

import station
from station.errors import NotNowError
from station.room.model import Player, Reference
from station.room.room import Room

SOURCES = sorted(Path(station.__file__).parent.rglob("*.py"))
WALL_CLOCK = {"time.time", "time.time_ns", "time.localtime", "time.gmtime", "time.ctime",
              "time.asctime", "datetime.now", "datetime.utcnow", "datetime.today",
              "date.today", "time.clock_gettime"}  # fmt: skip
ITS_ONE_READER = "asked/asking.py"
YEARS = ("2031", "2032", "2030", "1970", "2031")


def wall_clock_calls(source: str) -> list[str]:
    """Calls that read the wall clock, however their module was imported."""
    calls = (node.func for node in ast.walk(ast.parse(source)) if isinstance(node, ast.Call))
    names = (ast.unparse(call) for call in calls)
    imported = {
        f"{node.module}.{name.name}"
        for node in ast.walk(ast.parse(source))
        if isinstance(node, ast.ImportFrom)
        for name in node.names
    }
    found = [name for name in names if ".".join(name.split(".")[-2:]) in WALL_CLOCK]
    return found + sorted(imported & WALL_CLOCK)


@pytest.mark.parametrize(
    "line", ["time.time()", "from time import time", "datetime.datetime.now()", "date.today()"]
)
def test_a_reading_of_the_wall_clock_is_found(line):
    assert wall_clock_calls(f"import datetime, time\nfrom datetime import date\n{line}\n")


def test_the_wall_clock_is_read_in_one_place_which_gives_text_for_people():
    readers = {
        str(path.relative_to(SOURCES[0].parents[0])): found
        for path in SOURCES
        if (found := wall_clock_calls(path.read_text()))
    }

    assert readers == {ITS_ONE_READER: ["datetime.now"]}


def evening(at: Callable[[], str]) -> Iterator[dict[str, Any]]:
    """A room's snapshots through an hour of agreeing, asking, undoing and one restart."""

    def fresh() -> Room:
        players = (Player("tove", "Tove", "guitar"), Player("ilse", "Ilse", "piano", line=2))
        return Room(players, Reference(440.0), lines=2)

    room, now_s = fresh(), 100.0
    for number in range(12):
        now_s += 300.0
        room.set_present(["tove", "ilse"], now_s)
        asked = room.propose("tove", "typed", at(), now_s, a4_hz=441.0 + number % 3)
        room.tick(at(), now_s + 20.0)
        if number % 2:
            room.answer(asked.reply["proposal"]["id"], "ilse", "yes", at(), now_s + 30.0)
        elif number % 3:
            room.withdraw(asked.reply["proposal"]["id"], "tove", now_s + 30.0)
        room.tick(at(), now_s + 90.0)
        if number == 7:
            kept = json.loads(json.dumps(room.state()))
            room = fresh()
            assert room.restore(kept) == []
        if number % 4 == 3:
            try:
                room.undo("tove", at(), now_s + 95.0)
            except NotNowError:
                yield {"undone": False}
        yield room.snapshot(now_s + 100.0)
    yield {"log": [(entry.serial, entry.kind, entry.a4_hz) for entry in room.log()]}


def without_wall_clock(told: Any) -> Any:
    """JSON data without its texts of the wall clock."""
    if isinstance(told, dict):
        return {key: without_wall_clock(value) for key, value in told.items()}
    if isinstance(told, list):
        return [without_wall_clock(each) for each in told]
    return "at" if isinstance(told, str) and "T18:00:00Z" in told else told


def test_jumps_of_a_year_there_and_back_change_no_age_no_order_and_no_agreement():
    years = itertools.cycle(YEARS)

    steady = list(evening(lambda: "2031-05-06T18:00:00Z"))
    jumping = list(evening(lambda: f"{next(years)}-05-06T18:00:00Z"))

    assert json.dumps(jumping) != json.dumps(steady)
    assert without_wall_clock(jumping) == without_wall_clock(steady)
    assert {told["reference"]["a4_hz"] for told in steady if "reference" in told} >= {441.0, 442.0}
