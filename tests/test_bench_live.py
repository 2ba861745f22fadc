"""A real station hears a strum and a beating pair, and tells the page of them."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from station.daemon import TunerStation
from station.music.pairs import harmonic_pair
from station.music.pitch import midi_to_hz, shift_cents
from station.music.tunings import find_tuning
from station.settings import Settings
from station.web.openapi import describe_api
from tests.support.hand_input import HandInput, player_of
from tests.support.page_client import Answer, ask, change, event_stream, wait_until
from tests.support.pairs import Plucked
from tests.support.running import BRANNOCK, CODE, TOVE, Start, cellar, starting
from tests.support.schema import faults
from tests.support.strings import Floats, StiffString, noise
from tests.support.strums import synthetic

pytestmark = pytest.mark.usefixtures("no_process_survives")

API = describe_api()
SCHEMAS = API["components"]["schemas"]
GUITAR = find_tuning("guitar", "standard")
OFF_CENTS = {6: 0.4, 5: -14.0, 4: 0.3, 2: 6.5, 1: -0.2}  # string 3 is not struck


@pytest.fixture
def settings(tmp_path: Path) -> Settings:
    return cellar(tmp_path, TOVE, BRANNOCK)


@pytest.fixture
def hand(monkeypatch: pytest.MonkeyPatch) -> HandInput:
    monkeypatch.setattr("station.listening.BUSY_S", 1.0)  # a hand plays faster than a band
    return HandInput()


@pytest.fixture
def start(settings: Settings) -> Iterator[Start]:
    with starting(settings) as begin:
        yield begin


def post(station: TunerStation, path: str, **body: Any) -> Answer:
    return change(
        station.page.port, f"/api/v1/players/tove/bench/{path}", {"by": "tove", **body}, CODE
    )


def sound(station: TunerStation, hand: HandInput, x: Floats) -> None:
    """A sound on the first line."""
    channels = station.settings.input.channels
    whole = noise(channels * x.size, -100.0).reshape(x.size, channels)
    whole[:, 0] += x
    hand.play(whole, station.listening)


def strum(off_cents: dict[int, float]) -> Floats:
    struck = [
        (
            0.015 * place,
            StiffString(shift_cents(string.target_hz(), off_cents[string.number]), 5e-5, 2.5, 0.08)
            if string.number in off_cents
            else None,
        )
        for place, string in enumerate(reversed(GUITAR.strings))
    ]
    return synthetic(struck)


def opened(station: TunerStation) -> Any:
    return station.snapshot()["bench"]["open"].get("tove")


def test_a_strum_reaches_the_page_and_said_twice_alike_the_roll_call(start, hand):
    station = start(hand)
    with event_stream(station.page.port, player="tove") as stream:
        stream.until("room")
        told = post(station, "strum").json
        sound(station, hand, strum(OFF_CENTS))
        first = stream.until("strum")
        before = {each["string"]: each["roll"] for each in player_of(station, "tove")["strings"]}
        sound(station, hand, strum(OFF_CENTS))
        second = stream.until("strum")
        kept = opened(station)["strum"]
        after = {each["string"]: each["roll"] for each in player_of(station, "tove")["strings"]}

    assert told["open"]["kind"] == "strum"
    heard = {each["string"]: each for each in first["strings"]}
    for string, cents in OFF_CENTS.items():
        assert heard[string]["cents"] == pytest.approx(cents, abs=0.5)
    assert (first["first"], first["missing"]) == (5, [3])
    assert heard[5]["verdict"] == "tighten"
    assert not any(each["counts"] for each in first["strings"])
    assert set(before.values()) == {"not heard"}
    assert {each["string"] for each in second["strings"] if each["counts"]} == set(OFF_CENTS)
    assert after == {6: "in", 5: "out", 4: "in", 3: "not heard", 2: "out", 1: "in"}
    assert kept["number"] == 2
    assert faults(first, SCHEMAS["StrumEvent"], API) == []
    room = ask(station.page.port, "/api/v1/room").json
    assert faults(room, SCHEMAS["Room"], API) == []


def test_a_beating_pair_reaches_the_page_with_which_string_to_move_and_which_way(start, hand):
    station = start(hand)
    low, high = GUITAR.string(6), GUITAR.string(5)
    pair = harmonic_pair(low, high)
    assert pair is not None
    flat_hz = shift_cents(midi_to_hz(low.midi), -8.0)
    rng = np.random.default_rng(4)
    rate_hz = station.settings.input.rate_hz
    plucked = (
        Plucked(flat_hz, 1e-6, harmonic=4, left=0.04),
        Plucked(midi_to_hz(high.midi), 1e-6, harmonic=3, left=0.04),
    )
    x = sum(each.sound(rate_hz, 3.6, rng) for each in plucked) * 0.5

    with event_stream(station.page.port, player="tove") as stream:
        stream.until("room")
        told = post(station, "pair", pair="6-5", way="harmonics", hold=5).json
        sound(station, hand, np.asarray(x))
        heard = [stream.until("beats")]
        while heard[-1]["at_s"] < 3.0:
            heard.append(stream.until("beats"))

    beat_hz = abs(4 * plucked[0].hz - 3 * plucked[1].hz)
    last = heard[-1]
    assert told["open"]["pair"]["hold"] == 5
    assert told["open"]["pair"]["leave_hz"] == pytest.approx(0.372, abs=0.001)
    assert last["beat_hz"] == pytest.approx(beat_hz, abs=0.05)
    assert (last["move"], last["verdict"]) == (6, "tighten")
    assert last["off_cents"] == pytest.approx(-8.0, abs=0.5)
    assert 0.0 <= last["phase_turns"] <= 1.0
    assert faults(last, SCHEMAS["BeatsEvent"], API) == []


def test_a_strings_plucks_are_counted_and_become_its_first_day(start, hand):
    station = start(hand)
    hz = GUITAR.string(5).target_hz()
    rate_hz = station.settings.input.rate_hz
    one = StiffString(hz, 5e-5, 1.2, 0.1).sound(rate_hz, 1.6)
    one[-4800:] *= np.linspace(1.0, 0.0, 4800)
    with event_stream(station.page.port, player="tove") as stream:
        stream.until("room")
        assert post(station, "health", string=5).json["open"]["health"]["since"] is None
        post(station, "new-strings")
        sound(
            station,
            hand,
            np.concatenate([np.zeros(rate_hz // 2), *[one] * 5, np.zeros(rate_hz // 2)]),
        )
        wait_until(lambda: opened(station)["health"]["known"] == [5])

    assert opened(station)["health"]["first_plucks"] == 5


def test_nobody_listens_when_the_bench_is_closed_or_the_phone_is_away(start, hand):
    station = start(hand)
    assert post(station, "strum").status == 200
    assert not station.room.wanted_ears()
    with event_stream(station.page.port, player="tove") as stream:
        stream.until("room")
        wait_until(station.room.wanted_ears)
        (ear,) = station.room.wanted_ears()
        assert (ear.kind, ear.line) == ("strum", 1)

        told = post(station, "close").json

        assert told["open"] is None
        assert not station.room.wanted_ears()
