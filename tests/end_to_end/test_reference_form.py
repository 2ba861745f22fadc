"""Proposing a reference on the page: what is typed, what is refused, what is said and drawn."""

from __future__ import annotations

import itertools

import pytest
from playwright.sync_api import Page, expect

from tests.support.fake_station import FakeStation, sounding
from tests.support.page_client import wait_until
from tests.support.phones import phone, shoot

pytestmark = pytest.mark.browser

CODE = "oak-47"
SEND = "propose it"
BELOW, ABOVE, IN = "rgb(255, 177, 43)", "rgb(98, 182, 255)", "rgb(255, 255, 255)"


@pytest.fixture
def form(page: Page, station: FakeStation) -> Page:
    """The page at its reference, the room code known to the phone, its player present."""
    page.evaluate("(code) => localStorage.setItem('station.code', code)", CODE)
    page.get_by_role("link", name="the reference").last.click()
    wait_until(lambda: station.snapshot()["agreement"]["present"] == ["tove"])
    return page


def fault(page: Page):
    return page.locator("#view-reference").get_by_role("alert")


def told(page: Page):
    return page.locator("#view-reference form .told")


def agreed(page: Page):
    return page.locator("#asks .ask-told").last


@pytest.mark.parametrize(
    ("typed", "refusal"),
    [
        ("300", "300 Hz is out of reach: A4 can be 390 to 470 Hz"),
        ("800", "800 Hz is out of reach: A4 can be 390 to 470 Hz"),
        ("", "type A4 in hertz, 390 to 470"),
        ("44o", '"44o" is no frequency: type A4 in hertz, 390 to 470'),
    ],
)
def test_a_wrong_entry_stays_in_the_field_and_is_refused(form, station, typed, refusal):
    before = station.snapshot()["reference"]
    form.locator("#a4").fill(typed)
    form.get_by_role("button", name="lower").focus()  # the field used to jump back when it was left
    with sounding(station, "tove", 5, -20.0):
        expect(form.locator("#live")).to_contain_text("A2")
    form.get_by_role("button", name=SEND).click()

    expect(fault(form)).to_have_text(refusal)
    expect(form.locator("#a4")).to_have_value(typed)
    expect(form.locator("#a4")).to_have_attribute("aria-invalid", "true")
    expect(told(form)).to_be_empty()
    shoot(form, f"reference-refused-{typed or 'empty'}")
    assert station.snapshot()["reference"] == before


@pytest.mark.parametrize(
    ("typed", "hz", "said"),
    [("441,2", 441.2, "441.2"), (" 441.25 Hz", 441.25, "441.25"), ("442", 442.0, "442.0")],
)
def test_what_is_proposed_alone_is_agreed_said_and_stays_in_the_field(
    form, station, typed, hz, said
):
    small_print = form.get_by_text("Once agreed, the roll call starts again.")
    expect(small_print).to_be_hidden()
    form.locator("#a4").fill(typed)
    expect(small_print).to_be_visible()
    form.get_by_role("button", name=SEND).click()

    expect(agreed(form)).to_have_text(f"agreed: {said} Hz, the roll call starts again")
    expect(agreed(form)).to_be_in_viewport()
    expect(form.locator("#strip-hz")).to_have_text(said)
    expect(form.locator("#a4")).to_have_value(said)
    expect(form.locator(".draft")).to_be_hidden()
    expect(small_print).to_be_hidden()
    shoot(form, f"reference-set-{said}")
    assert station.snapshot()["reference"]["a4_hz"] == hz


def test_an_unchanged_value_is_not_sent_but_said(form, station):
    changes = []
    form.on("request", lambda request: changes.append(request.method != "GET"))
    form.locator("#a4").fill("440")
    form.get_by_role("button", name=SEND).click()

    expect(told(form)).to_have_text("A4 already is 440.0 Hz")
    assert not any(changes)

    form.get_by_role("button", name="higher").click()
    expect(told(form)).to_be_empty()


def test_the_field_follows_what_others_set_unless_someone_is_at_it(form, station):
    form.get_by_role("button", name=SEND).click()
    expect(told(form)).to_have_text("A4 already is 440.0 Hz")
    station.agree_on(442.0, "Ilse")
    expect(form.locator("#a4")).to_have_value("442.0")
    expect(told(form)).to_be_empty()  # it would be untrue now

    form.locator("#a4").fill("441")
    station.agree_on(443.0, "Ilse")
    expect(form.locator("#strip-hz")).to_have_text("443.0")
    expect(form.locator("#a4")).to_have_value("441")


