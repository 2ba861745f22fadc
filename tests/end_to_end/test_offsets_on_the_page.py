"""Strings that are tuned off equal temperament on purpose, on the page."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page, expect

from tests.support.fake_station import sounding
from tests.support.phones import phone, shoot
from tests.support.reference_page import (
    know_code,
    open_reference,
)

pytestmark = pytest.mark.browser


@pytest.fixture
def reference(page: Page) -> Page:
    """Tove's phone at the reference; it knows the room code."""
    return open_reference(know_code(page))


def test_offsets_are_chosen_per_string_always_shown_and_told_to_the_band(page, station):
    know_code(page).get_by_role("button", name="change").click()
    sheet = page.get_by_role("dialog")
    sheet.get_by_label("targets").select_option("own")
    sheet.get_by_label("E4", exact=True).fill("+2")
    sheet.get_by_label("D3", exact=True).fill("-5,9 cents")
    sheet.get_by_label("G3", exact=True).fill("much")
    sheet.get_by_role("button", name="change it").click()
    expect(sheet.get_by_role("alert")).to_have_text(
        '"much" is no number of cents: write +2 or -3.9'
    )
    shoot(page, "offsets-own")
    sheet.get_by_label("G3", exact=True).fill("")
    sheet.get_by_role("button", name="change it").click()

    expect(sheet).to_be_hidden()
    words = page.locator("#view-strings .offset-words")
    expect(words).to_have_text("own targets: D3 −5.9, E4 +2.0 cents from equal")
    offsets = page.locator("#view-strings .seat-offset")
    expect(offsets).to_have_text(["", "", "−5.9", "", "", "+2.0"])
    shoot(page, "offsets")
    with sounding(station, "tove", 4, -9.0):
        expect(words).to_have_text("target −5.9 cents from equal: own")
        shoot(page, "offsets-sounding")
    page.get_by_role("link", name="the band").click()
    expect(page.locator(".row", has_text="Tove")).to_contain_text("D3 −5.9, E4 +2.0 cents")
    assert station.player("tove")["offsets_cents"] == {"1": 2.0, "4": -5.9}


def test_pure_fifths_are_a_choice_and_offsets_of_another_tuning_wait(browser, station, server):
    with phone(browser, server, who="Brannock") as page:
        know_code(page).get_by_role("button", name="change").click()
        sheet = page.get_by_role("dialog")
        expect(sheet.get_by_label("targets")).to_be_visible()
        sheet.get_by_label("tuning").select_option("drop-d")
        expect(sheet.get_by_label("targets")).to_be_hidden()
        sheet.get_by_label("tuning").select_option("standard")
        sheet.get_by_label("targets").select_option("pure fifths")
        with page.expect_request("**/players/brannock") as sent:
            sheet.get_by_role("button", name="change it").click()

    assert sent.value.post_data_json == {"offsets_cents": "pure fifths"}


def test_a_string_at_its_own_place_has_no_word_of_offsets(page):
    expect(page.locator("#view-strings .seat")).to_have_count(6)
    expect(page.locator("#view-strings .offset-words")).to_be_hidden()
    expect(page.locator("#view-strings .seat-offset").first).to_be_empty()
