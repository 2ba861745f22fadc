"""Note names on phones: the station's system, a phone's own, and room for the longest."""

from __future__ import annotations

import itertools
from typing import get_args

import pytest
from playwright.sync_api import Page, expect

from station.music.names import Accidental, NamingSystem, note_in, note_name, pretty
from tests.support.fake_station import FakeStation, sounding
from tests.support.page_client import ask
from tests.support.phones import boxes_of, phone, shoot

pytestmark = pytest.mark.browser

DROP_D = {
    "english": ["D2", "A2", "D3", "G3", "B3", "E4"],
    "german": ["D2", "A2", "D3", "G3", "H3", "E4"],
    "solfege": ["Re2", "La2", "Re3", "Sol3", "Si3", "Mi4"],
}
UNUSUAL = ("Cb4", "B#3", "E#2", "Fb3", "F##3", "Bbb3", "Abb3", "Ebb1", "Gbb2", "B##2")


def names_by_page(page: Page, notes: list[str], system: str) -> list[str]:
    """What the page's own module makes of the station's names."""
    return page.evaluate(
        """async ([notes, system]) => {
            const { noteIn } = await import("/static/js/names.js");
            return notes.map((note) => noteIn(note, system));
        }""",
        [notes, system],
    )


def choose(page: Page, names: str) -> None:
    """Choose a naming system in the view of "change"."""
    page.get_by_role("button", name="change").click()
    page.get_by_role("dialog").get_by_label("note names").select_option(names)
    page.get_by_role("dialog").get_by_role("button", name="back").click()


def test_the_page_names_every_note_as_the_station_does(page: Page) -> None:
    for system, prefer in itertools.product(get_args(NamingSystem), get_args(Accidental)):
        notes = [note_name(midi, "english", prefer) for midi in range(128)]
        expected = [pretty(note_name(midi, system, prefer)) for midi in range(128)]

        assert names_by_page(page, notes, system) == expected

        unusual = [pretty(note_in(note, system)) for note in UNUSUAL]
        assert names_by_page(page, list(UNUSUAL), system) == unusual


def test_what_is_no_note_is_left_as_it_is(page: Page) -> None:
    junk = ["", "?", "H2", "Es2", "A#b2"]

    for system in get_args(NamingSystem):
        assert names_by_page(page, junk, system) == junk


@pytest.mark.parametrize("system", get_args(NamingSystem))
def test_without_a_choice_a_phone_names_notes_as_the_station(page, station, system):
    station.set_station(note_names=system)
    fifth = DROP_D[system][1]

    with sounding(station, "tove", 5, -20.0):
        expect(page.locator("#view-strings .seat-name")).to_have_text(DROP_D[system])
        expect(page.locator(".target-note")).to_have_text(fifth)
        expect(page.locator("#live")).to_contain_text(f"{fifth}: tighten")


def test_a_phone_that_chooses_solfege_sees_it_everywhere_and_keeps_it(page, station, server):
    station.set_station(note_names="german")
    choose(page, "solfege")
    page.reload()

    with sounding(station, "tove", 3, -20.0):
        expect(page.locator("#strip-note")).to_have_text("La4")
        expect(page.locator(".target-note")).to_have_text("Sol3")
        expect(page.locator("#view-strings .seat-name")).to_have_text(DROP_D["solfege"])
        expect(page.locator("#live")).to_contain_text("Sol3: tighten")
        shoot(page, "solfege-strings-390x844")
        page.get_by_role("link", name="the band").click()
        expect(page.locator(".row", has_text="Tove").locator(".row-state")).to_have_text(
            "Sol3 tighten"
        )
        expect(page.locator(".row", has_text="Brannock").locator(".seat-name")).to_have_text(
            ["Mi1", "La1", "Re2", "Sol2"]
        )
        shoot(page, "solfege-band-390x844")
    station.play_fixed("ilse", 70, 4.7)
    expect(page.locator(".row", has_text="Ilse")).to_contain_text("La♯4 +4.7")
    page.get_by_role("link", name="the reference").last.click()
    expect(page.get_by_label("La4 in hertz")).to_be_visible()
    page.locator("#a4").fill("")
    page.get_by_role("button", name="propose it").click()
    expect(page.locator("#view-reference").get_by_role("alert")).to_contain_text(
        "La4 in hertz, 390 to 470"
    )
    shoot(page, "solfege-reference-390x844")
    told = ask(server.port, "/api/v1/room").json
    assert [each["note"] for each in told["players"][0]["strings"]] == DROP_D["english"]


