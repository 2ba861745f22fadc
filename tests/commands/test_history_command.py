"""`station reference --history`: what the band tuned to, told by a station at work or at rest."""

from __future__ import annotations

import csv
import io
import json
import shutil
import sqlite3
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest

from station.commands.history import NONE_YET, run_history
from station.errors import StorageError, UsageError
from station.room.room import Player, Reference, Room
from station.room.store import RoomStore, open_store

ROOT = Path(__file__).resolve().parents[2]
NOBODY = 65534
PLAYERS = (Player("oda", "Oda", "guitar"), Player("bram", "Bram", "bass"))


@pytest.fixture
def config(tmp_path: Path) -> Path:
    path = tmp_path / "settings.toml"
    path.write_text(f'[station]\ndata_dir = "{tmp_path}/kept"\n')
    return path


def database(config: Path) -> Path:
    return config.parent / "kept" / "room.sqlite"


def agreed_room() -> Room:
    """Set once, agreed on once, taken back once."""
    room = Room(PLAYERS, Reference(440.0), lines=1)
    room.set_reference(443.0, "=cmd()", "set on the page", "2031-05-06T17:00:00Z", 0.0)
    room.set_present({"oda", "bram"}, 1.0)
    room.propose("oda", "typed", "2031-05-06T18:00:00Z", 2.0, a4_hz=442.0)
    room.answer(1, "bram", "yes", "2031-05-06T18:01:00Z", 3.0)
    room.undo("bram", "2031-05-06T18:02:00Z", 4.0)
    return room


def running_store(config: Path) -> RoomStore:
    store = open_store(database(config), "now").store
    store.save(agreed_room().state())
    return store


def shown(capsys: pytest.CaptureFixture[str], config: Path, *formats: str) -> str:
    run_history(config, "json" in formats, "csv" in formats)
    return capsys.readouterr().out


def test_people_read_the_newest_first_with_who_and_from_what(capsys, config):
    running_store(config).close()

    text = shown(capsys, config)

    assert text.splitlines() == [
        "2031-05-06T18:02:00Z  A4 = 443.00 Hz  taken back by Bram",
        "    back from 442 Hz: set on the page",
        "2031-05-06T18:01:00Z  A4 = 442.00 Hz  agreed on by Oda",
        "    typed in",
        "    said yes: Oda, Bram",
        "2031-05-06T17:00:00Z  A4 = 443.00 Hz  set by =cmd()",
        "    set on the page",
    ]


def test_programs_read_an_object_a_line_or_a_table(capsys, config):
    running_store(config).close()

    rows = [json.loads(line) for line in shown(capsys, config, "json").splitlines()]
    table = list(csv.DictReader(io.StringIO(shown(capsys, config, "csv"), newline="")))

    assert [row["kind"] for row in rows] == ["undone", "adopted", "set"]
    assert rows[1]["agreed"] == ["Oda", "Bram"]
    assert [row["serial"] for row in table] == ["3", "2", "1"]
    assert table[2]["by"] == "'=cmd()"


def test_two_formats_at_once_are_refused(config):
    with pytest.raises(UsageError, match="choose one"):
        run_history(config, True, True)


def test_the_command_says_it_all_in_lines_and_an_exit_code(command, config):
    missing = command("reference", "--history", "--config", config)
    running_store(config).close()

    found = command("reference", "--history", "--csv", "--config", config)

    assert (missing.exit_code, missing.stdout) == (1, "")
    assert missing.stderr == (
        f"station: {database(config)}: there is no database:"
        " has the station run with these settings?\n"
    )
    assert (found.exit_code, found.stderr) == (0, "")
    assert found.stdout.startswith("serial,at,a4_hz,kind,")


def test_a_station_at_work_is_read_and_not_disturbed(capsys, config):
    store = running_store(config)
    before = {path.name: path.stat().st_ino for path in database(config).parent.iterdir()}

    text = shown(capsys, config)
    store.save(agreed_room().state())

    assert "442.00 Hz" in text
    assert {path.name: path.stat().st_ino for path in database(config).parent.iterdir()} == before
    store.close()


def test_reading_at_rest_leaves_no_file_behind_that_could_keep_the_station_out(capsys, config):
    running_store(config).close()
    before = sorted(path.name for path in database(config).parent.iterdir())

    shown(capsys, config)

    assert sorted(path.name for path in database(config).parent.iterdir()) == before
    assert "room.sqlite-shm" not in before


