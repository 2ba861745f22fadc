"""What befell the station is on storage, within a size, and nothing is when nothing did."""

from __future__ import annotations

import logging
import random
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from station import incidents
from station.incidents import (
    BEFORE,
    CUT_OFF,
    MAX_BYTES,
    MOST_A_MINUTE,
    NAME,
    Budget,
    Incident,
    IncidentHandler,
    Incidents,
    Seen,
    read_incidents,
)
from station.room.model import Event
from tests.support.page_client import wait_until


class Clocks:
    """A monotonic clock and a wall clock that a test sets, each as it likes."""

    def __init__(self) -> None:
        self.now_s = 500.0
        self.at = "2031-05-06T18:00:00Z"


@pytest.fixture
def clocks() -> Clocks:
    return Clocks()


@pytest.fixture
def log(tmp_path: Path, clocks: Clocks) -> Incidents:
    return Incidents(tmp_path, lambda: clocks.at, lambda: clocks.now_s)


def whats(folder: Path, newest: int = 50) -> list[str]:
    """What is on storage, oldest first."""
    return [each.what for each in reversed(read_incidents(folder, newest))]


def station_json(**changes: Any) -> dict[str, Any]:
    heard = {"state": "listening", "device": "tape", "reason": None, "restarts": 0}
    told = {"input": heard, "lamps": {"state": "lit", "reason": None}, "banners": []}
    return {**told, **changes}


def room_event(**changes: Any) -> Event:
    return Event("room", "room", {"station": station_json(**changes)})


def test_starts_ends_and_what_happened_between_them_can_be_read_again(log, clocks, tmp_path):
    log.start("1.2")
    clocks.now_s += 75.5
    log.tell("input waiting: unplugged")
    log.stop()

    assert read_incidents(tmp_path, 3) == [
        Incident(clocks.at, 75, "ended"),
        Incident(clocks.at, 75, "input waiting: unplugged"),
        Incident(clocks.at, 0, "started, version 1.2"),
    ]


def test_a_start_that_was_cut_off_is_told_by_the_next(log, clocks, tmp_path):
    (tmp_path / NAME).write_text("2031-05-06T17:00:00Z 3 no progress for 5 s: page\n")

    log.start("1.2")
    log.stop()

    assert whats(tmp_path)[1:] == [CUT_OFF, "started, version 1.2", "ended"]


def test_a_station_that_ended_by_itself_was_not_cut_off(tmp_path, clocks):
    for _ in range(2):
        log = Incidents(tmp_path, lambda: clocks.at, lambda: clocks.now_s)
        log.start("1.2")
        log.stop("the listening thread has ended")

    assert CUT_OFF not in whats(tmp_path)
    assert whats(tmp_path)[-1] == "ended: the listening thread has ended"


def test_a_jump_of_the_wall_clock_changes_no_order_and_no_duration(log, clocks, tmp_path):
    log.start("1.2")
    for year in (2032, 2030, 1970):
        clocks.now_s += 10.0
        clocks.at = f"{year}-05-06T18:00:00Z"
        log.tell(f"in {year}")
    log.stop()

    told = [(each.up_s, each.what) for each in reversed(read_incidents(tmp_path, 9))]
    assert told[1:4] == [(10, "in 2032"), (20, "in 2030"), (30, "in 1970")]


def test_the_log_of_a_hundred_hours_of_trouble_stays_within_its_size(log, monkeypatch, tmp_path):
    monkeypatch.setattr(incidents.os, "fsync", lambda _: None)
    most = 0
    for number in range(6000):
        log._append((log._line(f"{number}: {'the card is gone ' * 6}") + "\n").encode())
        most = max(most, sum(each.stat().st_size for each in tmp_path.iterdir()))

    kept = [int(what.partition(":")[0]) for what in whats(tmp_path, 100_000)]
    assert sorted(each.name for each in tmp_path.iterdir()) == sorted([NAME, BEFORE])
    assert MAX_BYTES / 2 < most <= MAX_BYTES
    assert kept == list(range(kept[0], 6000))


def test_in_any_minute_so_many_lines_are_written_and_the_rest_is_counted(log, clocks, tmp_path):
    log.start("1.2")
    for number in range(100):
        log.tell(f"trouble {number}")
    clocks.now_s += 60.0
    log.tell("more trouble")
    log.stop()

    told = whats(tmp_path)
    assert len(told) == MOST_A_MINUTE + 3
    assert told[-2] == f"more trouble ({100 - MOST_A_MINUTE} more incidents before it)"


@given(st.lists(st.floats(0.0, 30.0), max_size=200))
@settings(max_examples=60, derandomize=True, deadline=None, database=None)
def test_whenever_it_happens_no_minute_has_more_lines_than_allowed(waits):
    budget, now_s, taken = Budget(), 0.0, []
    for wait_s in waits:
        now_s += wait_s
        if budget.take(now_s):
            taken.append(now_s)

    for start in taken:
        assert sum(start <= at < start + 60.0 for at in taken) <= MOST_A_MINUTE
    assert budget.count_of_refused() == len(waits) - len(taken)


def test_the_same_again_is_told_once(log, tmp_path):
    log.start("1.2")
    for _ in range(5):
        log.tell("the disk is full")
    log.stop()

    assert whats(tmp_path).count("the disk is full") == 1


