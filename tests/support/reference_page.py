"""What tests of the reference on phones do again and again."""

from __future__ import annotations

from playwright.sync_api import Locator, Page

from tests.support.fake_station import FakeStation
from tests.support.page_client import wait_until

CODE = "oak-47"
BELOW, ABOVE, IN = "rgb(255, 177, 43)", "rgb(98, 182, 255)", "rgb(255, 255, 255)"


def know_code(page: Page) -> Page:
    """The phone has been told the room code before."""
    page.evaluate("(code) => localStorage.setItem('station.code', code)", CODE)
    return page


def open_reference(page: Page) -> Page:
    page.get_by_role("link", name="the reference").last.click()
    return page


def cards(page: Page) -> Locator:
    """The open proposals."""
    return page.locator("#asks .ask")


def news(page: Page) -> Locator:
    """What is told of a reference that has just come into force."""
    return page.locator("#asks .ask-news")


def present(station: FakeStation, *players: str) -> None:
    """Wait until the station knows that these players' phones, and no others, are here."""
    wait_until(lambda: sorted(station.snapshot()["agreement"]["present"]) == sorted(players))
