"""Whether aubio can be trusted, tried against aubios that cannot."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from station import probe
from station.probe import Probe, aubio_on_trial, probe_aubio

pytestmark = pytest.mark.usefixtures("no_process_survives")

HEARS = """
class onset:
    def __init__(self, *words): pass
    def __call__(self, block): return [0.0]
class pitch(onset):
    def set_unit(self, unit): pass
    def __call__(self, block): return [{hz}]
"""


@pytest.fixture
def fake_aubio(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """Put a module of the test's own in aubio's place, for processes started from here."""
    monkeypatch.setenv("PYTHONPATH", str(tmp_path))

    def write(text: str) -> None:
        (tmp_path / "aubio.py").write_text(text)

    return write


def test_the_aubio_of_this_machine_is_trusted():
    assert probe_aubio() == Probe("aubio", None)


def test_an_aubio_that_is_missing_gives_way_and_says_so(fake_aubio):
    fake_aubio("raise ModuleNotFoundError(\"No module named 'aubio'\")")

    found = probe_aubio()

    assert found.tracker == "numpy"
    assert found.reason == "aubio cannot be used: ModuleNotFoundError: No module named 'aubio'"


def test_an_aubio_that_ends_the_process_ends_only_its_own(fake_aubio):
    fake_aubio(
        "import os, resource\nresource.setrlimit(resource.RLIMIT_CORE, (0, 0))\nos.abort()\n"
    )

    assert probe_aubio() == Probe("numpy", "aubio crashes here (signal 6)")


def test_an_aubio_that_hears_wrong_is_not_believed(fake_aubio):
    fake_aubio(HEARS.format(hz=110.0))

    assert probe_aubio() == Probe("numpy", "aubio hears 110.0 Hz in a tone of 220 Hz")


def test_an_aubio_that_hears_right_is_believed_whoever_made_it(fake_aubio):
    fake_aubio(HEARS.format(hz=220.4))

    assert probe_aubio() == Probe("aubio", None)


def test_an_aubio_that_answers_no_number_is_not_believed(fake_aubio):
    fake_aubio(HEARS.format(hz="float('nan')"))

    assert probe_aubio() == Probe("numpy", "aubio hears nan Hz in a tone of 220 Hz")


def test_an_aubio_that_hangs_is_given_up(fake_aubio, monkeypatch):
    monkeypatch.setattr(probe, "PROBE_LIMIT_S", 0.5)
    fake_aubio("import time\ntime.sleep(60)\n")

    assert probe_aubio() == Probe("numpy", "aubio gave no answer within 0.5 s")


def test_a_trial_nobody_waits_for_is_ended(fake_aubio):
    fake_aubio("import time\ntime.sleep(60)\n")

    with aubio_on_trial():
        pass  # the fixture of this file looks for what is left of it


def test_an_interpreter_that_is_not_there_is_told(tmp_path: Path):
    found = probe_aubio(str(tmp_path / "python"))

    assert found == Probe("numpy", "aubio could not be tried: No such file or directory")


def test_the_trial_does_not_load_aubio_into_this_process():
    loaded_before = "aubio" in sys.modules

    probe_aubio()

    assert ("aubio" in sys.modules) == loaded_before
