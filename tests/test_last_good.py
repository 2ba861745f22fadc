"""A settings file at fault: what last served serves, and nothing else does."""

from __future__ import annotations

import os
import stat
from pathlib import Path

import pytest

from station.errors import SettingsError, StorageError
from station.last_good import NAME, keep, last_good, settings_to_serve

GOOD = '[station]\nname = "Cellar room"\nroom_code = "hemlock-9"\ndata_dir = "state"\n'
FAULT = "[page]\nport = 99999\n"


@pytest.fixture(autouse=True)
def no_folder_but_its_own(tmp_path, monkeypatch):
    monkeypatch.setenv("HOME", str(tmp_path / "home"))
    monkeypatch.delenv("STATE_DIRECTORY", raising=False)


@pytest.fixture
def config(tmp_path: Path) -> Path:
    """A settings file with which a station has started once."""
    path = tmp_path / "settings.toml"
    path.write_text(GOOD)
    keep(settings_to_serve(path))
    return path


def test_without_a_fault_the_file_serves_and_nothing_is_remarked(config):
    given = settings_to_serve(config)

    assert given.settings.station.name == "Cellar room"
    assert given.settings.remarks == ()


def test_with_a_fault_what_last_served_serves_and_says_file_line_and_key(config):
    config.write_text(GOOD.replace("Cellar", "Attic") + FAULT)

    given = settings_to_serve(config)

    (remark,) = given.settings.remarks
    assert given.settings.station.name == "Cellar room"
    assert given.settings.data_dir() == config.parent / "state"
    assert f"{config}:6: page.port: 99999" in remark
    assert "\n" not in remark


def test_of_several_faults_the_first_is_said_and_how_many_there_are(config):
    config.write_text(GOOD + FAULT + "x = 1\ny = 2\n")

    (remark,) = settings_to_serve(config).settings.remarks

    assert "(2 more: station check)" in remark


@pytest.mark.parametrize(
    "broken",
    [b"", b"\xff\xfe", b"[station\n", b'[station]\ndata_dir = "elsewhere"\nname = 1\n'],
    ids=["emptied", "no text", "no TOML", "another folder"],
)
def test_a_file_that_no_longer_says_where_its_folder_is_finds_it_in_the_usual_place(
    tmp_path, monkeypatch, broken
):
    monkeypatch.setenv("STATE_DIRECTORY", str(tmp_path / "usual"))
    config = tmp_path / "settings.toml"
    config.write_text('[station]\nname = "Cellar room"\n')
    keep(settings_to_serve(config))
    config.write_bytes(broken)

    settings = settings_to_serve(config).settings

    # An empty file is no fault: it means the defaults.
    assert settings.station.name == ("Cellar room" if broken else "Rehearsal room")


def test_a_file_that_was_lost_or_may_not_be_read_any_more_costs_no_rehearsal(tmp_path, monkeypatch):
    monkeypatch.setenv("STATE_DIRECTORY", str(tmp_path / "usual"))
    config = tmp_path / "settings.toml"
    config.write_text('[station]\nname = "Cellar room"\n')
    keep(settings_to_serve(config))
    config.unlink()

    given = settings_to_serve(config)

    assert given.settings.station.name == "Cellar room"
    assert "there is no such file" in given.settings.remarks[0]


def test_settings_that_never_served_are_refused_with_every_fault(tmp_path):
    config = tmp_path / "settings.toml"
    config.write_text(GOOD + FAULT + "x = 1\n")

    with pytest.raises(SettingsError) as refused:
        settings_to_serve(config)

    assert len(refused.value.faults) == 2


def test_what_another_file_served_with_does_not_serve(config):
    other = config.with_name("other.toml")
    other.write_text(GOOD + FAULT)

    with pytest.raises(SettingsError):
        settings_to_serve(other)


@pytest.mark.parametrize("spoilt", [b"", b"\x00" * 300, b"\xff\xfe", b"{", b"x" * 200_000])
def test_a_kept_text_that_is_spoilt_serves_nobody(config, spoilt):
    kept = config.parent / "state" / NAME
    kept.write_bytes(kept.read_bytes().partition(b"\n")[0] + b"\n" + spoilt)
    config.write_text(GOOD + FAULT)

    found = last_good(config)

    # An empty text is a good one: the defaults.
    assert (found is None) == (spoilt != b"")


def test_settings_that_serve_again_are_not_written_again(config):
    kept = config.parent / "state" / NAME
    os.utime(kept, (1, 1))

    keep(settings_to_serve(config))

    assert kept.stat().st_mtime == 1
    assert [each.name for each in kept.parent.iterdir()] == [NAME]


def test_settings_that_serve_in_place_of_others_are_not_taken_for_new_ones(config):
    config.write_text(GOOD + FAULT)

    given = settings_to_serve(config)
    keep(given)

    assert given.text is None
    assert last_good(config).settings.station.name == "Cellar room"


def test_the_room_code_in_it_is_for_the_station_alone_to_read(config):
    kept = config.parent / "state" / NAME

    assert stat.S_IMODE(kept.stat().st_mode) == 0o600


def test_a_folder_that_cannot_be_written_is_one_line(tmp_path):
    config = tmp_path / "settings.toml"
    config.write_text('[station]\ndata_dir = "/proc/none"\n')

    with pytest.raises(StorageError, match="cannot be kept") as failed:
        keep(settings_to_serve(config))

    assert "\n" not in str(failed.value)
