"""A whole evening on three phones and one screen: soundcheck, songs, turns, roll call, quiet.

The station is whole but for its sound: what its listeners would say, the test says. A second
evening is one of sound alone: the simulated band tunes, plays, stops and talks.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import ExitStack
from dataclasses import replace

import pytest
from playwright.sync_api import Page, expect

from station.music.pitch import midi_to_hz
from station.room.model import Player
from station.room.retuned import CREEP_S
from station.sound.band import BAND, SimulatedBand
from tests.support.band_station import BandStation, band_station
from tests.support.hand_input import HandInput
from tests.support.order_band import BRANNOCK, TOVE
from tests.support.phones import phone, shoot
from tests.support.reference_page import know_code

pytestmark = pytest.mark.browser

MAREN = Player("maren", "Maren", "guitar", "standard", line=2)
SONGS = [
    {"title": "Low tide", "key": "E minor", "bass": ["E1"]},
    {"title": "Paper lantern", "key": "D", "players": {"tove": "drop-d"}},
]
SCREEN = {"width": 1280, "height": 800}
RATE_HZ = 16_000


@pytest.fixture
def band() -> Iterator[BandStation]:
    """Tove on a line of her own; Brannock's bass and Maren's guitar share one."""
    with band_station(TOVE, replace(BRANNOCK, line=2), MAREN, songs=SONGS) as running:
        yield running


@pytest.fixture
def phones(browser, band) -> Iterator[dict[str, Page]]:
    with ExitStack() as opened:
        pages = {
            who: know_code(opened.enter_context(phone(browser, band, who=who)))
            for who in ("Tove", "Brannock", "Maren")
        }
        screen = opened.enter_context(phone(browser, band, who=None, viewport=SCREEN))
        screen.goto(f"http://127.0.0.1:{band.port}/#everyone")
        yield {**pages, "screen": screen}


def test_an_evening_from_soundcheck_to_quiet(band, phones):
    tove, brannock, maren, screen = (phones[w] for w in ("Tove", "Brannock", "Maren", "screen"))
    total = screen.locator(".everyone-count")
    mine = tove.locator("#song-mine li")

    # Soundcheck: Tove tunes, and sees it.
    expect(total).to_have_text("0 of 16 in16 not heard")
    band.sound("tove", 6, -9.0)
    expect(tove.locator("#word")).to_have_text("tighten")
    band.play_all("tove")
    expect(total).to_contain_text("6 of 16 in")

    # The shared line: nobody is named before somebody takes the turn.
    band.sound_hz(2, midi_to_hz(40))  # E2
    expect(maren.locator(".hint")).to_have_text("whose is it? take the turn")
    expect(brannock.locator(".hint")).to_have_text("whose is it? take the turn")
    maren.get_by_role("button", name="take the turn").click()
    brannock.get_by_role("button", name="wait for it").click()
    expect(maren.locator(".turn-words")).to_have_text("Your turn: Brannock waits")
    expect(screen.locator(".card[data-turn] h3")).to_have_text("Maren")
    band.sound("maren", 6)
    expect(maren.locator("#word")).to_have_text("in")
    band.play_all("maren")
    maren.get_by_role("button", name="hand on").click()
    expect(brannock.locator(".turn-words")).to_contain_text("Your turn")
    band.play_all("brannock")
    expect(total).to_have_text("everyone is in")
    expect(screen.locator(".everyone")).to_have_attribute("data-complete", "yes")
    expect(screen.locator(".card").first).to_contain_text("now")
    shoot(screen, "evening-complete")

    # The songs: Brannock presses next, and only Tove has something to do.
    brannock.get_by_role("button", name="next").click()
    expect(tove.locator(".song-link strong")).to_have_text("1 Low tide")
    expect(mine).to_have_count(0)
    brannock.get_by_role("button", name="next").click()
    expect(mine).to_have_text(["string 6: E2 to D2, two semitones down"])
    expect(maren.locator("#song-mine")).to_be_hidden()
    expect(maren.locator(".song-link")).to_contain_text("0 of 1 ready")
    expect(screen.locator(".everyone-song")).to_have_text("2 Paper lantern: 0 of 1 ready")
    expect(brannock.get_by_role("button", name="next")).to_be_disabled()
    shoot(tove, "evening-retune")

    # Retuned, ready, and asked again once the string has had time to creep.
    band.play("tove", 6)
    expect(maren.locator(".song-link")).to_contain_text("everyone is ready")
    expect(tove.locator("#song-mine")).to_be_hidden()
    expect(total).to_have_text("everyone is in")
    band.let_pass(CREEP_S + 1.0)
    expect(mine).to_have_text(["string 6: check again, it was turned"])
    expect(screen.locator(".cell[data-again]")).to_contain_text("D2")
    band.play("tove", 6, -5.0)
    expect(mine).to_have_text(["string 6 crept by −5.0 cents: tune it again"])
    band.play("tove", 6)
    expect(tove.locator("#song-mine")).to_be_hidden()
    expect(total).to_have_text("everyone is in")

    # Quiet: one button, everywhere; the same button ends it.
    bright = screen.locator(".everyone-count").evaluate("(it) => getComputedStyle(it).color")
    tove.get_by_role("link", name="the band").click()
    tove.get_by_role("button", name="quiet", exact=True).click()
    for page in (tove, brannock, maren, screen):
        expect(page.locator("html")).to_have_attribute("data-quiet", "yes")
    dimmed = screen.locator(".everyone-count").evaluate("(it) => getComputedStyle(it).color")
    assert dimmed != bright
    tove.get_by_role("button", name="end quiet").click()
    expect(screen.locator("html")).not_to_have_attribute("data-quiet", "yes")


def test_a_gap_is_found_from_sound_and_every_page_turns_to_who_is_out(browser):
    simulated = SimulatedBand(RATE_HZ, seed=2, tuned=True, song_s=14.4)
    players = [Player(each.id, each.name, each.instrument, line=each.line) for each in BAND]
    sound = HandInput()

    def play_until(station: BandStation, doing: str) -> None:
        """The band goes on until it is at something else."""
        while simulated.evening.doing != doing:
            sound.play(simulated.samples(RATE_HZ), station.listening)

    with (
        band_station(*players, sound=sound, rate_hz=RATE_HZ) as station,
        phone(browser, station, who="Wren") as wren,
        phone(browser, station, who=None, viewport=SCREEN) as screen,
    ):
        screen.goto(f"http://127.0.0.1:{station.port}/#everyone")
        bar, out = wren.locator(".gap-bar"), screen.locator(".everyone-out")

        play_until(station, "song")
        play_until(station, "talk")
        assert station.snapshot()["evening"]["state"] == "playing"
        expect(bar).to_be_hidden()
        expect(out).to_be_hidden()

        # They stop and talk: for the box that is sound, too, and yet a gap. String 3 went flat.
        flat = simulated.offsets_cents("wren")[2]
        play_until(station, "tuning")
        for _ in players:
            station.let_pass(0.0)  # each player's strings are worked out in turn
        expect(bar.locator("h3")).to_have_text("who is out")
        expect(bar.locator("strong")).to_have_text(["G3"])
        expect(bar.locator(".gap-word")).to_have_text(["tighten"])
        (drifted,) = station.snapshot()["evening"]["drifted"]
        assert drifted["cents"] == pytest.approx(flat, abs=2.0)
        expect(out.locator("li")).to_contain_text(["who is out", "Wren G3 tighten −"])
        shoot(wren, "gap-from-sound")
        shoot(screen, "gap-from-sound-screen")
