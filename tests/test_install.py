"""systemd/box.sh: makes a computer a station and undoes it, asks before it changes a network.

Here its files go below a folder and the tools that change a system only write down
what they were asked; tests/bench/try_install.sh tries all of it on whole Debians.
"""

from __future__ import annotations

import os
import re
import shlex
import shutil
import stat
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from xml.etree import ElementTree

import pytest

PROJECT = Path(__file__).resolve().parents[1]
SCRIPTS = ("systemd/box.sh", "tests/bench/try_install.sh", "tests/bench/boot_root.sh")
NAME = "rehearsal-room-station"
LIMIT_S = 60
NOBODY = 65534
# Writes its name and arguments down; groups that were made are there.
TOOL = '#!/bin/sh\necho "$(basename "$0") $*" >>"$TOLD"\n'
GETENT = TOOL + 'grep -qxF "groupadd --system $2" "$TOLD"\n'
SOCKET = "platform-xhci-hcd.0-usb-0:1.2:1.0"


class Box:
    """A copy of the scripts and a folder that stands in for the system's root."""

    def __init__(self, base: Path) -> None:
        self.project = base / "a station"
        self.root = base / "root"
        self.tools = base / "tools"
        self.told = base / "told"
        self.root.mkdir()
        self.tools.mkdir()
        self.told.touch()
        for folder in ("hw", "systemd"):
            shutil.copytree(PROJECT / folder, self.project / folder)
        (self.project / "station").mkdir()
        for name in ("pyproject.toml", "README.md", "LICENSE", "station/settings_example.toml"):
            shutil.copy(PROJECT / name, self.project / name)
        self._stand_in_for_preparing()
        for name in ("systemctl", "groupadd", "groupdel", "chgrp"):
            self.put_tool(name, TOOL)
        self.put_tool("getent", GETENT)
        (self.root / "etc/avahi/services").mkdir(parents=True)

    def _stand_in_for_preparing(self) -> None:
        """A set-up that is done at once: the station of this tree, under its venv's name."""
        python = f'#!/bin/sh\nPYTHONPATH={shlex.quote(str(PROJECT))} exec {sys.executable} "$@"\n'
        station = '#!/bin/sh\nexec "$(dirname "$0")/python" -m station.cli "$@"\n'
        with (self.project / "hw" / "prepare.sh").open("a") as prepare:
            prepare.write(
                "\nprepare() {\n"
                '    mkdir -p "$venv/bin" && cd "$venv/bin" || return\n'
                f"    printf %s {shlex.quote(python)} >python\n"
                f"    printf %s {shlex.quote(station)} >station\n"
                "    chmod 755 python station\n}\n"
            )

    def put_tool(self, name: str, script: str) -> None:
        tool = self.tools / name
        tool.write_text(script)
        tool.chmod(0o755)

    def call(
        self, *arguments: str, whole_system: bool = False, root: bool = True
    ) -> subprocess.CompletedProcess[str]:
        """box.sh, as root or as somebody else; what it changes is below the folder."""
        become = []
        if root and os.geteuid() != 0:
            become = ["unshare", "--map-root-user"]
        elif not root and os.geteuid() == 0:
            become = ["setpriv", f"--reuid={NOBODY}", f"--regid={NOBODY}", "--clear-groups"]
        return subprocess.run(
            [*become, "bash", str(self.project / "systemd/box.sh"), *arguments],
            cwd="/",
            env={
                "PATH": f"{self.tools}:/usr/sbin:/usr/bin:/sbin:/bin",
                "HOME": "/nonexistent",
                "TOLD": str(self.told),
                **({} if whole_system else {"DESTDIR": str(self.root)}),
            },
            stdin=subprocess.DEVNULL,
            capture_output=True,
            text=True,
            timeout=LIMIT_S,
            check=False,
        )

    def files(self) -> set[str]:
        """Every file that is there, below the folder."""
        return {
            str(path.relative_to(self.root))
            for path in self.root.rglob("*")
            if path.is_symlink() or not path.is_dir()
        }

    def asked(self, tool: str) -> list[str]:
        """What a tool was called with."""
        lines = self.told.read_text().splitlines()
        return [line.removeprefix(f"{tool} ") for line in lines if line.startswith(f"{tool} ")]

    @property
    def settings(self) -> Path:
        return self.root / "etc" / NAME / "settings.toml"

    @property
    def current(self) -> Path:
        return self.root / "opt" / NAME / "current"

    @property
    def unit(self) -> Path:
        return self.root / "etc/systemd/system" / f"{NAME}.service"

    @property
    def state(self) -> Path:
        return self.root / "var/lib/private" / NAME


