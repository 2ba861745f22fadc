"""The string bench on a phone: ladder, two strings, saddle, strings as wire.

The station is a real one; what its ears would tell a test tells.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import nullcontext
from typing import Any

import pytest
from playwright.sync_api import Locator, Page, Request, expect

from station.measure.beats.types import BeatReading
from station.measure.pluck_ear import Plucked
from station.measure.string_health_types import PartialHeard, Pluck
from station.measure.strum.types import StringHeard, Strum
from station.measure.types import Note
from station.music.pitch import shift_cents
from station.room.model import Player
from station.room.parts import WantedEar
from tests.support.band_station import BandStation, band_station
from tests.support.page_client import wait_until
from tests.support.phones import boxes_of, phone, shoot
from tests.support.reference_page import ABOVE, BELOW, IN, know_code

pytestmark = pytest.mark.browser

TOVE = Player("tove", "Tove", "guitar", "drop-d", line=1)
SIZES = [(390, 844), (320, 568), (844, 390)]
FLASHES_HZ = 3.0  # WCAG 2.2, success criterion 2.3.1


def strum(station: BandStation, cents: dict[int, float | None], unsure: float = 0.4) -> None:
    ear = ear_of(station, "strum")
    strings = []
    for target in ear.how:  # type: ignore[attr-defined]
        off = cents.get(target.numbers[0], 0.2)
        hz = None if off is None else shift_cents(target.centre_hz, off)
        strings.append(
            StringHeard(target.numbers, target.note, target.centre_hz, hz, unsure, 1e-4, 8, 0.0)
        )
    station._told(ear, [Strum(ear.line, 1.0, 2.0, tuple(strings))])


def ear_of(station: BandStation, kind: str) -> WantedEar:
    wait_until(lambda: any(each.kind == kind for each in station.room.wanted_ears()))
    return next(each for each in station.room.wanted_ears() if each.kind == kind)


def beat(station: BandStation, beat_hz: float, signed_hz: float | None, **how: Any) -> None:
    ear = ear_of(station, "beats")
    values: dict[str, Any] = {"resolved": True, "bound_hz": None, "phase_turns": 0.0, **how}
    reading = BeatReading(
        ear.line, 3.0, 0.5, 0.5, beat_hz, 0.01, signed_hz=signed_hz, first=None, second=None,
        line_hz=(440.0, 440.0 + beat_hz), depth=0.9, last_loudest_s=None, bands=2, **values,
    )  # fmt: skip
    station._told(ear, [reading])


@pytest.fixture(scope="module")
def station() -> Iterator[BandStation]:
    with band_station(TOVE) as running:
        yield running


@pytest.fixture
def tove(browser, station) -> Iterator[Page]:
    with phone(browser, station) as opened:
        yield know_code(opened)


def open_bench(page: Page, choice: str, answered: bool = False) -> Locator:
    """`answered`: with the station's answer; what opened is shown before, but no tap is minded."""
    page.get_by_role("button", name="bench", exact=True).click()
    with page.expect_request_finished(_opens_on_the_bench) if answered else nullcontext():
        page.get_by_role("button", name=choice).click()
    return page.locator("dialog[open]")


def _opens_on_the_bench(request: Request) -> bool:
    return "/bench/" in request.url and not request.url.endswith(("/close", "/tour"))


def rung(page: Page, string: int) -> Locator:
    return page.locator("dialog[open] .ladder:not(.ladder-small) .rung").filter(
        has=page.locator(".rung-number", has_text=str(string))
    )


def top(mark: Locator) -> float:
    box = mark.locator(".rung-seed").bounding_box()
    assert box is not None
    return box["y"] + box["height"] / 2


def colour(mark: Locator) -> str:
    return mark.evaluate("(node) => getComputedStyle(node).color")


def assert_fits(page: Page) -> None:
    """Nothing scrolls sideways, and whatever is touched is large enough."""
    wide = page.evaluate(
        "[...document.querySelectorAll('dialog[open], dialog[open] .sheet-body')]"
        ".map((each) => each.scrollWidth - each.clientWidth)"
    )
    assert max(wide) <= 0
    buttons = boxes_of(page.locator("dialog[open] button:visible"))
    assert buttons
    for box in buttons:
        assert box["height"] >= 42
        assert box["x"] >= 0
        assert box["x"] + box["width"] <= page.viewport_size["width"]


# -- a strum ------------------------------------------------------------------------------


