"""A drummer goes round a head, compares two heads, keeps drums and holds the kit to a key."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import count

import pytest
from playwright.sync_api import Page, expect

from station.music.lugs import LUG_COUNTS, cross_order
from tests.support.fake_station import FakeStation
from tests.support.head_taps import Drummer, random_drummer
from tests.support.page_client import wait_until
from tests.support.phones import phone, shoot
from tests.support.reference_page import know_code

pytestmark = pytest.mark.browser

SIZES = [(390, 844), (320, 568), (844, 390)]
STICK_TARGET_PX = 64


@pytest.fixture
def drummer(browser, server) -> Iterator[Page]:
    with phone(browser, server, who="Yorick") as opened:
        know_code(opened)
        opened.set_default_timeout(4000)
        yield opened


@pytest.fixture
def clock() -> Iterator[float]:
    return map(float, count(1))


def go_round(station: FakeStation, head: Drummer, clock: Iterator[float]) -> None:
    """Tap what is asked for until nothing is."""
    while (lug := pass_of(station)["tap_next"]) is not None:
        station.tap_lug(next(clock), head.modes(lug))


def pass_of(station: FakeStation) -> dict:
    return station.snapshot()["heads"]["passes"]["yorick"]


def open_menu(page: Page, choice: str) -> None:
    page.locator(".drum-more").click()
    page.get_by_role("button", name=choice).click()


def test_a_head_is_begun_on_a_sheet_that_draws_the_order_across_and_cautions(drummer, station):
    open_menu(drummer, "even head")
    sheet = drummer.get_by_role("dialog", name="Even head")
    expect(sheet).to_contain_text("Protect your ears")
    expect(sheet).to_contain_text("cannot be tuned even: change it")
    sheet.get_by_role("button", name="from finger-tight: across first").click()
    for lugs in LUG_COUNTS:
        sheet.locator(".numbers-of-lugs").get_by_role("button", name=str(lugs), exact=True).click()
        places = sheet.locator(".plan-number").all_text_contents()
        order = cross_order(lugs)
        assert [int(each) for each in places] == [order.index(n) + 1 for n in range(1, lugs + 1)]
    sheet.get_by_role("button", name="8", exact=True).click()
    shoot(drummer, "heads-begin")

    sheet.get_by_role("button", name="begin", exact=True).click()

    expect(drummer.locator("#head-word")).to_have_text("tap 1")
    expect(drummer.locator(".head-says")).to_contain_text("bring lug 1 up")
    expect(drummer.locator(".drum")).to_be_hidden()
    assert (pass_of(station)["lugs"], pass_of(station)["phase"]) == (8, "cross")
    shoot(drummer, "heads-cross")


def test_taps_stand_at_their_heights_and_then_the_word_says_what_to_turn(drummer, station, clock):
    station.begin_head("yorick", 6, "fine", "")
    head = random_drummer("one slack", 6, 2)
    for lug in (1, 1, 2, 2, 3):
        station.tap_lug(next(clock), head.modes(lug))
    expect(drummer.locator("#head-word")).to_have_text("tap 3")
    expect(drummer.locator(".head-how")).to_have_text("stroke 2 of 2")
    expect(drummer.locator(".lug[data-heard]")).to_have_count(3)
    shoot(drummer, "heads-tapping")

    go_round(station, head, clock)

    told = pass_of(station)
    turn = told["turn_next"]
    expect(drummer.locator("#head-word")).to_have_text(f"{turn['verdict']} {turn['lug']}")
    expect(drummer.locator(".head-how")).to_have_text(turn["how"])
    expect(drummer.locator(".head-evenness")).to_contain_text("cents")
    expect(drummer.locator(".head-confusion")).to_contain_text("share their modes")
    far = told["farthest"]
    expect(drummer.locator(".head-farthest")).to_have_text(far["says"])
    named = drummer.locator(".head-pass .plan-number.named").all_text_contents()
    assert [int(each) for each in named] == sorted([far["lug"], far["opposite"]])
    maybe = drummer.locator(".head-pass .plan-number.maybe")
    expect(maybe).to_have_count(2 * (len(far["candidates"]) - 1))
    shoot(drummer, "heads-turn")
    marks = {
        int(each.locator(".lug-number").inner_text()): each.locator(".lug-shape").bounding_box()
        for each in drummer.locator(".lug").all()
    }
    by_height = sorted(marks, key=lambda lug: -marks[lug]["y"])
    by_pitch = sorted(told["heard"], key=lambda each: each["offset_cents"])
    assert {by_height[0], by_height[1]} == {by_pitch[0]["lug"], by_pitch[1]["lug"]}  # low is down
    assert [marks[lug]["x"] for lug in range(1, 7)] == sorted(each["x"] for each in marks.values())


def test_lug_after_lug_is_turned_and_the_next_round_begins(drummer, station, clock):
    station.begin_head("yorick", 6, "fine", "")
    go_round(station, random_drummer("one slack", 6, 2), clock)
    left = pass_of(station)["to_turn"]
    turned = drummer.get_by_role("button", name="turned", exact=True)

    for lug in left:
        expect(drummer.locator("#head-word")).to_contain_text(str(lug))
        # The next lug may be shown before the press is answered; until then no press counts.
        with drummer.expect_response(lambda answer: answer.request.method == "POST"):
            turned.click()

    expect(drummer.locator("#head-word")).to_have_text("tap 1")
    expect(drummer.locator(".head-evenness")).to_contain_text("pass 2")


def test_an_even_head_says_so_and_may_be_kept(drummer, station, clock):
    station.begin_head("yorick", 6, "fine", "")
    head = random_drummer("one slack", 6, 3)
    for _ in range(6):
        go_round(station, head, clock)
        guide = station.heads_room.heads._live["yorick"].guide
        if guide.even:
            break
        for lug, turns in guide.advised():
            head.head = head.head.turned(lug, turns, head.response)
        station.turned("yorick", None, None)
    expect(drummer.locator("#head-word")).to_have_text("even")
    shoot(drummer, "heads-even")

    drummer.get_by_role("button", name="keep it").click()
    sheet = drummer.get_by_role("dialog", name="Keep this drum")
    sheet.get_by_label("drum").fill("floor tom")
    shoot(drummer, "heads-keep")
    sheet.get_by_role("button", name="keep it").click()
    expect(sheet).to_be_hidden()

    (kept,) = station.kept_drums()["drums"]
    assert (kept["name"], kept["good"]["head"]["lugs"], kept["good"]["a4_hz"]) == (
        "floor tom",
        6,
        440.0,
    )


def test_another_lug_may_be_named_a_tap_taken_back_and_the_pass_left(drummer, station, clock):
    station.begin_head("yorick", 12, "fine", "")
    head = random_drummer("random", 12, 1)
    drummer.get_by_role("button", name="other lug").click()
    shoot(drummer, "heads-other-lug")
    drummer.locator(".lug-grid").get_by_role("button", name="7", exact=True).click()
    expect(drummer.locator("#head-word")).to_have_text("tap 7")
    station.tap_lug(next(clock), head.modes(7))
    expect(drummer.locator("#head-word")).to_have_text("tap 1")
    drummer.get_by_role("button", name="tap again").click()
    expect(drummer.locator(".lug[data-heard]")).to_have_count(0)

    drummer.get_by_role("button", name="more").click()
    drummer.get_by_role("button", name="leave this head").click()

    expect(drummer.locator(".drum-hint")).to_be_visible()
    expect(drummer.locator(".head-pass")).to_be_hidden()


def test_two_heads_are_compared_one_after_the_other(drummer, station):
    open_menu(drummer, "two heads")
    sheet = drummer.get_by_role("dialog", name="Two heads")
    expect(sheet).to_contain_text("damp the bottom head")
    for at in (1.0, 2.0):
        station.strike("yorick", at, 110.0)
    expect(sheet.locator(".both-now")).to_contain_text("2 of 5")
    sheet.get_by_role("button", name="this head is done").click()
    expect(sheet).to_contain_text("turn the drum over")
    for at in (11.0, 12.0):
        station.strike("yorick", at, 123.5)
    sheet.get_by_role("button", name="this head is done").click()

    expect(sheet.locator(".both-interval")).to_contain_text("the bottom is higher: 2.0 semitones")
    expect(sheet).to_contain_text("no rule: what you like is right")
    shoot(drummer, "heads-both")
    top, bottom = (each.bounding_box()["y"] for each in sheet.locator(".both-bar").all())
    assert bottom < top  # the resonant head is higher, and drawn so


def test_a_kept_drum_shows_its_way_back(drummer, station):
    for at in (1.0, 2.0, 3.0):
        station.strike("yorick", at, 110.0)
    station.keep_drum("yorick", "floor tom", "cellar")
    station.start_taps_again("yorick", "yorick")
    for at in (21.0, 22.0, 23.0):
        station.strike("yorick", at, 107.0)

    open_menu(drummer, "my drums")
    sheet = drummer.get_by_role("dialog", name="My drums")
    expect(sheet).to_contain_text("cellar")
    shoot(drummer, "heads-drums")
    sheet.get_by_role("button", name="way back").click()

    back = drummer.get_by_role("dialog", name="floor tom: way back")
    expect(back.locator(".back-word")).to_have_text("tighten")
    expect(back).to_contain_text("48 cents below its good state: 6 % more tension")
    shoot(drummer, "heads-back")


def test_the_kit_is_held_against_the_key_on_the_page(drummer, station):
    open_menu(drummer, "kit and key")
    sheet = drummer.get_by_role("dialog", name="Kit and key")
    for name, size, pitch in (("high tom", "12", "B2+20"), ("floor tom", "16", "F2")):
        sheet.locator("input[name=kit-drum]").fill(name)
        sheet.get_by_label("inches across").fill(size)
        sheet.get_by_label("pitch").fill(pitch)
        sheet.get_by_role("button", name="keep this drum").click()
        # Not only sent: two on their way at once may arrive in any order.
        wait_until(lambda name=name: name in str(station.kept_drums()["drums"]))
        expect(sheet.locator(".fault")).to_have_text("")
    sheet.get_by_label("song").fill("Low tide")
    sheet.get_by_label("key").select_option("E")
    sheet.get_by_label("scale").select_option("natural minor")
    sheet.get_by_label("bass roots").fill("E1 A1 B1")

    sheet.get_by_role("button", name="add this song").click()

    expect(sheet.locator(".kit-drum")).to_have_count(2)
    expect(sheet.locator(".kit-drum").first).to_contain_text("chord B2")
    expect(sheet.locator(".kit-targets li")).to_have_count(2)
    shoot(drummer, "heads-kit")
    assert [each["name"] for each in station.kept_drums()["songs"]] == ["Low tide"]


FAULTS = """([target]) => {
    const faults = [];
    const tabs = document.querySelector(".tabs").getBoundingClientRect();
    for (const each of document.querySelectorAll(".head-pass *")) {
        if (!each.checkVisibility({ visibilityProperty: true })) continue;
        const own = [...each.childNodes].some((n) => n.nodeType === 3 && n.textContent.trim());
        const { left, right, bottom, height } = each.getBoundingClientRect();
        const name = `${each.tagName}.${each.getAttribute("class")}: ${each.textContent}`;
        if (each.closest(".only-spoken") || each.closest("svg.head-plan")) continue;
        if (own && parseFloat(getComputedStyle(each).fontSize) < 13) faults.push(`small ${name}`);
        if (own && (left < -0.5 || right > innerWidth + 0.5)) faults.push(`cut ${name}`);
        if (own && bottom > tabs.top + 1) faults.push(`below the tabs ${name}`);
        if (each.matches("button") && height < target) faults.push(`low ${name}`);
    }
    if (document.documentElement.scrollWidth > innerWidth) faults.push("scrolls sideways");
    return faults;
}"""


@pytest.mark.parametrize("size", SIZES)
def test_a_head_pass_is_whole_legible_and_in_reach(browser, station, server, clock, size):
    viewport = {"width": size[0], "height": size[1]}
    station.begin_head("yorick", 10, "fine", "")
    with phone(browser, server, who="Yorick", viewport=viewport) as page:

        def look(name: str) -> None:
            shoot(page, f"heads-{name}-{size[0]}x{size[1]}")
            assert page.evaluate(FAULTS, [STICK_TARGET_PX]) == [], name

        head = random_drummer("one slack, others random", 10, 5)
        for lug in (1, 1, 2):
            station.tap_lug(next(clock), head.modes(lug))
        expect(page.locator("#head-word")).to_have_text("tap 2")
        look("tapping")
        go_round(station, head, clock)
        expect(page.locator(".head-turned")).to_be_visible()
        look("turning")