@pytest.fixture
def box() -> Iterator[Box]:
    with tempfile.TemporaryDirectory() as name:
        Path(name).chmod(0o755)
        yield Box(Path(name))


def well(done: subprocess.CompletedProcess[str]) -> str:
    assert done.returncode == 0, done.stderr
    return done.stdout


def refused(done: subprocess.CompletedProcess[str]) -> str:
    """What it says where it does nothing: one line, unless the station said why before."""
    assert done.returncode == 1, done.stdout
    return done.stderr.splitlines()[-1]


# -- the scripts -------------------------------------------------------------


def test_shellcheck_finds_nothing_in_the_scripts() -> None:
    found = subprocess.run(
        ["shellcheck", "--external-sources", *SCRIPTS, "tests/bench/devices.sh"],
        cwd=PROJECT,
        capture_output=True,
        text=True,
        check=False,
    )

    assert (found.returncode, found.stdout) == (0, "")


def test_no_script_overrules_the_systems_guard_on_its_python() -> None:
    assert not [name for name in SCRIPTS if "break-system" in (PROJECT / name).read_text()]


@pytest.mark.parametrize("arguments", [(), ("instal",), ("--purge",)])
def test_what_it_cannot_mean_is_answered_by_what_it_can(box: Box, arguments: tuple[str]) -> None:
    done = box.call(*arguments)

    assert (done.returncode, done.stdout) == (2, "")
    assert "box.sh uninstall --purge" in done.stderr


@pytest.mark.parametrize("command", ["install", "uninstall", "upgrade", "card", "hotspot"])
def test_an_option_it_does_not_know_changes_nothing(box: Box, command: str) -> None:
    before = box.files()

    assert box.call(command, "--yess").returncode == 1

    assert box.files() == before
    assert not box.asked("systemctl")


@pytest.mark.parametrize(
    "arguments", [("install",), ("uninstall",), ("card", "1"), ("hotspot", "--yes")], ids=" ".join
)
def test_without_root_the_command_that_needs_it_is_said(
    box: Box, arguments: tuple[str, ...]
) -> None:
    said = refused(box.call(*arguments, root=False))

    assert said == f"this takes root: sudo bash systemd/box.sh {arguments[0]}"


# -- install and upgrade -----------------------------------------------------


def test_an_install_puts_everything_in_place_and_has_it_start_with_the_machine(box: Box) -> None:
    said = well(box.call("install"))

    assert box.unit.read_text() == (PROJECT / "systemd" / f"{NAME}.service").read_text()
    assert box.asked("groupadd") == ["--system gpio", "--system rehearsal-room-settings"]
    assert box.asked("systemctl") == [f"--root={box.root} --quiet enable {NAME}"]
    assert str(box.current.readlink()) == "a"
    assert stat.S_IMODE(box.settings.stat().st_mode) == 0o640
    assert f"rehearsal-room-settings {box.settings}" in box.asked("chgrp")
    code = re.search(r'^room_code = "(.+)"$', box.settings.read_text(), re.MULTILINE)
    assert code is not None
    assert f"The room code is {code[1]}." in said
    # What the unit names is what was installed.
    program = re.search(r"^ExecStart=(\S+)", box.unit.read_text(), re.MULTILINE)
    assert program is not None
    assert os.access(f"{box.root}{program[1]}", os.X_OK)


