"""What the band agreed on outlives a kill, a power cut and a damaged file."""

from __future__ import annotations

import random
import resource
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
from pathlib import Path

import pytest
import store_writer

from station.errors import StorageError
from station.room.room import Player, Reference, Room
from station.room.store import SAVE_EVERY_S, Opened, RoomStore, open_store

KILLS = 200
WRITER = Path(store_writer.__file__)
ROOT = WRITER.parents[2]


def opened_at(path: Path) -> Opened:
    opened = open_store(path, "now")
    opened.store.close()
    return opened


def stored_number(path: Path) -> int:
    """The number both reference and roll call carry; 0 when nothing is stored."""
    opened = opened_at(path)
    assert opened.reason is None
    if opened.state is None:
        return 0
    number = opened.state["reference"]["serial"]
    assert opened.state == store_writer.state_of(number)
    return number


def started_writer(path: Path) -> subprocess.Popen[bytes]:
    command = [sys.executable, "-S", str(WRITER), str(path)]
    return subprocess.Popen(
        command, stdout=subprocess.PIPE, cwd=ROOT, env={"PYTHONPATH": str(ROOT)}
    )


def kill_a_writer(path: Path, after_s: float) -> tuple[int, int]:
    """Kill a writer ``after_s`` after it first reports; the numbers last kept and last tried."""
    with started_writer(path) as writer:
        head = writer.stdout.readline()
        time.sleep(after_s)
        writer.send_signal(signal.SIGKILL)
        report = head + writer.stdout.read()
    assert writer.returncode == -signal.SIGKILL
    lines = [line.split() for line in report.decode().splitlines()]
    kept = [int(number) for word, number in lines if word == "kept"]
    tried = [int(number) for word, number in lines if word == "try"]
    return max(kept, default=0), max(tried)


def test_a_kill_at_any_moment_leaves_the_old_or_the_new_reference_and_its_own_roll_call(tmp_path):
    chance = random.Random(20)
    path = tmp_path / "room.sqlite"
    before = 0
    cut_short = 0
    for _ in range(KILLS):
        kept, tried = kill_a_writer(path, chance.uniform(0.0, 0.02))

        number = stored_number(path)

        old = max(before, kept)
        assert number in (old, tried)
        assert tried - old <= 1
        cut_short += kept < tried
        before = number
    assert cut_short > 0  # some kills did fall between the two reports


def test_a_kill_while_the_store_is_being_made_leaves_one_that_opens(tmp_path):
    chance = random.Random(21)
    found = set()
    for attempt in range(30):
        path = tmp_path / f"{attempt}.sqlite"
        with started_writer(path) as writer:
            while not path.exists():
                assert writer.poll() is None
                time.sleep(0.0005)
            time.sleep(chance.uniform(0.0, 0.01))
            writer.kill()

        found.add(stored_number(path))

    assert 0 in found  # some kills did fall before the first reference was kept


def test_a_power_cut_that_loses_the_end_of_the_log_leaves_an_earlier_whole_state(tmp_path):
    path = tmp_path / "room.sqlite"
    store = open_store(path, "now").store
    for number in range(1, 6):
        store.save(store_writer.state_of(number))
    log = Path(f"{path}-wal").read_bytes()
    main = path.read_bytes()
    store.close()
    chance = random.Random(3)
    found = []

    for length in [*sorted(chance.sample(range(len(log)), 60)), len(log)]:
        cut = tmp_path / "cut.sqlite"
        cut.write_bytes(main)
        # What never reached the card may read as nothing or as old rubbish.
        rest = chance.randbytes(len(log) - length)
        Path(f"{cut}-wal").write_bytes(log[:length] + rest)
        Path(f"{cut}-shm").unlink(missing_ok=True)
        found.append(stored_number(cut))

    assert found == sorted(found)
    assert set(found) == set(range(6))


def test_a_fresh_store_holds_nothing_and_makes_its_folder(tmp_path):
    opened = opened_at(tmp_path / "a" / "b" / "room.sqlite")

    assert (opened.state, opened.reason) == (None, None)


