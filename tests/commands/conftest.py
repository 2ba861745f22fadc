"""A command run as users run it, and what it says."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from click.testing import CliRunner, Result

from station.cli import cli
from tests.sound.conftest import feed

__all__ = ["feed"]

Command = Callable[..., Result]


@pytest.fixture(autouse=True)
def nothing_survives(no_process_survives: None) -> None:
    """No process outlives any of these tests."""


@pytest.fixture
def command() -> Command:
    """Run `station ARGUMENTS` in this process; an unforeseen exception fails the test."""

    def run(*arguments: object) -> Result:
        return CliRunner().invoke(
            cli, [str(each) for each in arguments], prog_name="station", catch_exceptions=False
        )

    return run
