"""A weak supply and a hot board are on every page for as long as they last."""

from __future__ import annotations

from pathlib import Path

import pytest

from station.box_health import WEAK_SUPPLY
from station.box_watch import HOT, LOOK_EVERY_S, WEAK_FOR_S, BoxWatch
from station.room.room import Player, Reference, Room

ZONE = "sys/class/thermal/thermal_zone0/temp"
ALARM = "sys/class/hwmon/hwmon1/in0_lcrit_alarm"


class Box:
    """A box whose files under /sys say what a test wants, and the banners of its room."""

    def __init__(self, root: Path) -> None:
        self._root = root
        self._now_s = 1000.0
        self.room = Room((Player("tove", "Tove", "guitar"),), Reference(440.0), lines=1)
        self.events: list[object] = []
        self._watch = BoxWatch(self.room, lambda do: self.events.extend(do()), root)

    def say(self, path: str, text: str) -> None:
        (self._root / path).parent.mkdir(parents=True, exist_ok=True)
        (self._root / path).write_text(f"{text}\n")

    def look(self, after_s: float = LOOK_EVERY_S) -> list[str]:
        self._now_s += after_s
        self._watch.look(self._now_s)
        return list(self.room.snapshot(self._now_s)["station"]["banners"])


@pytest.fixture
def box(tmp_path: Path) -> Box:
    made = Box(tmp_path)
    made.say("sys/class/hwmon/hwmon1/name", "rpi_volt")
    made.say(ALARM, "0")
    made.say(ZONE, "51000")
    return made


def test_a_healthy_box_says_nothing(box):
    assert box.look() == []
    assert box.events == []


def test_a_supply_that_is_too_weak_is_said_until_it_has_been_well_for_two_minutes(box):
    box.say(ALARM, "1")
    assert box.look() == [WEAK_SUPPLY]
    box.say(ALARM, "0")

    assert box.look(WEAK_FOR_S - 1.0) == [WEAK_SUPPLY]
    assert box.look(LOOK_EVERY_S) == []
    assert len(box.events) == 2


def test_a_hot_board_is_said_until_it_is_clearly_cooler(box):
    said = []
    for degrees in (79.9, 80.0, 81.0, 79.0, 75.1, 74.9, 79.0):
        box.say(ZONE, f"{degrees * 1000:.0f}")
        said.append(box.look() == [HOT])

    assert said == [False, True, True, True, True, False, False]
    assert len(box.events) == 2


def test_both_may_be_said_at_once_and_each_goes_by_itself(box):
    box.say(ALARM, "1")
    box.say(ZONE, "85000")
    assert box.look() == [WEAK_SUPPLY, HOT]

    box.say(ZONE, "40000")

    assert box.look() == [WEAK_SUPPLY]


def test_it_looks_no_more_often_than_it_has_to(box):
    box.look()
    box.say(ZONE, "90000")

    assert box.look(LOOK_EVERY_S - 1.0) == []
    assert box.look(1.0) == [HOT]


@pytest.mark.parametrize("spoilt", ["", "nonsense", "9" * 5000])
def test_a_box_that_says_nothing_of_use_is_taken_for_a_healthy_one(box, spoilt):
    box.say(ZONE, spoilt)
    box.say(ALARM, spoilt)

    assert box.look() == []


def test_a_board_without_such_files_is_no_trouble(tmp_path):
    assert Box(tmp_path).look() == []