def test_what_is_installed_is_for_all_to_read_whatever_the_umask(box: Box) -> None:
    (box.project / "station" / "settings_example.toml").chmod(0o600)

    os.umask(before := os.umask(0o077))
    try:
        os.umask(0o077)
        well(box.call("install"))
    finally:
        os.umask(before)

    folders = [box.current, *box.current.resolve().rglob("*")]
    assert not [path for path in folders if not path.stat().st_mode & 0o004]


def test_the_page_is_announced_at_the_port_of_the_settings(box: Box, tmp_path: Path) -> None:
    mine = tmp_path / "mine.toml"
    mine.write_text("[page]\nport = 8123\n")

    well(box.call("install", "--settings", str(mine)))

    announced = ElementTree.parse(box.root / f"etc/avahi/services/{NAME}.service")
    assert announced.findtext("service/port") == "8123"


def test_without_avahi_it_says_so_and_installs_the_rest(box: Box) -> None:
    (box.root / "etc/avahi/services").rmdir()

    said = well(box.call("install"))

    assert "No avahi here" in said
    assert box.unit.exists()


def test_a_second_install_leaves_the_settings_and_one_copy(box: Box) -> None:
    well(box.call("install"))
    box.settings.write_text(box.settings.read_text().replace("Rehearsal room", "Cellar room"))
    settings = box.settings.read_text()
    files = {name for name in box.files() if "/a/" not in name}

    said = well(box.call("upgrade"))

    assert box.settings.read_text() == settings
    assert "room code is" not in said
    assert str(box.current.readlink()) == "b"
    assert {name for name in box.files() if "/b/" not in name} == files
    assert len(box.asked("groupadd")) == 2


def test_an_install_that_a_power_cut_ended_is_made_good_by_the_next(box: Box) -> None:
    well(box.call("install"))
    left = box.root / "opt" / NAME / "b" / "half"
    left.mkdir(parents=True)
    (left / "file").touch()

    well(box.call("install"))

    assert str(box.current.readlink()) == "b"
    assert not left.exists()


def test_settings_of_ones_own_are_taken_and_those_before_are_kept(box: Box, tmp_path: Path) -> None:
    mine = tmp_path / "mine.toml"
    mine.write_text("[station]\na4_hz = 442.0\n")
    well(box.call("install"))
    before = box.settings.read_text()

    well(box.call("install", "--settings", str(mine)))

    assert box.settings.read_text() == mine.read_text()
    assert box.settings.with_suffix(".toml.before").read_text() == before


def test_settings_that_do_not_hold_are_refused_and_nothing_changes(
    box: Box, tmp_path: Path
) -> None:
    mine = tmp_path / "mine.toml"
    mine.write_text('[station]\na4_hz = "flat"\n')
    well(box.call("install"))
    before, asked = box.files(), box.told.read_text()

    done = box.call("install", "--settings", str(mine))

    assert "do not hold" in refused(done)
    assert "a4_hz" in done.stderr
    assert box.files() == before
    assert box.told.read_text() == asked


def test_settings_that_are_not_there_are_refused(box: Box) -> None:
    said = refused(box.call("install", "--settings", "/none.toml"))

    assert said == "no settings file to read: /none.toml"
    assert not box.current.exists()


def test_an_upgrade_of_nothing_is_refused(box: Box) -> None:
    assert "nothing is installed" in refused(box.call("upgrade"))


def test_two_at_once_do_not_meet(box: Box) -> None:
    base = box.root / "opt" / NAME
    base.mkdir(parents=True)

    with subprocess.Popen(
        ["flock", str(base), "sh", "-c", "echo held; sleep 60"], stdout=subprocess.PIPE, text=True
    ) as other:
        assert other.stdout is not None
        other.stdout.readline()
        said = refused(box.call("install"))
        # The one that holds the lock is flock's child.
        subprocess.run(["pkill", "--parent", str(other.pid)], check=True)

    assert "another set-up of this box is under way" in said


