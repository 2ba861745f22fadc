"""The running order, turns, instruments that come back, and quiet, on phones of every size."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import replace

import pytest
from playwright.sync_api import Page, expect

from tests.support.band_station import BandStation, band_station
from tests.support.order_band import BRANNOCK, ILSE, SONGS, TOVE, YORICK
from tests.support.page_client import wait_until
from tests.support.phones import phone, shoot
from tests.support.reference_page import know_code

pytestmark = pytest.mark.browser


@pytest.fixture
def band() -> Iterator[BandStation]:
    players = (TOVE, replace(BRANNOCK, line=1), ILSE, YORICK)
    with band_station(*players, songs=SONGS) as running:
        yield running


@pytest.fixture
def tove(browser, band) -> Iterator[Page]:
    with phone(browser, band) as page:
        yield know_code(page)


def open_songs(page: Page, band: BandStation) -> Page:
    page.goto(f"http://127.0.0.1:{band.port}/#songs")
    expect(page.locator(".song")).to_have_count(3)
    return page


def titles(band: BandStation) -> list[str]:
    return [song["title"] for song in band.songs()["songs"]]


def test_songs_are_moved_by_buttons_and_by_their_handles(tove, band):
    open_songs(tove, band)

    tove.get_by_role("button", name="Slow ferry: one up").click()
    wait_until(lambda: titles(band) == ["Low tide", "Slow ferry", "Paper lantern"])
    expect(tove.locator(".song strong").nth(1)).to_have_text("2 Slow ferry")
    last = tove.locator(".song").last.bounding_box()
    grip = tove.get_by_role("button", name="move Low tide").bounding_box()
    tove.mouse.move(grip["x"] + 20, grip["y"] + 20)
    tove.mouse.down()
    tove.mouse.move(grip["x"] + 20, last["y"] + last["height"] - 5, steps=5)
    expect(tove.locator(".song[data-held]")).to_contain_text("Low tide")
    shoot(tove, "songs-held")
    tove.mouse.up()

    wait_until(lambda: titles(band) == ["Slow ferry", "Paper lantern", "Low tide"])
    expect(tove.locator(".song strong").last).to_have_text("3 Low tide")
    tove.get_by_role("button", name="undo").click()
    wait_until(lambda: titles(band) == ["Low tide", "Slow ferry", "Paper lantern"])


def test_a_song_is_written_changed_begun_and_taken_out(tove, band):
    open_songs(tove, band)
    tove.get_by_role("button", name="add a song").click()
    sheet = tove.get_by_role("dialog")
    sheet.get_by_label("title").fill("<b>Last bus</b>")
    sheet.get_by_label("key").fill("H minor")
    sheet.get_by_label("Brannock plays").select_option("bass:drop-d")
    sheet.get_by_role("button", name="keep it").click()
    expect(sheet.locator(".fault")).to_contain_text("key: key 'H minor' is not known")
    sheet.get_by_label("key").fill("Bm")
    sheet.get_by_role("button", name="keep it").click()
    expect(sheet).to_be_hidden()

    row = tove.locator(".song").last
    expect(row.locator("strong")).to_have_text("4 <b>Last bus</b>")
    expect(row).to_contain_text("B minor · Brannock bass, drop d")
    row.locator(".song-open").click()
    expect(sheet.get_by_label("Brannock plays")).to_have_value("bass:drop-d")
    sheet.get_by_role("button", name="this song is on now").click()
    expect(row).to_have_attribute("data-now", "yes")
    assert band.snapshot()["players"][1]["tuning"] == "drop-d"
    row.locator(".song-open").click()
    sheet.get_by_role("button", name="take it out").click()
    wait_until(lambda: len(titles(band)) == 3)


def test_a_file_is_read_whole_or_not_at_all(tove, band):
    open_songs(tove, band)
    expect(tove.locator(".song-open .soft").nth(1)).to_contain_text("Tove guitar, drop d")
    tove.get_by_role("button", name="import, export").click()
    sheet = tove.get_by_role("dialog")
    chosen = sheet.locator("input[type=file]")

    def give(name: str, text: str) -> None:
        chosen.set_input_files({"name": name, "mimeType": "text/csv", "buffer": text.encode()})

    for name, text, words in (
        ("order.csv", "title,key\nLow tide,E minor\nFerry,Q\n", "row 3, key"),
        ("order.json", "{", "is no JSON"),
        ("order.json", "{}", "either as a list or as csv"),
        ("order.csv", "title,notes\n" + f"x,{'y' * 400}\n" * 60, "shorten the notes"),
    ):
        give(name, text)
        expect(sheet.locator(".fault")).to_contain_text(words)
    tove.set_viewport_size({"width": 320, "height": 568})
    give("order.csv", f"title,key,{'x' * 60}\nFerry,E,no\n")
    expect(sheet.locator(".fault")).to_contain_text("is no column; there are title, key, bass")
    expect(sheet.locator(".fault")).to_be_in_viewport(ratio=0.9)
    shoot(tove, "songs-import-fault-320x568")
    assert titles(band) == [song["title"] for song in SONGS]

    exported = json.dumps(band.songs())
    band.move_song("test", 3, 1)
    tove.get_by_role("button", name="back").click()
    expect(tove.locator(".song strong").first).to_have_text("1 Slow ferry")
    tove.get_by_role("button", name="import, export").click()
    give("order.json", exported)
    expect(sheet.locator(".told")).to_have_text("3 songs read")
    assert titles(band) == [song["title"] for song in SONGS]
    assert sheet.get_by_role("link", name="CSV").get_attribute("href") == "/api/v1/songs.csv"


def test_an_instrument_taken_up_again_comes_as_it_was_left(tove, band):
    band.change_player("tove", {"tuning": "drop-d", "capo": 2, "offsets_cents": {"6": -4.0}})
    band.change_player("tove", {"instrument": "bass"})
    expect(tove.locator(".me .soft")).to_have_text("Bass · Standard")

    tove.get_by_role("button", name="change").click()
    form = tove.get_by_role("dialog")
    last = form.get_by_role("button", name="Guitar · Drop D · capo 2 · own offsets")
    expect(last).to_be_visible()
    form.get_by_label("instrument").select_option("guitar")
    expect(form.get_by_label("tuning")).to_have_value("drop-d")
    form.get_by_role("button", name="change it").click()
    expect(form).to_be_hidden()

    player = band.snapshot()["players"][0]
    assert (player["tuning"], player["capo"], player["offsets_cents"]) == ("drop-d", 2, {"6": -4.0})
    tove.get_by_role("button", name="change").click()
    form.get_by_role("button", name="Bass · Standard").click()
    expect(form).to_be_hidden()
    assert band.snapshot()["players"][0]["instrument"] == "bass"
    # The phone knows whose it is without being asked.
    tove.reload()
    expect(tove.locator(".me strong")).to_have_text("Tove")


def test_a_drummer_reads_the_notes_of_the_song(browser, band):
    with phone(browser, band, who="Yorick") as page:
        band.begin_song("tove", 2)

        expect(page.locator("#song-mine li")).to_have_text(["floor tom G2"])


def test_a_tap_too_many_is_not_a_song_too_many(tove, band):
    tove.get_by_role("button", name="next").dblclick()

    expect(tove.locator(".song-link strong")).to_have_text("1 Low tide")
    tove.wait_for_timeout(300)
    assert band.snapshot()["order"]["place"] == 1


FAULTS = """() => {
    const faults = [];
    const seen = (each) => each.checkVisibility({ visibilityProperty: true });
    const parts = "#view-songs *, #band-bars *, dialog[open] *";
    for (const each of document.querySelectorAll(parts)) {
        if (!seen(each) || each.closest(".only-spoken")) continue;
        const own = [...each.childNodes].some((n) => n.nodeType === 3 && n.textContent.trim());
        const { left, right, width, height } = each.getBoundingClientRect();
        const name = `${each.tagName}.${each.className}: ${each.textContent.slice(0, 40)}`;
        const least = (innerHeight <= 400 ? 42 : 48) - 0.5;
        const px = parseFloat(getComputedStyle(each).fontSize);
        if (own && px < 13) faults.push(`small ${name}`);
        if (own && (left < -0.5 || right > innerWidth + 0.5)) faults.push(`cut ${name}`);
        if (each.matches("button, a.button, select") && Math.min(height, width) < least)
            faults.push(`low ${name}`);
        if (each.matches("button") && each.scrollWidth > each.clientWidth + 1)
            faults.push(`clipped ${name}`);
    }
    if (document.documentElement.scrollWidth > innerWidth) faults.push("scrolls sideways");
    return faults;
}"""


@pytest.mark.parametrize("size", [(390, 844), (320, 568), (844, 390)])
def test_every_part_is_whole_legible_and_in_reach(browser, band, size):
    band.begin_song("tove", 2)
    with phone(browser, band, viewport={"width": size[0], "height": size[1]}) as page:
        expect(page.locator("#song-mine li")).to_have_count(1)
        assert page.evaluate(FAULTS) == []
        open_songs(page, band)
        assert page.evaluate(FAULTS) == []
        page.locator(".song-open").first.click()
        expect(page.get_by_label("Tove plays").locator("option")).not_to_have_count(1)
        assert page.evaluate(FAULTS) == []


def test_strings_that_all_go_alike_are_one_line_and_leave_the_list_of_songs_free(tove, band):
    band.change_player("tove", {"tuning": "half-step-down"})

    expect(tove.locator("#song-mine li")).to_have_text(["every string one semitone down"])
    open_songs(tove, band)
    expect(tove.locator("#song-mine")).to_be_hidden()
    expect(tove.get_by_role("button", name="add a song")).to_be_in_viewport()


def retune(band: BandStation, tuning: str) -> None:
    """Tove goes to another tuning and brings string 6 in."""
    band.change_player("tove", {"tuning": tuning})
    band.play("tove", 6)


def test_a_peg_is_asked_about_told_by_one_touch_learned_and_forgotten(tove, band):
    wait_until(lambda: "tove" in band.room.context.present())
    band.take_turn("tove")
    band.play("tove", 6)
    bar = tove.locator(".peg-bar")
    for tuning in ("drop-d", "standard", "drop-d"):
        retune(band, tuning)
        expect(bar).to_contain_text("string 6: how many turns?")
        if tuning == "standard":
            shoot(tove, "pegs-asked")
        bar.get_by_role("button", name="1½ of a turn").click()
        expect(bar).to_be_hidden()

    band.change_player("tove", {"tuning": "standard"})
    expect(tove.locator("#song-mine li")).to_have_text(
        ["string 6: D2 to E2, two semitones up: tighten about 1½ turns, give or take ⅛"]
    )
    band.play("tove", 6)
    bar.get_by_role("button", name="not now").click()
    expect(bar).to_be_hidden()
    tove.get_by_role("button", name="change").click()
    form = tove.get_by_role("dialog")
    expect(form.locator(".peg-fields li")).to_have_text(
        ["string 6: a semitone down is about ¾ turn, give or take ⅛ (3 answers)"]
    )
    form.get_by_role("button", name="forget them").click()
    expect(form.locator(".peg-fields")).to_be_hidden()
    assert band.pegs("tove") == {"asks": True, "strings": []}


SCREEN_FAULTS = """() => {
    const faults = [];
    const main = document.querySelector("main").getBoundingClientRect();
    for (const each of document.querySelectorAll("#view-everyone *")) {
        if (!each.checkVisibility() || !each.textContent.trim()) continue;
        const { left, right, bottom } = each.getBoundingClientRect();
        const name = `${each.className}: ${each.textContent}`;
        if (right > innerWidth + 0.5 || bottom > main.bottom + 0.5) faults.push(`cut ${name}`);
        const card = each.closest(".card")?.getBoundingClientRect();
        if (card && bottom > card.bottom + 3) faults.push(`out of its card ${name}`);
        const own = [...each.childNodes].some((n) => n.nodeType === 3 && n.textContent.trim());
        const px = parseFloat(getComputedStyle(each).fontSize);
        if (own && px < 20) faults.push(`small ${name}`);
    }
    const { scrollHeight, scrollWidth } = document.documentElement;
    if (scrollHeight > innerHeight || scrollWidth > innerWidth) faults.push("scrolls");
    return faults;
}"""


def test_the_whole_band_is_on_one_screen_and_stands_still_when_complete(browser, band):
    with phone(browser, band, who=None, viewport={"width": 1280, "height": 800}) as page:
        page.get_by_role("link", name="the band").click()
        page.get_by_role("link", name="everyone on one screen").click()
        band.take_turn("tove")
        band.play("tove", 5, -8.0)
        band.play("tove", 1)
        expect(page.locator(".everyone-count")).to_contain_text("1 of 10 in1 out")
        expect(page.locator('.cell[data-verdict="tighten"]')).to_have_text("A2now")
        for width, height in ((1280, 800), (1920, 1080)):
            page.set_viewport_size({"width": width, "height": height})
            assert page.evaluate(SCREEN_FAULTS) == []

        band.play_all("tove")
        band.hand_on("tove")
        band.take_turn("brannock")
        band.play_all("brannock")
        expect(page.locator(".everyone-count")).to_have_text("everyone is in")
        cells = page.locator(".cell strong")
        assert {each.evaluate("(it) => getComputedStyle(it).color") for each in cells.all()} == {
            "rgb(255, 255, 255)"
        }
        view = page.locator("#view-everyone")
        assert view.evaluate("(it) => it.getAnimations({ subtree: true }).length") == 0


def luminance(colour: str) -> float:
    """Relative luminance (WCAG 2.2) of a computed colour."""
    parts = [int(part) / 255 for part in colour.removeprefix("rgb(").removesuffix(")").split(",")]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def test_in_quiet_the_page_is_dimmed_and_still_legible(tove, band):
    colour = "(it) => getComputedStyle(it).color"
    texts = (".strip strong", ".me .soft", ".turn-words", ".song-link .soft")
    bright = {text: luminance(tove.locator(text).evaluate(colour)) for text in texts}

    band.set_quiet(True)
    expect(tove.locator("html")).to_have_attribute("data-quiet", "yes")

    night = luminance(tove.locator("html").evaluate("(it) => getComputedStyle(it).backgroundColor"))
    for text, light in bright.items():
        dim = luminance(tove.locator(text).evaluate(colour))
        assert dim < 0.55 * light
        assert (dim + 0.05) / (night + 0.05) >= 4.5  # WCAG 2.2, success criterion 1.4.3
    shoot(tove, "quiet")
