"""The page in a real browser, driven by an invented band.

Screenshots of every state are kept for people to look at (tests/support/phones.py).
"""

from __future__ import annotations

import itertools
import time

import pytest
from playwright.sync_api import Page, expect

from station.web.app import create_app
from station.web.server import PageServer
from tests.support.fake_station import FakeStation, sounding
from tests.support.page_client import wait_until
from tests.support.phones import PHONE, phone, shoot

pytestmark = pytest.mark.browser

BELOW, ABOVE, IN = "rgb(255, 177, 43)", "rgb(98, 182, 255)", "rgb(255, 255, 255)"


def sizes_of_mark(page: Page, frames: int = 150) -> list[float]:
    """The drawn size of the mark in each of so many frames."""
    return page.evaluate(
        """(frames) => new Promise((done) => {
            const sizes = [];
            const look = () => {
                const path = document.querySelector("#mark path");
                sizes.push(new DOMMatrix(getComputedStyle(path).transform).d);
                if (sizes.length < frames) requestAnimationFrame(look); else done(sizes);
            };
            requestAnimationFrame(look);
        })""",
        frames,
    )


def pulses(sizes: list[float]) -> int:
    """How often the size has passed its middle on the way up."""
    middle = (max(sizes) + min(sizes)) / 2
    return sum(before < middle <= after for before, after in itertools.pairwise(sizes))


# -- my strings ----------------------------------------------------------


def test_the_page_asks_who_i_am_and_remembers_it(browser, station, server):
    with phone(browser, server, who=None) as page:
        expect(page.get_by_role("heading", name="Who are you?")).to_be_visible()
        shoot(page, "who-are-you")

        page.get_by_role("button", name="Brannock").click()
        page.reload()

        expect(page.locator(".me strong")).to_have_text("Brannock")
        expect(page.get_by_role("heading", name="Who are you?")).to_be_hidden()


def test_a_string_that_goes_flat_says_tighten_below_the_line(page, station):
    expect(page.locator(".hint")).to_have_text("play a string")
    shoot(page, "silent")

    with sounding(station, "tove", 5, -23.4) as reading:
        expect(page.locator("#word")).to_have_text("tighten")
        expect(page.locator("#cents")).to_have_text("−23.4")
        expect(page.locator("#uncertainty")).to_have_text("±0.3")
        expect(page.locator("#beats")).to_have_text(f"{reading['beats_hz']:.1f}")
        expect(page.locator(".target-note")).to_have_text("A2")
        expect(page.locator("#word")).to_have_css("color", BELOW)
        shoot(page, "tighten")
        mark, line = page.locator("#mark").bounding_box(), page.locator(".target-line")

        assert mark["y"] + mark["height"] / 2 > line.bounding_box()["y"]


def test_a_sharp_string_says_slacken_above_the_line_and_then_in_on_it(page, station):
    line_y = page.locator(".target-line").bounding_box()["y"]

    with sounding(station, "tove", 4, 11.2):
        expect(page.locator("#word")).to_have_text("slacken")
        expect(page.locator("#word")).to_have_css("color", ABOVE)
        shoot(page, "slacken")
        sharp = page.locator("#mark").bounding_box()
    with sounding(station, "tove", 4, 0.6):
        expect(page.locator("#word")).to_have_text("in")
        expect(page.locator("#word")).to_have_css("color", IN)
        shoot(page, "in")
        settled = page.locator("#mark").bounding_box()

    assert sharp["y"] + sharp["height"] / 2 < line_y - 10
    assert settled["y"] + settled["height"] / 2 == pytest.approx(line_y, abs=4)


def test_shapes_tell_the_verdicts_apart_without_colour(page, station):
    drawn = {}
    for verdict, cents in (("tighten", -12.0), ("slacken", 12.0), ("in", 0.0)):
        with sounding(station, "tove", 3, cents):
            expect(page.locator("#word")).to_have_text(verdict)
            drawn[verdict] = page.locator("#mark path").get_attribute("d")
            seat = page.locator("#view-strings .seat", has_text="G3").locator("path")
            expect(seat).to_have_attribute("d", drawn[verdict])

    assert len(set(drawn.values())) == 3


