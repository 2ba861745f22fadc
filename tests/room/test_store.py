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
from station.room import store_schema
from station.room.history import LOG_MAX
from station.room.room import Player, Reference, Room
from station.room.store import SAVE_EVERY_S, Opened, RoomStore, open_store
from station.room.store_log import read_log

KILLS = 200
WRITER = Path(store_writer.__file__)
ROOT = WRITER.parents[2]


NESTED = "'" + 100_000 * "[" + "'"  # JSON too deep to be read


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
    whole = store_writer.state_of(number)
    del whole["log"]
    assert opened.state == whole
    logged = read_log(path)
    assert logged[0] == store_writer.entry_of(number)
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
        logged = [entry.serial for entry in read_log(path)]
        assert logged == list(range(number, 0, -1))[:LOG_MAX]
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


SECTOR, PAGE = 512, 4096


def mixed(chance: random.Random, old: bytes, new: bytes, size: int) -> bytes:
    """What a card holds that wrote some pieces of `new` over `old` before the power went."""
    old = old.ljust(len(new), b"\0")
    pieces = range(0, len(new), size)
    return b"".join((chance.choice((old, new)))[at : at + size] for at in pieces)


def test_a_power_cut_while_writes_are_out_of_order_leaves_a_whole_state(tmp_path):
    path, cut = tmp_path / "room.sqlite", tmp_path / "cut.sqlite"
    log_path = Path(f"{path}-wal")
    store = open_store(path, "now").store
    logs = []
    for number in (1, 2):
        store.save(store_writer.state_of(number))
        logs.append(log_path.read_bytes())
    log_1, log_2 = logs
    main = path.read_bytes()
    store.close()  # the log's pages go into the database itself
    whole = path.read_bytes()
    chance = random.Random(4)

    def left(main: bytes, log: bytes) -> int:
        cut.write_bytes(main)
        Path(f"{cut}-wal").write_bytes(log)
        Path(f"{cut}-shm").unlink(missing_ok=True)
        return stored_number(cut)

    # The second save had not been confirmed: its sectors are there in any order. The first had.
    saving = {left(main, mixed(chance, log_1, log_2, SECTOR)) for _ in range(20)}
    # Of the pages that go into the database some have got there; the log is still whole.
    closing = {left(mixed(chance, main, whole, PAGE), log_2) for _ in range(15)}

    assert left(main, log_1) == 1
    assert saving <= {1, 2}
    assert closing == {2}


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

    assert again.state() | {"log": room.state()["log"]} == room.state()
    assert opened.store.log() == room.log()
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


def odd_serial(path: Path) -> None:
    edit(path, "UPDATE reference SET serial='x'")
    edit(path, "UPDATE strings SET serial='x'")


def endless_name(path: Path) -> None:
    edit(path, f"UPDATE reference SET \"by\"='{'o' * 200}'")


def odd_string(path: Path) -> None:
    edit(path, "UPDATE strings SET midi='x'")


def edit(path: Path, statement: str) -> None:
    connection = sqlite3.connect(path)
    with connection:
        connection.execute(statement)
    connection.close()


