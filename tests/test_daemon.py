"""The whole station in one process: heard, agreed, kept, and whatever may fail beside it."""

from __future__ import annotations

import json
import logging
import shutil
import sqlite3
import threading
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from station.daemon import TunerStation
from station.demo import demo_settings
from station.errors import PortTakenError, ReferenceRangeError
from station.keeping import STORE_NAME
from station.lamps.lamps import Lamps
from station.lamps.pins import QUIET_BUTTON
from station.music.pitch import shift_cents
from station.probe import Probe
from station.room.model import Event, Player
from station.room.store import RoomStore
from station.settings import LampSettings, Settings
from station.settings_model import AgreementSettings
from station.sound.band import BAND, SimulatedBand
from station.sound.simulated_input import SimulatedInput
from tests.support.hand_input import HandInput, player_of, pluck
from tests.support.page_client import ask, event_stream, wait_until
from tests.support.running import BRANNOCK, CODE, TOVE, Start, cellar, starting
from tests.support.station_process import free_port

pytestmark = pytest.mark.usefixtures("no_process_survives")

IDA = Player("ida", "Ida", "drum-kit", line=3)
# Fundamentals of open strings at A4 = 440 Hz, equal temperament (from memory).
GUITAR_HZ = {6: 82.407, 5: 110.0, 4: 146.832, 3: 195.998, 2: 246.942, 1: 329.628}


@pytest.fixture
def settings(tmp_path: Path) -> Settings:
    return cellar(tmp_path, TOVE, BRANNOCK, IDA)


@pytest.fixture
def hand() -> HandInput:
    return HandInput()


@pytest.fixture
def start(settings: Settings) -> Iterator[Start]:
    with starting(settings) as begin:
        yield begin


def rolls(station: TunerStation, player_id: str) -> dict[int, str]:
    return {s["string"]: s["roll"] for s in player_of(station, player_id)["strings"]}


def put(station: TunerStation, path: str, body: dict[str, Any], code: str = CODE) -> int:
    answer = ask(
        station.page.port,
        path,
        "PUT",
        json.dumps(body).encode(),
        {"Content-Type": "application/json", "X-Room-Code": code},
    )
    return answer.status


# -- heard -----------------------------------------------------------------


def test_a_plucked_string_reaches_page_lamps_and_roll_call(start, hand):
    events: list[Event] = []
    station = start(hand, on_event=events.append)
    with event_stream(station.page.port) as stream:
        assert stream.until("room")["roll_call"]["in"] == 0
        pluck(station, hand, 1, shift_cents(GUITAR_HZ[5], -12.0))
        reading = stream.until("reading")

    assert (reading["player"], reading["string"]) == ("tove", 5)
    assert reading["verdict"] == "tighten"
    assert reading["string_cents"] == pytest.approx(-12.0, abs=0.5)
    assert rolls(station, "tove")[5] == "out"
    assert [e.payload["string"] for e in events if e.kind == "note"] == [5]

    pluck(station, hand, 1, GUITAR_HZ[5])

    assert rolls(station, "tove")[5] == "in"
    assert set(rolls(station, "brannock").values()) == {"not heard"}


def test_the_lamps_show_a_flat_string_below_the_middle(start, hand, monkeypatch):
    lit: list[tuple[float, ...]] = []
    write = Lamps._write

    def remember(lamps: Lamps, lights: tuple[float, ...]) -> None:
        lit.append(lights)
        write(lamps, lights)

    monkeypatch.setattr(Lamps, "_write", remember)
    station = start(hand)

    pluck(station, hand, 1, shift_cents(GUITAR_HZ[5], -12.0))
    wait_until(lambda: any(lights[1] > 0.5 for lights in lit))

    # The column's three lamps above the middle one and the white one stay dark.
    assert all(lights[3:7] == (0.0,) * 4 for lights in lit)


def test_of_a_drum_line_the_level_is_shown_and_no_pitch(start, hand):
    station = start(hand)

    pluck(station, hand, 3, 110.0)

    levels = {level["line"]: level for level in station.snapshot()["lines"]}
    assert player_of(station, "ida")["now"] is None
    assert levels[3]["peak_dbfs"] is not None
    assert station.snapshot()["roll_call"]["not_heard"] == 10