def test_a_strum_stands_on_a_ladder_with_the_string_to_do_first(tove, station):
    sheet = open_bench(tove, "one strum")
    expect(sheet).to_contain_text("strum all open strings once")

    strum(station, {5: -12.3, 2: 6.0, 1: 1.0, 3: None})

    expect(tove.locator("#strum-word")).to_have_text("string 5: tighten")
    expect(sheet).to_contain_text("missing: string 3")
    expect(rung(tove, 5).locator(".rung-error")).to_have_text("±0.4")
    assert sheet.locator(".rung-number").all_text_contents() == ["6", "5", "4", "3", "2", "1"]
    tove.wait_for_timeout(300)  # the marks move
    assert top(rung(tove, 2)) < top(rung(tove, 1)) < top(rung(tove, 6)) < top(rung(tove, 5))
    assert [colour(rung(tove, each)) for each in (5, 2, 6)] == [BELOW, ABOVE, IN]
    expect(rung(tove, 3)).to_have_attribute("data-verdict", "missing")
    shoot(tove, "bench-strum")

    for _ in range(2):
        strum(station, {}, 0.2)
    expect(tove.locator("#strum-word")).to_have_text("all strings are in")
    expect(sheet).to_contain_text("for the roll call: strings 6, 5, 4, 3, 2, 1")
    sheet.get_by_role("button", name="back").click()
    wait_until(lambda: not station.room.wanted_ears())
    expect(tove.locator(".call")).to_contain_text("all your strings are in")


# -- two strings ----------------------------------------------------------------------------


def test_two_strings_pulse_with_their_beat_and_say_which_to_move(tove, station):
    sheet = open_bench(tove, "two strings", answered=True)
    expect(sheet).to_contain_text("string 5 touched over fret 5, with string 4 touched over fret 7")

    beat(station, 1.6, 1.6)
    expect(tove.locator("#pair-beat")).to_have_text("1.60")
    expect(tove.locator("#pair-leave")).to_have_text("0.50")
    expect(tove.locator("#pair-word")).to_have_text("tighten")
    expect(tove.locator("#pair-advice")).to_contain_text("string 4: tighten")
    plane = tove.locator(".pair-plane")
    assert colour(plane) == BELOW
    shoot(tove, "bench-pair")

    beat(station, 1.6, None)
    expect(tove.locator("#pair-word")).to_have_text("turn a little")
    expect(tove.locator("#pair-advice")).to_contain_text("or +")
    beat(station, 0.5, -0.5)
    expect(tove.locator("#pair-word")).to_have_text("in")
    beat(station, 11.0, -11.0)
    expect(tove.locator("#pair-beat")).to_have_text("11.0")
    assert float(plane.get_attribute("data-pulse-hz") or "nan") <= FLASHES_HZ
    tove.wait_for_timeout(1800)
    expect(sheet).to_contain_text("sound both together")


SWINGS = """async () => {
  const path = document.querySelector('.pair-lens path');
  const seen = [];
  const until = performance.now() + 2500;
  while (performance.now() < until) {
    const size = /scaleY\\(([\\d.]+)\\)/.exec(path.style.transform);
    seen.push(size ? Number(size[1]) : 1);
    await new Promise(requestAnimationFrame);
  }
  const middle = (Math.max(...seen) + Math.min(...seen)) / 2;
  let rises = 0;
  for (let i = 1; i < seen.length; i += 1) rises += seen[i - 1] < middle && seen[i] >= middle;
  return [rises, Math.max(...seen) - Math.min(...seen)];
}"""


def test_the_lens_never_flashes_more_than_three_times_a_second(tove, station):
    sheet = open_bench(tove, "two strings")
    expect(sheet.locator(".pair-sides")).to_contain_text("string 5")
    for hz, least, most in ((1.0, 1, 4), (9.0, 1, 8)):
        for turn in range(3):
            beat(station, hz, hz, phase_turns=0.3 * turn)
        expect(tove.locator(".pair-plane")).to_have_attribute("data-state", "sounding")
        rises, swing = tove.evaluate(SWINGS.replace("2500", "1400"))
        assert rises <= most * 1.4 / 2.5 + 1
        assert rises >= least
        assert swing > 0.1


def test_the_round_is_gone_through_pair_by_pair_and_any_two_strings_may_be_chosen(tove, station):
    sheet = open_bench(tove, "two strings")
    steps = sheet.locator(".tour-step")
    expect(steps).to_have_count(5)
    expect(steps.first).to_have_attribute("data-open", "yes")
    small = sheet.locator(".ladder-small")
    expect(small.locator(".rung")).to_have_count(6)
    expect(sheet).to_contain_text("7.8 cents apart")

    sheet.get_by_role("button", name="next pair").click()
    expect(steps.nth(1)).to_have_attribute("data-open", "yes")
    sheet.locator("[name=one]").select_option("3")
    sheet.locator("[name=other]").select_option("2")
    sheet.locator("[name=way]").select_option("fretted")
    sheet.get_by_role("button", name="listen to these").click()
    expect(sheet.locator(".pair-sides")).to_contain_text("string 3 pressed at fret 4")
    sheet.locator("[name=way]").select_option("open")
    sheet.get_by_role("button", name="listen to these").click()
    expect(sheet.locator(".pair-sides")).to_contain_text("string 3 open")


