"""Databases spoilt in any way: moved aside or read as far as they go, and the room goes on."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from station.room.model import STATE_PARTS
from station.room.store import open_store
from station.room.store_files import MAX_BYTES
from tests.support import fuzz

few = settings(max_examples=30, derandomize=True, deadline=None, database=None)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("fuzz")


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("whole") / "room.sqlite"
    fuzz.stored_room(path)
    return path


@given(fuzz.statements)
@few
def test_any_row_or_table_spoilt_by_a_hand_costs_at_most_what_was_stored(folder, whole, edits):
    fuzz.clear(folder)
    path = folder / "room.sqlite"
    path.write_bytes(whole.read_bytes())
    fuzz.spoil_rows(path, edits)

    fuzz.check_database(path)


@given(fuzz.spots, st.floats(0.0, 2.0))
@few
def test_any_bytes_overwritten_or_cut_off_cost_at_most_what_was_stored(folder, whole, put, left):
    fuzz.clear(folder)
    path = folder / "room.sqlite"
    raw = whole.read_bytes()
    path.write_bytes(fuzz.spoil_bytes(raw, put, int(left * len(raw))))

    fuzz.check_database(path)


@given(fuzz.parts())
@settings(few, max_examples=60)
def test_any_part_handed_to_a_room_costs_that_part_and_never_the_room(spoilt):
    fuzz.check_restore(spoilt)


@pytest.mark.parametrize("name", STATE_PARTS)
@pytest.mark.parametrize("stored", [None, 7, "x", [], {}, [[[]]], {"a": {}}, float("nan"), [None]])
def test_every_part_of_the_room_survives_every_kind_of_value(name, stored):
    fuzz.check_restore({name: stored})


def damage_of(path: Path) -> str:
    """Why a database was moved aside, once it was; a fresh one then takes the room's state."""
    opened = open_store(path, "now")
    opened.store.save(fuzz.lived_in_room().state())
    opened.store.close()
    assert opened.state is None
    assert (path.parent / f"{path.name}.corrupt-now").exists()
    return opened.reason or ""


@pytest.mark.parametrize(
    ("edit", "said"),
    [
        ("DROP TABLE parts", "the table parts is missing"),
        ("ALTER TABLE strings RENAME COLUMN cents TO sense", "the table strings is missing or has"),
        ("PRAGMA user_version=0", "it has tables but no layout"),
        ("PRAGMA user_version=1", "has other columns"),
        ("CREATE TRIGGER no BEFORE INSERT ON strings BEGIN SELECT raise(abort, 'no'); END", "'no'"),
        ("DROP TABLE players; CREATE VIEW players AS SELECT 1 AS id", "the table players is"),
    ],
    ids=["table", "column", "layout 0", "layout 1", "trigger", "view"],
)
def test_tables_that_are_not_the_rooms_are_moved_aside_with_the_reason(tmp_path, edit, said):
    path = tmp_path / "room.sqlite"
    fuzz.stored_room(path)
    with fuzz.edited(path) as connection:
        connection.executescript(edit)

    assert said in damage_of(path)


@pytest.mark.parametrize("suffix", ["", "-wal"])
def test_a_database_larger_than_any_room_is_not_read(tmp_path, suffix):
    path = tmp_path / "room.sqlite"
    fuzz.stored_room(path)
    with Path(f"{path}{suffix}").open("ab") as file:
        file.truncate(MAX_BYTES + 1)  # a hole: nothing is written

    assert f"room.sqlite{suffix} is larger than 16 MB" in damage_of(path)
