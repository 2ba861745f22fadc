"""Every state of the reference on phones and wide screens: legible, whole and in reach."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page, expect

from tests.support.fake_station import sounding
from tests.support.phones import phone, shoot
from tests.support.reference_page import (
    cards,
    know_code,
    open_reference,
    present,
)

pytestmark = pytest.mark.browser


@pytest.fixture
def reference(page: Page) -> Page:
    """Tove's phone at the reference; it knows the room code."""
    return open_reference(know_code(page))


SMALLEST_PX = 13
TARGET_PX = 48
UNREADABLE = """([smallest, target]) => {
    const seen = (each) => each.checkVisibility({ visibilityProperty: true });
    const within = (each) => each.closest("#view-reference, #asks, dialog") && seen(each);
    const faults = [];
    for (const each of document.querySelectorAll("body *")) {
        if (!within(each)) continue;
        const own = [...each.childNodes].some((n) => n.nodeType === 3 && n.textContent.trim());
        const name = `${each.tagName}.${each.getAttribute("class")}: ${each.textContent}`;
        const px = parseFloat(getComputedStyle(each).fontSize);
        if (own && px < smallest) faults.push(`small ${name}`);
        if (each.matches("button, input, select, a.button")) {
            const { height, left, right } = each.getBoundingClientRect();
            if (height < target - 0.5) faults.push(`low ${name}`);
            if (left < 0 || right > innerWidth + 0.5) faults.push(`cut ${name}`);
            if (each.tagName === "BUTTON" && each.scrollWidth > each.clientWidth + 1)
                faults.push(`clipped ${name}`);
        }
    }
    if (document.documentElement.scrollWidth > innerWidth) faults.push("scrolls sideways");
    return faults;
}"""


def faults_of_screen(page: Page) -> list[str]:
    return page.evaluate(UNREADABLE, [SMALLEST_PX, TARGET_PX])


@pytest.mark.parametrize("size", [(390, 844), (320, 568), (1280, 800)])
def test_every_new_state_is_legible_and_in_reach(browser, station, server, size):
    viewport = {"width": size[0], "height": size[1]}
    with (
        phone(browser, server, viewport=viewport) as page,
        phone(browser, server, who="Brannock") as _other,
    ):
        know_code(page).evaluate("localStorage.setItem('station.cautioned', 'yes')")
        open_reference(page)
        present(station, "tove", "brannock")
        station.measure_whole("ilse", "equal keyboard")
        station.begin_measuring(line=4, name="Yorick's harmonica")
        station.measure("just harp")
        station.finish_measuring("tove")

        def look(name: str) -> None:
            shoot(page, f"{name}-{size[0]}x{size[1]}")
            assert faults_of_screen(page) == [], name

        expect(page.get_by_role("button", name="compromise")).to_be_visible()
        look("reference")
        for opener, name in (
            ("Ilse's keyboard", "sheet"),
            ("compromise", "compromise"),
            ("hear an instrument", "hear"),
            ("hear the tone", "tone"),
            ("earlier ones", "history"),
        ):
            page.get_by_role("button", name=opener).click()
            look(name)
            page.get_by_role("dialog").get_by_role("button", name="back").click()
        station.begin_measuring("ilse")
        station.measure("tremolo accordion")
        look("measuring")
        station.cancel_measuring("tove")
        station.propose("brannock", "typed", 438.5)
        station.propose("tove", "typed", 441.3)
        expect(cards(page)).to_have_count(2)
        look("proposals")
        page.get_by_role("link", name="my strings").click()
        with sounding(station, "tove", 5, -14.0):
            expect(page.locator("#word")).to_have_text("tighten")
            look("proposals-strings")


def test_with_reduced_motion_nothing_on_the_axis_moves(browser, station, server):
    station.measure_whole("ilse", "tremolo accordion")
    with phone(browser, server, reduced_motion="reduce") as page:
        open_reference(page)
        expect(page.locator(".stand-band")).to_have_css("transition-duration", "0s")
        expect(page.locator(".agreed")).to_have_css("transition-duration", "0s")
