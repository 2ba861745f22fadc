"""Earlier references, the clock and quiet, on the page."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page, expect

from tests.support.phones import shoot
from tests.support.reference_page import (
    know_code,
    open_reference,
    present,
)

pytestmark = pytest.mark.browser


@pytest.fixture
def reference(page: Page) -> Page:
    """Tove's phone at the reference; it knows the room code."""
    return open_reference(know_code(page))


def test_earlier_references_are_told_with_who_from_what_and_as_files(reference, station):
    reference.get_by_role("button", name="earlier ones").click()
    expect(reference.locator(".history")).to_have_text("The reference was never changed.")
    reference.get_by_role("dialog").get_by_role("button", name="back").click()
    present(station, "tove")
    station.measure_whole("ilse", "equal keyboard")
    station.propose("tove", "measured", instrument="ilse")
    station.propose("tove", "typed", 438.25)
    station.undo("tove")

    reference.get_by_role("button", name="earlier ones").click()

    entries = reference.locator(".history li")
    expect(entries.locator("strong")).to_have_text(["441.3", "438.25", "441.3"])
    fits = "(hertz) => hertz.scrollWidth <= hertz.clientWidth"
    assert all(hertz.evaluate(fits) for hertz in entries.locator("strong").all())
    expect(entries.nth(0)).to_contain_text("undone")
    expect(entries.nth(1)).to_contain_text("agreed by Tove")
    expect(entries.nth(2)).to_contain_text("measured from Ilse's keyboard")
    expect(entries.nth(2)).to_contain_text("12 notes, equal, 98 to 1 against Young")
    shoot(reference, "history")
    for name, kind in (("CSV", "text/csv"), ("JSON", "application/json")):
        link = reference.get_by_role("link", name=name)
        with reference.expect_download() as download:
            link.click()
        assert download.value.suggested_filename == f"references.{name.lower()}"
        answer = reference.request.get(link.evaluate("(link) => link.href"))
        assert kind in answer.headers["content-type"]
        assert "438.25" in answer.text()


def test_the_clock_is_told_in_every_state_with_its_budget(page, station):
    page.get_by_role("link", name="the band").click()
    facts = page.locator("#station")
    expect(facts).to_contain_text(
        "sound card's clock: calibrated against the time kept by chrony:"
        " it was −38.2 ±0.8 ppm (−0.066 cents) off, 0.001 cents are left"
    )
    clock = station.snapshot()["station"]["clock"]
    station.set_station(clock={**clock, "state": "measuring", "ppm": None, "uncertainty_ppm": None})
    expect(facts).to_contain_text("being measured against the time kept by chrony")

    station.set_station(
        clock={
            **clock,
            "state": "not calibrated",
            "source": None,
            "reason": "the system's clock is not synchronised",
            "budget": [
                {"what": "card", "cents": 0.173, "from": "a usual card, not calibrated"},
                {"what": "estimator", "cents": None, "from": "nothing heard yet"},
            ],
        }
    )

    expect(facts).to_contain_text("not calibrated: the system's clock is not synchronised")
    expect(facts).to_contain_text("card: 0.2 cents, a usual card, not calibrated")
    expect(facts).to_contain_text("estimator: nothing heard yet")
    facts.locator("li").last.scroll_into_view_if_needed()
    shoot(page, "clock")


def test_quiet_is_begun_and_ended_for_everyone_from_the_band_page(page, station):
    know_code(page).get_by_role("link", name="the band").click()
    button = page.locator(".quiet button")
    expect(button).to_have_attribute("aria-pressed", "false")
    button.click()
    expect(button).to_have_text("end quiet")
    expect(page.locator("#notices")).to_have_text("quiet")
    assert station.snapshot()["station"]["quiet"] is True
    button.scroll_into_view_if_needed()
    shoot(page, "quiet")

    button.click()

    expect(button).to_have_text("quiet")
    assert station.snapshot()["station"]["quiet"] is False