@pytest.mark.parametrize("size", [(390, 844), (320, 568), (844, 390), (568, 320)])
def test_no_code_is_asked_for_in_the_same_words_by_both_forms(page, station, size):
    page.set_viewport_size({"width": size[0], "height": size[1]})
    words = "type the room code (printed when the station starts)"
    page.get_by_role("button", name="change").click()
    page.get_by_role("dialog").get_by_label("capo").select_option("2")
    page.get_by_role("button", name="change it").click()
    expect(page.get_by_role("dialog").get_by_role("alert")).to_have_text(words)
    expect(page.get_by_role("dialog").get_by_role("alert")).to_be_in_viewport(ratio=1)
    shoot(page, f"change-no-code-{size[0]}x{size[1]}")
    page.get_by_role("button", name="back").click()

    page.get_by_role("link", name="the reference").last.click()
    page.get_by_role("button", name="lower").click()
    page.get_by_role("button", name=SEND).click()
    sheet = page.get_by_role("dialog", name="Room code")
    sheet.get_by_role("button", name="go on").click()
    expect(sheet.get_by_role("alert")).to_have_text(words)
    expect(sheet.get_by_role("alert")).to_be_in_viewport(ratio=1)
    shoot(page, f"reference-no-code-{size[0]}x{size[1]}")


def test_a_code_in_capitals_is_taken_and_remembered_for_the_other_form(page, station):
    page.get_by_role("button", name="change").click()
    page.get_by_role("dialog").get_by_label("capo").select_option("2")
    page.get_by_role("dialog").get_by_label("room code").fill("OAK-47 ")
    page.get_by_role("button", name="change it").click()
    expect(page.locator(".me")).to_contain_text("capo 2")

    page.get_by_role("link", name="the reference").last.click()
    page.get_by_role("button", name="lower").click()
    page.get_by_role("button", name=SEND).click()

    expect(page.locator("#strip-hz")).to_have_text("439.9")


def test_who_set_the_reference_is_said_once_in_one_line(page, station):
    origin = page.locator("#strip-origin")
    for by, source, said in (
        ("someone on the page", "set on the page", "set on the page, "),
        ("Tove", "set on the page", "by Tove, "),
        ("", "settings", "from the settings, "),
    ):
        station.agree_on(441.0, by, source)
        expect(origin).to_contain_text(said)
        assert origin.inner_text().count("page") == said.count("page")
        assert origin.bounding_box()["height"] < 24  # one line of 14 px letters


# -- the drawing ---------------------------------------------------------


def overlaps(one: dict, other: dict) -> bool:
    apart_x = one["x"] + one["width"] <= other["x"] or other["x"] + other["width"] <= one["x"]
    apart_y = one["y"] + one["height"] <= other["y"] or other["y"] + other["height"] <= one["y"]
    return not (apart_x or apart_y)


def words_boxes(page: Page) -> list[dict]:
    """Where every label and number of the drawing stands, but for its blank ticks."""
    parts = ".stand-name, .draft-name, .proposed-name, .agreed strong, .scale .hz:not(:empty)"
    # A number of the scale keeps room for its tick at the left: its letters count.
    return page.locator(f".axis :is({parts})").evaluate_all(
        """(all) => all.filter((each) => each.checkVisibility()).map((each) => {
            const words = document.createRange();
            words.selectNodeContents(each);
            const boxed = each.matches(".stand-name, .draft-name, .proposed-name");
            const { x, y, width, height } = (boxed ? each : words).getBoundingClientRect();
            return { text: each.innerText, x, y, width, height };
        })"""
    )


@pytest.mark.parametrize("size", [(390, 844), (320, 568), (844, 390), (568, 320)])
@pytest.mark.parametrize("wanted", ["441.2", "440.4", "439.1", "446"])
def test_labels_of_the_drawing_keep_clear_of_each_other(form, station, size, wanted):
    width, height = size
    form.set_viewport_size({"width": width, "height": height})
    station.play_fixed("ilse", 60, 4.7)
    expect(form.get_by_role("button", name="Ilse")).to_be_visible()
    form.locator("#a4").fill(wanted)
    expect(form.locator(".draft-name")).to_contain_text(wanted)
    shoot(form, f"reference-{wanted}-{width}x{height}")

    boxes = words_boxes(form)
    axis = form.locator(".axis").bounding_box()
    lines = [form.locator(each).bounding_box() for each in (".draft-line", ".stand")]

    assert len(boxes) >= 4
    for one, other in itertools.combinations(boxes, 2):
        assert not overlaps(one, other), (one, other)
    for box in boxes:
        assert axis["y"] <= box["y"] and box["y"] + box["height"] <= axis["y"] + axis["height"]
        assert box["x"] + box["width"] <= width
        if box["text"].split(" ")[0].isdigit():  # a number of the scale
            assert not any(overlaps(box, line) for line in lines), box


def test_an_instrument_within_the_tolerance_stands_white_on_the_line(form, station):
    stand = form.get_by_role("button", name="Ilse")
    for cents, colour in ((-1.9, IN), (1.9, IN), (-2.1, BELOW), (2.1, ABOVE)):
        station.play_fixed("ilse", 60, cents)
        expect(stand).to_have_css("color", colour)
        said_in = "in, " in stand.inner_text()
        assert said_in == (colour == IN)


def test_another_phone_sees_the_tolerance_of_its_station(browser, station, server):
    station.set_station(in_cents=1.0)
    with phone(browser, server) as page:
        expect(page.locator(".call")).to_contain_text("in: within 1 cent")
        page.get_by_role("link", name="the reference").last.click()
        station.play_fixed("ilse", 60, 1.9)
        expect(page.get_by_role("button", name="Ilse")).to_have_css("color", ABOVE)
