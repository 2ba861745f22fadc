"""A browser and a PulseAudio for each module, and no process left behind."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page, expect

from station.web.server import PageServer
from tests.support.page_client import PATIENCE_S
from tests.support.phones import chromium, phone
from tests.support.processes import no_child_left
from tests.support.pulse import PulseAudio, environment_set

# A busy machine may take its time; what never comes still fails.
expect.set_options(timeout=1000 * PATIENCE_S)


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as running:
        yield running


@pytest.fixture
def page(browser: Browser, server: PageServer) -> Iterator[Page]:
    with phone(browser, server) as opened:
        yield opened


@pytest.fixture(scope="module")
def pulse(tmp_path_factory: pytest.TempPathFactory) -> Iterator[PulseAudio]:
    """A running PulseAudio that PortAudio's ``pulse`` reads, stereo at 48 kHz."""
    folder = tmp_path_factory.mktemp("pulse")
    with PulseAudio(folder) as running, environment_set(running.environment):
        yield running


@pytest.fixture(autouse=True)
def readings_outlive_a_busy_machine(monkeypatch: pytest.MonkeyPatch) -> None:
    """A reading a test sends once is not dropped as too old to look live; tests/web has that."""
    monkeypatch.setattr("station.web.hub.READING_LIFE_S", float(PATIENCE_S))


@pytest.fixture(autouse=True)
def no_process_survives() -> Iterator[None]:
    """Whatever a test starts it ends, but for what its module's fixtures end."""
    with no_child_left(spared=("chrom", "pulseaudio", "paplay")):
        yield
