"""The README's pictures: what an invented band sees from the first instrument to the last song.

    STATION_PICTURES=hw/pictures .venv/bin/pytest tests/end_to_end/test_readme_pictures.py

makes those in `hw/pictures` anew, whenever the page has changed; without it they are only
kept beside the other screenshots, and compared in name and size with those of the README.
"""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from itertools import count
from pathlib import Path

import pytest
from PIL import Image
from playwright.sync_api import Browser, Page, expect

from station.web.server import PageServer
from tests.support.fake_station import FakeStation, sounding
from tests.support.head_taps import random_drummer
from tests.support.phones import SHOTS, phone, shoot
from tests.support.reference_page import cards, know_code, news, open_reference, present

pytestmark = pytest.mark.browser

PROJECT = Path(__file__).resolve().parents[2]
KEPT = Path(os.environ.get("STATION_PICTURES") or SHOTS)
COLOURS = 64  # the page has few: no difference is seen
MOST_BYTES = 60_000
SHOWN = re.compile(r'<img src="(hw/pictures/[\w-]+\.png)" width="(\d+)" alt="([^"]+)">')
TELEVISION = {"width": 844, "height": 475}

OpenPhone = Callable[..., Page]


def picture(page: Page, name: str) -> None:
    """Keep what a phone shows, small, as NAME.png; it is as large as the README's own."""
    shoot(page, name)
    with Image.open(SHOTS / f"{name}.png") as shot:
        small = shot.convert("RGB").quantize(COLOURS, dither=Image.Dither.NONE)
    small.save(KEPT / f"{name}.png", optimize=True)
    with Image.open(PROJECT / "hw" / "pictures" / f"{name}.png") as shown:
        assert shown.size == small.size


@pytest.fixture
def opened(browser: Browser, server: PageServer) -> Iterator[OpenPhone]:
    """Opens phones that know the room code, one pixel for each of the page's."""
    with ExitStack() as phones:

        def open_phone(who: str | None, **settings: object) -> Page:
            page = phones.enter_context(
                phone(browser, server, who, device_scale_factor=1, **settings)
            )
            return know_code(page)

        yield open_phone


def test_the_instrument_that_cannot_be_tuned_is_heard(opened, station: FakeStation):
    page = open_reference(opened("Tove"))
    station.begin_measuring(line=4, name="Ilse's accordion")
    station.measure("tremolo accordion")

    expect(page.locator(".measuring .next")).to_contain_text("play next")
    picture(page, "hear-an-instrument")


def test_two_instruments_a_proposal_and_everybodys_yes(opened, station: FakeStation):
    tove, brannock = open_reference(opened("Tove")), opened("Brannock")
    present(station, "tove", "brannock")
    station.measure_whole("ilse", "equal keyboard")
    station.begin_measuring(line=4, name="Yorick's harmonica")
    station.measure("just harp")
    station.finish_measuring("tove")
    station.propose("tove", "compromise")

    expect(tove.locator(".stand[data-kind=measured]")).to_have_count(2)
    expect(cards(tove)).to_have_count(1)
    picture(tove, "the-reference")
    with sounding(station, "brannock", 3, -14.0):
        expect(cards(brannock).get_by_role("button", name="yes")).to_be_visible()
        expect(brannock.locator("#word")).to_have_text("tighten")
        picture(brannock, "a-proposal")

    cards(brannock).get_by_role("button", name="yes").click()

    expect(news(tove)).to_contain_text("agreed")
    expect(cards(tove)).to_have_count(0)
    picture(tove, "agreed")


def test_a_string_and_everybody_on_one_screen(opened, station: FakeStation, server):
    tove, screen = opened("Tove"), opened(None, viewport=TELEVISION)
    screen.goto(f"http://127.0.0.1:{server.port}/#everyone")
    for string, cents in ((6, 0.4), (4, -0.8), (3, 9.0)):
        station.pluck("tove", string, cents)
    for string in (4, 3):
        station.pluck("brannock", string, 0.6)

    with sounding(station, "tove", 5, -11.4):
        expect(tove.locator("#word")).to_have_text("tighten")
        expect(screen.locator(".everyone-count")).to_contain_text("4 of 10 in")
        picture(tove, "my-strings")
        picture(screen, "everyone")


def test_a_drums_rim_unrolled(opened, station: FakeStation):
    station.begin_head("yorick", 8, "fine", "")
    head, clock = random_drummer("one slack", 8, 2), map(float, count(1))
    while (lug := station.snapshot()["heads"]["passes"]["yorick"]["tap_next"]) is not None:
        station.tap_lug(next(clock), head.modes(lug))
    page = opened("Yorick")

    expect(page.locator(".lug[data-heard]")).to_have_count(8)
    picture(page, "even-head")


def test_who_is_out_in_the_gap_after_a_song(opened, station: FakeStation):
    page = opened("Tove")
    station.bring_everyone_in()
    station.pause(
        drifted=[
            {
                "player": player, "line": 1, "string": string, "strings": [string],
                "cents": cents, "uncertainty_cents": 1.1, "confidence": 0.94,
            }
            for player, string, cents in (("tove", 6, -8.4), ("brannock", 2, 7.2))
        ],
        common={"cents": -4.2, "uncertainty_cents": 0.6},
    )  # fmt: skip

    expect(page.locator(".gap-bar")).to_contain_text("the whole band")
    picture(page, "between-songs")


def test_the_readme_shows_these_pictures_small_and_says_what_is_on_each():
    readme = (PROJECT / "README.md").read_text(encoding="utf-8")
    made = set(re.findall(r'picture\(\w+, "([\w-]+)"\)', Path(__file__).read_text()))
    shown = {Path(path).stem: (path, width, alt) for path, width, alt in SHOWN.findall(readme)}

    assert set(shown) == made
    assert readme.count("<img") == len(shown)
    for path, width, alt in shown.values():
        with Image.open(PROJECT / path) as image:
            assert int(width) <= image.width
        assert (PROJECT / path).stat().st_size <= MOST_BYTES
        assert len(alt.split()) >= 6
    pictures = {path.stem for path in (PROJECT / "hw" / "pictures").glob("*.png")}
    assert pictures == made