@pytest.mark.parametrize(
    "damage",
    [
        rubbish,
        truncated,
        other_layout,
        impossible_reference,
        strangers,
        odd_serial,
        endless_name,
        odd_string,
    ],
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


# -- the layout before there was a log -----------------------------------------------

LAYOUT_1 = """
    CREATE TABLE reference (
        id INTEGER PRIMARY KEY CHECK (id = 1), serial INTEGER NOT NULL, a4_hz REAL NOT NULL,
        set_at TEXT NOT NULL, "by" TEXT NOT NULL, source TEXT NOT NULL);
    CREATE TABLE strings (
        player TEXT NOT NULL, string INTEGER NOT NULL, serial INTEGER NOT NULL,
        midi INTEGER NOT NULL, roll TEXT NOT NULL, cents REAL, uncertainty_cents REAL,
        verdict TEXT, PRIMARY KEY (player, string));
    CREATE TABLE players (
        id TEXT PRIMARY KEY, name TEXT NOT NULL, instrument TEXT NOT NULL, tuning TEXT NOT NULL,
        line INTEGER NOT NULL, capo INTEGER NOT NULL, configured TEXT NOT NULL);
    INSERT INTO reference (serial, a4_hz, set_at, "by", source)
        VALUES (3, 441.5, '2031-05-06T18:00:00Z', 'Oda', 'fork');
    INSERT INTO strings VALUES ('bram', 4, 3, 28, 'in', 0.4, 0.1, 'in');
    INSERT INTO players VALUES ('bram', 'Bram K', 'bass', 'standard', 1, 0,
        '{"id": "bram", "name": "Bram", "instrument": "bass", "tuning": "standard", "line": 1,
          "capo": 0, "kind": "strings"}');
    PRAGMA user_version=1;
"""


def made_by_the_old_station(path: Path, also: str = "") -> None:
    connection = sqlite3.connect(path)
    connection.execute("PRAGMA journal_mode=WAL")
    connection.executescript(LAYOUT_1 + also)
    connection.close()


def test_an_older_stations_database_is_brought_up_to_date_in_place(tmp_path):
    path = tmp_path / "room.sqlite"
    made_by_the_old_station(path)
    room = Room((Player("bram", "Bram", "bass"),), Reference(440.0), lines=1)

    opened = open_store(path, "now")
    refused = room.restore(opened.state)

    shown = room.snapshot(0.0)
    assert (opened.reason, refused) == (None, [])
    assert (room.reference.a4_hz, room.reference.by, room.reference.agreed) == (441.5, "Oda", ())
    assert shown["players"][0]["name"] == "Bram K"
    assert shown["roll_call"]["in"] == 1
    assert [(e.serial, e.kind, e.a4_hz) for e in opened.store.log()] == [(3, "set", 441.5)]
    room.set_reference(442.0, "Oda", "fork", "")
    opened.store.save(room.state())
    opened.store.close()
    assert [entry.serial for entry in read_log(path)] == [4, 3]
    assert sorted(each.name for each in tmp_path.iterdir()) == ["room.sqlite", "room.sqlite.lock"]


def test_a_reference_nobody_had_set_yet_does_not_begin_the_log(tmp_path):
    path = tmp_path / "room.sqlite"
    made_by_the_old_station(path, "UPDATE reference SET serial = 0; UPDATE strings SET serial = 0;")

    store = open_store(path, "now").store

    assert store.log() == []
    store.close()


def test_a_failure_while_bringing_it_up_to_date_leaves_the_old_one_whole(tmp_path, monkeypatch):
    path = tmp_path / "room.sqlite"
    made_by_the_old_station(path)
    half = (*store_schema._TO_LAYOUT_2[:3], "CREATE TABLE nonsense")
    monkeypatch.setitem(store_schema._STEPS, 1, half)
    with pytest.raises(StorageError):
        open_store(path, "now")
    monkeypatch.undo()

    opened = opened_at(path)

    assert opened.reason is None
    assert opened.state["reference"]["a4_hz"] == 441.5


# -- the log and the parts --------------------------------------------------------------


def test_the_log_keeps_the_newest_and_no_more_than_its_limit(tmp_path):
    path = tmp_path / "room.sqlite"
    store = open_store(path, "now").store
    many = [store_writer.entry_of(number).as_json() for number in range(1, LOG_MAX + 21)]

    store.save(store_writer.state_of(LOG_MAX + 20) | {"log": many})
    store.save(store_writer.state_of(LOG_MAX + 21))

    serials = [entry.serial for entry in store.log()]
    assert serials == list(range(LOG_MAX + 21, 21, -1))
    store.close()


def test_what_is_in_the_log_already_is_not_written_again(tmp_path):
    store = open_store(tmp_path / "room.sqlite", "now").store
    first = store_writer.entry_of(1)
    store.save(store_writer.state_of(1))

    state = store_writer.state_of(2)
    state["log"] = [first.as_json() | {"by": "a forger"}, *state["log"]]
    store.save(state)

    assert store.log() == [store_writer.entry_of(2), first]
    store.close()


def test_a_log_entry_of_a_save_that_failed_is_written_by_the_next(tmp_path):
    path = tmp_path / "room.sqlite"
    store = RoomStore(path)
    store.save(store_writer.state_of(1))
    holder = sqlite3.connect(path, isolation_level=None)
    holder.execute("BEGIN IMMEDIATE")
    store._connection.execute("PRAGMA busy_timeout=10")
    two, three = store_writer.state_of(2), store_writer.state_of(3)
    with pytest.raises(StorageError, match="locked"):
        store.save(two)
    holder.close()

    store.save(three | {"log": [*two["log"], *three["log"]]})

    assert [entry.serial for entry in store.log()] == [3, 2, 1]
    store.close()
    assert stored_number(path) == 3


def test_a_part_that_did_not_change_is_not_written_again(tmp_path):
    store = open_store(tmp_path / "room.sqlite", "now").store
    store.save(store_writer.state_of(1))
    statements: list[str] = []
    store._connection.set_trace_callback(statements.append)

    store.save(store_writer.state_of(1) | {"measured": [2]})

    written = [s for s in statements if "INTO parts" in s]
    assert len(written) == 1
    assert "'measured'" in written[0]
    store.close()


@pytest.mark.parametrize(
    "value", ["'{'", "''", "'7'", "'null'", "'{\"proposals\": [3]}'", "'[[]]'", "x'ff'", NESTED]
)
@pytest.mark.parametrize("part", ["agreement", "measured", "steps"])
def test_a_part_spoilt_by_a_hand_costs_that_part_and_never_the_room(tmp_path, part, value):
    path = tmp_path / "room.sqlite"
    players = (Player("oda", "Oda", "guitar"),)
    room = Room(players, Reference(440.0), lines=1)
    room.set_reference(442.0, "Oda", "fork", "")
    store = open_store(path, "now").store
    store.save(room.state())
    store.close()
    edit(path, f"UPDATE parts SET value={value} WHERE name='{part}'")

    opened = open_store(path, "now")
    again = Room(players, Reference(440.0), lines=1)
    lines = again.restore(opened.state)

    assert opened.reason is None
    assert len(lines) == (value != "'null'")
    assert all("\n" not in line for line in lines)
    assert again.reference.a4_hz == 442.0
    opened.store.close()


def test_log_rows_spoilt_by_a_hand_are_read_as_far_as_they_can_be(tmp_path):
    path = tmp_path / "room.sqlite"
    store = open_store(path, "now").store
    store.save(store_writer.state_of(1))
    store.close()
    edit(path, "UPDATE reference_log SET kind='odd', agreed='{', away='3', evidence='[7'")

    (entry,) = read_log(path)

    assert (entry.kind, entry.agreed, entry.away, entry.evidence) == ("set", (), (), None)


@pytest.mark.parametrize("spoilt", ["a4_hz='abc'", f"evidence={NESTED}"])
def test_a_spoilt_log_row_costs_that_row_at_most(tmp_path, spoilt):
    path = tmp_path / "room.sqlite"
    store = open_store(path, "now").store
    for number in (1, 2):
        store.save(store_writer.state_of(number))
    store.close()
    edit(path, f"UPDATE reference_log SET {spoilt} WHERE serial=2")

    told = read_log(path)

    assert [entry.serial for entry in told if entry.serial == 1] == [1]
    assert [entry.evidence for entry in told if entry.serial == 2] in ([], [None])


def test_phones_that_come_and_go_all_evening_write_nothing(tmp_path):
    path = tmp_path / "room.sqlite"
    players = [Player(each, each.title(), "guitar") for each in ("oda", "bram", "pia")]
    room = Room(players, Reference(440.0), lines=1)
    room.set_present({"oda", "bram"}, 0.0)
    room.propose("oda", "typed", "", 1.0, a4_hz=442.0)
    store = open_store(path, "now").store
    store.save(room.state(), 1.0)
    size = Path(f"{path}-wal").stat().st_size

    saved, came_and_went = [], []
    for minute in range(1, 20):
        here = {"oda", "bram", "pia"} if minute % 2 else {"oda", "bram"}
        came_and_went.append(len(room.set_present(here, 61.0 * minute)))
        came_and_went.append(len(room.tick("", 61.0 * minute + 31.0)))
        saved.append(store.save_if_due(room.state(), 61.0 * minute + 32.0))

    assert sum(came_and_went) >= 19
    assert saved == [False] * 19
    assert Path(f"{path}-wal").stat().st_size == size
    store.close()