@pytest.mark.parametrize("with_shared_memory", [True, False])
def test_what_a_killed_station_left_in_its_log_is_read_too(capsys, config, with_shared_memory):
    store = running_store(config)
    killed = config.parent / "killed"
    shutil.copytree(database(config).parent, killed)  # as a kill leaves it
    store.close()
    if not with_shared_memory:
        (killed / "room.sqlite-shm").unlink()
    shutil.rmtree(database(config).parent)
    killed.rename(database(config).parent)
    before = {path.name: path.read_bytes() for path in database(config).parent.iterdir()}

    text = shown(capsys, config)

    assert before["room.sqlite-wal"]
    assert text.count("A4 = ") == 3
    after = {path.name: path.read_bytes() for path in database(config).parent.iterdir()}
    assert after.keys() == before.keys()
    assert after["room.sqlite"] == before["room.sqlite"]


def test_a_station_that_agreed_on_nothing_yet_says_so(capsys, config):
    open_store(database(config), "now").store.close()

    assert shown(capsys, config) == NONE_YET + "\n"
    assert shown(capsys, config, "json") == ""


def test_a_database_of_the_layout_before_there_was_a_log_tells_its_one_reference(capsys, config):
    database(config).parent.mkdir()
    with sqlite3.connect(database(config)) as connection:
        connection.executescript("""
            CREATE TABLE reference (id INTEGER, serial INTEGER, a4_hz REAL, set_at TEXT, "by" TEXT,
                source TEXT);
            INSERT INTO reference VALUES (1, 4, 441.5, '2031-05-06T18:00:00Z', 'Oda', 'fork');
            PRAGMA user_version=1;""")
    connection.close()

    (row,) = [json.loads(line) for line in shown(capsys, config, "json").splitlines()]

    assert (row["serial"], row["a4_hz"], row["kind"], row["by"]) == (4, 441.5, "set", "Oda")


def no_database(path: Path) -> None:
    path.parent.mkdir()


def no_folder(path: Path) -> None:
    del path


def rubbish(path: Path) -> None:
    path.parent.mkdir()
    path.write_bytes(b"this was never a database" * 400)


def a_folder(path: Path) -> None:
    path.mkdir(parents=True)


def newer(path: Path) -> None:
    path.parent.mkdir()
    connection = sqlite3.connect(path)
    connection.execute("PRAGMA user_version=99")
    connection.close()


def no_tables(path: Path) -> None:
    path.parent.mkdir()
    connection = sqlite3.connect(path)
    connection.execute("PRAGMA user_version=2")
    connection.close()


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (no_database, "there is no database"),
        (no_folder, "there is no database"),
        (rubbish, "not a database"),
        (a_folder, "unable to open"),
        (newer, "layout 99"),
        (no_tables, "no such table"),
    ],
)
def test_what_cannot_be_read_is_said_in_one_line(config, make, says):
    make(database(config))

    with pytest.raises(StorageError, match=says) as refused:
        run_history(config, False, False)

    assert str(database(config)) in str(refused.value)
    assert "\n" not in str(refused.value)


@pytest.mark.parametrize("at_work", [True, False])
def test_who_may_read_but_not_write_the_folder_sees_the_log_all_the_same(at_work):
    with tempfile.TemporaryDirectory() as folder:
        config = Path(folder) / "settings.toml"
        config.write_text(f'[station]\ndata_dir = "{folder}/kept"\n')
        store = running_store(config)
        if not at_work:
            store.close()
        for path in database(config).parent.iterdir():
            path.chmod(0o444)
        database(config).parent.chmod(0o555)
        Path(folder).chmod(0o755)

        text = printed_to_a_reader(config)

        database(config).parent.chmod(0o755)
        store.close()
    assert text.count("A4 = ") == 3


def printed_to_a_reader(config: Path) -> str:
    """The command's output for somebody who owns none of the files; root may do anything."""
    # Root gives itself up only once all is imported: nobody may look into root's own folder.
    command = (
        "import os, sys; from pathlib import Path;"
        "from station.commands.history import run_history;"
        f"os.getuid() or os.setuid({NOBODY});"
        "run_history(Path(sys.argv[1]), False, False)"
    )
    return subprocess.run(
        [sys.executable, "-c", command, str(config)],
        cwd=ROOT,
        check=True,
        capture_output=True,
        text=True,
    ).stdout


@pytest.mark.parametrize("option", [("--rule", "mean"), ("--names", "german")])
def test_what_has_no_meaning_for_the_history_is_refused(command, config, option):
    done = command("reference", "--history", "--config", config, *option)

    assert done.exit_code == 2
    assert done.stderr.count("\n") == 1
    assert option[0] in done.stderr
