"""Mains hum on the page: in words, where a line's troubles are told, with what helps when loud."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from station.room.mains import LOUD_DBFS, REMEDY
from tests.support.fake_station import sounding
from tests.support.phones import phone, shoot

pytestmark = pytest.mark.browser

LOUD = {"hum_hz": 50.03, "hum_dbfs": -41.2}
SOFT = {"hum_hz": 59.96, "hum_dbfs": LOUD_DBFS - 1}


def test_a_players_hum_is_told_while_nothing_sounds_and_what_helps_when_it_is_loud(page, station):
    aside = page.locator(".aside")
    expect(aside).not_to_contain_text("hum")

    station.set_line(1, **SOFT)
    expect(aside).to_contain_text("mains hum 60.0 Hz, −51 dBFS")
    expect(aside).to_contain_text("beats a second: how fast")
    expect(aside).not_to_contain_text("mains earth")
    shoot(page, "hum-soft")

    station.set_line(1, **LOUD)
    expect(aside).to_have_text(f"mains hum 50.0 Hz, −41 dBFS: {REMEDY}")
    expect(aside).to_be_visible()
    shoot(page, "hum-loud")

    with sounding(station, "tove", 5, -20.0):
        expect(page.locator("#word")).to_have_text("tighten")
        expect(aside).to_be_empty()

    station.set_line(1, hum_hz=None, hum_dbfs=None)
    expect(aside).not_to_contain_text("hum")


def test_hum_of_another_line_is_not_told_to_me(page, station):
    station.set_line(2, **LOUD)

    page.get_by_role("link", name="the band").click()
    expect(page.locator("#station")).to_contain_text("hum")  # the page knows of it
    expect(page.locator(".aside")).not_to_contain_text("hum")


def test_a_drummer_is_told_of_hum_below_the_sentence(browser, station, server):
    station.set_line(4, **LOUD)

    with phone(browser, server, who="Yorick") as page:
        expect(page.locator(".drum-aside")).to_have_text(f"mains hum 50.0 Hz, −41 dBFS: {REMEDY}")
        shoot(page, "hum-drummer")
        hint, aside = (page.locator(each).bounding_box() for each in (".drum-hint", ".drum-aside"))

    assert hint["y"] + hint["height"] <= aside["y"]


def test_the_band_page_tells_the_hum_of_every_line_and_once_what_helps(page, station):
    page.get_by_role("link", name="the band").click()
    facts = page.locator("#station")
    expect(facts).to_contain_text("lamps: lit")
    expect(facts).not_to_contain_text("hum")

    station.set_line(2, **SOFT)
    expect(facts).to_contain_text("line 2, Brannock: mains hum 60.0 Hz, −51 dBFS")
    expect(facts).not_to_contain_text("loud hum")

    station.set_line(1, **LOUD)
    station.set_line(4, **LOUD)
    expect(facts.get_by_text("mains hum 50.0 Hz, −41 dBFS")).to_have_count(2)
    expect(facts.get_by_text(f"loud hum: {REMEDY}")).to_have_count(1)
    facts.scroll_into_view_if_needed()
    page.evaluate("window.scrollTo(0, document.body.scrollHeight)")
    shoot(page, "hum-band")


def test_hum_is_not_told_while_the_station_does_not_listen(page, station):
    station.set_line(1, **LOUD)
    aside = page.locator(".aside")
    expect(aside).to_contain_text("mains hum")

    told = station.snapshot()["station"]["input"]
    station.set_station(input={**told, "state": "waiting", "reason": "the card was unplugged"})

    expect(page.locator(".hint")).to_have_text("not listening")
    expect(aside).to_be_empty()
    page.get_by_role("link", name="the band").click()
    expect(page.locator("#station")).not_to_contain_text("hum")


@pytest.mark.parametrize("size", [(320, 568), (390, 844), (844, 390)])
@pytest.mark.parametrize("hum", [LOUD, SOFT])
@pytest.mark.parametrize(
    ("who", "told_in", "within"),
    [("Tove", ".aside", ".field"), ("Yorick", ".drum-aside", ".drum-field")],
)
def test_hum_and_what_goes_with_it_fit_every_phones_field(
    browser, station, server, size, who, told_in, within, hum
):
    station.set_line(1, **hum)
    station.set_line(4, **hum)
    viewport = {"width": size[0], "height": size[1]}

    with phone(browser, server, who=who, viewport=viewport) as page:
        aside = page.locator(told_in)
        expect(aside).to_contain_text("mains hum")
        shoot(page, f"hum-{who.lower()}-{hum['hum_dbfs']:.0f}-{size[0]}x{size[1]}")
        text = aside.evaluate(
            """(aside) => {
                const words = document.createRange();
                words.selectNodeContents(aside);
                const { top, bottom } = words.getBoundingClientRect();
                return { top, bottom };
            }"""
        )
        field = page.locator(within).bounding_box()

    assert text["top"] >= field["y"] + field["height"] / 2  # where the line is
    assert text["bottom"] <= field["y"] + field["height"] + 1