def test_the_pulse_slows_as_the_string_approaches_and_stands_still_when_in(page, station):
    counted = {}
    for cents in (-30.0, -9.0):
        with sounding(station, "tove", 5, cents) as reading:
            rate = f"{reading['beats_hz']:.2f}"
            expect(page.locator("#mark")).to_have_attribute("data-pulse-hz", rate)
            counted[cents] = pulses(sizes_of_mark(page))
    with sounding(station, "tove", 5, 1.0):
        expect(page.locator("#word")).to_have_text("in")
        still = sizes_of_mark(page, 40)

    assert counted[-30.0] > counted[-9.0] >= 1
    assert len(set(still)) == 1


def test_a_reading_that_ends_leaves_nothing_that_looks_live(page, station):
    station.pluck("tove", 5, -20.0)
    expect(page.locator("#word")).to_have_text("tighten")

    expect(page.locator("#word")).to_have_text("")
    expect(page.locator("#mark")).to_be_hidden()
    expect(page.locator(".numbers")).to_be_hidden()
    expect(page.locator("#view-strings .seat", has_text="A2")).to_contain_text("tighten")


def test_another_players_string_does_not_move_my_mark(page, station):
    with sounding(station, "brannock", 4, -30.0):
        expect(page.locator("#roll-rest")).to_contain_text("1 out")
        expect(page.locator("#word")).to_have_text("")


def test_a_player_of_fixed_pitch_sees_where_the_instrument_stands(browser, station, server):
    with phone(browser, server, who="Ilse") as page:
        expect(page.locator(".hint")).to_have_text("play a note")
        station.play_fixed("ilse", 69, 4.7)
        expect(page.locator(".hint")).to_have_text("4.7 cents above the reference")
        shoot(page, "fixed-pitch")


def test_instrument_tuning_and_capo_are_changed_with_the_room_code(page, station):
    page.get_by_role("button", name="change").click()
    page.get_by_label("tuning").select_option("dadgad")
    page.get_by_label("capo").select_option("2")
    page.get_by_role("dialog").get_by_label("room code").fill("guess")
    page.get_by_role("button", name="change it").click()
    expect(page.get_by_role("dialog").get_by_role("alert")).to_have_text(
        "that is not the room code"
    )
    shoot(page, "change-refused")
    assert station.player("tove")["tuning"] == "drop-d"

    page.get_by_role("dialog").get_by_label("room code").fill("oak-47")
    page.get_by_role("button", name="change it").click()

    expect(page.get_by_role("dialog")).to_be_hidden()
    expect(page.locator(".me")).to_contain_text("DADGAD · capo 2")
    expect(page.locator("#view-strings .seat-name")).to_have_text(
        ["D2", "A2", "D3", "G3", "A3", "D4"]
    )


# -- the band ------------------------------------------------------------


def test_the_roll_call_completes_when_the_last_string_is_in(page, station):
    page.get_by_role("link", name="the band").click()
    station.pluck("brannock", 4, -35.0)
    station.pluck("tove", 4, 6.0)
    station.pluck("tove", 6, 0.5)
    expect(page.locator("#roll-call")).to_contain_text("of 10 in")
    expect(page.locator("#roll-in")).to_have_text("1")
    expect(page.locator("#roll-rest")).to_have_text("2 out · 7 not heard")
    shoot(page, "band")

    for player in ("tove", "brannock"):
        for string in station.snapshot()["players"][0 if player == "tove" else 1]["strings"]:
            station.pluck(player, string["string"], 0.4)

    expect(page.locator("#roll-in")).to_have_text("all in")
    expect(page.locator("#view-band [data-roll='in']")).to_have_count(10)
    expect(page.locator("#live")).to_have_text("everyone is in")
    shoot(page, "band-complete")