def test_a_room_comes_back_from_the_store_as_it_was(tmp_path):
    players = (Player("oda", "Oda", "guitar", "standard"), Player("pia", "Pia", "piano", line=2))
    room = Room(players, Reference(440.0), lines=2)
    room.change_player("oda", tuning="drop-d")
    room.set_reference(441.5, "Oda", "Pia's piano", "2031-05-06T18:00:00Z")
    store = open_store(tmp_path / "room.sqlite", "now").store
    store.save(room.state())
    store.close()

    opened = open_store(tmp_path / "room.sqlite", "now")
    again = Room(players, Reference(440.0), lines=2)
    again.restore(opened.state)

    assert again.state() == room.state()
    assert opened.store.save_if_due(again.state(), 1000.0) is False  # nothing new: no write
    opened.store.close()


def test_changes_are_saved_at_most_once_a_minute_and_an_idle_room_writes_nothing(tmp_path):
    path = tmp_path / "room.sqlite"
    store = open_store(path, "now").store
    one, two = store_writer.state_of(1), store_writer.state_of(2)

    saved = [
        store.save_if_due(one, 5.0),
        store.save_if_due(two, 5.0 + SAVE_EVERY_S - 0.1),
        store.save_if_due(two, 5.0 + SAVE_EVERY_S),
    ]
    size = Path(f"{path}-wal").stat().st_size
    for minute in range(10):
        store.save_if_due(two, 500.0 + 61.0 * minute)

    assert saved == [True, False, True]
    assert Path(f"{path}-wal").stat().st_size == size
    store.close()


def test_the_store_really_syncs_every_commit(tmp_path):
    store = open_store(tmp_path / "room.sqlite", "now").store

    (mode,) = store._connection.execute("PRAGMA journal_mode").fetchone()
    (synchronous,) = store._connection.execute("PRAGMA synchronous").fetchone()

    # 2 stands for FULL: https://www.sqlite.org/pragma.html#pragma_synchronous
    assert (mode, synchronous) == ("wal", 2)
    store.close()


def rubbish(path: Path) -> None:
    path.write_bytes(random.Random(1).randbytes(8192))


def truncated(path: Path) -> None:
    path.write_bytes(path.read_bytes()[:5000])


def other_layout(path: Path) -> None:
    edit(path, "PRAGMA user_version=99")


def impossible_reference(path: Path) -> None:
    edit(path, "UPDATE reference SET a4_hz=4400")


def strangers(path: Path) -> None:
    edit(path, "UPDATE strings SET serial=serial+1")


def edit(path: Path, statement: str) -> None:
    connection = sqlite3.connect(path)
    with connection:
        connection.execute(statement)
    connection.close()


@pytest.mark.parametrize(
    "damage", [rubbish, truncated, other_layout, impossible_reference, strangers]
)
def test_a_damaged_store_is_moved_aside_and_a_fresh_one_begun(tmp_path, damage):
    path = tmp_path / "room.sqlite"
    store = open_store(path, "now").store
    store.save(store_writer.state_of(3))
    store.close()
    damage(path)
    damaged = path.read_bytes()

    opened = open_store(path, "20310506T180000Z")
    opened.store.save(store_writer.state_of(4))
    opened.store.close()

    assert opened.state is None
    assert "room.sqlite.corrupt-20310506T180000Z" in opened.reason
    assert "\n" not in opened.reason
    assert (tmp_path / "room.sqlite.corrupt-20310506T180000Z").read_bytes() == damaged
    assert stored_number(path) == 4


@pytest.mark.parametrize("where", ["/proc/room.sqlite", "/proc/none/room.sqlite"])
def test_storage_that_takes_no_files_is_said_in_one_line(where):
    # /proc takes no new files from anyone, root included.
    with pytest.raises(StorageError) as failed:
        open_store(Path(where), "now")

    assert "/proc" in str(failed.value)
    assert "\n" not in str(failed.value)


