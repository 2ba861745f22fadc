"""Small phones, and phones held sideways: everything in reach, and no two words on each other."""

from __future__ import annotations

import itertools

import pytest
from playwright.sync_api import Page, expect

from tests.support.fake_station import sounding
from tests.support.phones import boxes_of, shoot

pytestmark = pytest.mark.browser

SIZES = [(320, 568), (844, 390), (568, 320)]
# The box of the ink itself, whatever room a font keeps above and below its letters.
LETTERS = """(all) => all.filter((each) => each.checkVisibility()).map((each) => {
    const words = document.createRange();
    words.selectNodeContents(each);
    const { x, y, width } = words.getBoundingClientRect();
    const { fontWeight, fontSize, fontFamily } = getComputedStyle(each);
    const pen = document.createElement("canvas").getContext("2d");
    pen.font = `${fontWeight} ${fontSize} ${fontFamily}`;
    const ink = pen.measureText(each.textContent);
    const baseline = y + ink.fontBoundingBoxAscent;
    const height = ink.actualBoundingBoxAscent + ink.actualBoundingBoxDescent;
    return { text: each.textContent, x, y: baseline - ink.actualBoundingBoxAscent, width, height };
})"""


def overlaps(one: dict, other: dict) -> bool:
    apart_x = one["x"] + one["width"] <= other["x"] or other["x"] + other["width"] <= one["x"]
    apart_y = one["y"] + one["height"] <= other["y"] or other["y"] + other["height"] <= one["y"]
    return not (apart_x or apart_y)


def resize(page: Page, size: tuple[int, int]) -> None:
    page.set_viewport_size({"width": size[0], "height": size[1]})


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize(("cents", "word"), [(-14.2, "tighten"), (11.2, "slacken"), (0.4, "in")])
def test_the_field_shows_its_word_name_and_mark_apart(page, station, size, cents, word):
    resize(page, size)
    with sounding(station, "tove", 3, cents):
        expect(page.locator("#word")).to_have_text(word)
        shoot(page, f"field-{word}-{size[0]}x{size[1]}")
        parts = page.locator("#word, .target-note, .target-string, .tick").evaluate_all(LETTERS)
        # The lens itself may be low while it beats: its box is what it fills at most.
        lens = {"text": "lens", **page.locator("#mark").bounding_box()}
        field = page.locator(".field").bounding_box()

    for one, other in itertools.combinations(parts, 2):
        assert not overlaps(one, other), (one, other)
    drawn = {**lens, "y": lens["y"] + lens["height"] * 0.19, "height": lens["height"] * 0.62}
    for part in parts:
        assert not overlaps(part, drawn), (part, drawn)
        assert field["y"] <= part["y"]
        assert part["y"] + part["height"] <= field["y"] + field["height"]


@pytest.mark.parametrize("size", SIZES)
def test_the_row_of_strings_shows_whole_above_the_tabs(page, station, size):
    resize(page, size)
    station.set_station(simulated=True)
    with sounding(station, "tove", 3, -14.2):
        expect(page.locator("#word")).to_have_text("tighten")
        tabs = page.locator(".tabs").bounding_box()
        header = page.locator("body > header").bounding_box()
        shown = page.locator(
            "#view-strings :is(.seat-name, .seed, .call, .numbers, .me button), #word"
        )
        boxes = boxes_of(shown)

    assert len(boxes) == 6 + 6 + 5
    for box in boxes:
        assert box["y"] >= header["y"] + header["height"] - 1, box
        assert box["y"] + box["height"] <= tabs["y"] + 1, box
        assert box["x"] >= 0 and box["x"] + box["width"] <= size[0], box


@pytest.mark.parametrize("size", SIZES)
def test_a_reference_is_proposed_without_scrolling(page, station, size):
    resize(page, size)
    page.evaluate("localStorage.setItem('station.code', 'oak-47')")
    page.get_by_role("link", name="the reference").last.click()
    page.locator("#a4").fill("441.25")
    tabs = page.locator(".tabs").bounding_box()
    parts = boxes_of(page.locator("#view-reference :is(.axis, button, input, .outcome):visible"))
    assert parts
    for box in parts:
        assert box["y"] + box["height"] <= tabs["y"] + 1, box
    field = page.locator("#a4")
    assert field.evaluate("(input) => input.scrollWidth <= input.clientWidth")

    page.get_by_role("button", name="propose it").click()

    told = page.locator("#asks .ask-told").last
    expect(told).to_have_text("agreed: 441.25 Hz, the roll call starts again")
    box = told.bounding_box()
    assert box["y"] + box["height"] <= page.locator(".tabs").bounding_box()["y"] + 1
    assert page.evaluate("scrollY") == 0


@pytest.mark.parametrize("size", SIZES)
def test_the_change_sheet_ends_on_the_screen(page, station, size):
    resize(page, size)
    page.get_by_role("button", name="change").click()
    sheet = page.get_by_role("dialog")
    for part in ("I am someone else", "back", "change it"):
        expect(sheet.get_by_role("button", name=part)).to_be_in_viewport(ratio=1)
    shoot(page, f"change-{size[0]}x{size[1]}")

    code = sheet.get_by_label("room code")
    code.focus()
    box = code.bounding_box()
    assert box["y"] + box["height"] <= sheet.locator(".ending").bounding_box()["y"] + 1


@pytest.mark.parametrize("size", [(320, 568), (390, 844)])
def test_names_of_players_are_not_broken(page, station, size):
    resize(page, size)
    page.get_by_role("link", name="the band").click()
    with sounding(station, "brannock", 4, -35.0):
        expect(page.locator(".row", has_text="Brannock")).to_contain_text("E1 tighten")
        names = boxes_of(page.locator(".row h3"))

    assert names
    assert all(name["height"] < 40 for name in names)  # one line
