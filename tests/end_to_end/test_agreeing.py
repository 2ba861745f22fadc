"""Three players agree on a reference on their phones; one vanishes, and the power fails twice.

The station is the `station run` command in a process of its own, with its storage; the
phones are pages of two browsers. The line input is missing throughout: what the
band agrees on does not hang on a sound card.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect

from station.room.agreement import AWAY_S
from tests.support.page_client import ask, wait_until
from tests.support.phones import shoot
from tests.support.station_process import (
    ROOM_CODE,
    StationProcess,
    free_port,
    station_process,
    write_settings,
)

pytestmark = pytest.mark.browser

BAND = (("Tove", "guitar", 1), ("Brannock", "bass", 2), ("Ilse", "keyboard", 2))
AWAY_MS = AWAY_S * 1000
PATIENCE_MS = 20_000


@contextmanager
def owned_phone(browser: Browser, port: int, who: str) -> Iterator[Page]:
    """A phone of a player; what it logs while the power is off is no fault of the page."""
    context = browser.new_context(viewport={"width": 390, "height": 844})
    try:
        page = context.new_page()
        page.goto(f"http://127.0.0.1:{port}/")
        page.evaluate("(code) => localStorage.setItem('station.code', code)", ROOM_CODE)
        page.get_by_role("button", name=who).click()
        yield page
    finally:
        context.close()


@contextmanager
def second_browser(browser: Browser) -> Iterator[Browser]:
    """Another browser, whose end is that of all its phones."""
    another = browser.browser_type.launch(
        executable_path="/usr/bin/chromium", args=["--no-sandbox", "--disable-gpu"]
    )
    try:
        yield another
    finally:
        another.close()


def room(port: int) -> Any:
    return ask(port, "/api/v1/room").json


def shows(page: Page, hz: str) -> None:
    expect(page.locator("#strip-hz")).to_have_text(hz, timeout=PATIENCE_MS)


def start_again(station: StationProcess, running: ExitStack, config: Path) -> StationProcess:
    """The power fails, and comes back."""
    station.kill()
    again = running.enter_context(station_process("run", "--config", str(config)))
    again.wait_for_page()
    return again


def test_three_players_agree_though_one_vanishes_and_the_power_fails(
    browser: Browser, tmp_path: Path
) -> None:
    port = free_port()
    config = write_settings(tmp_path, port, BAND)
    with ExitStack() as running:
        station = running.enter_context(station_process("run", "--config", str(config)))
        station.wait_for_page()
        tove = running.enter_context(owned_phone(browser, port, "Tove"))
        brannock = running.enter_context(owned_phone(browser, port, "Brannock"))
        other = running.enter_context(second_browser(browser))
        running.enter_context(owned_phone(other, port, "Ilse"))
        wait_until(lambda: len(room(port)["agreement"]["present"]) == len(BAND))

        # Tove proposes; everyone is asked.
        tove.get_by_role("link", name="the reference").last.click()
        tove.locator("#a4").fill("442")
        tove.get_by_role("button", name="propose it").click()
        card = brannock.locator("#asks .ask")
        expect(card).to_contain_text("Tove proposes")
        expect(card).to_contain_text("442.0")
        shoot(brannock, "agreeing-asked-390x844")

        # Ilse's browser dies before she has answered; then the power fails.
        other.close()
        station = start_again(station, running, config)
        assert room(port)["reference"]["a4_hz"] == 440.0
        (kept,) = room(port)["agreement"]["proposals"]
        assert (kept["a4_hz"], kept["yes"]) == (442.0, ["tove"])
        expect(tove.locator("html")).to_have_attribute("data-link", "live", timeout=PATIENCE_MS)
        expect(brannock.locator("html")).to_have_attribute("data-link", "live", timeout=PATIENCE_MS)

        # Brannock says yes: Ilse, who was here before the power failed, is still waited for.
        brannock.locator("#asks").get_by_role("button", name="yes", exact=True).click()
        wait_until(lambda: len(room(port)["agreement"]["proposals"][0]["yes"]) == 2)
        (open_still,) = room(port)["agreement"]["proposals"]
        assert open_still["waiting_for"] == ["ilse"]
        shows(tove, "440.0")

        # She does not come back: after a while it is agreed without her.
        expect(tove.locator("#strip-hz")).to_have_text("442.0", timeout=AWAY_MS + PATIENCE_MS)
        shows(brannock, "442.0")
        shoot(tove, "agreeing-agreed-390x844")

        # The power fails once more: what was agreed on stands, with who agreed.
        station = start_again(station, running, config)
        told = room(port)["reference"]
        assert (told["a4_hz"], told["by"]) == (442.0, "Tove")
        assert sorted(told["agreed"]) == ["Brannock", "Tove"]
        logged = ask(port, "/api/v1/references").json["references"][0]
        assert (logged["kind"], logged["a4_hz"], logged["away"]) == ("adopted", 442.0, ["Ilse"])
        for page in (tove, brannock):
            expect(page.locator("html")).to_have_attribute("data-link", "live", timeout=PATIENCE_MS)
            shows(page, "442.0")
        assert station.end() == 0
