"""The service file, as systemd reads it."""

from __future__ import annotations

import configparser
import os
import re
import shlex
import shutil
import stat
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
    assert {"audio", "gpio"} < set(service["SupplementaryGroups"].split())


def set_up_commands() -> list[list[str]]:
    """The commands that the file's first comment tells to type, in their order."""
    comment = UNIT.read_text().partition("[Unit]")[0]
    lines = [line.removeprefix("#") for line in comment.splitlines()]
    shown = "\n".join(line for line in lines if line.startswith("   ")).replace("\\\n", " ")
    return [shlex.split(line) for line in shown.splitlines()]


def test_the_room_code_is_for_the_services_group_alone_to_read(
    service: configparser.SectionProxy, tmp_path: Path
) -> None:
    (install,) = [words for words in set_up_commands() if words[0] == "install"]
    made = [words[-1] for words in set_up_commands() if words[0] == "groupadd"]
    group = install[install.index("-g") + 1]
    target = Path(install[-1])

    assert service["ExecStart"].endswith(f"--config {target}")
    assert group in made
    assert group in service["SupplementaryGroups"].split()
    # As typed, but for the group, which is not made here, and the place.
    here = [*install[:-1], str(tmp_path / target.name)]
    here[here.index(group)] = str(os.getgid())
    subprocess.run(here, check=True, cwd=UNIT.parents[1])
    assert stat.S_IMODE((tmp_path / target.name).stat().st_mode) == 0o640


def test_every_group_of_the_service_is_made_before_it_starts_or_is_the_systems(
    service: configparser.SectionProxy,
) -> None:
    commands = set_up_commands()
    made = {words[-1] for words in commands if words[0] == "groupadd"}

    assert set(service["SupplementaryGroups"].split()) == made | {"audio"}
    assert commands[-1][:3] == ["systemctl", "enable", "--now"]


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
