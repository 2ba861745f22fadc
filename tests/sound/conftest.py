"""A PulseAudio of the tests own, ALSA inputs fed from files, and no process left behind."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tests.support.processes import no_child_left
from tests.support.pulse import PulseAudio, environment_set


@pytest.fixture
def pulse(tmp_path: Path) -> Iterator[PulseAudio]:
    """A running PulseAudio that PortAudio's ``pulse`` reads, stereo at 48 kHz."""
    with PulseAudio(tmp_path) as running, environment_set(running.environment):
        yield running


@pytest.fixture
def feed(tmp_path: Path) -> Iterator[Callable[[bytes], str]]:
    """Make an ALSA input named ``tape`` whose samples are the given raw bytes.

    It gives them as fast as they are read, in whatever format it is opened for.
    """

    def write(raw: bytes) -> str:
        (tmp_path / "tape.raw").write_bytes(raw)
        (tmp_path / ".asoundrc").write_text(
            f'pcm.tape {{ type file slave.pcm {{ type null }} file "/dev/null"'
            f' infile "{tmp_path / "tape.raw"}" format "raw" }}\n'
        )
        return "tape"

    no_server = {"HOME": str(tmp_path), "PULSE_SERVER": f"unix:{tmp_path / 'none'}"}
    with environment_set(no_server):
        yield write


@pytest.fixture(autouse=True)
def no_process_survives() -> Iterator[None]:
    """Whatever a test starts it ends; what is left is killed and fails the test."""
    with no_child_left():
        yield
