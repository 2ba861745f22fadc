"""The scripts that set a machine up: sound shell, plain words, nothing unpinned."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from importlib.metadata import distributions
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

PROJECT = Path(__file__).resolve().parents[1]
CONSTRAINTS = PROJECT / "hw" / "constraints.txt"
SCRIPTS = ("hw/prepare.sh", "hw/start.sh", "tests/run.sh", ".ci/run")
COPIED = (*SCRIPTS, "hw/constraints.txt", "pyproject.toml")
NOBODY = 65534
LIMIT_S = 60
# Fresh virtual environments bring the first themselves, some the second as well; the
# third is the project.
UNPINNED = {"pip", "setuptools", "rehearsal-room-station"}


@pytest.fixture
def folder() -> Iterator[Path]:
    """A folder anyone may enter, with a space in its name, holding the scripts alone."""
    base = Path(tempfile.mkdtemp())
    base.chmod(0o755)
    project = base / "a station"
    for name in COPIED:
        (project / name).parent.mkdir(parents=True, exist_ok=True)
        shutil.copy(PROJECT / name, project / name)
    yield project
    project.chmod(0o755)
    shutil.rmtree(base)


def put_tool(folder: Path, name: str, script: str) -> None:
    """A tool that the scripts find before the system's own."""
    tool = folder.parent / "tools" / name
    tool.parent.mkdir(exist_ok=True)
    tool.write_text(f"#!/bin/sh\n{script}\n")
    tool.chmod(0o755)


def call(folder: Path, script: str, *arguments: str) -> subprocess.CompletedProcess[str]:
    """Run a script from elsewhere, as an ordinary user, with the folder's tools."""
    leave_root = ()
    if os.geteuid() == 0:
        ids = (f"--reuid={NOBODY}", f"--regid={NOBODY}", "--clear-groups")
        leave_root = ("setpriv", *ids)
    return subprocess.run(
        [*leave_root, "bash", str(folder / script), *arguments],
        cwd="/",
        env={"PATH": f"{folder.parent / 'tools'}:/usr/bin:/bin", "HOME": "/nonexistent"},
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        timeout=LIMIT_S,
        check=False,
    )


@pytest.mark.parametrize("script", SCRIPTS)
def test_every_script_parses(script: str) -> None:
    parsed = subprocess.run(
        ["bash", "-n", PROJECT / script], capture_output=True, text=True, check=False
    )

    assert (parsed.returncode, parsed.stderr) == (0, "")


def test_shellcheck_finds_nothing_in_the_scripts() -> None:
    found = subprocess.run(
        ["shellcheck", "--external-sources", *SCRIPTS],
        cwd=PROJECT,
        capture_output=True,
        text=True,
        check=False,
    )

    assert (found.returncode, found.stdout) == (0, "")


def test_no_script_overrules_the_systems_guard_on_its_python() -> None:
    assert not [name for name in SCRIPTS if "break-system" in (PROJECT / name).read_text()]


@pytest.mark.parametrize(
    ("script", "package"), [("hw/start.sh", "python3-aubio"), ("tests/run.sh", "chromium")]
)
def test_without_root_the_command_that_needs_it_is_said(
    folder: Path, script: str, package: str
) -> None:
    put_tool(folder, "dpkg-query", "exit 1")

    ended = call(folder, script)

    command = ended.stderr.splitlines()[-1].strip()
    assert ended.returncode == 1
    assert ended.stdout == ""
    assert re.match(r"sudo apt-get update; sudo apt-get install --yes .*python3-venv", command)
    assert package in command.split()


def test_only_what_is_missing_is_asked_for(folder: Path) -> None:
    put_tool(
        folder,
        "dpkg-query",
        'for p; do [ "$p" = python3-aubio ] || echo "installed $p"; done',
    )

    command = call(folder, "hw/start.sh").stderr.splitlines()[-1]

    assert command.endswith("--no-install-recommends python3-aubio")


def test_a_package_that_was_removed_but_left_its_settings_is_missing(folder: Path) -> None:
    put_tool(
        folder,
        "dpkg-query",
        'for p; do [ "$p" = python3-numpy ] && echo "config-files $p" || echo "installed $p"; done',
    )

    command = call(folder, "hw/start.sh").stderr.splitlines()[-1]

    assert command.endswith("--no-install-recommends python3-numpy")


def test_a_folder_that_cannot_be_written_to_is_named_with_the_remedy(folder: Path) -> None:
    put_tool(folder, "dpkg-query", 'for p; do echo "installed $p"; done')
    folder.chmod(0o555)

    ended = call(folder, "hw/start.sh")

    assert ended.returncode == 1
    assert f"The folder {folder} cannot be written to" in ended.stderr
    assert f"chown -R {os.geteuid() or NOBODY}:" in ended.stderr.splitlines()[-1]
    assert ended.stderr.splitlines()[-1].endswith(f"'{folder}'")


def test_a_failing_step_shows_what_it_said_and_starts_nothing(folder: Path) -> None:
    put_tool(folder, "dpkg-query", 'for p; do echo "installed $p"; done')
    put_tool(folder, "rm", 'echo "rm: the disk is gone" >&2; exit 5')
    folder.chmod(0o777)

    ended = call(folder, "hw/start.sh", "settings")

    assert ended.returncode == 1
    assert ended.stdout == "Virtual environment ... failed\n"
    assert ended.stderr.splitlines()[-1] == "rm: the disk is gone"


