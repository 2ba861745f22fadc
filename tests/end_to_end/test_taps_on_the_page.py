"""A drummer's taps on the page: for eyes two metres away and hands that hold sticks."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from playwright.sync_api import Page, expect

from tests.support.fake_station import FakeStation
from tests.support.page_client import wait_until
from tests.support.phones import boxes_of, phone, shoot
from tests.support.reference_page import know_code

pytestmark = pytest.mark.browser

TOM_HZ = 98.7  # G2 and 12.3 cents, at A4 = 440 Hz
STICK_TARGET_PX = 64
SIZES = [(390, 844), (320, 568), (844, 390), (568, 320), (1280, 800)]


@pytest.fixture
def drummer(browser, server) -> Iterator[Page]:
    with phone(browser, server, who="Yorick") as opened:
        yield opened


def tap(station: FakeStation, count: int, first_s: float = 0.0, **how) -> None:
    for number in range(count):
        cents = (0.0, 3.0, -2.0, 1.0, -4.0)[number % 5]
        station.strike("yorick", first_s + 1.0 + number, TOM_HZ, cents=cents, **how)


def middle(box: dict | None) -> float:
    if box is None:  # it is being drawn anew
        return float("nan")
    return box["y"] + box["height"] / 2


def test_a_drummer_is_asked_for_five_taps_and_told_to_mind_their_ears_once(drummer, station):
    expect(drummer.locator(".drum-hint")).to_have_text("tap five times near the middle")
    expect(drummer.get_by_text("Wear ear protection")).to_be_visible()
    expect(drummer.get_by_role("button", name="again")).to_be_disabled()
    expect(drummer.locator(".field")).to_be_hidden()
    shoot(drummer, "taps-waiting")

    tap(station, 1)
    expect(drummer.locator(".drum-status strong")).to_have_text("1 of 5")
    expect(drummer.get_by_text("Wear ear protection")).to_be_hidden()
    station.start_taps_again("yorick", "yorick")

    expect(drummer.locator(".drum-hint")).to_be_visible()
    expect(drummer.get_by_text("Wear ear protection")).to_be_hidden()
    drummer.reload()
    expect(drummer.locator(".drum-hint")).to_be_visible()
    expect(drummer.get_by_text("Wear ear protection")).to_be_hidden()


def test_five_taps_say_the_note_and_stand_side_by_side_at_their_heights(drummer, station):
    tap(station, 5)

    expect(drummer.locator(".drum-status strong")).to_have_text("5 of 5")
    expect(drummer.locator("#drum-note")).to_have_text("G2")
    expect(drummer.locator("#drum-cents")).to_have_text("+12.3 cents")
    expect(drummer.locator(".drum-figures")).to_contain_text(" · 98.7 Hz")
    shoot(drummer, "taps-five")  # and let movements end
    strokes = boxes_of(drummer.locator(".stroke-lens"))
    own = drummer.locator(".fundamental .mode-lens").bounding_box()
    over = drummer.locator(".overtone .mode-lens").bounding_box()
    assert [each["x"] for each in strokes] == sorted(each["x"] for each in strokes)
    assert len(strokes) == 5
    assert all(abs(middle(each) - middle(own)) < 6 for each in strokes)
    # 1.593 of the fundamental is 8.06 semitones above it.
    lines = {each.inner_text(): middle(each.bounding_box()) for each in note_names(drummer)}
    semitone = (lines["G2"] - middle(over)) / (8.06 + 0.12)
    assert middle(over) < middle(own) < lines["G2"]  # sharp is up
    assert lines["G2"] - middle(own) == pytest.approx(0.123 * semitone, abs=1.0)


def note_names(page: Page):
    return [each for each in page.locator(".note-line").all() if each.inner_text()]


def test_a_drum_in_tune_with_a_line_stands_on_it_wherever_the_reference_is(drummer, station):
    station.agree_on(442.0, "Tove")
    station.strike("yorick", 1.0, 98.44434)  # G2 at A4 = 442 Hz (equal temperament)

    expect(drummer.locator("#drum-cents")).to_contain_text("0.0 cents")
    line = drummer.locator(".note-line[data-nearest]")
    expect(line).to_have_text("G2")
    lens = drummer.locator(".fundamental .mode-lens")
    wait_until(lambda: abs(middle(line.bounding_box()) - middle(lens.bounding_box())) < 1.5)


def test_a_higher_drum_is_drawn_higher_and_a_longer_ring_longer(drummer, station):
    station.strike("yorick", 1.0, TOM_HZ, ring_s=0.8)
    expect(drummer.locator(".tail-row").last).to_contain_text("0.80 s")
    expect(drummer.locator(".tail-row").first).to_contain_text("0.40 s")
    tails = drummer.locator(".tail")
    expect(tails.first).to_have_css("transition-duration", "0.2s")
    drummer.wait_for_timeout(300)
    overtone, fundamental = (each.bounding_box()["width"] for each in tails.all())

    assert fundamental == pytest.approx(2 * overtone, rel=0.02)


def test_what_is_not_counted_is_hollow_and_says_why(drummer, station):
    tap(station, 2)
    station.strike("yorick", 5.0, TOM_HZ, verdict="rim")

    expect(drummer.locator(".drum-status")).to_have_text("2 of 5rim: not counted")
    marks = drummer.locator(".stroke")
    expect(marks).to_have_count(3)
    expect(marks.nth(2).locator(".stroke-why")).to_have_text("rim")
    expect(marks.nth(2).locator("path")).to_have_css("fill", "rgb(10, 10, 13)")
    expect(marks.nth(1).locator("path")).to_have_css("fill", "rgb(245, 242, 234)")
    expect(marks.nth(1).locator(".stroke-why")).to_be_empty()

    lowest = drummer.locator(".note-line").first.bounding_box()
    rim = marks.nth(2).locator(".stroke-lens").bounding_box()
    assert middle(rim) > middle(lowest)  # it has no pitch, so it stands at none

    station.strike("yorick", 6.0, TOM_HZ)
    expect(drummer.locator(".drum-status strong")).to_have_text("3 of 5")
    assert "rim" not in drummer.locator(".drum-status").inner_text()


def test_a_rim_alone_is_told_and_shows_no_pitch(drummer, station):
    station.strike("yorick", 5.0, TOM_HZ, verdict="rim")

    expect(drummer.locator(".drum-status")).to_have_text("0 of 5rim: not counted")
    expect(drummer.locator("#drum-note")).to_be_hidden()
    expect(drummer.locator(".fundamental")).to_be_hidden()
    expect(drummer.locator(".note-lines")).to_be_hidden()
    shoot(drummer, "taps-rim-alone")


def test_another_drum_begins_anew_and_says_so(drummer, station):
    tap(station, 3)
    for at_s in (10.0, 11.0):
        station.strike("yorick", at_s, 2 * TOM_HZ)

    expect(drummer.locator(".drum-status")).to_have_text("2 of 5another drum: begun anew")
    expect(drummer.locator("#drum-note")).to_have_text("G3")
    expect(drummer.locator(".stroke")).to_have_count(2)


def test_two_heads_that_beat_pulse_slowly_enough_and_say_how_often(drummer, station):
    for beat_hz, drawn in ((1.7, "1.70"), (7.4, "3.00")):
        station.start_taps_again("yorick", "yorick")
        tap(station, 5, 10 * beat_hz, beat_hz=beat_hz)

        expect(drummer.locator(".drum-kind")).to_contain_text(f"beat {beat_hz} a second")
        expect(drummer.locator(".fundamental")).to_have_attribute("data-pulse-hz", drawn)
    drummer.wait_for_function(
        "() => document.querySelector('.fundamental path').style.transform !== 'scaleY(0.62)'"
    )


def test_with_reduced_motion_nothing_pulses(browser, station, server):
    with phone(browser, server, who="Yorick", reduced_motion="reduce") as page:
        tap(station, 5, beat_hz=1.7)
        expect(page.locator(".drum-kind")).to_contain_text("beat 1.7 a second")
        path = page.locator(".fundamental path")

        drawn = {
            path.get_attribute("style") for _ in range(20) if page.wait_for_timeout(30) is None
        }

    assert len(drawn) == 1


def test_again_is_large_and_forgets_what_was_tapped(drummer, station):
    know_code(drummer)
    tap(station, 5)
    again = drummer.get_by_role("button", name="again")
    expect(again).to_be_enabled()

    again.click()

    expect(drummer.locator(".drum-hint")).to_have_text("tap five times near the middle")
    assert station.snapshot()["players"][3]["taps"]["strokes"] == []
    tap(station, 2, 20.0)
    expect(drummer.locator(".drum-status strong")).to_have_text("2 of 5")


def test_a_snapshot_that_a_stroke_overtook_takes_nothing_back(drummer, station):
    tap(station, 2)
    expect(drummer.locator(".drum-status strong")).to_have_text("2 of 5")
    old = station.snapshot()
    tap(station, 3, 5.0)
    expect(drummer.locator(".drum-status strong")).to_have_text("5 of 5")

    station.hub.publish("room", "", {**old, "station": {**old["station"], "name": "Late"}})

    expect(drummer).to_have_title("Late")
    expect(drummer.locator(".drum-status strong")).to_have_text("5 of 5")


def test_another_phone_sees_what_was_tapped_before_it_came(browser, station, server):
    tap(station, 5)

    with phone(browser, server, who="Yorick") as page:
        expect(page.locator("#drum-note")).to_have_text("G2")
        expect(page.locator(".stroke")).to_have_count(5)


def test_a_station_that_cannot_hear_says_so_in_place_of_the_hint(drummer, station):
    station.set_line(4, state="no signal")
    expect(drummer.locator(".drum-hint")).to_have_text("no signal on line 4: is the lead in?")
    told = station.snapshot()["station"]["input"]
    station.set_station(input={**told, "state": "waiting", "reason": "the card was unplugged"})
    expect(drummer.locator(".drum-hint")).to_have_text("not listening")


def test_the_band_reads_the_drummers_last_tap_in_words(page, station):
    page.get_by_role("link", name="the band").click()
    row = page.locator(".row", has_text="Yorick")
    expect(row).to_contain_text("nothing tapped yet")

    tap(station, 5)

    expect(row.locator(".row-state")).to_have_text("G2")
    expect(row.locator(".row-tap")).to_have_text(
        "last tap: G2, +12 cents, 98.7 Hz, rings 0.90 s, 5 of 5 strokes"
    )
    row.scroll_into_view_if_needed()
    shoot(page, "taps-band")


def test_notes_are_named_as_this_phone_names_them(drummer, station):
    drummer.evaluate("localStorage.setItem('station.names', 'solfege')")
    drummer.reload()
    tap(station, 5)

    expect(drummer.locator("#drum-note")).to_have_text("Sol2")
    expect(drummer.locator(".note-line[data-nearest]")).to_have_text("Sol2")


def test_nothing_says_that_a_drum_is_wrong(drummer, station):
    tap(station, 3, beat_hz=2.1, sure=False)
    station.strike("yorick", 8.0, 3 * TOM_HZ)
    expect(drummer.locator(".drum-status")).to_contain_text("not counted")

    text = drummer.locator("#view-strings").inner_text().lower()

    assert "not counted" in text
    for word in ("tighten", "slacken", "wrong", "bad", "out of tune", "too high", "too low"):
        assert word not in text


FAULTS = """([target]) => {
    const faults = [];
    const tabs = document.querySelector(".tabs").getBoundingClientRect();
    for (const each of document.querySelectorAll(".drum *")) {
        if (!each.checkVisibility({ visibilityProperty: true })) continue;
        const own = [...each.childNodes].some((n) => n.nodeType === 3 && n.textContent.trim());
        const { left, right, bottom, height } = each.getBoundingClientRect();
        const name = `${each.tagName}.${each.getAttribute("class")}: ${each.textContent}`;
        if (each.closest(".only-spoken")) continue;
        if (own && parseFloat(getComputedStyle(each).fontSize) < 13) faults.push(`small ${name}`);
        if (own && (left < -0.5 || right > innerWidth + 0.5)) faults.push(`cut ${name}`);
        if (own && bottom > tabs.top + 1) faults.push(`below the tabs ${name}`);
        if (each.matches("button") && height < target) faults.push(`low ${name}`);
    }
    if (document.documentElement.scrollWidth > innerWidth) faults.push("scrolls sideways");
    return faults;
}"""


@pytest.mark.parametrize("size", SIZES)
def test_every_state_is_whole_legible_and_in_reach(browser, station, server, size):
    viewport = {"width": size[0], "height": size[1]}
    with phone(browser, server, who="Yorick", viewport=viewport) as page:

        def look(name: str) -> None:
            shoot(page, f"taps-{name}-{size[0]}x{size[1]}")
            assert page.evaluate(FAULTS, [STICK_TARGET_PX]) == [], name

        expect(page.locator(".drum-hint")).to_be_visible()
        look("first")
        tap(station, 3, beat_hz=1.7)
        station.strike("yorick", 5.0, TOM_HZ, verdict="rim")
        expect(page.locator(".drum-status")).to_contain_text("rim: not counted")
        look("rim")
        station.strike("yorick", 6.0, 1.6 * TOM_HZ)
        expect(page.locator(".drum-status")).to_contain_text("other drum: not counted")
        look("other")
        tap(station, 2, 7.0, ring_s=2.6)
        expect(page.locator(".drum-status strong")).to_have_text("5 of 5")
        look("five")