def test_the_band_tunes_until_the_roll_call_is_complete(settings):
    band = SimulatedBand(48_000, seed=3)
    completed = threading.Event()
    truth: list[float] = []

    def on_event(event: Event) -> None:
        if event.kind == "room" and event.payload["roll_call"]["complete"] and not truth:
            truth.extend(abs(c) for m in ("wren", "odell") for c in band.offsets_cents(m))
            completed.set()

    class Unhurried(SimulatedInput):
        """As fast as listening goes, and no faster."""

        def _play_block(self) -> None:
            if self._next_frame // self._frames - station.listening.blocks_heard < 16:
                super()._play_block()
            else:
                self._stopping.wait(0.002)

    def make_input(on_block: Any, on_state: Any) -> SimulatedInput:
        return Unhurried(band, on_block=on_block, on_state=on_state, real_time=False)

    station = TunerStation(
        demo_settings(settings, 0, None),
        make_input,
        Probe("numpy"),
        simulated=True,
        keep=False,
        on_event=on_event,
        on_reference=band.set_reference,
    )
    with station:
        assert completed.wait(120.0), station.snapshot()["roll_call"]
        assert station.listening.frames_given_up == 0

    # The synthesiser knows how far its strings truly were off just then.
    assert len(truth) == 10
    assert max(truth) <= settings.station.in_cents


def test_an_input_that_is_unplugged_is_said_and_heard_again_when_it_is_back(settings):
    band = SimulatedBand(48_000)
    inputs: list[SimulatedInput] = []

    def make_input(on_block: Any, on_state: Any) -> SimulatedInput:
        inputs.append(SimulatedInput(band, on_block=on_block, on_state=on_state))
        return inputs[0]

    def state() -> dict[str, Any]:
        return ask(station.page.port, "/api/v1/room").json["station"]["input"]

    station = TunerStation(
        demo_settings(settings, 0, None), make_input, Probe("numpy"), simulated=True, keep=False
    )
    with station:
        wait_until(lambda: state()["state"] == "listening")
        inputs[0].unplug("the cable is out")
        wait_until(lambda: state()["state"] == "waiting")
        assert state()["reason"] == "the cable is out"
        heard = station.listening.blocks_heard
        inputs[0].plug_in()
        wait_until(lambda: state()["state"] == "listening")
        wait_until(lambda: station.listening.blocks_heard > heard + 5)
        assert state()["restarts"] == 1


# -- agreed and kept ----------------------------------------------------------


def test_a_new_reference_resets_everyone_and_outlives_a_restart(start, hand, settings):
    station = start(hand)
    pluck(station, hand, 1, GUITAR_HZ[5])
    assert station.snapshot()["roll_call"]["in"] == 1

    assert put(station, "/api/v1/reference", {"a4_hz": 443.0, "by": "Tove"}) == 200
    assert station.snapshot()["roll_call"] == {
        "in": 0, "out": 0, "not_heard": 10, "total": 10, "complete": False,
    }  # fmt: skip
    pluck(station, hand, 1, GUITAR_HZ[5])
    assert rolls(station, "tove")[5] == "out"
    station.stop()

    again = start()
    assert again.snapshot()["reference"]["a4_hz"] == 443.0
    assert again.snapshot()["reference"]["by"] == "Tove"
    assert rolls(again, "tove")[5] == "out"


def test_a_reference_is_kept_before_the_page_says_so(start, settings):
    station = start()

    assert put(station, "/api/v1/reference", {"a4_hz": 438.5, "by": "Tove"}) == 200

    kept = sqlite3.connect(settings.data_dir() / STORE_NAME)
    try:
        assert kept.execute("SELECT a4_hz FROM reference").fetchall() == [(438.5,)]
    finally:
        kept.close()


def test_who_plays_in_the_demo_follows_a_new_reference(start):
    told: list[float] = []
    station = start(on_reference=told.append)

    station.set_reference(442.0, "Tove", "set on the page")
    with pytest.raises(ReferenceRangeError):
        station.set_reference(4400.0, "Tove", "set on the page")

    assert told == [442.0]
    assert station.snapshot()["reference"]["a4_hz"] == 442.0


def test_a_drummer_who_takes_up_a_guitar_is_measured_from_then_on(start, hand):
    station = start(hand)

    assert put(station, "/api/v1/players/ida", {"instrument": "guitar"}) == 200
    pluck(station, hand, 3, GUITAR_HZ[4])

    assert rolls(station, "ida")[4] == "in"