# -- saddle ----------------------------------------------------------------------------------


def test_open_string_and_twelfth_fret_say_where_the_saddle_goes(tove, station):
    sheet = open_bench(tove, "saddle")
    expect(sheet).to_contain_text("play it open")
    wait_until(lambda: station.snapshot()["bench"]["open"])

    line, hz = station._target_hz("tove", 6)
    for number in range(3):
        for pitch in (hz, shift_cents(2 * hz, 5.0)):
            station._hear([Note(line, number, number + 1.0, pitch, 0.1, 1e-4, 12)])

    expect(tove.locator("#saddle-word")).to_have_text("saddle back")
    expect(sheet).to_contain_text("by about 1.9 mm")
    expect(sheet).to_contain_text("slacken the string, keep your eyes away")
    shoot(tove, "bench-saddle")
    sheet.get_by_role("button", name="anew").click()
    expect(tove.locator("#saddle-word")).to_have_text("")


# -- worn strings --------------------------------------------------------------------------------


def test_a_dull_string_is_named_with_its_evidence(tove, station):
    sheet = open_bench(tove, "worn strings", answered=True)
    expect(sheet).to_contain_text("held against its own first day")
    sheet.get_by_role("button", name="new strings today").click()
    expect(sheet.locator(".health-count")).to_have_text("0 of 5 plucks")

    for faster, times in ((1.0, 5), (2.0, 4)):
        for _ in range(times):
            partials = tuple(
                PartialHeard(k, 0.5 * (faster if k > 3 else 1.0), 0.0, None) for k in range(1, 11)
            )
            ear = ear_of(station, "plucks")
            station._told(ear, [Plucked(1, 0.0, Pluck(ear.how, 6e-5, partials))])

    expect(tove.locator("#health-word")).to_have_text("dull")
    expect(sheet.locator(".plain-list")).to_contain_text("as fast as on the first day")
    shoot(tove, "bench-health")

    sheet.get_by_role("button", name="new strings today").click()
    expect(tove.locator("#health-word")).to_have_text("dull")  # it asks once more
    sheet.get_by_role("button", name="forget the old ones").click()
    expect(sheet.locator(".health-count")).to_have_text("0 of 5 plucks")


# -- strings as wire ----------------------------------------------------------------------------


def test_a_set_is_typed_reckoned_in_another_tuning_and_kept(tove, station):
    sheet = open_bench(tove, "strings as wire")
    expect(sheet.locator(".gauge-row")).to_have_count(6)
    expect(sheet).to_contain_text("A usual set")
    expect(sheet).to_contain_text("A string under tension whips")

    sheet.locator("[name=gauges]").fill(".011,.014,.018,.028w,.038w,.049w")
    expect(sheet.locator(".gauge-row").first).to_contain_text(".011 plain")
    sheet.locator("[name=to]").select_option("standard")
    expect(sheet.locator(".gauge-row").last).to_contain_text("as E2:")
    shoot(tove, "bench-gauge")
    sheet.get_by_role("button", name="keep this set").click()
    expect(sheet).to_contain_text("Your set, as you kept it.")

    sheet.locator("[name=gauges]").fill(".011")
    expect(sheet.locator(".fault")).to_contain_text("a set of 1 gauges")
    kept = station.room.bench.sets.of(station.room.context.roster.seat("tove"))
    assert kept.gauges.startswith(".011,.014")


def test_every_sheet_fits_every_phone(tove):
    for choice in ("one strum", "two strings", "saddle", "worn strings", "strings as wire"):
        sheet = open_bench(tove, choice)
        tove.wait_for_timeout(200)  # until the station has answered
        for width, height in SIZES:
            tove.set_viewport_size({"width": width, "height": height})
            assert_fits(tove)
        sheet.get_by_role("button", name="back").click()


def test_who_has_no_strings_has_no_bench(browser):
    ilse = Player("ilse", "Ilse", "keyboard", line=1)
    with band_station(ilse) as running, phone(browser, running, who="Ilse") as page:
        expect(page.get_by_role("button", name="change")).to_be_visible()
        expect(page.get_by_role("button", name="bench", exact=True)).to_be_hidden()
