"""The service file, as systemd reads it."""

from __future__ import annotations

import configparser
import re
import shutil
import subprocess
from pathlib import Path

import pytest

from station.errors import SettingsError
from station.settings_model import Settings

UNIT = Path(__file__).resolve().parents[1] / "systemd" / "rehearsal-room-station.service"
PROGRAM = "/opt/rehearsal-room-station/.venv/bin/station"


@pytest.fixture
def service() -> configparser.SectionProxy:
    parser = configparser.ConfigParser(interpolation=None, strict=True)
    parser.optionxform = str  # type: ignore[assignment]  # systemd's keys have capitals
    parser.read_string(UNIT.read_text())
    return parser["Service"]


def test_systemd_has_nothing_to_say_against_the_service(tmp_path: Path) -> None:
    analyze = shutil.which("systemd-analyze")
    if analyze is None:
        pytest.fail("systemd-analyze not found: install systemd")
    assert UNIT.read_text().count(PROGRAM) == 1
    # The program itself is not installed here: verified is all but its path.
    copy = tmp_path / UNIT.name
    copy.write_text(UNIT.read_text().replace(PROGRAM, "/bin/true"))

    # It ends with 0 on a key it does not know, but says so.
    checked = subprocess.run(
        [analyze, "verify", copy], capture_output=True, text=True, timeout=30, check=False
    )

    about_it = [line for line in checked.stderr.splitlines() if UNIT.stem in line]
    assert (checked.returncode, about_it) == (0, [])


def test_it_runs_the_station_as_a_user_without_rights(service: configparser.SectionProxy) -> None:
    assert service["ExecStart"].startswith(f"{PROGRAM} run --config /etc/")
    assert service["DynamicUser"] == "yes"
    assert service["User"] != "root"
    assert set(service["SupplementaryGroups"].split()) == {"audio", "gpio"}


def test_it_starts_again_after_a_failure_but_not_with_wrong_settings(
    service: configparser.SectionProxy,
) -> None:
    assert service["Restart"] == "on-failure"
    assert service["RestartPreventExitStatus"] == str(SettingsError.exit_code)


def test_the_state_is_kept_in_the_folder_that_systemd_gives(
    service: configparser.SectionProxy, monkeypatch: pytest.MonkeyPatch
) -> None:
    given = f"/var/lib/{service['StateDirectory']}"
    # systemd.exec(5), RuntimeDirectory=, StateDirectory=: $STATE_DIRECTORY holds the full path.
    monkeypatch.setenv("STATE_DIRECTORY", given)

    assert Settings().data_dir() == Path(given)


def test_lgpio_may_write_where_it_is_told_to(service: configparser.SectionProxy) -> None:
    folder = f"/run/{service['RuntimeDirectory']}"

    assert re.fullmatch(r"LG_WD=(.*)", service["Environment"])[1] == folder
