"""An instrument is heard on the page, and stands on the axis of pitch."""

from __future__ import annotations

import itertools
import re

import pytest
from playwright.sync_api import Locator, Page, expect

from tests.support.invented import invented_instrument
from tests.support.phones import boxes_of, phone, shoot
from tests.support.reference_page import (
    ABOVE,
    BELOW,
    know_code,
    open_reference,
    present,
)

pytestmark = pytest.mark.browser


@pytest.fixture
def reference(page: Page) -> Page:
    """Tove's phone at the reference; it knows the room code."""
    return open_reference(know_code(page))


# -- hearing an instrument -------------------------------------------------


def test_an_instrument_is_heard_until_it_is_enough_and_then_shown(reference, station):
    reference.get_by_role("button", name="hear an instrument").click()
    shoot(reference, "hear-which")
    reference.get_by_role("dialog").get_by_role("button", name="Ilse").click()
    panel = reference.locator(".measuring")
    expect(panel).to_contain_text("Ilse's keyboard")
    expect(panel).to_contain_text("play a note and hold it for two seconds")
    expect(panel.get_by_role("button", name="finish")).to_be_disabled()
    expect(reference.locator("#a4")).to_be_hidden()

    station.measure("tremolo accordion")
    expect(panel.locator(".measured-hz")).to_have_text("440.4")
    expect(panel).to_contain_text("±1.2 cents")
    expect(panel).to_contain_text("10 notes, 5 different")
    expect(panel.locator(".hearing-word")).to_have_text("sounding")
    expect(panel.locator(".next")).to_have_text("play next: D4, F4, B4: hold each for two seconds")
    shoot(reference, "hearing")

    station.measure("equal keyboard", sounding=False)
    expect(panel.locator(".next")).to_have_text("enough: finish, or play on to be surer")
    expect(panel.locator(".hearing-word")).to_have_text("silent")
    shoot(reference, "heard-enough")
    panel.get_by_role("button", name="finish").click()

    sheet = reference.get_by_role("dialog", name="Ilse's keyboard")
    expect(sheet.locator(".measured-hz")).to_have_text("441.3")
    expect(panel).to_be_hidden()
    shoot(reference, "instrument-equal")
    sheet.get_by_role("button", name="back").click()
    expect(reference.get_by_role("button", name="Ilse's keyboard")).to_be_visible()


def test_any_line_is_heard_under_a_typed_name(reference, station):
    reference.get_by_role("button", name="hear an instrument").click()
    sheet = reference.get_by_role("dialog")
    sheet.get_by_label("line").select_option("4")
    sheet.get_by_role("button", name="hear it").click()
    expect(sheet.get_by_role("alert")).to_contain_text("type whose instrument it is")
    assert station.snapshot()["measuring"] is None

    sheet.get_by_label("whose, and what it is").fill("Yorick's harmonica")
    sheet.get_by_role("button", name="hear it").click()

    expect(reference.locator(".measuring")).to_contain_text("Yorick's harmonica")
    assert station.snapshot()["measuring"]["lines"] == [4]


def test_what_to_play_next_is_named_as_on_this_phone(reference, station):
    reference.evaluate("localStorage.setItem('station.names', 'solfege')")
    station.begin_measuring("ilse")
    station.measure("tremolo accordion")

    expect(reference.locator(".next")).to_have_text(
        "play next: Re4, Fa4, Si4: hold each for two seconds"
    )


def test_other_views_tell_that_the_station_listens_and_anyone_cancels(
    browser, station, server, reference
):
    with phone(browser, server, who="Brannock") as other:
        station.begin_measuring("ilse")
        station.measure("tremolo accordion")
        line = other.locator(".under-way.listening")
        expect(line).to_have_text("listening to Ilse's keyboard: 440.4 ±1.2")
        shoot(other, "hearing-elsewhere")
        line.click()
        expect(line).to_be_hidden()

        know_code(other).get_by_role("button", name="cancel").click()

        for page in (other, reference):
            expect(page.locator(".measuring")).to_be_hidden()
            expect(page.locator("#a4")).to_be_visible()
    assert station.snapshot()["measured"] == []


# -- the axis --------------------------------------------------------------