def test_on_another_system_it_says_which_it_needs(folder: Path) -> None:
    for tool in ("bash", "dirname", "grep", "cat"):
        put_tool(folder, tool, f'exec /bin/{tool} "$@"')
    ended = subprocess.run(
        ["/bin/bash", str(folder / "hw/start.sh")],
        env={"PATH": str(folder.parent / "tools")},
        capture_output=True,
        text=True,
        timeout=LIMIT_S,
        check=False,
    )

    assert ended.returncode == 1
    assert "needs Debian or Raspberry Pi OS" in ended.stderr


# -- what start.sh starts ------------------------------------------------


@pytest.fixture
def chooser(folder: Path) -> Path:
    """The folder with a set-up that is done at once and a station that says its arguments."""
    station = folder / ".venv" / "bin" / "station"
    station.parent.mkdir(parents=True)
    station.write_text('#!/bin/sh\nprintf "<%s>" "$@"\n')
    station.chmod(0o755)
    prepare = folder / "hw" / "prepare.sh"
    prepare.write_text(prepare.read_text() + "\nprepare() { :; }\n")
    return folder


def with_capture_device(folder: Path, there: bool) -> None:
    start = folder / "hw" / "start.sh"
    devices = folder / "snd"
    devices.mkdir()
    if there:
        (devices / "pcmC1D0c").touch()
    text = start.read_text()
    assert text.count("/dev/snd/pcmC*D*c") == 1
    start.write_text(text.replace('"/dev/snd/pcmC*D*c"', '"$project/snd/pcmC*D*c"'))


def test_without_a_capture_device_the_simulated_band_plays(chooser: Path) -> None:
    with_capture_device(chooser, there=False)

    ended = call(chooser, "hw/start.sh", "--port", "9000")

    assert ended.stdout.splitlines()[-1] == "<demo><--port><9000>"
    assert "No sound card with an input" in ended.stdout


def test_with_a_capture_device_but_no_settings_the_band_plays_and_it_says_what_to_do(
    chooser: Path,
) -> None:
    with_capture_device(chooser, there=True)

    ended = call(chooser, "hw/start.sh")

    assert ended.stdout.splitlines()[-1] == "<demo>"
    assert "copy station/settings_example.toml to settings.toml" in ended.stdout


@pytest.mark.parametrize("option", [("--config", "my room.toml"), ("--config=my room.toml",)])
def test_with_a_capture_device_and_settings_it_listens(
    chooser: Path, option: tuple[str, ...]
) -> None:
    with_capture_device(chooser, there=True)

    ended = call(chooser, "hw/start.sh", *option)

    arguments = "".join(f"<{word}>" for word in option)
    assert ended.stdout.splitlines() == ["Listening as my room.toml says.", f"<run>{arguments}"]


def test_with_settings_but_no_card_it_waits_for_the_card_and_never_simulates(
    chooser: Path,
) -> None:
    with_capture_device(chooser, there=False)

    ended = call(chooser, "hw/start.sh", "--config", "my room.toml")

    assert ended.stdout.splitlines()[-1] == "<run><--config><my room.toml>"
    assert "taken up when it is plugged in" in ended.stdout


def test_help_is_the_station_s_own(chooser: Path) -> None:
    assert call(chooser, "hw/start.sh", "--help").stdout == "<--help>"


def test_settings_in_the_project_are_found(chooser: Path) -> None:
    with_capture_device(chooser, there=True)
    (chooser / "settings.toml").touch()

    ended = call(chooser, "hw/start.sh")

    assert ended.stdout.splitlines()[-1] == f"<run><--config><{chooser / 'settings.toml'}>"


def test_any_command_of_the_station_may_be_given(chooser: Path) -> None:
    ended = call(chooser, "hw/start.sh", "hear", "a take.wav", "--json")

    assert ended.stdout == "<hear><a take.wav><--json>"


# -- what is pinned ------------------------------------------------------


def pins() -> dict[str, Requirement]:
    """The constraints that hold for this Python."""
    lines = [line for line in CONSTRAINTS.read_text().splitlines() if not line.startswith("#")]
    held = [Requirement(line) for line in lines]
    return {
        canonicalize_name(pin.name): pin for pin in held if not pin.marker or pin.marker.evaluate()
    }


def test_everything_installed_here_has_a_version_that_is_pinned() -> None:
    own = [str(Path(sys.prefix) / path) for path in ("lib", "lib64")]
    folders = [path for path in sys.path if path.startswith(tuple(own))]
    installed = {canonicalize_name(d.name): d.version for d in distributions(path=folders)}
    held = pins()

    assert len(installed) > len(UNPINNED)
    wrong = {
        name: version
        for name, version in installed.items()
        if name not in UNPINNED
        and (name not in held or not held[name].specifier.contains(version, prereleases=True))
    }
    assert not wrong, f"not as hw/constraints.txt says: {wrong}"


def test_every_pin_is_one_version_but_for_the_one_the_system_may_bring() -> None:
    loose = {name for name, pin in pins().items() if not str(pin.specifier).startswith("==")}

    assert loose == {"gpiozero"}


def test_numpy_is_debians() -> None:
    import numpy

    assert not Path(numpy.__file__).is_relative_to(sys.prefix)
    assert pins()["numpy"].specifier.contains(numpy.__version__)
