"""The service's files, as systemd, udev and avahi read them, and the station under them."""

from __future__ import annotations

import configparser
import os
import re
import shutil
import signal
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from xml.etree import ElementTree

import psutil
import pytest

from station.errors import SettingsError
from station.settings_model import PageSettings, Settings
from station.watchdog import LOOK_S
from tests.support.page_client import ask, wait_until
from tests.support.pulse import DIES_WITH_THE_TEST
from tests.support.station_process import free_port

PROJECT = Path(__file__).resolve().parents[1]
FOLDER = PROJECT / "systemd"
UNIT = FOLDER / "rehearsal-room-station.service"
PROGRAM = "/opt/rehearsal-room-station/current/.venv/bin/station"
RESTART_WITHIN_S = 15.0  # what the station promises of a loop that freezes
EXPOSURE_TENTHS = 20
BOARD_MB = 512
A_DYNAMIC_USER = 61_234  # systemd.exec(5), DynamicUser=: from 61184 to 65519


@pytest.fixture
def service() -> configparser.SectionProxy:
    parser = configparser.ConfigParser(interpolation=None, strict=False)
    parser.optionxform = str  # type: ignore[assignment]  # systemd's keys have capitals
    parser.read_string(UNIT.read_text())
    return parser["Service"]


def analyze(*arguments: object) -> subprocess.CompletedProcess[str]:
    tool = shutil.which("systemd-analyze")
    if tool is None:
        pytest.fail("systemd-analyze not found: install systemd")
    return subprocess.run(
        [tool, *map(str, arguments)], capture_output=True, text=True, timeout=30, check=False
    )


def test_systemd_has_nothing_to_say_against_the_service(tmp_path: Path) -> None:
    assert UNIT.read_text().count(PROGRAM) == 1
    # The program itself is not installed here: verified is all but its path.
    copy = tmp_path / UNIT.name
    copy.write_text(UNIT.read_text().replace(PROGRAM, "/bin/true"))

    # It ends with 0 on a key it does not know, but says so.
    checked = analyze("verify", copy)

    about_it = [line for line in checked.stderr.splitlines() if UNIT.stem in line]
    assert (checked.returncode, about_it) == (0, [])


def test_its_exposure_is_at_most_two() -> None:
    exposed = analyze(
        "security", "--offline=true", f"--threshold={EXPOSURE_TENTHS}", "--no-pager", UNIT
    )

    assert exposed.returncode == 0, exposed.stdout[-200:]
    assert re.search(r"Overall exposure level for \S+: [01]\.\d ", exposed.stdout)


def test_a_service_that_is_less_restricted_would_not_pass(tmp_path: Path) -> None:
    lax = tmp_path / UNIT.name
    lax.write_text(re.sub(r"^(System|Protect|Capab).*$", "", UNIT.read_text(), flags=re.MULTILINE))

    exposed = analyze("security", "--offline=true", f"--threshold={EXPOSURE_TENTHS}", lax)

    assert exposed.returncode != 0


def test_it_runs_the_station_as_a_user_without_rights(service: configparser.SectionProxy) -> None:
    assert service["ExecStart"].startswith(f"{PROGRAM} run --config /etc/")
    assert service["DynamicUser"] == "yes"
    assert service["User"] != "root"
    assert service["CapabilityBoundingSet"] == ""
    assert {"audio", "gpio"} < set(service["SupplementaryGroups"].split())


def seconds(span: str) -> float:
    """systemd.time(7): a number alone is in seconds."""
    return float(span.removesuffix("ms")) / 1e3 if span.endswith("ms") else float(span)


def test_it_is_watched_so_that_a_frozen_loop_is_started_anew_in_time(
    service: configparser.SectionProxy,
) -> None:
    # systemd.service(5): SIGABRT when WatchdogSec= is over, SIGKILL after TimeoutAbortSec=.
    times_s = [seconds(service[key]) for key in ("WatchdogSec", "TimeoutAbortSec", "RestartSec")]

    assert LOOK_S + sum(times_s) <= RESTART_WITHIN_S
    assert (service["Type"], service["NotifyAccess"]) == ("notify", "main")
    # systemd.service(5), Restart=: both see to a watchdog's timeout.
    assert service["Restart"] in ("always", "on-failure")


def test_it_starts_again_after_a_failure_but_not_with_wrong_settings(
    service: configparser.SectionProxy,
) -> None:
    assert service["Restart"] == "always"
    assert service["RestartPreventExitStatus"] == str(SettingsError.exit_code)


def test_its_memory_leaves_room_for_the_system_on_the_smallest_board(
    service: configparser.SectionProxy,
) -> None:
    high, most = (int(service[key].removesuffix("M")) for key in ("MemoryHigh", "MemoryMax"))

    assert 150 < high < most <= BOARD_MB - 200


def test_the_state_is_kept_in_the_folder_that_systemd_gives(
    service: configparser.SectionProxy, monkeypatch: pytest.MonkeyPatch
) -> None:
    given = f"/var/lib/{service['StateDirectory']}"
    # systemd.exec(5), RuntimeDirectory=, StateDirectory=: $STATE_DIRECTORY holds the full path.
    monkeypatch.setenv("STATE_DIRECTORY", given)

    assert Settings().data_dir() == Path(given)


def test_lgpio_may_write_where_it_is_told_to(service: configparser.SectionProxy) -> None:
    folder = f"/run/{service['RuntimeDirectory']}"

    assert f"LG_WD={folder}" in service["Environment"].split()
    assert service["WorkingDirectory"] == folder


# -- the files beside it -----------------------------------------------------