def test_a_changed_player_outlives_a_restart(start):
    station = start()
    assert put(station, "/api/v1/players/tove", {"tuning": "drop-d"}) == 200
    station.stop()

    assert player_of(start(), "tove")["tuning"] == "drop-d"


def test_nothing_changes_without_the_room_code(start):
    station = start()

    assert put(station, "/api/v1/reference", {"a4_hz": 443.0, "by": "Tove"}, "guess") >= 400

    assert station.snapshot()["reference"]["a4_hz"] == 440.0


def test_without_a_room_code_in_the_settings_a_fresh_one_is_made(settings):
    open_door = replace(settings, station=replace(settings.station, room_code=""))

    codes = {
        TunerStation(open_door, HandInput(), Probe("numpy"), keep=False).room_code for _ in "ab"
    }

    assert len(codes) == 2
    assert "" not in codes


# -- what may fail beside listening ---------------------------------------------


def test_storage_that_cannot_be_opened_is_a_banner_and_listening_goes_on(start, hand, settings):
    settings.data_dir().parent.mkdir(exist_ok=True)
    settings.data_dir().write_text("a file where the folder should be")

    station = start(hand)
    pluck(station, hand, 1, GUITAR_HZ[5])

    (banner,) = station.snapshot()["station"]["banners"]
    assert banner.startswith("Not saved: ")
    assert rolls(station, "tove")[5] == "in"
    assert put(station, "/api/v1/reference", {"a4_hz": 443.0, "by": "Tove"}) == 200


def test_storage_that_fails_later_is_a_banner_until_it_works_again(start, settings, caplog):
    station = start()
    store = settings.data_dir() / STORE_NAME
    other = sqlite3.connect(store, isolation_level=None, timeout=0)
    try:
        # Held by another program, it cannot be written for as long (sqlite.org/lang_transaction).
        other.execute("BEGIN EXCLUSIVE")
        with caplog.at_level(logging.CRITICAL):
            assert put(station, "/api/v1/reference", {"a4_hz": 443.0, "by": "Tove"}) == 200
        assert station.snapshot()["reference"]["a4_hz"] == 443.0
        (banner,) = station.snapshot()["station"]["banners"]
        assert banner.startswith("Not saved: ")
        assert "\n" not in banner
        other.execute("ROLLBACK")
    finally:
        other.close()

    assert put(station, "/api/v1/reference", {"a4_hz": 444.0, "by": "Tove"}) == 200

    assert station.snapshot()["station"]["banners"] == []


def test_a_banner_of_what_was_not_saved_stays_until_something_is(start, settings, monkeypatch):
    monkeypatch.setattr("station.daemon.HOUSEKEEPING_S", 0.01)
    rounds = 0
    station = start()
    save_if_due = station.keeping.store.save_if_due

    def counted(*arguments: Any) -> bool:
        nonlocal rounds
        rounds += 1
        return save_if_due(*arguments)

    monkeypatch.setattr(station.keeping.store, "save_if_due", counted)
    shutil.rmtree(settings.data_dir())

    assert put(station, "/api/v1/reference", {"a4_hz": 443.0, "by": "Tove"}) == 200
    before = rounds
    wait_until(lambda: rounds > before + 5)

    (banner,) = station.snapshot()["station"]["banners"]
    assert banner.startswith("Not saved: ")
    assert "is gone" in banner


def test_two_stations_on_one_folder_do_not_undo_each_others_agreement(start, settings):
    first = start()
    second = start()  # on a port of its own
    assert put(second, "/api/v1/reference", {"a4_hz": 438.0, "by": "Ida"}) == 200
    assert put(first, "/api/v1/reference", {"a4_hz": 443.0, "by": "Tove"}) == 200
    first.stop()
    second.stop()

    (banner,) = second.snapshot()["station"]["banners"]
    assert banner.startswith("Not saved: ")
    assert "another station" in banner
    assert first.snapshot()["station"]["banners"] == []
    assert start().snapshot()["reference"]["a4_hz"] == 443.0


def test_a_damaged_store_is_kept_aside_and_said(start, settings):
    settings.data_dir().mkdir(parents=True)
    (settings.data_dir() / STORE_NAME).write_bytes(b"not a database" * 500)

    station = start()

    (banner,) = station.snapshot()["station"]["banners"]
    assert "damaged" in banner
    assert list(settings.data_dir().glob(f"{STORE_NAME}.corrupt-*"))
    assert put(station, "/api/v1/reference", {"a4_hz": 443.0, "by": "Tove"}) == 200


