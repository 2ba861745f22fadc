"""Between songs the page says who has drifted."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page, expect

from tests.support.fake_station import FakeStation
from tests.support.phones import shoot

pytestmark = pytest.mark.browser


def drifted(player: str, string: int | None, cents: float) -> dict:
    strings = [1, 2, 3, 4] if string is None else [string]
    return {
        "player": player, "line": 1, "string": string, "strings": strings,
        "cents": cents, "uncertainty_cents": 1.1, "confidence": 0.94,
    }  # fmt: skip


OUT = [drifted("brannock", None, 7.2), drifted("tove", 6, -18.4), drifted("tove", 2, 6.1)]


def test_in_a_gap_i_see_what_is_mine_first_and_the_band_as_a_whole(
    page: Page, station: FakeStation
):
    expect(page.locator(".gap-bar")).to_be_hidden()

    station.pause(drifted=OUT, common={"cents": -4.2, "uncertainty_cents": 0.6})

    entries = page.locator(".gap-bar li")
    expect(entries.locator("strong")).to_have_text(["D2", "B3", "Brannock all"])
    expect(entries.locator(".gap-word")).to_have_text(["tighten", "slacken", "slacken"])
    expect(entries.locator(".gap-cents").first).to_have_text("−18.4")
    # The widest number there is ends before its uncertainty begins.
    fits = "(cents) => cents.scrollWidth <= cents.clientWidth"
    assert all(cents.evaluate(fits) for cents in entries.locator(".gap-cents").all())
    expect(page.locator(".gap-bar")).to_contain_text("the whole band −4.2 cents")
    shoot(page, "gap-390x844")


def test_the_list_is_on_every_view_and_goes_with_the_next_song(page: Page, station: FakeStation):
    station.pause(drifted=OUT)
    for view in ("the band", "the reference"):
        page.get_by_role("link", name=view).last.click()
        expect(page.locator(".gap-bar")).to_be_visible()

    station.go_on()

    expect(page.locator(".gap-bar")).to_be_hidden()


def test_nobody_and_many_are_said_in_words(page: Page, station: FakeStation):
    for many, said in ((0, "nobody is out"), (6, "and 2 more")):
        out = [drifted("brannock", 1 + each % 4, 9.0 - each) for each in range(many)]

        station.pause(drifted=out)

        expect(page.locator(".gap-bar")).to_contain_text(said)
