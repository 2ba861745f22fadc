"""What people ask of a whole station: measure, propose, agree, sound a tone, be quiet."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from station.daemon import TunerStation
from station.keeping import STORE_NAME
from station.lamps.pins import REFERENCE_BUTTON
from station.music.pitch import midi_to_hz
from station.room import agreement, lines
from station.room.model import Player
from station.settings import Settings
from station.settings_model import AgreementSettings, ToneSettings
from station.sound.tone_muted import MutedToneOut
from tests.support.drum_strokes import tom
from tests.support.hand_input import HandInput, player_of, pluck
from tests.support.page_client import Answer, ask, change, event_stream, wait_until
from tests.support.running import BRANNOCK, CODE, TOVE, Start, cellar, starting
from tests.support.strings import Floats, noise

pytestmark = pytest.mark.usefixtures("no_process_survives")

ILSE = Player("ilse", "Ilse", "keyboard", line=3)
KEYBOARD_HZ = 441.3
WHITE_AND_BLACK = (57, 61, 64, 66, 69, 72, 70, 63, 68, 71)  # ten notes of a keyboard


@pytest.fixture
def settings(tmp_path: Path) -> Settings:
    return cellar(tmp_path, TOVE, BRANNOCK, ILSE)


@pytest.fixture
def hand() -> HandInput:
    return HandInput()


@pytest.fixture
def start(settings: Settings) -> Iterator[Start]:
    with starting(settings, make_tone_out=lambda _, on_tone: MutedToneOut(on_tone)) as begin:
        yield begin


def post(station: TunerStation, path: str, **body: Any) -> Answer:
    return change(station.page.port, path, body, CODE)


def play_keys(station: TunerStation, hand: HandInput, line: int, a4_hz: float) -> None:
    """An electric keyboard: exact harmonics, one key after the other."""
    rate_hz, channels = station.settings.input.rate_hz, station.settings.input.channels
    t = np.arange(round(1.2 * rate_hz)) / rate_hz
    sounds: list[Floats] = []
    for midi in WHITE_AND_BLACK:
        hz = midi_to_hz(midi, a4_hz)
        wave = sum(np.sin(2 * np.pi * k * hz * t + k * k) / k for k in range(1, 9))
        sounds += [0.1 * wave * np.exp(-t / 3.0) * np.minimum(1.0, t / 0.005), np.zeros(4800)]
    sounds.append(np.zeros(rate_hz))
    whole = np.zeros((sum(map(len, sounds)), channels))
    whole[:, line - 1] = np.concatenate(sounds)
    whole += noise(whole.size, -90.0).reshape(whole.shape)
    hand.play(whole, station.listening)


# -- measured ------------------------------------------------------------------


def test_a_keyboard_is_measured_live_proposed_and_adopted_with_its_evidence(start, hand, settings):
    station = start(hand)

    assert post(station, "/api/v1/measuring", player="ilse").status == 200
    play_keys(station, hand, 3, KEYBOARD_HZ)
    told = station.snapshot()["measuring"]
    kept = post(station, "/api/v1/measuring/finish", by="ilse").json
    done = post(station, "/api/v1/proposals", by="ilse", kind="measured", instrument="ilse").json

    assert told["player"] == "ilse"
    assert told["instrument"]["a4_hz"] == pytest.approx(KEYBOARD_HZ, abs=0.03)
    assert len(told["instrument"]["notes"]) == len(WHITE_AND_BLACK)
    assert kept["measuring"] is None
    assert [each["id"] for each in kept["measured"]] == ["ilse"]
    assert done["adopted"] is True
    assert done["reference"]["a4_hz"] == pytest.approx(KEYBOARD_HZ, abs=0.03)
    assert done["reference"]["agreed"] == ["Ilse"]
    logged = ask(station.page.port, "/api/v1/references").json["references"][0]
    assert (logged["kind"], logged["by"]) == ("adopted", "Ilse")
    assert [each["id"] for each in logged["evidence"]["instruments"]] == ["ilse"]
    with closing(sqlite3.connect(settings.station.data_dir / STORE_NAME)) as stored:
        assert stored.execute("SELECT a4_hz FROM reference").fetchone()[0] == pytest.approx(
            done["reference"]["a4_hz"], abs=1e-9
        )


def test_only_the_line_that_is_measured_is_listened_to(start, hand):
    station = start(hand)

    post(station, "/api/v1/measuring", line=2, name="harp on the amplifier")
    play_keys(station, hand, 3, KEYBOARD_HZ)

    measuring = station.snapshot()["measuring"]
    assert measuring["name"] == "harp on the amplifier"
    assert measuring["instrument"] is None


def test_the_boxs_button_listens_adopts_and_held_cancels(start, hand):
    station = start(hand)
    assert station.lamps is not None
    pin = station.lamps.pin_factory.pin(REFERENCE_BUTTON.bcm)

    def press() -> None:
        pin.drive_low()
        wait_until(lambda: station.lamps._buttons[1].is_pressed)
        station._stopping.wait(0.1)  # longer than the contact bounces
        pin.drive_high()
        wait_until(lambda: not station.lamps._buttons[1].is_pressed)

    press()
    wait_until(lambda: station.snapshot()["measuring"] is not None)
    play_keys(station, hand, 3, KEYBOARD_HZ)
    press()
    wait_until(lambda: station.snapshot()["measuring"] is None)

    reference = station.snapshot()["reference"]
    assert reference["a4_hz"] == pytest.approx(KEYBOARD_HZ, abs=0.03)
    assert reference["by"] == "the box"

    press()
    wait_until(lambda: station.snapshot()["measuring"] is not None)
    pin.drive_low()
    wait_until(lambda: station.snapshot()["measuring"] is None)  # while it is held
    pin.drive_high()

    assert station.snapshot()["reference"] == reference


def test_a_measured_line_follows_the_clock_of_the_card(start, hand, monkeypatch):
    station = start(hand)
    monkeypatch.setattr(
        type(station.card_clock), "corrected", lambda _, heard: [each for each in heard if False]
    )

    post(station, "/api/v1/measuring", player="ilse")
    play_keys(station, hand, 3, KEYBOARD_HZ)

    assert station.snapshot()["measuring"]["instrument"] is None


# -- agreed --------------------------------------------------------------------


def test_a_proposal_waits_for_every_phone_that_is_here(start):
    station = start()
    port = station.page.port
    with event_stream(port, player="tove"), event_stream(port, player="brannock"):
        wait_until(lambda: len(station.snapshot()["agreement"]["present"]) == 2)

        outright = change(port, "/api/v1/reference", {"a4_hz": 442, "by": "tove"}, CODE, "PUT")
        proposed = post(station, "/api/v1/proposals", by="tove", kind="typed", a4_hz=442).json
        answer = {"answer": "yes"}
        path = f"/api/v1/proposals/{proposed['proposal']['id']}/answers/brannock"
        agreed = change(port, path, answer, CODE, "PUT").json
        again = change(port, path, answer, CODE, "PUT")

    assert outright.status == 409
    assert proposed["adopted"] is False
    assert proposed["proposal"]["waiting_for"] == ["brannock"]
    assert agreed["adopted"] is True
    assert agreed["reference"]["agreed"] == ["Tove", "Brannock"]
    assert again.status == 409
    assert station.snapshot()["reference"]["a4_hz"] == 442


def test_a_phone_that_vanishes_is_waited_for_a_while_and_no_longer(start, monkeypatch):
    station = start()
    monkeypatch.setattr(agreement, "AWAY_S", 1.5)
    port = station.page.port
    with event_stream(port, player="tove"):
        with event_stream(port, player="brannock"):
            wait_until(lambda: len(station.snapshot()["agreement"]["present"]) == 2)
            post(station, "/api/v1/proposals", by="tove", kind="typed", a4_hz=442)
        assert station.snapshot()["reference"]["a4_hz"] == 440

        wait_until(lambda: station.snapshot()["reference"]["a4_hz"] == 442)

    logged = ask(port, "/api/v1/references").json["references"][0]
    assert (logged["agreed"], logged["away"]) == (["Tove"], ["Brannock"])


def test_the_leader_decides_where_the_settings_say_so(start, settings):
    led = Settings(
        station=settings.station,
        input=settings.input,
        page=settings.page,
        lamps=settings.lamps,
        agreement=AgreementSettings("leader", "brannock"),
        players=settings.players,
    )
    station = start(of=led)

    asked = post(station, "/api/v1/proposals", by="tove", kind="typed", a4_hz=441).json
    path = f"/api/v1/proposals/{asked['proposal']['id']}/answers/brannock"
    done = change(station.page.port, path, {"answer": "yes"}, CODE, "PUT").json

    assert (asked["adopted"], done["adopted"]) == (False, True)
    assert post(station, "/api/v1/reference/undo", by="tove").status == 409
    assert post(station, "/api/v1/reference/undo", by="brannock").json["a4_hz"] == 440


def test_proposals_and_references_survive_a_restart(start, settings):
    station = start()
    port = station.page.port
    with event_stream(port, player="tove"), event_stream(port, player="brannock"):
        wait_until(lambda: len(station.snapshot()["agreement"]["present"]) == 2)
        post(station, "/api/v1/proposals", by="tove", kind="typed", a4_hz=442)
        station.stop()

    again = start()

    told = again.snapshot()["agreement"]
    assert [(p["a4_hz"], p["yes"], p["waiting_for"]) for p in told["proposals"]] == [
        (442, ["tove"], ["brannock"])
    ]
    assert again.snapshot()["reference"]["a4_hz"] == 440


def test_the_table_of_references_can_be_taken_home(start):
    station = start()
    change(station.page.port, "/api/v1/reference", {"a4_hz": 439, "by": "=1+1"}, CODE, "PUT")
    post(station, "/api/v1/proposals", by="tove", kind="typed", a4_hz=441)

    answer = ask(station.page.port, "/api/v1/references.csv")

    assert answer.headers["content-type"].startswith("text/csv")
    rows = answer.body.decode().splitlines()
    assert len(rows) == 3
    assert "441.0000,adopted,Tove" in rows[1]
    assert "'=1+1" in rows[2]


# -- tapped ----------------------------------------------------------------------


def test_a_drummers_taps_reach_the_page_while_the_phone_is_here(start, settings, hand, monkeypatch):
    monkeypatch.setattr("station.listening.BUSY_S", 1.0)  # a hand plays faster than a band
    drummer = Player("ida", "Ida", "drum-kit", line=3)
    station = start(hand, of=replace(settings, players=(TOVE, drummer)))
    rate_hz = station.settings.input.rate_hz
    sound = np.zeros((round(4.5 * rate_hz), 3))
    for number in range(3):
        stroke = 0.5 * tom(110.0, 0.6, seed=number).sound(1.2, rate_hz)
        first = round((0.3 + 1.4 * number) * rate_hz)
        sound[first : first + stroke.size, 2] += stroke[: len(sound) - first]
    sound += noise(sound.size, -90.0).reshape(sound.shape)

    hand.play(sound, station.listening)
    unasked = player_of(station, "ida")["taps"]["tap"]
    with event_stream(station.page.port, player="ida") as stream:
        wait_until(lambda: station.listening._ears)
        hand.play(sound, station.listening)
        told = stream.until("stroke")
    tapped = player_of(station, "ida")["taps"]["tap"]
    again = post(station, "/api/v1/players/ida/taps/again", by="ida")

    assert unasked is None
    assert told["player"] == "ida"
    assert tapped["used"] == 3
    assert tapped["fundamental_hz"] == pytest.approx(110.0, abs=0.5)
    assert again.status == 200
    assert player_of(station, "ida")["taps"]["tap"] is None


# -- heard and quiet -------------------------------------------------------------


def test_a_tone_sounds_at_the_reference_until_quiet_begins(start):
    station = start()
    post(station, "/api/v1/proposals", by="tove", kind="typed", a4_hz=442)

    played = post(station, "/api/v1/tone", note="A3", voice="string", level_dbfs=-30, seconds=20)
    wait_until(lambda: station.snapshot()["tone"] is not None)
    tone = station.snapshot()["tone"]
    change(station.page.port, "/api/v1/quiet", {"quiet": True}, CODE, "PUT")
    refused = post(station, "/api/v1/tone", note="A3", voice="sine", level_dbfs=-30, seconds=5)

    assert played.status == 200
    assert (tone["note"], tone["hz"], tone["voice"]) == ("A3", 221.0, "string")
    assert station.snapshot()["tone"] is None
    assert station.tone_out.sounding is None
    assert station.lamps._animation.quiet is True
    assert refused.status == 409
    assert "quiet" in refused.json["error"]


def test_a_tone_is_named_plainly_however_it_was_asked_for(start):
    station = start()

    post(station, "/api/v1/tone", note="b\u266d3", voice="sine", level_dbfs=-30, seconds=20)
    wait_until(lambda: station.snapshot()["tone"] is not None)

    assert station.snapshot()["tone"]["note"] == "A#3"


def test_what_is_heard_while_a_tone_sounds_proves_nothing(start, hand, monkeypatch):
    monkeypatch.setattr(lines, "TONE_TAIL_S", 0.0)
    station = start(hand)
    post(station, "/api/v1/tone", note="A2", voice="string", level_dbfs=-30, seconds=30)
    wait_until(lambda: station.snapshot()["tone"] is not None)

    pluck(station, hand, 1, 110.0)
    during = {s["string"]: s["roll"] for s in player_of(station, "tove")["strings"]}[5]
    post(station, "/api/v1/tone/stop", by="tove")
    wait_until(lambda: station.snapshot()["tone"] is None)
    pluck(station, hand, 1, 110.0)
    after = {s["string"]: s["roll"] for s in player_of(station, "tove")["strings"]}[5]

    assert (during, after) == ("not heard", "in")


def test_the_page_is_told_of_the_clock_and_where_a_tone_would_come_out(start):
    station = start(simulated=True)

    wait_until(lambda: station.snapshot()["station"]["clock"]["reason"] is not None)
    told = station.snapshot()["station"]

    assert told["clock"]["state"] == "not calibrated"
    assert told["clock"]["reason"] == "simulated band"
    assert told["tone_out"] == {"state": "ready", "reason": "simulated: no sound"}


def test_a_tone_without_an_output_is_refused_in_one_line(start, settings):
    mute = Settings(
        station=settings.station,
        input=settings.input,
        page=settings.page,
        lamps=settings.lamps,
        tone=ToneSettings("off"),
        players=settings.players,
    )
    station = start(of=mute, make_tone_out=None)

    refused = post(station, "/api/v1/tone", note="A4", voice="sine", level_dbfs=-30, seconds=5)

    assert refused.status == 503
    assert "switched off" in refused.json["error"]
    assert station.snapshot()["station"]["tone_out"]["state"] == "off"