def test_a_name_full_of_markup_is_shown_as_it_is_written(page, station):
    junk = '<img src=x onerror="window.bad=1">&amp;'
    station.change_player("tove", {"name": junk})

    expect(page.locator(".me strong")).to_have_text(junk)
    page.get_by_role("link", name="the band").click()
    expect(page.get_by_role("heading", name=junk)).to_be_visible()
    shoot(page, "junk-name")

    assert page.evaluate("window.bad") is None
    assert page.locator("img").count() == 1  # the join code
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]


def test_the_page_shows_how_to_join(page, station):
    page.get_by_role("link", name="the band").click()
    code = page.get_by_alt_text("QR code of this page's address")
    code.scroll_into_view_if_needed()

    expect(page.locator(".addresses")).to_have_text("http://192.0.2.17:8080/")
    expect(code).to_have_js_property("complete", True)
    assert code.evaluate("(image) => image.naturalWidth") > 0


# -- the reference -------------------------------------------------------


def test_two_phones_see_the_same_reference_and_the_roll_call_starts_again(browser, station, server):
    station.pluck("tove", 5, 0.1)
    with phone(browser, server) as mine, phone(browser, server, who="Brannock") as other:
        expect(other.locator("#roll-in")).to_have_text("1")
        mine.get_by_role("link", name="the reference").last.click()
        for _ in range(12):
            mine.get_by_role("button", name="lower").click()
        expect(mine.locator(".draft span")).to_have_text("438.8\n−4.7 cents")
        shoot(mine, "reference-considered")
        mine.get_by_role("button", name="propose it").click()
        mine.get_by_role("dialog").get_by_label("room code").fill("oak-47")
        mine.get_by_role("button", name="go on").click()
        other.evaluate("localStorage.setItem('station.code', 'oak-47')")
        other.get_by_role("button", name="yes").click()

        for page in (mine, other):
            expect(page.locator("#strip-hz")).to_have_text("438.8")
            expect(page.locator("#strip-origin")).to_contain_text("by Tove")
            expect(page.locator("#roll-in")).to_have_text("0")
        expect(mine.locator(".draft")).to_be_hidden()


def test_a_reference_out_of_reach_is_refused(page, station):
    page.get_by_role("link", name="the reference").last.click()
    page.locator("#a4").fill("4400")
    page.get_by_role("button", name="propose it").click()

    expect(page.locator("#view-reference").get_by_role("alert")).to_contain_text("4400 Hz")
    expect(page.locator("#strip-hz")).to_have_text("440.0")


def test_an_instrument_of_fixed_pitch_stands_on_the_axis_and_can_be_taken(page, station):
    page.get_by_role("link", name="the reference").last.click()
    station.play_fixed("ilse", 60, 4.7)
    stand = page.get_by_role("button", name="Ilse")
    # 440 Hz raised by 4.7 cents: 440 * 2 ** (4.7 / 1200) = 441.196...
    expect(stand).to_contain_text("441.2")
    shoot(page, "reference")
    assert stand.bounding_box()["y"] < page.locator(".agreed").bounding_box()["y"]

    stand.click()

    expect(page.locator("#a4")).to_have_value("441.2")


# -- what is wrong is said -----------------------------------------------


def test_the_page_reconnects_after_the_server_has_restarted(browser, station):
    first = PageServer(create_app(station), "127.0.0.1", 0, station.hub)
    first.start()
    try:
        with phone(browser, first) as page, sounding(station, "tove", 5, -20.0):
            expect(page.locator("#word")).to_have_text("tighten")
            first.stop()
            expect(page.locator("#banners")).to_contain_text("Connection lost")
            expect(page.locator("#word")).to_have_text("")
            expect(page.locator("html")).to_have_attribute("data-link", "lost")
            shoot(page, "connection-lost")
            station.agree_on(443.0, "Ilse", "set on the page")

            with PageServer(create_app(station), "127.0.0.1", first.port, station.hub):
                expect(page.locator("#banners")).to_be_empty(timeout=15_000)
                expect(page.locator("#strip-hz")).to_have_text("443.0")
                expect(page.locator("#word")).to_have_text("tighten")
    finally:
        first.stop()