def test_a_builders_own_pins_light_the_room_and_their_button_quiets_it(start, settings):
    own = LampSettings("mock", column=(4, 17, 27), band=None, quiet_button=23)
    station = start(of=replace(settings, lamps=replace(own, reference_button=None)))
    factory = station.lamps.pin_factory

    factory.pin(23).drive_low()

    wait_until(lambda: station.snapshot()["station"]["quiet"])
    assert {pin.name for pin in factory.pins} == {"GPIO4", "GPIO17", "GPIO27", "GPIO23"}


def test_lamps_that_cannot_be_had_are_said_and_cost_nothing_else(start, hand, settings, tmp_path):
    # lgpio is looked for where there is none.
    station = start(hand, replace(settings, lamps=LampSettings("gpio")))
    pluck(station, hand, 1, GUITAR_HZ[5])

    lamps = ask(station.page.port, "/api/v1/room").json["station"]["lamps"]
    assert lamps["state"] == "off"
    assert lamps["reason"]
    assert rolls(station, "tove")[5] == "in"


def test_lamps_that_fail_while_lit_go_off_and_cost_nothing_else(start, hand, monkeypatch):
    station = start(hand)
    assert station.snapshot()["station"]["lamps"]["state"] == "lit"

    def fail(*_: object) -> None:
        raise OSError("the chip is gone")

    monkeypatch.setattr(Lamps, "_write", fail)
    wait_until(lambda: station.snapshot()["station"]["lamps"]["state"] == "off")

    pluck(station, hand, 1, GUITAR_HZ[5])
    assert "the chip is gone" in station.snapshot()["station"]["lamps"]["reason"]
    assert rolls(station, "tove")[5] == "in"


def test_a_folder_that_cannot_be_written_does_not_cost_the_lamps_as_well(
    start, settings, monkeypatch
):
    asked: list[Path | None] = []

    class Watched(Lamps):
        def __init__(self, mode: str, *, work_dir: Path | None, **options: Any) -> None:
            asked.append(work_dir)
            super().__init__("mock", **options)

    monkeypatch.setattr("station.daemon.Lamps", Watched)
    settings.data_dir().parent.mkdir(exist_ok=True)
    settings.data_dir().write_text("a file where the folder should be")

    station = start(of=replace(settings, lamps=LampSettings("gpio")))

    assert asked == [None]  # lgpio's pipes go to the temporary folder then
    assert station.snapshot()["station"]["lamps"]["state"] == "lit"


def test_housekeeping_goes_on_after_a_fault_and_says_it_meanwhile(
    start, settings, monkeypatch, caplog
):
    monkeypatch.setattr("station.daemon.HOUSEKEEPING_S", 0.01)
    monkeypatch.setattr("station.daemon.ADDRESS_LIFE_S", 0.0)
    broken = threading.Event()
    broken.set()

    def addresses(*_: object) -> list[str]:
        if broken.is_set():
            raise ZeroDivisionError("no such luck")
        return ["http://127.0.0.1/"]

    station = start()
    monkeypatch.setattr("station.daemon.page_addresses", addresses)
    wait_until(lambda: station.snapshot()["station"]["banners"])

    (banner,) = station.snapshot()["station"]["banners"]
    assert "ZeroDivisionError" in banner
    assert "\n" not in banner
    broken.clear()
    wait_until(lambda: not station.snapshot()["station"]["banners"])
    assert station.addresses() == ["http://127.0.0.1/"]
    assert [record.exc_info is not None for record in caplog.records] == [True]


# -- the quiet button ------------------------------------------------------------


def test_the_quiet_button_dims_the_lamps_and_the_room_says_so(start):
    station = start()
    assert station.lamps is not None
    pin = station.lamps.pin_factory.pin(QUIET_BUTTON.bcm)
    with event_stream(station.page.port) as stream:
        assert stream.until("room")["station"]["quiet"] is False
        for quiet in (True, False):
            pin.drive_low()  # a press connects the pin to ground
            assert stream.until("room")["station"]["quiet"] is quiet
            assert station.lamps._animation.quiet is quiet
            pin.drive_high()
            wait_until(lambda: not station.lamps._buttons[0].is_pressed)