# -- uninstall ---------------------------------------------------------------


def test_uninstall_leaves_what_is_the_bands_and_says_where(box: Box) -> None:
    before = box.files()
    well(box.call("install"))
    box.state.mkdir(parents=True)
    (box.state / "room.sqlite").touch()

    said = well(box.call("uninstall"))

    left = {str(path.relative_to(box.root)) for path in (box.settings, box.state / "room.sqlite")}
    assert box.files() - before == left
    assert box.asked("groupdel") == ["gpio"]
    assert f"--root={box.root} --quiet disable {NAME}" in box.asked("systemctl")
    assert str(box.settings.parent) in said


def test_purge_leaves_nothing_and_may_come_later(box: Box) -> None:
    before = box.files()
    well(box.call("install"))
    box.state.mkdir(parents=True)
    (box.state / "room.sqlite").touch()
    box.unit.with_suffix(".service.d").mkdir()
    (box.unit.with_suffix(".service.d") / "override.conf").touch()
    well(box.call("uninstall"))

    well(box.call("uninstall", "--purge"))

    assert box.files() == before
    assert box.asked("groupdel") == ["gpio", "rehearsal-room-settings"]


def test_a_group_that_was_there_before_stays(box: Box) -> None:
    box.told.write_text("groupadd --system gpio\n")
    well(box.call("install"))

    well(box.call("uninstall", "--purge"))

    assert box.asked("groupdel") == ["rehearsal-room-settings"]


def test_what_is_not_installed_can_be_uninstalled_without_harm(box: Box) -> None:
    before = box.files()

    well(box.call("uninstall"))

    assert box.files() == before
    assert not box.asked("systemctl")


# -- the sound card by its socket --------------------------------------------


@pytest.fixture
def with_card(box: Box) -> Box:
    """Card 1 is in a USB socket, card 0 is on the board."""
    for number, name in enumerate(("Headphones", "Device")):
        (box.root / f"sys/class/sound/card{number}").mkdir(parents=True)
        (box.root / f"sys/class/sound/card{number}/id").write_text(f"{name}\n")
    box.put_tool(
        "udevadm",
        f'{TOOL}case "$*" in\n*card1) echo ID_PATH={SOCKET} ;;\n'
        "*card0) echo ID_PATH=platform-bcm2835_audio ;;\n*) exit 1 ;;\nesac\n",
    )
    return box


def test_the_cards_are_listed_with_their_sockets(with_card: Box) -> None:
    said = well(with_card.call("card", root=False))

    assert said.splitlines() == ["card 0  Headphones  not on USB", f"card 1  Device  {SOCKET}"]


def test_no_card_is_said(box: Box) -> None:
    assert well(box.call("card")) == "No sound card is here.\n"


def test_a_card_is_named_by_its_socket_and_the_settings_are_told(with_card: Box) -> None:
    said = well(with_card.call("card", "1", "stage"))

    rule = (with_card.root / f"etc/udev/rules.d/85-{NAME}.rules").read_text()
    assert f'ENV{{ID_PATH}}=="{SOCKET}", ATTR{{id}}="stage"\n' in rule
    assert 'device = "hw:CARD=stage,DEV=0"' in said


@pytest.mark.parametrize("name", ["1st", "two words", "a" * 16, "a-b", 'x"', "é", "a/b"])
def test_a_name_that_alsa_or_udev_would_not_take_is_refused(with_card: Box, name: str) -> None:
    before = with_card.files()

    assert "cannot be a card's name" in refused(with_card.call("card", "1", name))
    assert with_card.files() == before


@pytest.mark.parametrize("number", ["0", "7", "none"])
def test_a_card_without_a_socket_is_refused(with_card: Box, number: str) -> None:
    assert "not on USB, or not there" in refused(with_card.call("card", number))


def test_uninstall_takes_the_rule_away(with_card: Box) -> None:
    before = with_card.files()
    well(with_card.call("card", "1"))

    well(with_card.call("uninstall"))

    assert with_card.files() == before