def test_input_lamps_and_tracker_are_said_plainly_on_every_view(page, station):
    told = {"device": "hw:CARD=Line4,DEV=0", "overruns": 0, "restarts": 2}
    station.set_station(
        simulated=True,
        input={**told, "state": "waiting", "reason": "the card was unplugged"},
        lamps={"state": "off", "reason": "no GPIO on this box"},
        tracker="numpy",
        tracker_reason="aubio is not installed",
        banners=["The saved room was damaged; it was put aside."],
    )

    for view in ("my strings", "the band", "the reference"):
        page.get_by_role("link", name=view).last.click()
        banners, notices = page.locator("#banners"), page.locator("#notices")
        expect(banners).to_contain_text("waiting for hw:CARD=Line4,DEV=0: the card was unplugged")
        expect(banners).to_contain_text("The saved room was damaged")
        expect(notices).to_contain_text("simulated band, no real input")
        expect(notices).to_contain_text("lamps off: no GPIO on this box")
        expect(notices).to_contain_text("numpy tracker in use: aubio is not installed")
        expect(page.locator("#strip-hz")).to_be_visible()
    page.get_by_role("link", name="my strings").click()
    expect(page.locator(".hint")).to_have_text("not listening")
    shoot(page, "faults")


def test_a_line_without_signal_is_named(page, station):
    station.set_line(1, state="no signal")

    expect(page.locator(".hint")).to_have_text("no signal on line 1: is the lead in?")


def test_a_phone_too_many_is_told_so_and_gets_in_when_one_leaves(browser):
    small = FakeStation(max_streams=1)
    with (
        PageServer(create_app(small), "127.0.0.1", 0, small.hub) as server,
        phone(browser, server) as first,
    ):
        # Who says who they are connects anew, and for a moment the place is free.
        wait_until(lambda: small.hub.presence.players() == ["tove"])
        with phone(browser, server, who=None) as second:
            expect(second.locator("#banners")).to_contain_text("All 1 places for phones are taken")
            first.context.close()

            expect(second.get_by_role("heading", name="Who are you?")).to_be_visible(timeout=15_000)


# -- being a good page ---------------------------------------------------


def test_one_stream_for_each_page_closed_while_hidden_and_fresh_afterwards(page, station):
    def hide(hidden):
        page.evaluate(
            """(hidden) => {
                Object.defineProperty(document, "hidden", { value: hidden, configurable: true });
                document.dispatchEvent(new Event("visibilitychange"));
            }""",
            hidden,
        )

    wait_until(lambda: station.hub.streams == 1)
    hide(True)
    wait_until(lambda: station.hub.streams == 0)
    station.agree_on(442.0, "Ilse", "set on the page")
    hide(False)

    expect(page.locator("#strip-hz")).to_have_text("442.0")
    expect(page.locator("html")).to_have_attribute("data-link", "live")
    assert station.hub.streams == 1


def test_with_reduced_motion_nothing_moves_and_the_number_tells(browser, station, server):
    with (
        phone(browser, server, reduced_motion="reduce") as page,
        sounding(station, "tove", 5, -30.0) as reading,
    ):
        expect(page.locator("#word")).to_have_text("tighten")
        expect(page.locator("#beats")).to_have_text(f"{reading['beats_hz']:.1f}")
        sizes = sizes_of_mark(page, 40)

    assert len(set(sizes)) == 1


def linear(part: float) -> float:
    """sRGB to linear light (WCAG 2.2, definition of relative luminance)."""
    part /= 255
    return part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4


