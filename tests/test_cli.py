"""Names, help and exit codes of the commands."""

from __future__ import annotations

import os
import shlex
import subprocess
import sys
from pathlib import Path
from typing import Any

import click
import pytest
from click.testing import CliRunner

from station import __version__
from station.cli import OneLineGroup, cli
from station.errors import SettingsError, StationError, UsageError


def invoke(*arguments: str, of: click.Group = cli):
    return CliRunner().invoke(of, list(arguments), prog_name="station", catch_exceptions=False)


@pytest.mark.parametrize("name", sorted(cli.commands))
def test_the_help_of_every_command_shows_an_example(name):
    result = invoke(name, "--help")

    assert result.exit_code == 0
    _, _, after = result.stdout.partition("Example")
    assert f"\n    station {name}" in after


def test_every_command_of_the_design_so_far_is_there():
    assert set(cli.commands) >= {"run", "demo", "hear", "check", "settings"}


def test_the_help_begins_with_what_the_station_is_for():
    result = invoke("--help")

    assert "One reference pitch for the whole band" in result.stdout
    assert "station demo" in result.stdout


def test_the_version_is_the_packages_own():
    assert invoke("--version").stdout == f"station, version {__version__}\n"


@pytest.mark.parametrize("arguments", [("tune",), ("hear",), ("demo", "--port", "70000")])
def test_a_command_line_that_cannot_be_meant_ends_with_2_and_nothing_done(arguments):
    result = invoke(*arguments)

    assert result.exit_code == 2
    assert result.stdout == ""
    assert "Usage: station" in result.stderr


@pytest.mark.parametrize(
    ("error", "code", "said"),
    [
        (StationError("it is not to be"), 1, ["station: it is not to be"]),
        (UsageError("what is meant?"), 2, ["station: what is meant?"]),
        (SettingsError(["a.toml:1: x: y", "a.toml:2: z: w"]), 2, None),
        (StationError("one\u2028line"), 1, None),
    ],
)
def test_a_deliberate_error_is_a_line_for_each_fault_and_an_exit_code(error, code, said):
    @click.group(cls=OneLineGroup)
    def group() -> None:
        pass

    @group.command()
    def fail() -> None:
        raise error

    result = invoke("fail", of=group)

    assert result.exit_code == code
    assert result.stdout == ""
    faults = getattr(error, "faults", [str(error)])
    assert result.stderr.split("\n") == [*(said or [f"station: {fault}" for fault in faults]), ""]


def test_a_reader_that_leaves_early_is_no_error():
    head = subprocess.run(
        f"{shlex.quote(sys.executable)} -m station.cli settings --json | true;"
        " echo ${PIPESTATUS[0]}",
        shell=True,
        executable="/bin/bash",
        capture_output=True,
        text=True,
        timeout=60,
    )

    assert head.stderr == ""
    assert head.stdout == "0\n"


def run(*arguments: str, **options: Any) -> subprocess.CompletedProcess[str]:
    """The command as a process of its own."""
    return subprocess.run(
        [sys.executable, "-m", "station.cli", *arguments],
        stderr=subprocess.PIPE,
        text=True,
        timeout=60,
        check=False,
        **options,
    )


@pytest.mark.parametrize(
    "arguments", [("settings",), ("--help",), ("hear", "--tuning", "list")], ids=" ".join
)
def test_an_output_that_takes_nothing_more_is_one_line(arguments):
    with Path("/dev/full").open("w") as full:  # full(4): every write fails for lack of space
        ended = run(*arguments, stdout=full)

    assert ended.returncode == 1
    assert ended.stderr == "station: the output cannot be written: No space left on device\n"


def test_an_output_that_is_closed_ends_no_command_in_a_traceback():
    ended = run("settings", stdout=None, preexec_fn=lambda: os.close(1))

    assert (ended.returncode, ended.stderr) == (0, "")


def test_a_user_without_a_home_folder_is_told_so_in_one_line(tmp_path):
    (tmp_path / "sitecustomize.py").write_text(
        "import pathlib\n"
        "def no_home(path): raise RuntimeError('Could not determine home directory.')\n"
        "pathlib.Path.expanduser = no_home\n"
    )
    environment = os.environ | {"PYTHONPATH": f"{tmp_path}{os.pathsep}{Path.cwd()}"}

    ended = run("settings", stdout=subprocess.PIPE, env=environment)

    assert (ended.returncode, ended.stdout) == (1, "")
    assert ended.stderr.startswith("station: no folder for the room's state: ")
    assert ended.stderr.count("\n") == 1


def test_the_commands_start_without_what_only_some_of_them_need():
    heavy = ["numpy", "aubio", "flask", "gevent", "gpiozero", "soundfile", "pyaudio", "pydantic"]
    done = subprocess.run(
        [sys.executable, "-c", "import station.cli, sys; print(*sys.modules)"],
        capture_output=True,
        text=True,
        timeout=60,
        check=True,
    )

    assert set(heavy) & set(done.stdout.split()) == set()
