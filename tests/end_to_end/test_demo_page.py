"""`station demo` in a process of its own, and what a phone shows of its band."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

import pytest
from playwright.sync_api import Browser, expect

from tests.support.page_client import ask, event_stream, wait_until
from tests.support.phones import phone, shoot
from tests.support.schema import faults
from tests.support.station_process import StationProcess, station_process

pytestmark = pytest.mark.browser

ROLL_LIMIT_MS = 40_000


@pytest.fixture(scope="module")
def demo() -> Iterator[StationProcess]:
    with station_process("demo", "--port", "0", "--a4", "441") as running:
        running.wait_for_page()
        yield running


def room(demo: StationProcess) -> dict[str, Any]:
    return ask(demo.port, "/api/v1/room").json


def test_the_demo_says_where_it_is_and_that_its_band_is_simulated(demo: StationProcess) -> None:
    said = "".join(demo.printed)
    told = room(demo)

    assert "Simulated band" in said
    assert "Reference: A4 = 441 Hz" in said
    assert told["station"]["simulated"] is True
    assert told["station"]["input"]["state"] == "listening"
    assert told["station"]["lamps"] == {"state": "lit", "reason": None}
    assert [each["kind"] for each in told["players"]] == ["strings", "strings", "fixed", "drums"]


def test_a_phone_sees_the_band_tune_and_the_roll_call_move(
    browser: Browser, demo: StationProcess
) -> None:
    with phone(browser, demo, who="Wren") as page:
        expect(page.locator("#notices")).to_contain_text("simulated band")
        expect(page.locator("#word")).to_have_text("tighten", timeout=ROLL_LIMIT_MS)
        shoot(page, "demo-tighten-390x844")
        expect(page.locator("#word")).to_have_text("in", timeout=ROLL_LIMIT_MS)
        shoot(page, "demo-in-390x844")

        page.get_by_role("link", name="the band").click()
        expect(page.locator("#roll-rest")).to_contain_text("out", timeout=ROLL_LIMIT_MS)
        expect(page.locator("#roll-in")).to_have_text(re.compile("[2-9]"), timeout=ROLL_LIMIT_MS)
        # Addresses that lead a phone to itself are of no use to it.
        expect(page.locator(".addresses")).to_contain_text("http://")
        expect(page.locator(".addresses")).not_to_contain_text("localhost")
        shoot(page, "demo-band-390x844")
        page.get_by_role("link", name="the reference").last.click()
        expect(page.get_by_role("button", name="Pim")).to_be_visible(timeout=ROLL_LIMIT_MS)
        shoot(page, "demo-reference-390x844")


def test_the_room_is_as_the_api_describes_it(demo: StationProcess) -> None:
    api = ask(demo.port, "/api/v1/openapi.json").json

    assert faults(room(demo), api["components"]["schemas"]["Room"], api) == []


def test_everybody_is_heard_on_the_event_stream(demo: StationProcess) -> None:
    players = {each["id"] for each in room(demo)["players"] if each["kind"] != "drums"}
    heard: set[str] = set()
    with event_stream(demo.port) as stream:
        for kind, payload in stream:
            if kind == "note":
                heard.add(payload["player"])
            if heard == players:
                break

    assert heard == players


def test_the_demo_ends_when_told_to(demo: StationProcess) -> None:
    assert demo.end() == 0
    wait_until(lambda: "Ending." in "".join(demo.printed))