def test_whatever_is_told_is_one_line_of_bounded_length(log, tmp_path):
    log.start("1.2")
    log.tell("two\nlines \x00 \udcff " + "x" * 5000)
    log.stop()

    assert len(read_incidents(tmp_path, 9)) == 3
    assert max(map(len, (tmp_path / NAME).read_text().splitlines())) <= incidents.LINE_MAX


def test_ten_idle_minutes_write_nothing(log, clocks, tmp_path):
    log.start("1.2")
    log.hear(room_event())
    wait_until(lambda: whats(tmp_path))
    before = (tmp_path / NAME).stat()

    for _ in range(600):
        clocks.now_s += 1.0
        log.hear(room_event())
        log.hear(Event("reading", "1", {"hz": 440.0}))

    after = (tmp_path / NAME).stat()
    assert not log._lines
    assert (after.st_mtime_ns, after.st_size) == (before.st_mtime_ns, before.st_size)
    log.stop()


def test_a_card_that_is_lost_and_back_is_told_and_how_often():
    seen = Seen()
    gone = {"state": "waiting", "device": "tape", "reason": "unplugged", "restarts": 1}
    back = {"state": "listening", "device": "tape", "reason": None, "restarts": 1}
    again = {**back, "restarts": 2}

    told = [seen.news(station_json(input=each)) for each in (gone, gone, back, back, again)]

    assert told == [
        ["input waiting: unplugged"],
        [],
        ["input listening to tape, lost 1 times so far"],
        [],
        ["input lost and back at once, lost 2 times so far"],
    ]


def test_waiting_for_the_first_start_is_no_incident():
    first = {"state": "waiting", "device": "tape", "reason": "not started", "restarts": 0}

    assert Seen().news(station_json(input=first)) == []


def test_banners_and_lamps_are_told_when_they_come_and_go():
    seen = Seen()
    off = {"state": "off", "reason": "the chip is gone"}

    told = [
        seen.news(station_json()),
        seen.news(station_json(banners=["Not saved: full"], lamps=off)),
        seen.news(station_json(lamps=off)),
    ]

    assert told == [
        [],
        ["lamps off: the chip is gone", "shown: Not saved: full"],
        ["no longer: Not saved: full"],
    ]


def test_what_is_logged_as_a_warning_is_an_incident_with_its_fault(log, tmp_path):
    logger = logging.getLogger("station.test_incidents")
    logger.propagate = False
    logger.addHandler(IncidentHandler(log))
    log.start("1.2")

    logger.warning("no progress for %.3g s: %s", 5.0, "page")
    logger.info("of no interest")
    try:
        raise ZeroDivisionError("no such luck")
    except ZeroDivisionError:
        logger.exception("housekeeping failed")
    log.stop()

    assert whats(tmp_path)[1:3] == [
        "no progress for 5 s: page",
        "housekeeping failed: ZeroDivisionError('no such luck')",
    ]


def test_storage_that_cannot_be_written_costs_the_lines_and_nothing_else(log, clocks, monkeypatch):
    failed = []

    def fail(*_: object) -> None:
        failed.append(True)
        raise OSError(28, "No space left on device")

    log.start("1.2")
    wait_until(lambda: whats(log._folder))
    monkeypatch.setattr(log, "_append", fail)
    log.tell("trouble")
    wait_until(lambda: failed)
    monkeypatch.undo()
    log.tell("the end of it")
    log.stop()

    assert whats(log._folder) == ["started, version 1.2", "the end of it", "ended"]


def test_a_folder_that_is_not_there_costs_the_log_and_nothing_else(tmp_path, clocks):
    log = Incidents(tmp_path / "none", lambda: clocks.at)

    log.start("1.2")
    log.tell("trouble")
    log.stop()

    assert read_incidents(tmp_path / "none", 9) == []


def test_a_log_that_is_never_started_writes_nothing(log, tmp_path):
    log.tell("trouble")
    log.stop()

    assert list(tmp_path.iterdir()) == []


def test_a_spoilt_log_is_read_as_far_as_it_can_be_and_gone_on_with(log, tmp_path):
    rubbish = random.Random(5).randbytes(3000)
    good = b"2031-05-06T17:00:00Z 7 input waiting: unplugged\n"
    (tmp_path / NAME).write_bytes(rubbish + b"\n" + good + b"1 2\n\n9 9" + b"9" * 50 + b" x\n")

    found = read_incidents(tmp_path, 9)
    log.start("1.2")
    log.stop()

    assert Incident("2031-05-06T17:00:00Z", 7, "input waiting: unplugged") in found
    assert all(each.what.isprintable() for each in found)
    assert whats(tmp_path)[-1] == "ended"


def test_a_link_in_the_place_of_the_log_is_not_followed(log, tmp_path):
    (tmp_path / "other").write_text("not the log's\n")
    (tmp_path / NAME).symlink_to(tmp_path / "other")

    log.start("1.2")
    log.stop()

    assert (tmp_path / "other").read_text() == "not the log's\n"


def test_many_threads_may_tell_at_once(log, tmp_path):
    import threading

    log.start("1.2")
    telling = [
        threading.Thread(target=lambda each=each: [log.tell(f"{each} {n}") for n in range(50)])
        for each in range(8)
    ]
    for thread in telling:
        thread.start()
    for thread in telling:
        thread.join()
    log.stop()

    assert len(whats(tmp_path)) == MOST_A_MINUTE + 2
    assert f"({400 - MOST_A_MINUTE} more incidents" in whats(tmp_path)[-1]
    assert (tmp_path / NAME).stat().st_size < 2000