def luminance(colour: tuple[float, float, float]) -> float:
    red, green, blue = (linear(part) for part in colour)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def test_no_pulse_flashes_more_than_wcag_allows(page, station):
    # WCAG 2.2, success criterion 2.3.1 and its definition of a general flash: a change of
    # relative luminance by 10% of full, faster than three a second, over 25% of any
    # 341 x 256 px. Either the brightness stays within it, or the area does; here both.
    laws = page.evaluate(
        """async () => {
            const { pulseAt } = await import("/static/js/pulse.js");
            return Array.from({ length: 400 }, (_, i) => ({ beats: i / 10, ...pulseAt(i / 10) }));
        }"""
    )
    night = (10, 10, 13)

    for law in laws:
        if law["rateHz"] <= 3:
            continue
        for colour in ((255, 177, 43), (98, 182, 255), (255, 255, 255)):
            dim = 1 - law["lightSwing"]
            dimmed = tuple(c * dim + n * (1 - dim) for c, n in zip(colour, night, strict=True))
            assert luminance(colour) - luminance(dimmed) < 0.10, law
    rates = [law["rateHz"] for law in laws]
    assert rates == sorted(rates)

    page.set_viewport_size({"width": 1280, "height": 900})
    with sounding(station, "tove", 1, -40.0):
        expect(page.locator("#word")).to_have_text("tighten")
        sizes = sizes_of_mark(page, 60)
        box = page.locator("#mark").bounding_box()
    # One side of the lens is a parabola over its width: two thirds of its box.
    moving = 2 / 3 * min(box["width"], 341) * box["height"] / 2 * (max(sizes) - min(sizes))
    assert 0 < moving < 0.25 * 341 * 256


def test_spoken_text_is_polite_and_does_not_chatter(page, station):
    expect(page.locator("#live")).to_have_attribute("aria-live", "polite")
    page.evaluate(
        """() => {
            window.spoken = 0;
            const spoken = new MutationObserver(() => { window.spoken += 1; });
            const changes = { childList: true, characterData: true, subtree: true };
            spoken.observe(document.getElementById("live"), changes);
        }"""
    )
    readings = 30
    for number in range(readings):
        station.pluck("tove", 5, -30.0 + number / 2)
        time.sleep(0.05)

    expect(page.locator("#live")).to_contain_text("A2: tighten")
    assert page.evaluate("window.spoken") < readings / 5


def test_the_shell_opens_while_the_station_is_away(browser, station):
    server = PageServer(create_app(station), "127.0.0.1", 0, station.hub)
    server.start()
    try:
        with phone(browser, server) as page:
            page.evaluate("navigator.serviceWorker.ready.then(() => true)")
            page.reload()
            expect(page.locator("html")).to_have_attribute("data-link", "live")
            server.stop()
            page.reload()

            expect(page.locator("#banners")).to_contain_text("Connection lost")
            expect(page.locator("#strip-hz")).to_have_text("–")
            expect(page.get_by_role("link", name="the band")).to_be_visible()
    finally:
        server.stop()


@pytest.mark.parametrize("size", [(320, 568), (390, 844), (844, 390), (1024, 1366)])
def test_every_view_fits_its_screen(page, station, size):
    width, height = size
    page.set_viewport_size({"width": width, "height": height})

    for view in ("my strings", "the band", "the reference"):
        page.get_by_role("link", name=view).last.click()
        with sounding(station, "tove", 5, -13.0):
            expect(page.locator("#live")).to_contain_text("A2")
            shoot(page, f"{view.replace(' ', '-')}-{width}x{height}")
            assert page.evaluate("document.documentElement.scrollWidth") <= width
            tabs = page.locator(".tabs").bounding_box()
            assert tabs["y"] + tabs["height"] == pytest.approx(height, abs=1)


def test_the_word_is_as_wide_as_the_phone_allows(page, station):
    # Legible at 2 m: a letter of 5 minutes of arc is the smallest a sharp eye reads
    # (Snellen's 20/20 line), 2.9 mm at 2 m; four times that is comfortable on a stage (our
    # choice). A phone of 390 px is about 65 mm wide: 6 px a millimetre.
    for cents, word in ((-20.0, "tighten"), (20.0, "slacken"), (0.0, "in")):
        with sounding(station, "tove", 5, cents):
            expect(page.locator("#word")).to_have_text(word)
            size = page.locator("#word").evaluate("(w) => parseFloat(getComputedStyle(w).fontSize)")
            box = page.locator("#word").bounding_box()

        assert size * 0.7 / 6 > 4 * 2.9 * 0.8, word  # capital height about 0.7 of the size
        assert box["x"] >= 0 and box["x"] + box["width"] <= PHONE["width"]
