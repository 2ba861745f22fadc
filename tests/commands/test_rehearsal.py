"""`station rehearsal`: list, show, export."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from station.record.keeping import RecordKeeping
from tests.support.evenings import evening


@pytest.fixture
def config(tmp_path: Path) -> Path:
    """Settings of a station that has recorded an hour."""
    keeping = RecordKeeping(tmp_path / "state", "now")
    for now_s, room in evening(60):
        keeping.take(room, "2031-05-04T18:00:00Z", now_s)
    keeping.close(3600.0)
    path = tmp_path / "settings.toml"
    path.write_text(f'[station]\ndata_dir = "{tmp_path / "state"}"\n')
    return path


def test_rehearsals_are_listed_with_who_was_there(command, config):
    done = command("rehearsal", "list", "--config", config)

    assert done.exit_code == 0
    assert "2031-05-04 18:00:00 UTC" in done.stdout
    assert "Tove, Brannock" in done.stdout


def test_the_last_one_is_shown_in_words(command, config):
    lines = command("rehearsal", "show", "--config", config).stdout.splitlines()

    assert any("the reference is 441.30 Hz" in line for line in lines)
    assert any("a gap of 30 s" in line for line in lines)
    assert any("Tove, string 6: had drifted" in line for line in lines)
    assert any("the whole band: had drifted -1.0 cents" in line for line in lines)


def test_json_is_one_object_a_line(command, config):
    done = command("rehearsal", "show", "1", "--json", "--config", config)

    said = [json.loads(line) for line in done.stdout.splitlines()]
    assert said[0]["kind"] == "rehearsal"
    assert {each["kind"] for each in said[1:]} == {"reading", "check", "reference", "gap", "drift"}


def test_a_report_and_a_table_are_written_to_files(command, config, tmp_path):
    page, table = tmp_path / "evening.html", tmp_path / "evening.csv"

    command("rehearsal", "export", "--config", config, "--out", page)
    command("rehearsal", "export", "1", "--csv", "--config", config, "--out", table)

    assert page.read_text().startswith("<!doctype html>")
    assert table.read_text().startswith("kind,at_s,player,string")


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["show", "9"], "there is none such; kept: 1"),
        (["export", "--out", "/nowhere/at/all.html"], "cannot be written"),
    ],
)
def test_what_cannot_be_done_is_one_line(command, config, arguments, said):
    done = command("rehearsal", *arguments, "--config", config)

    assert done.exit_code in (1, 2)
    assert done.stderr.count("\n") == 1
    assert said in done.stderr


def test_without_a_record_that_is_said(command, tmp_path):
    path = tmp_path / "settings.toml"
    path.write_text(f'[station]\ndata_dir = "{tmp_path / "state"}"\n')

    done = command("rehearsal", "list", "--config", path)

    assert (done.exit_code, done.stderr.count("\n")) == (1, 1)
    assert "no record of rehearsals" in done.stderr