def test_a_folder_in_the_place_of_the_file_is_said_in_one_line(tmp_path):
    with pytest.raises(StorageError, match="cannot open"):
        open_store(tmp_path, "now")


def test_a_full_disk_fails_the_save_and_keeps_what_was_stored(tmp_path):
    path = tmp_path / "room.sqlite"
    store = open_store(path, "now").store
    store.save(store_writer.state_of(1))

    limits = resource.getrlimit(resource.RLIMIT_FSIZE)
    before = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (1024, limits[1]))
    try:
        with pytest.raises(StorageError, match="cannot save"):
            store.save(store_writer.state_of(2))
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, limits)
        signal.signal(signal.SIGXFSZ, before)

    copy = tmp_path / "copy.sqlite"
    shutil.copy(path, copy)
    shutil.copy(f"{path}-wal", f"{copy}-wal")
    assert stored_number(copy) == 1
    store.save(store_writer.state_of(3))
    store.close()
    assert stored_number(path) == 3


def test_a_second_station_cannot_have_the_store_until_the_first_closes_it(tmp_path):
    path = tmp_path / "room.sqlite"
    first = open_store(path, "now").store
    first.save(store_writer.state_of(1))

    with pytest.raises(StorageError, match="another station") as refused:
        open_store(path, "now")
    first.save(store_writer.state_of(2))  # undisturbed
    first.close()
    first.close()

    assert "\n" not in str(refused.value)
    assert stored_number(path) == 2


def test_a_store_is_free_once_its_process_is_dead(tmp_path):
    path = tmp_path / "room.sqlite"
    with started_writer(path) as writer:
        assert writer.stdout.readline()  # it has the store by now
        with pytest.raises(StorageError, match="another station"):
            open_store(path, "now")
        writer.kill()

    opened_at(path)


def test_a_store_that_cannot_be_opened_is_not_kept_locked(tmp_path):
    path = tmp_path / "room.sqlite"
    path.mkdir()
    with pytest.raises(StorageError, match="cannot open"):
        open_store(path, "now")
    path.rmdir()

    opened_at(path)


def removed(path: Path) -> None:
    shutil.rmtree(path.parent)


def replaced(path: Path) -> None:
    removed(path)
    opened_at(path)


@pytest.mark.parametrize(("done_to", "said"), [(removed, "is gone"), (replaced, "was replaced")])
def test_a_store_whose_folder_goes_while_it_is_open_is_not_written_to_in_silence(
    tmp_path, done_to, said
):
    path = tmp_path / "state" / "room.sqlite"
    store = open_store(path, "now").store
    store.save(store_writer.state_of(1))
    done_to(path)

    for _ in range(2):
        with pytest.raises(StorageError, match=said) as failed:
            store.save(store_writer.state_of(2))

    assert "\n" not in str(failed.value)
    store.close()


def test_a_state_that_could_not_be_saved_is_due_again_though_nothing_changed(tmp_path):
    path = tmp_path / "state" / "room.sqlite"
    store = open_store(path, "now").store
    store.save(store_writer.state_of(1), 5.0)
    removed(path)

    for now_s in (100.0, 200.0):
        with pytest.raises(StorageError, match="is gone"):
            store.save(store_writer.state_of(1), now_s - 50.0)
        with pytest.raises(StorageError, match="is gone"):
            store.save_if_due(store_writer.state_of(1), now_s)

    store.close()


def test_a_store_held_by_another_program_is_said_in_one_line(tmp_path, monkeypatch):
    monkeypatch.setattr("station.room.store.BUSY_TIMEOUT_S", 0.05)
    path = tmp_path / "room.sqlite"
    holder = RoomStore(path)
    holder._connection.execute("BEGIN IMMEDIATE")
    store = RoomStore(path)

    with pytest.raises(StorageError, match="locked"):
        store.save(store_writer.state_of(1))

    holder._connection.execute("ROLLBACK")
    store.save(store_writer.state_of(1))
    holder.close()
    store.close()
