"""The record on storage: kept, bounded, and never in the way."""

from __future__ import annotations

import itertools
import sqlite3
from pathlib import Path

import pytest

from station.errors import StorageError, UsageError
from station.record import store as record_store
from station.record.keeping import RecordKeeping
from station.record.model import Rehearsal, Row
from station.record.store import RECORD_NAME, RecordStore
from tests.support.evenings import PLAYERS, evening, snapshot

AT = "2031-05-04T18:00:00Z"


def filled(path: Path, rehearsals: int = 1, rows: int = 3, **options) -> RecordStore:
    store = RecordStore(path, **options)
    for count in range(rehearsals):
        number = store.begin(Rehearsal(0, f"2031-05-{count + 1:02d}T18:00:00Z", 0.0, "Cellar room"))
        many = [Row("reading", float(each), "tove", 6, -1.5, 0.2) for each in range(rows)]
        store.add(number, many, 60.0, PLAYERS)
    return store


def keep(folder: Path, minutes: int) -> RecordKeeping:
    keeping = RecordKeeping(folder, "now")
    for now_s, room in evening(minutes):
        keeping.take(room, AT, now_s)
    return keeping


def test_what_is_stored_is_read_back_as_it_was(tmp_path):
    rows = [
        Row("reference", 0.0, hz=441.3, word="Tove: the harmonica"),
        Row("check", 2.0, "tove", 6, -0.4, word="in"),
        Row("gap", 3.0, end_s=33.5),
        Row("drift", 3.0, "tove", None, -6.5, 0.8),
    ]
    store = filled(tmp_path / RECORD_NAME, rows=0)

    store.add(1, rows, 33.5, PLAYERS)

    again = RecordStore(tmp_path / RECORD_NAME, only_read=True)
    assert again.rows(1) == rows
    assert again.rehearsal() == Rehearsal(1, "2031-05-01T18:00:00Z", 33.5, "Cellar room", PLAYERS)


def test_an_evening_is_kept_in_well_under_a_megabyte(tmp_path):
    keeping = keep(tmp_path, 240)
    keeping.close(14400.0)

    assert (tmp_path / RECORD_NAME).stat().st_size < 1_000_000
    assert len(RecordStore(tmp_path / RECORD_NAME).rehearsals()) == 1


def test_a_station_nobody_plays_to_makes_no_record(tmp_path):
    keeping = RecordKeeping(tmp_path, "now")

    for second in range(1200):
        keeping.take(snapshot(), AT, float(second))
    keeping.close(1200.0)

    assert list(tmp_path.iterdir()) == []


def test_storage_is_written_at_most_once_a_minute(tmp_path, monkeypatch):
    at_s: list[float] = []
    add = RecordStore.add
    clock = [0.0]
    monkeypatch.setattr(
        RecordStore, "add", lambda self, *told: (at_s.append(clock[0]), add(self, *told))[1]
    )
    keeping = RecordKeeping(tmp_path, "now")

    for now_s, room in evening(30):
        clock[0] = now_s
        keeping.take(room, AT, now_s)

    assert len(at_s) > 5
    assert min(b - a for a, b in itertools.pairwise(at_s)) >= 60.0


def test_beyond_its_size_the_oldest_rehearsals_give_way(tmp_path):
    store = filled(tmp_path / RECORD_NAME, rehearsals=12, rows=400, size_max_bytes=150_000)

    numbers = [each.number for each in store.rehearsals()]

    assert numbers == list(range(12, 12 - len(numbers), -1))
    assert 1 < len(numbers) < 12
    assert (tmp_path / RECORD_NAME).stat().st_size < 300_000


def test_beyond_their_number_the_oldest_rehearsals_give_way(tmp_path, monkeypatch):
    monkeypatch.setattr(record_store, "REHEARSALS_MAX", 3)

    store = filled(tmp_path / RECORD_NAME, rehearsals=5)

    assert [each.number for each in store.rehearsals()] == [5, 4, 3]


def test_the_rehearsal_under_way_is_never_dropped(tmp_path):
    store = filled(tmp_path / RECORD_NAME, rows=4000, size_max_bytes=10_000)

    assert [each.number for each in store.rehearsals()] == [1]


@pytest.mark.parametrize(
    "spoil",
    [
        lambda path: path.write_bytes(b"\x00\xff torn" * 500),
        lambda path: path.write_bytes(path.read_bytes()[: path.stat().st_size // 2]),
        lambda path: sqlite3.connect(path).execute("PRAGMA user_version=99").connection.close(),
    ],
    ids=["no database", "torn in half", "another layout"],
)
def test_a_damaged_record_is_put_aside_and_the_evening_recorded_anew(tmp_path, spoil):
    filled(tmp_path / RECORD_NAME, rows=2000)
    spoil(tmp_path / RECORD_NAME)

    keeping = keep(tmp_path, 10)
    keeping.close(600.0)

    assert "damaged" in (keeping.reason or "")
    assert (tmp_path / f"{RECORD_NAME}.corrupt-now").exists()
    assert len(RecordStore(tmp_path / RECORD_NAME).rehearsals()) == 1


def test_who_only_reads_makes_and_moves_nothing(tmp_path):
    (tmp_path / RECORD_NAME).write_bytes(b"torn" * 500)

    with pytest.raises(StorageError):
        RecordStore(tmp_path / RECORD_NAME, only_read=True)
    with pytest.raises(StorageError, match="no record of rehearsals here yet"):
        RecordStore(tmp_path / "nowhere" / RECORD_NAME, only_read=True)

    assert [each.name for each in tmp_path.iterdir()] == [RECORD_NAME]


def test_storage_that_fails_is_said_and_nothing_is_lost_when_it_comes_back(tmp_path, monkeypatch):
    def full(*_: object) -> None:
        raise StorageError("the disk is full")

    keeping = RecordKeeping(tmp_path, "now")
    working = RecordStore.add
    for now_s, room in evening(20):
        monkeypatch.setattr(RecordStore, "add", full if 300 < now_s < 700 else working)
        keeping.take(room, AT, now_s)
        if now_s == 600:
            assert "the disk is full" in (keeping.trouble or "")
    keeping.close(1200.0)

    rows = RecordStore(tmp_path / RECORD_NAME).rows(1)
    assert keeping.trouble is None
    assert [row.at_s for row in rows if row.kind == "gap"] == [210.0, 450.0, 690.0, 930.0]


def test_a_folder_that_cannot_be_made_costs_the_record_only(tmp_path):
    (tmp_path / "file").write_text("in the way")

    keeping = keep(tmp_path / "file", 10)

    assert "Rehearsal not recorded" in (keeping.trouble or "")


def test_a_rehearsal_there_is_none_of_is_said_with_those_there_are(tmp_path):
    store = filled(tmp_path / RECORD_NAME, rehearsals=2)

    with pytest.raises(UsageError, match="rehearsal 9: there is none such; kept: 2, 1"):
        store.rehearsal(9)