# -- a Wi-Fi of its own ------------------------------------------------------

NMCLI = TOOL + (
    'case "$*" in\n'
    '*"DEVICE,TYPE device") echo lo:loopback; echo eth0:ethernet; echo wlan3:wifi ;;\n'
    '*"NAME connection show") cat "$(dirname "$0")/connections" ;;\n'
    "esac\n"
)


@pytest.fixture
def with_wifi(box: Box) -> Box:
    box.put_tool("nmcli", NMCLI)
    (box.tools / "connections").write_text("Wired\n")
    return box


def changes(box: Box) -> list[str]:
    return [
        asked for asked in box.asked("nmcli") if not re.match(r"--terse --fields \S+ \w+", asked)
    ]


def test_the_hotspot_is_shown_and_nothing_changed_unasked(with_wifi: Box) -> None:
    said = well(with_wifi.call("hotspot", whole_system=True, root=False))

    assert said.startswith("Nothing has been changed.")
    assert shlex.split(said.splitlines()[1])[:3] == ["nmcli", "connection", "add"]
    assert changes(with_wifi) == []


def test_installing_changes_no_network(with_wifi: Box) -> None:
    well(with_wifi.call("install"))

    assert with_wifi.asked("nmcli") == []


def test_asked_to_it_is_made_as_shown_on_the_wifi_there_is(with_wifi: Box) -> None:
    order = ("hotspot", "--name", "Cellar room", "--password", "low tide 42")
    shown = well(with_wifi.call(*order, whole_system=True)).splitlines()[1]

    said = well(with_wifi.call(*order, "--yes", whole_system=True))

    assert changes(with_wifi) == [" ".join(shlex.split(shown)[1:])]
    assert "ifname wlan3 ssid Cellar room " in changes(with_wifi)[0]
    # A known network goes first.
    assert changes(with_wifi)[0].endswith("connection.autoconnect-priority -100")
    assert "low tide 42" in said


def test_a_password_is_made_up_where_none_is_given(with_wifi: Box) -> None:
    made = {
        re.search(r"'wifi-sec.psk' '(\w+)'", well(with_wifi.call("hotspot", whole_system=True)))[1]
        for _ in range(2)
    }

    assert len(made) == 2
    assert {len(password) for password in made} == {12}


@pytest.mark.parametrize(
    ("order", "said"),
    [
        (("--password", "short"), "has 5 characters: 8 to 63"),
        (("--password", "x" * 64), "has 64 characters: 8 to 63"),
        (("--name", ""), "1 to 32 bytes"),
        (("--name", "ö" * 17), "1 to 32 bytes"),
    ],
    ids=["short", "long", "no name", "33 bytes"],
)
def test_what_no_wifi_can_be_called_or_have_is_refused(
    with_wifi: Box, order: tuple[str, str], said: str
) -> None:
    assert said in refused(with_wifi.call("hotspot", *order, "--yes", whole_system=True))
    assert changes(with_wifi) == []


def test_one_that_is_there_is_not_made_twice_and_can_be_taken_away(with_wifi: Box) -> None:
    (with_wifi.tools / "connections").write_text("Wired\nrehearsal-room-hotspot\n")

    said = refused(with_wifi.call("hotspot", "--yes", whole_system=True))
    shown = well(with_wifi.call("hotspot", "--off", whole_system=True))
    well(with_wifi.call("hotspot", "--off", "--yes", whole_system=True))

    assert "such a Wi-Fi already" in said
    assert shown.startswith("Nothing has been changed.")
    assert changes(with_wifi) == ["connection delete rehearsal-room-hotspot"]


def test_without_a_wifi_device_it_says_so(with_wifi: Box) -> None:
    with_wifi.put_tool("nmcli", TOOL)

    said = refused(with_wifi.call("hotspot", "--yes", whole_system=True))

    assert said == "NetworkManager knows no Wi-Fi device here"
    assert changes(with_wifi) == []
