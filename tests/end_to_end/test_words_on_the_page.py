"""What the page says: one meaning on one screen, in a musician's words, and no more than is so."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from tests.support.fake_station import sounding
from tests.support.phones import phone, shoot

pytestmark = pytest.mark.browser

BELOW, IN = "rgb(255, 177, 43)", "rgb(255, 255, 255)"


def reading_within_the_hysteresis(station) -> dict:
    """A string that swung to +2.6 cents: the roll call has it out, its word is still "in"."""
    reading = station.pluck("tove", 1, 2.6)
    said = {**reading, "verdict": "in"}
    station.hub.publish("reading", "tove", said)
    return said


@pytest.mark.parametrize("view", ["my strings", "the band"])
def test_the_mark_of_a_sounding_string_agrees_with_its_word_then_with_the_roll_call(
    page, station, view
):
    page.get_by_role("link", name=view).click()
    part = page.locator("#view-strings" if view == "my strings" else "#view-band")
    seat = part.locator(".seat", has_text="E4")
    word = part.locator("#word" if view == "my strings" else ".row-state").first
    reading_within_the_hysteresis(station)

    expect(word).to_contain_text("in")
    expect(seat).to_have_attribute("data-verdict", "in")
    expect(seat.locator(".seat-name")).to_have_css("color", IN)
    expect(seat.locator(".seed")).to_have_css("fill", IN)
    shoot(page, f"hysteresis-{view.replace(' ', '-')}")

    expect(seat).not_to_have_attribute("data-sounding", "yes")  # it has died away
    expect(seat).to_have_attribute("data-verdict", "slacken")
    expect(seat).to_contain_text("slacken, +2.6 cents")


def test_a_string_that_is_in_but_sounds_flat_now_is_drawn_flat(page, station):
    station.bring_everyone_in()
    seat = page.locator("#view-strings .seat", has_text="A2")
    expect(seat).to_have_attribute("data-verdict", "in")
    reading = station.pluck("tove", 5, -30.0, tell_room=False)

    expect(page.locator("#word")).to_have_text("tighten")
    expect(seat).to_have_attribute("data-verdict", reading["verdict"])
    expect(seat.locator(".seat-name")).to_have_css("color", BELOW)


def test_the_page_says_how_near_counts_as_in(page, station):
    expect(page.locator(".call")).to_contain_text("in: within 2 cents")
    page.get_by_role("link", name="the band").click()
    expect(page.locator("#station")).to_contain_text("in: within 2 cents of its pitch")


def test_beats_are_explained_while_nothing_sounds(page, station):
    expect(page.locator(".aside")).to_contain_text("beats a second: how fast")
    expect(page.locator(".aside")).to_be_visible()
    with sounding(station, "tove", 5, -20.0):
        expect(page.locator("#word")).to_have_text("tighten")
        expect(page.locator(".aside")).to_be_empty()


def test_a_drummer_is_asked_for_taps_and_for_nothing_that_strings_need(browser, station, server):
    with phone(browser, server, who="Yorick") as page:
        expect(page.locator(".drum-hint")).to_have_text("tap five times near the middle")
        expect(page.locator(".tick").first).to_be_hidden()
        expect(page.locator(".call")).to_be_hidden()
        page.get_by_role("link", name="the band").click()
        expect(page.locator(".row", has_text="Yorick")).to_contain_text("nothing tapped yet")


def test_the_band_page_tells_only_what_is_not_as_it_should_be(page, station):
    page.get_by_role("link", name="the band").click()
    facts = page.locator("#station")
    expect(facts).to_contain_text("lamps: lit")
    for needless in ("lost", "started again", "stand-in", "aubio"):
        expect(facts).not_to_contain_text(needless)

    told = station.snapshot()["station"]["input"]
    station.set_station(
        simulated=True,
        input={**told, "overruns": 3, "restarts": 1},
        tracker="numpy",
        tracker_reason="aubio is not installed",
    )
    expect(facts).to_contain_text("lamps: simulated")
    expect(facts).to_contain_text("moments of sound lost since the start: 3")
    expect(facts).to_contain_text("sound input started again 1 time")
    expect(facts).to_contain_text("pitch is found by the stand-in, numpy: aubio is not installed")

    station.bring_everyone_in()
    expect(page.locator("#roll-rest")).to_have_text("all 10 strings are in")


@pytest.mark.parametrize("size", [(390, 844), (320, 568)])
def test_a_long_reason_takes_one_line_and_stands_whole_on_the_band_page(page, station, size):
    page.set_viewport_size({"width": size[0], "height": size[1]})
    reason = "the card hw:CARD=Line4,DEV=0 was unplugged; " * 4 + "plug it in again"
    told = station.snapshot()["station"]["input"]
    station.set_station(
        input={**told, "state": "waiting", "reason": reason},
        lamps={"state": "off", "reason": "no GPIO chip answers on this box; " * 3 + "see why"},
        banners=["The saved room was damaged; " * 4 + "it was put aside."],
    )
    expect(page.locator(".banner")).to_have_count(2)
    shoot(page, f"long-reasons-{size[0]}x{size[1]}")

    # Two lines of 17 px with their padding are 66. The next snapshot may draw them anew meanwhile.
    lines = "[...document.querySelectorAll('.banner, #notices')]"
    one_line = f"{lines}.every((line) => line.offsetHeight > 0 && line.offsetHeight < 48)"
    page.wait_for_function(f"() => {lines}.length === 3 && {one_line}")
    assert page.locator("body > header").bounding_box()["height"] < size[1] / 3

    page.locator(".banner").first.click()
    facts = page.locator("#station")
    for end in ("plug it in again", "see why", "it was put aside."):
        expect(facts).to_contain_text(end)
    expect(facts).to_be_in_viewport()
    end = facts.locator("li").last.bounding_box()
    assert end["y"] + end["height"] <= page.locator(".tabs").bounding_box()["y"]


def test_the_change_sheet_opens_without_a_keyboard_and_offers_someone_else_first(page, station):
    page.set_viewport_size({"width": 320, "height": 568})
    page.get_by_role("button", name="change").click()
    sheet = page.get_by_role("dialog")
    other = sheet.get_by_role("button", name="I am someone else")
    expect(other).to_be_in_viewport(ratio=1)

    focused = page.evaluate("document.activeElement.tagName")
    above = sheet.get_by_label("name", exact=True)
    assert focused not in ("INPUT", "SELECT")
    assert other.bounding_box()["y"] < above.bounding_box()["y"]

    other.click()
    expect(page.get_by_role("heading", name="Who are you?")).to_be_visible()
