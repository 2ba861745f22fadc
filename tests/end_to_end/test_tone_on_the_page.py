"""The reference tone: on the phone by Web Audio, from the station's line output, never loud."""

from __future__ import annotations

import numpy as np
import pytest
from playwright.sync_api import Browser, Page, expect

from station.web.server import PageServer
from tests.support.fake_station import FakeStation
from tests.support.phones import phone, shoot
from tests.support.reference_page import know_code, open_reference

pytestmark = pytest.mark.browser

LOUDEST = 10 ** (-20 / 20)
# Notes what the page asks of Web Audio: contexts, oscillators, and what their levels do.
SPY = """() => {
    window.heard = { contexts: 0, tones: [] };
    const Context = window.AudioContext;
    window.AudioContext = class extends Context {
        constructor(...given) { super(...given); window.heard.contexts += 1; }
    };
    const Oscillator = window.OscillatorNode;
    window.OscillatorNode = class extends Oscillator {
        constructor(context, options) {
            super(context, options);
            this.told = { hz: options.frequency, levels: [], stops: [], wave: "sine" };
            window.heard.tones.push(this.told);
        }
        setPeriodicWave(wave) { this.told.wave = "string"; super.setPeriodicWave(wave); }
        stop(at) { this.told.stops.push(at - this.context.currentTime); super.stop(at); }
    };
    const ramp = AudioParam.prototype.linearRampToValueAtTime;
    AudioParam.prototype.linearRampToValueAtTime = function (value, at) {
        window.heard.tones.at(-1).levels.push(value);
        return ramp.call(this, value, at);
    };
}"""


@pytest.fixture
def listener(page: Page) -> Page:
    """Tove's phone at the tone, the caution read, what it plays written down."""
    page.evaluate(SPY)
    page.evaluate("localStorage.setItem('station.cautioned', 'yes')")
    open_reference(know_code(page)).get_by_role("button", name="hear the tone").click()
    return page


def tones(page: Page) -> list[dict]:
    return page.evaluate("window.heard.tones")


def test_the_caution_is_read_once_before_anything_can_sound(page):
    page.evaluate(SPY)
    open_reference(page).get_by_role("button", name="hear the tone").click()
    sheet = page.get_by_role("dialog")
    expect(sheet).to_contain_text("Start low")
    expect(sheet).to_contain_text("hearing")
    expect(sheet.get_by_role("button", name="play on this phone")).to_be_hidden()
    shoot(page, "tone-caution")

    sheet.get_by_role("button", name="I have turned it down").click()
    expect(sheet.get_by_role("button", name="play on this phone")).to_be_visible()
    assert page.evaluate("window.heard.contexts") == 0  # none before a tap asks for sound
    page.reload()
    page.get_by_role("button", name="hear the tone").click()

    expect(page.get_by_role("button", name="play on this phone")).to_be_visible()
    expect(page.get_by_text("Start low")).to_be_hidden()


def test_a_tone_on_the_phone_has_the_agreed_pitch_begins_low_and_ends_by_itself(listener, station):
    station.agree_on(441.3, "Ilse")
    expect(listener.locator(".tone-now")).to_have_text("A4441.3 Hz")
    listener.get_by_role("button", name="play on this phone").click()
    expect(listener.get_by_role("button", name="stop on this phone")).to_be_visible()
    shoot(listener, "tone")
    for _ in range(12):
        louder = listener.get_by_role("button", name="louder")
        if louder.is_disabled():
            break
        louder.click()

    heard = tones(listener)
    assert heard[0]["hz"] == pytest.approx(441.3, abs=1e-9)
    assert 0 < heard[0]["levels"][0] < LOUDEST / 4
    assert max(tone["levels"][0] for tone in heard) == pytest.approx(LOUDEST)
    for tone in heard:
        assert tone["levels"][1] == 0  # it fades out by itself
        assert tone["stops"][0] <= 30.01
    assert all(tone["stops"][-1] < 1 for tone in heard[:-1])  # no two sound on together


def test_the_note_is_chosen_up_and_down_or_taken_from_ones_own_string(listener, station):
    now = listener.locator(".tone-now")
    up, down = (listener.get_by_role("button", name=f"semitone {way}") for way in ("up", "down"))
    assert up.bounding_box()["y"] < now.bounding_box()["y"] < down.bounding_box()["y"]
    up.click()
    expect(now).to_have_text("A♯4466.16 Hz")
    listener.get_by_role("button", name="octave down").click()
    expect(now).to_have_text("A♯3233.08 Hz")

    station.change_player("tove", {"offsets_cents": {"4": -5.9}})
    listener.get_by_role("button", name="D3", exact=True).click()
    target_hz = next(s["target_hz"] for s in station.player("tove")["strings"] if s["string"] == 4)
    expect(now).to_contain_text("string 4, −5.9 cents from equal")
    listener.get_by_role("button", name="string-like").click()
    listener.get_by_role("button", name="play on this phone").click()

    (heard,) = tones(listener)
    assert heard["hz"] == pytest.approx(target_hz)
    assert heard["wave"] == "string"


