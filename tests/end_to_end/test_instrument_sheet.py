"""What was measured of an instrument, and the compromise between several, in sheets."""

from __future__ import annotations

import math

import pytest
from playwright.sync_api import Page, expect

from tests.support.invented import invented_instrument
from tests.support.phones import phone, shoot
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


def height(page: Page, note: str, part: str) -> float:
    box = page.locator(f"[data-note='{note}'] .{part}").first.bounding_box()
    return box["y"] + box["height"] / 2


def test_a_just_harps_sheet_names_its_bad_reed_and_draws_what_the_temperament_asks(
    reference, station
):
    station.measure_whole("ilse", "just harp")
    reference.get_by_role("button", name="Ilse's keyboard").click()
    sheet = reference.get_by_role("dialog")

    expect(sheet).to_contain_text("just in G")
    expect(sheet).to_contain_text("just in G 97\u00a0%, none of these 3\u00a0%")
    expect(sheet).to_contain_text("D5 is 21.4 cents flat of its place: it does not count")
    expect(sheet).to_contain_text("+10.2 cents from the reference")
    shoot(reference, "instrument-just")
    names = sheet.locator(".note-name")
    notes = ["G4", "A4", "B4", "C5", "D5", "E5", "F♯5", "G5", "B5", "C6", "D6", "G6"]
    expect(names).to_have_text(notes)
    bad = sheet.locator("[data-note='D5']")
    expect(bad).to_have_attribute("data-bad", "yes")
    expect(bad).to_have_attribute("data-side", "below")
    expect(sheet.locator("[data-bad]")).to_have_count(1)

    # Sharp is up: A4 of the harp's second is above the line, B4, its third, below.
    assert height(reference, "A4", "note-seed") < height(reference, "B4", "note-seed") - 20
    # The bad reed lies far below its short line, a good one within a pixel or two of it.
    assert height(reference, "D5", "note-seed") > height(reference, "D5", "note-asked") + 30
    good = height(reference, "B4", "note-seed") - height(reference, "B4", "note-asked")
    assert abs(good) < 8  # half the seed's own height and a few tenths of a cent


def test_two_reeds_stand_as_a_pair_with_their_beats_and_no_temperament_is_claimed(
    reference, station
):
    station.measure_whole("ilse", "tremolo accordion")
    reference.get_by_role("button", name="Ilse's keyboard").click()
    sheet = reference.get_by_role("dialog")

    expect(sheet.locator(".found")).to_contain_text("cannot tell yet")
    expect(sheet.locator(".found")).not_to_contain_text("Vallotti")
    expect(sheet).to_contain_text("two reeds to a note: 2.1 to 3.3 beats a second")
    expect(sheet.locator(".note-beats")).to_have_text(["2.1", "2.4", "2.7", "2.9", "3.3"])
    expect(sheet.locator("[data-note='A4'] .note-seed")).to_have_count(2)
    shoot(reference, "instrument-tremolo")


def test_stretched_octaves_and_a_temperament_without_a_name_are_told_in_words(reference, station):
    station.measure_whole(
        "ilse",
        "equal keyboard",
        temperament="per-note offsets",
        evidence=[{"temperament": "per-note offsets", "root": None, "probability": 0.999}],
        stretch_cents_per_octave=1.26,
    )
    reference.get_by_role("button", name="Ilse's keyboard").click()
    found = reference.get_by_role("dialog").locator(".found")

    expect(found).to_contain_text("its own, note by note")
    expect(found).to_contain_text("over 99\u00a0%")
    expect(found).to_contain_text("stretched by +1.3 cents each")


def test_the_likeliest_temperament_is_named_with_its_odds_against_the_runner_up(reference, station):
    shares = [("Werckmeister III", 0.857), ("Vallotti", 0.143)]
    rows = [{"temperament": name, "root": None, "probability": each} for name, each in shares]
    station.measure_whole("ilse", "equal keyboard", temperament="Werckmeister III", evidence=rows)
    reference.get_by_role("button", name="Ilse's keyboard").click()
    found = reference.get_by_role("dialog").locator(".found")

    expect(found).to_contain_text("most likely Werckmeister III")
    expect(found).to_contain_text("6 to 1 against Vallotti: ")
    expect(found).to_contain_text("Werckmeister III 86\u00a0%, Vallotti 14\u00a0%")
    shoot(reference, "instrument-most-likely")


def test_a_piano_of_88_notes_scrolls_sideways_and_names_every_note(reference, station):
    made = invented_instrument("equal keyboard")
    first = made["notes"][0]
    made["notes"] = [
        {**first, "midi": midi, "note": f"A{midi // 12 - 1}", "cents": (midi - 64) / 10}
        for midi in range(21, 109)
    ]
    station.begin_measuring("ilse")
    station.measure(made)
    station.finish_measuring("tove")
    reference.get_by_role("button", name="Ilse's keyboard").click()
    strip = reference.locator(".marks-strip")
    expect(strip.locator(".note")).to_have_count(88)
    wide = strip.evaluate("(strip) => [strip.scrollWidth, strip.clientWidth]")
    shoot(reference, "instrument-piano")

    assert wide[0] >= 88 * 27 > wide[1]
    assert reference.evaluate("document.documentElement.scrollWidth") <= 390


def test_an_instrument_is_forgotten_and_its_sheet_closes_on_every_phone(
    browser, station, server, reference
):
    station.measure_whole("ilse", "equal keyboard")
    with phone(browser, server, who="Brannock") as other:
        open_reference(other)
        for page in (reference, other):
            page.get_by_role("button", name="Ilse's keyboard").click()
        reference.get_by_role("button", name="forget").click()

        for page in (reference, other):
            expect(page.get_by_role("dialog")).to_be_hidden()
            expect(page.locator(".stand-name")).to_have_count(0)


def test_a_compromise_shows_what_each_would_be_off_before_it_is_proposed(reference, station):
    present(station, "tove")
    station.measure_whole("ilse", "equal keyboard")
    station.begin_measuring(line=4, name="Yorick's harmonica")
    station.measure("just harp")
    station.finish_measuring("tove")
    # Half-way in cents between 441.3 and 442.6 Hz: the root of their product, each half of
    # 1200 log2(442.6 / 441.3) cents off, and |441.3 - 441.9495...| beats on a held A.
    half = 600 * math.log2(442.6 / 441.3)
    between = math.sqrt(441.3 * 442.6)
    reference.get_by_role("button", name="compromise").click()
    rule = reference.locator(".rule").first
    expect(rule.locator("h3")).to_contain_text("worst error least")
    expect(rule).to_contain_text(f"no instrument is further off than {half:.1f} cents")
    expect(rule.locator("li").first).to_contain_text(f"{half:.1f} cents sharp")
    expect(rule.locator("li").last).to_contain_text(f"{half:.1f} cents flat")
    expect(rule.locator("li").last).to_contain_text(f"beats {between - 441.3:.1f} a second")
    shoot(reference, "compromise")

    reference.locator(".rule").last.get_by_role("button").click()

    expect(reference.get_by_role("dialog")).to_be_hidden()
    expect(reference.locator("#strip-hz")).to_have_text("441.95")
    assert "compromise" in station.references()[0]["source"]
