"""Drum heads on a whole station: sound in, taps beside lugs out, and all of it kept."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from station.daemon import TunerStation
from station.probe import Probe
from station.room.model import Player
from station.settings import LampSettings, PageSettings, Settings, StationSettings
from station.settings_model import InputSettings
from station.sound.tone_muted import MutedToneOut
from tests.support.drum_strokes import tom
from tests.support.hand_input import HandInput
from tests.support.page_client import Answer, ask, change, event_stream, wait_until
from tests.support.strings import noise

pytestmark = pytest.mark.usefixtures("no_process_survives")

CODE = "hemlock-9"
IDA = Player("ida", "Ida", "drum-kit", line=1)

Start = Callable[[HandInput], TunerStation]


@pytest.fixture
def start(tmp_path: Path) -> Iterator[Start]:
    """Start a station without a voice; whatever still runs at the end is stopped."""
    settings = Settings(
        station=StationSettings("Cellar room", CODE, tmp_path / "state"),
        input=InputSettings("by hand", channels=1),
        page=PageSettings("127.0.0.1", 0),
        lamps=LampSettings("mock"),
        players=(IDA,),
    )
    with ExitStack() as running:

        def begin(hand: HandInput) -> TunerStation:
            made = TunerStation(
                settings,
                hand,
                Probe("numpy"),
                make_tone_out=lambda _, on_tone: MutedToneOut(on_tone),
            )
            return running.enter_context(made)

        yield begin


def post(station: TunerStation, path: str, **body: Any) -> Answer:
    return change(station.page.port, f"/api/v1/{path}", body, CODE)


def strike(station: TunerStation, hand: HandInput, strokes: int) -> None:
    rate_hz = station.settings.input.rate_hz
    sound = noise(round((0.5 + 1.2 * strokes) * rate_hz), -90.0)
    for number in range(strokes):
        first = round((0.3 + 1.2 * number) * rate_hz)
        part = 0.5 * tom(110.0, 0.5, seed=number).sound(1.1, rate_hz)[: sound.size - first]
        sound[first : first + part.size] += part
    hand.play(np.asarray(sound)[:, None], station.listening)


def pass_of(station: TunerStation) -> dict[str, Any]:
    found: dict[str, Any] = station.snapshot()["heads"]["passes"]["ida"]
    return found


def test_strokes_on_the_line_are_taps_beside_lugs_and_outlive_the_station(start, monkeypatch):
    monkeypatch.setattr("station.listening.BUSY_S", 1.0)  # a hand plays faster than a band
    hand = HandInput()
    station = start(hand)
    with event_stream(station.page.port, player="ida"):
        begun = post(station, "players/ida/head", lugs=4, phase="fine", by="ida")
        wait_until(lambda: station.listening._ears)
        strike(station, hand, 3)
        taken = pass_of(station)["taken"]
        lit = station.lamps._animation._cents
    station.stop()

    again = start(HandInput())

    assert begun.status == 200
    assert taken == [2, 1, 0, 0]
    assert lit is not None
    assert pass_of(again)["taken"] == taken
    assert pass_of(again)["tap_next"] == 2


def test_a_drum_that_was_kept_is_there_after_a_restart(start, monkeypatch):
    monkeypatch.setattr("station.listening.BUSY_S", 1.0)
    hand = HandInput()
    station = start(hand)
    with event_stream(station.page.port, player="ida"):
        wait_until(lambda: station.listening._ears)
        strike(station, hand, 2)
        kept = post(station, "drums/keep", player="ida", name="floor tom")
    station.keeping.store.close()  # as if the power had gone: nothing more is saved
    station.stop()

    again = start(HandInput())

    assert kept.status == 200
    (drum,) = ask(again.page.port, "/api/v1/drums").json["drums"]
    assert drum["name"] == "floor tom"
    assert drum["hz"] == pytest.approx(110.0, abs=0.5)
    assert (drum["good"]["a4_hz"], drum["good"]["reference"]) == (440.0, "settings")