def test_the_string_like_tone_has_exactly_harmonic_partials_and_no_other(listener):
    # One second at a whole number of hertz: every multiple falls on a bin of the spectrum.
    rate_hz, hz = 48_000, 110
    samples = listener.evaluate(
        """async ([rate, hz]) => {
            const { stringWave } = await import("/static/js/tone_player.js");
            const context = new OfflineAudioContext(1, rate * 2, rate);
            const tone = new OscillatorNode(context, { frequency: hz });
            tone.setPeriodicWave(stringWave(context, hz));
            tone.connect(context.destination);
            tone.start();
            return Array.from((await context.startRendering()).getChannelData(0).slice(rate));
        }""",
        [rate_hz, hz],
    )

    spectrum = np.abs(np.fft.rfft(samples)) / rate_hz * 2
    partials = spectrum[hz : 12 * hz + 1 : hz]
    rest = np.delete(spectrum, np.arange(hz, 12 * hz + 1, hz))

    # A bowed string's amplitudes fall as 1 / k (Helmholtz motion: Fletcher & Rossing).
    assert partials / partials[0] == pytest.approx(1 / np.arange(1, 13), rel=0.02)
    assert rest.max() < partials[0] * 10 ** (-60 / 20)
    assert np.abs(samples).max() <= 1.001


def test_a_tone_follows_the_reference_and_stops_when_hidden_or_put_away(listener, station):
    play = listener.get_by_role("button", name="play on this phone")
    stop = listener.get_by_role("button", name="stop on this phone")
    play.click()
    station.agree_on(442.0, "Ilse")
    expect(listener.locator(".tone-now")).to_have_text("A4442.0 Hz")
    assert [tone["hz"] for tone in tones(listener)] == [440.0, 442.0]

    listener.evaluate(
        """() => {
            Object.defineProperty(document, "hidden", { value: true, configurable: true });
            document.dispatchEvent(new Event("visibilitychange"));
            Object.defineProperty(document, "hidden", { value: false, configurable: true });
            document.dispatchEvent(new Event("visibilitychange"));
        }"""
    )
    expect(play).to_be_visible()

    play.click()
    expect(stop).to_be_visible()
    listener.get_by_role("dialog").get_by_role("button", name="back").click()
    listener.wait_for_function("() => window.heard.tones.at(-1).stops.at(-1) < 1")


def test_quiet_stops_the_tone_and_refuses_it_in_words(listener, station):
    listener.get_by_role("button", name="play on this phone").click()
    expect(listener.get_by_role("button", name="stop on this phone")).to_be_visible()

    station.set_quiet(True)

    for name in ("play on this phone", "play at the station"):
        expect(listener.get_by_role("button", name=name)).to_be_disabled()
    expect(listener.get_by_text("the station is quiet: no tone is played")).to_be_visible()
    assert tones(listener)[-1]["stops"][-1] < 1
    shoot(listener, "tone-quiet")


def test_the_station_plays_the_tone_and_any_phone_stops_it(
    browser: Browser, station: FakeStation, server: PageServer, listener: Page
):
    with phone(browser, server, who="Brannock") as other:
        know_code(other)
        listener.get_by_role("button", name="octave down").click()
        listener.get_by_role("button", name="play at the station").click()
        row = other.locator(".under-way", has_text="the station sounds")
        expect(row).to_contain_text("the station sounds A3, 220.0 Hz")
        expect(listener.get_by_role("button", name="stop at the station")).to_be_visible()
        told = station.snapshot()["tone"]
        shoot(other, "tone-elsewhere")

        row.get_by_role("button", name="stop").click()

        expect(row).to_be_hidden()
        expect(listener.get_by_role("button", name="play at the station")).to_be_visible()
    assert (told["note"], told["voice"], told["level_dbfs"]) == ("A3", "sine", -35)


def test_a_station_without_an_output_says_why(listener, station):
    station.set_station(tone_out={"state": "failed", "reason": "the card is in use elsewhere"})

    expect(listener.get_by_role("button", name="play at the station")).to_be_disabled()
    expect(listener.get_by_role("button", name="play on this phone")).to_be_enabled()
    expect(listener.get_by_text("the card is in use elsewhere")).to_be_visible()