def test_a_choice_is_one_phones_own_and_can_be_given_back(browser, station, server):
    with phone(browser, server) as mine, phone(browser, server) as other:
        choose(mine, "german")
        expect(mine.locator("#view-strings .seat-name")).to_have_text(DROP_D["german"])
        expect(other.locator("#view-strings .seat-name")).to_have_text(DROP_D["english"])

        station.set_station(note_names="solfege")
        expect(other.locator("#view-strings .seat-name")).to_have_text(DROP_D["solfege"])
        expect(mine.locator("#view-strings .seat-name")).to_have_text(DROP_D["german"])
        choose(mine, "")
        expect(mine.locator("#view-strings .seat-name")).to_have_text(DROP_D["solfege"])


def test_the_choice_is_offered_where_the_page_asks_who_i_am(browser, station, server):
    with phone(browser, server, who=None) as page:
        names = page.locator(".chooser").get_by_label("note names")
        expect(names.locator("option")).to_have_text(
            [
                "as the station, English",
                "English: C♯ E♭ B♭ B",
                "German: Cis Es B H",
                "solfege: Do♯ Mi♭ Si♭ Si",
            ]
        )
        names.select_option("german")
        shoot(page, "names-who-are-you-390x844")
        page.get_by_role("button", name="Tove").click()

        expect(page.locator("#view-strings .seat-name")).to_have_text(DROP_D["german"])
        page.get_by_role("button", name="change").click()
        expect(page.get_by_role("dialog").get_by_label("note names")).to_have_value("german")
        shoot(page, "names-change-390x844")


def test_a_choice_the_page_does_not_know_counts_as_none(page, station):
    page.evaluate("localStorage.setItem('station.names', 'latin')")
    page.reload()
    station.set_station(note_names="german")

    expect(page.locator("#view-strings .seat-name")).to_have_text(DROP_D["german"])


def overlapping(boxes: list[dict[str, float]]) -> list[tuple[int, int]]:
    """Which of the boxes lie over each other."""
    return [
        (i, j)
        for (i, a), (j, b) in itertools.combinations(enumerate(boxes), 2)
        if a["x"] < b["x"] + b["width"] and b["x"] < a["x"] + a["width"]
        and a["y"] < b["y"] + b["height"] and b["y"] < a["y"] + a["height"]
    ]  # fmt: skip


@pytest.mark.parametrize("size", [(320, 568), (390, 844)])
@pytest.mark.parametrize(
    ("instrument", "tuning", "string"),
    [("guitar-12", "half-step-down", 9), ("guitar", "drop-d", 3)],
)
def test_the_longest_names_fit_beside_each_other(
    page: Page,
    station: FakeStation,
    size: tuple[int, int],
    instrument: str,
    tuning: str,
    string: int,
) -> None:
    width, height = size
    page.set_viewport_size({"width": width, "height": height})
    station.set_station(note_names="solfege")
    station.change_player("tove", {"instrument": instrument, "tuning": tuning})

    with sounding(station, "tove", string, -30.0):
        for view, link in (("strings", "my strings"), ("band", "the band")):
            page.get_by_role("link", name=link).click()
            expect(page.locator("#live")).to_contain_text("Sol")
            seats = page.locator(f"#view-{view} .stave").first.locator(".seat-name")
            shoot(page, f"solfege-{instrument}-{view}-{width}x{height}")
            boxes = boxes_of(seats)

            assert len(boxes) in (6, 12)
            assert overlapping(boxes) == []
            assert all(box["x"] >= 0 and box["x"] + box["width"] <= width for box in boxes)
            assert page.evaluate("document.documentElement.scrollWidth") <= width
            if view == "strings":
                target, mark = (page.locator(each).bounding_box() for each in (".target", "#mark"))
                assert target["x"] + target["width"] <= mark["x"] + 1
                assert mark["width"] >= width / 5