def px_per_hz(page: Page) -> float:
    """How tall a hertz is drawn, by two numbers of the scale."""
    numbers = page.locator(".scale .hz:not(:empty)")
    places = {
        float(re.match(r"\d+", tick.inner_text())[0]): tick.bounding_box() for tick in numbers.all()
    }
    (low, low_box), *_, (high, high_box) = sorted(places.items())
    middle = {hz: box["y"] + box["height"] / 2 for hz, box in places.items()}
    assert low_box["x"] == high_box["x"]
    return (middle[low] - middle[high]) / (high - low)


def centre_y(part: Locator) -> float:
    box = part.bounding_box()
    return box["y"] + box["height"] / 2


@pytest.mark.parametrize("uncertainty_cents", [4.0, 1.2])
def test_an_instrument_is_as_tall_on_the_axis_as_it_is_unsure(
    reference, station, uncertainty_cents
):
    station.measure_whole("ilse", "tremolo accordion", uncertainty_cents=uncertainty_cents)
    band = reference.locator(".stand-band")
    expect(band).to_be_visible()
    reference.wait_for_timeout(400)  # it grows and shrinks visibly
    tall_hz = 440.4 * (2 ** (uncertainty_cents / 1200) - 2 ** (-uncertainty_cents / 1200))

    assert band.bounding_box()["height"] == pytest.approx(tall_hz * px_per_hz(reference), abs=0.7)
    above = centre_y(reference.locator(".agreed")) - centre_y(reference.locator(".stand"))
    assert above == pytest.approx((440.4 - 440.0) * px_per_hz(reference), abs=1.5)


def test_the_axis_shows_instruments_compromise_and_proposals_each_at_its_height(reference, station):
    station.measure_whole("ilse", "equal keyboard")
    station.begin_measuring(line=4, name="Yorick's harmonica")
    station.measure("just harp")
    station.finish_measuring("tove")
    present(station, "tove")
    station.propose("brannock", "typed", 438.5)
    stands = [reference.locator(f".stand[data-kind={kind}]") for kind in ("measured", "compromise")]
    expect(stands[0]).to_have_count(2)
    expect(reference.locator(".proposed-name")).to_have_text("438.5 Brannock")
    expect(reference.get_by_role("button", name="compromise")).to_contain_text("441.95")
    shoot(reference, "axis")

    yorick, ilse = sorted(centre_y(stands[0].nth(i)) for i in range(2))
    compromise = centre_y(stands[1])
    agreed, proposed = (
        centre_y(reference.locator(each)) for each in (".agreed", ".proposed .draft-line")
    )
    keyboard = reference.get_by_role("button", name="Ilse's keyboard")
    expect(keyboard).to_have_css("color", ABOVE)
    expect(reference.locator(".proposed-name")).to_have_css("color", BELOW)

    assert yorick < compromise < ilse < agreed < proposed
    harmonica = reference.get_by_role("button", name="Yorick's harmonica")
    assert centre_y(harmonica) < centre_y(keyboard)


def test_single_notes_stand_on_the_axis_only_where_nothing_was_measured(reference, station):
    station.play_fixed("ilse", 60, 4.7)
    expect(reference.get_by_role("button", name="Ilse 441.2")).to_be_visible()

    station.measure_whole("ilse", "equal keyboard")

    expect(reference.get_by_role("button", name="Ilse's keyboard")).to_be_visible()
    expect(reference.locator(".stand-name")).to_have_count(1)


def test_many_instruments_keep_clear_of_each_other_and_the_page_scrolls(reference, station):
    for number in (1, 2, 3, 4):
        station.begin_measuring(line=number, name=f"Harmonica number {number}")
        station.measure(invented_instrument("equal keyboard", a4_hz=441.0 + 0.05 * number))
        station.finish_measuring("tove")
    present(station, "tove")
    for player, hz in (("brannock", 441.2), ("ilse", 441.4), ("yorick", 439.9)):
        station.propose(player, "typed", hz)
    expect(reference.locator(".stand-name")).to_have_count(5)
    shoot(reference, "axis-crowded")
    for parts in (".stand-name", ".proposed-name"):
        boxes = boxes_of(reference.locator(parts))
        boxes.sort(key=lambda box: box["y"])
        for upper, lower in itertools.pairwise(boxes):
            assert upper["y"] + upper["height"] <= lower["y"] + 0.5