def test_an_aubio_that_cannot_be_used_is_said_on_the_page(settings):
    probe = Probe("numpy", "aubio crashes here (signal 11)")
    with TunerStation(settings, HandInput(), probe, keep=False) as station:
        told = ask(station.page.port, "/api/v1/room").json["station"]

    assert (told["tracker"], told["tracker_reason"]) == ("numpy", "aubio crashes here (signal 11)")


# -- two stations, and the end ---------------------------------------------------


def test_a_second_station_on_the_port_ends_in_one_line_and_disturbs_nothing(settings, hand):
    shared = replace(settings, page=replace(settings.page, port=free_port()))
    with TunerStation(shared, hand, Probe("numpy")) as first:
        other = replace(shared, players=(replace(TOVE, id="other", name="Other"),))
        late = HandInput()
        second = TunerStation(other, late, Probe("numpy"))
        # What the first keeps after the second has read the store must not be undone.
        first.set_reference(443.0, "Tove", "set on the page")
        with pytest.raises(PortTakenError) as refused, second:
            pass

        assert "\n" not in str(refused.value)
        assert refused.value.exit_code == 1
        assert not late.started
        pluck(first, hand, 1, GUITAR_HZ[5])
        assert ask(first.page.port, "/health").status == 200
        assert first.snapshot()["station"]["banners"] == []
        kept = RoomStore(shared.data_dir() / STORE_NAME)
        state = kept.state
        kept.close()

    assert state is not None
    assert state["reference"]["a4_hz"] == 443.0
    assert {row["id"] for row in state["players"]} == {"tove", "brannock", "ida"}


def test_stopping_ends_every_thread_and_frees_the_port(start, hand):
    before = set(threading.enumerate())
    station = start(hand)
    port = station.page.port
    assert ask(port, "/health").status == 200

    station.stop()
    station.stop()

    assert hand.stopped
    with pytest.raises(ConnectionRefusedError):
        ask(port, "/health")
    assert set(threading.enumerate()) - before == set()


def test_what_was_heard_is_kept_when_the_station_stops(start, hand):
    station = start(hand)
    pluck(station, hand, 1, GUITAR_HZ[5])
    station.stop()

    assert rolls(start(), "tove")[5] == "in"


def test_a_demo_has_the_simulated_band_and_nothing_of_the_box(settings):
    demo = demo_settings(replace(settings, lamps=LampSettings("gpio", "tove")), 8123, 441.0)

    assert [player.id for player in demo.players] == [member.id for member in BAND]
    assert (demo.page.port, demo.station.a4_hz, demo.lamps.mode) == (8123, 441.0, "mock")
    assert demo.input.channels == len(BAND)


def test_a_demo_of_a_band_with_a_leader_has_no_leader(settings, start):
    led = replace(settings, agreement=AgreementSettings("leader", "tove"))

    station = start(of=demo_settings(led, 0, None))

    assert station.snapshot()["agreement"]["decides"] == "everyone"


def test_a_listener_to_events_that_never_returns_holds_up_no_page(start):
    held, waiting = threading.Event(), threading.Event()
    station = start(on_event=lambda _: held.is_set() and waiting.wait(20.0))
    held.set()
    asked = threading.Thread(target=station.set_quiet, args=(True,))
    asked.start()

    told = station.snapshot()["station"]["quiet"]
    waiting.set()
    asked.join()

    assert isinstance(told, bool)
    assert station.snapshot()["station"]["quiet"] is True


def test_an_answer_waits_until_what_another_has_changed_is_on_storage(start):
    station = start()
    store, saving, go_on = station.keeping.store, threading.Event(), threading.Event()
    save = store.save

    def slow(state: Any, now_s: float | None = None) -> None:
        saving.set()
        go_on.wait(20.0)
        save(state, now_s)

    store.save = slow
    first = threading.Thread(target=station.set_reference, args=(441.0, "Tove", "typed"))
    second = threading.Thread(target=station.on_presence, args=([],))
    first.start()
    assert saving.wait(20.0)
    second.start()
    second.join(0.3)

    assert first.is_alive() and second.is_alive()  # neither may say that it is kept
    go_on.set()
    first.join()
    second.join()


@pytest.mark.parametrize("value", [np.nan, 3e38])
def test_samples_that_are_no_sound_do_not_end_listening(start, hand, value):
    station = start(hand)

    hand.play(np.full((48000, 3), value), station.listening)
    pluck(station, hand, 1, GUITAR_HZ[5])

    assert rolls(station, "tove")[5] == "in"
    assert json.dumps(station.snapshot(), allow_nan=False)