def test_avahi_announces_a_page_at_the_port_of_the_settings() -> None:
    group = ElementTree.parse(FOLDER / "avahi.service").getroot()

    # avahi.service(5): service-group holds a name and services of type, port, txt-record.
    assert [child.tag for child in group] == ["name", "service"]
    (service,) = group.findall("service")
    assert [child.tag for child in service] == ["type", "port", "txt-record"]
    assert service.findtext("type") == "_http._tcp"
    assert int(service.findtext("port", "")) == PageSettings().port


def test_the_rule_for_udev_is_one_line_that_names_a_card_by_its_socket() -> None:
    text = (FOLDER / "card.rules").read_text()
    (rule,) = [line for line in text.splitlines() if line and not line.startswith("#")]

    # udev(7): KEY OPERATOR "value", joined by commas.
    parts = re.findall(r'([A-Z]+)(?:\{(\w+)\})?(==|=)"([^"]*)"(?:, |$)', rule)
    assert (
        ", ".join(
            f'{key}{{{of}}}{sign}"{value}"' if of else f'{key}{sign}"{value}"'
            for key, of, sign, value in parts
        )
        == rule
    )
    assert parts[0] == ("ACTION", "", "==", "add")
    assert ("ENV", "ID_PATH", "==", "@PATH@") in parts
    assert parts[-1] == ("ATTR", "id", "=", "@NAME@")


# -- the station under its restrictions --------------------------------------


def restrictions(service: configparser.SectionProxy, state: Path, run: Path) -> list[str]:
    """Of the service's restrictions those that need no systemd, as commands before the program.

    The user, no capability and no way to one, limits, and as root a file system that
    is read-only but for the two folders. The others are for systemd itself:
    tests/bench/try_install.sh has it carry them out.
    """
    limits = ["prlimit", f"--nofile={service['LimitNOFILE']}", f"--core={service['LimitCORE']}"]
    kept = {"yes": ["--no-new-privs"], "no": []}[service["NoNewPrivileges"]]
    if os.geteuid() != 0:
        return [*limits, "setpriv", *kept]
    assert service["ProtectSystem"] == "strict"
    mounts = "mount --make-rprivate /"
    for folder in (state, run):
        mounts += f" && mount --bind '{folder}' '{folder}'"
    mounts += ' && mount -o remount,bind,ro / && exec "$@"'
    reachable = all(parent.stat().st_mode & 0o001 for parent in (*PROJECT.parents, PROJECT))
    user = A_DYNAMIC_USER if reachable else 0
    os.chown(state, user, user)
    os.chown(run, user, user)
    ids = [f"--reuid={user}", f"--regid={user}", "--groups=audio"]
    drop = ["--bounding-set=-all", "--inh-caps=-all"]
    return [
        *("unshare", "--mount", "sh", "-c", mounts, "sh"),
        *(*limits, "setpriv", *ids, *drop, *kept),
    ]


@pytest.fixture
def folder() -> Iterator[Path]:
    """A folder that another user may enter, as pytest's own are not."""
    with tempfile.TemporaryDirectory() as name:
        Path(name).chmod(0o755)
        yield Path(name)


def test_the_daemon_runs_under_the_restrictions_that_can_be_made_here(
    service: configparser.SectionProxy, folder: Path
) -> None:
    state, run, settings = (folder / name for name in ("state", "run", "settings.toml"))
    state.mkdir()
    run.mkdir()
    port = free_port()
    settings.write_text(
        '[station]\nroom_code = "hemlock-9"\n[input]\ndevice = "hw:CARD=Nowhere,DEV=0"\n'
        f'[page]\nhost = "127.0.0.1"\nport = {port}\n'
    )
    environment = {"STATE_DIRECTORY": str(state), "LG_WD": str(run), "PATH": os.environ["PATH"]}
    process = subprocess.Popen(
        [
            *DIES_WITH_THE_TEST,
            *restrictions(service, state, run),
            *(sys.executable, "-m", "station.cli", "run", "--config", str(settings)),
        ],
        cwd=PROJECT,
        env={**environment, "PYTHONDONTWRITEBYTECODE": "1"},
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
    )
    try:
        wait_until(lambda: process.poll() is not None or answers(port))
        assert process.poll() is None, process.stderr and process.stderr.read()
        # Who is told that it is there may end it: it ends in order from its first answer on.
        assert {"SIGTERM", "SIGINT", "SIGHUP"} <= set(catches(process))
        room = ask(port, "/api/v1/room").json
        described = ask(port, "/api/v1/openapi.json").json
        rights = status(process)
    finally:
        process.terminate()
        _, said = process.communicate(timeout=20)

    assert process.returncode == 0, said
    assert (state / "room.sqlite").exists()
    assert room["station"]["input"]["state"] == "waiting"
    assert "/api/v1/room" in described["paths"]  # a process of its own wrote that
    assert not [banner for banner in room["station"]["banners"] if "Not saved" in banner]
    assert "NoNewPrivs:\t1" in rights
    assert "CapEff:\t0000000000000000" in rights


def answers(port: int) -> bool:
    try:
        return ask(port, "/health").status == 200
    except OSError:
        return False


def status(process: subprocess.Popen[str]) -> str:
    return Path(f"/proc/{daemon_of(process).pid}/status").read_text()


def catches(process: subprocess.Popen[str]) -> list[str]:
    """The signals it has taken over: proc(5), SigCgt."""
    mask = int(re.search(r"^SigCgt:\s*(\w+)$", status(process), re.MULTILINE)[1], 16)
    return [each.name for each in signal.Signals if mask >> (each - 1) & 1]


def daemon_of(process: subprocess.Popen[str]) -> psutil.Process:
    """The commands before it have become the program, unless one had to stay."""
    family = [psutil.Process(process.pid), *psutil.Process(process.pid).children(recursive=True)]
    return next(each for each in family if "station.cli" in each.cmdline()[:3])
