"""What the service manager is told: ready, fed for progress alone, ending."""

from __future__ import annotations

import logging
import os
import re
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from station.daemon import TunerStation
from station.errors import LineInputError
from station.probe import Probe
from station.settings import LampSettings, PageSettings, Settings, StationSettings
from station.settings_model import InputSettings
from station.sound import line_input
from station.sound.band import SimulatedBand
from station.sound.line_input import LineFormat, SupervisedInput
from station.sound.simulated_input import SimulatedInput
from station.watchdog import VARIABLES, Count, Judge, ServiceManager
from station.web import guards, server
from tests.support.page_client import ask, wait_until
from tests.support.pulse import DIES_WITH_THE_TEST
from tests.support.station_process import free_port

LIMIT_S = 0.2  # the fake manager's patience: looked at every twentieth of a second
FED = "WATCHDOG=1"
MANY = 4  # signs of progress that nobody would send for having been alive once


class FakeManager:
    """A socket as systemd's, and what came in on it."""

    def __init__(self, address: str) -> None:
        self.address = address
        self.said: list[str] = []
        self._way = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self._way.bind(address.replace("@", "\0", 1) if address.startswith("@") else address)
        self._way.settimeout(0.05)
        self._ended = threading.Event()
        self._thread = threading.Thread(target=self._hear, daemon=True)
        self._thread.start()

    def _hear(self) -> None:
        while not self._ended.is_set():
            try:
                self.said += self._way.recv(4096).decode().split("\n")
            except TimeoutError:
                continue

    def fed(self) -> int:
        return self.said.count(FED)

    def waits_to_be_fed(self, times: int = MANY) -> None:
        before = self.fed()
        wait_until(lambda: self.fed() >= before + times)

    def close(self) -> None:
        self._ended.set()
        self._thread.join()
        self._way.close()


@pytest.fixture
def manager(tmp_path: Path) -> Iterator[FakeManager]:
    fake = FakeManager(str(tmp_path / "notify"))
    yield fake
    fake.close()


# -- who gets on -----------------------------------------------------------


def test_only_when_every_loop_has_turned_is_there_progress():
    judge = Judge({"a": Count(0), "b": Count(0)})

    assert judge.standing_still({"a": Count(5), "b": Count(0)}) == ["b"]
    assert judge.standing_still({"a": Count(5), "b": Count(1)}) == []
    assert judge.standing_still({"a": Count(5), "b": Count(1)}) == ["a", "b"]


def test_who_was_given_nothing_owes_nothing_but_what_was_given_stays_owed():
    judge = Judge({"listening": Count(3, given=3)})

    assert judge.standing_still({"listening": Count(3, given=3)}) == []
    assert judge.standing_still({"listening": Count(3, given=9)}) == ["listening"]
    # The card is gone: nothing new is given, and still the six are owed.
    assert judge.standing_still({"listening": Count(3, given=9)}) == ["listening"]
    assert judge.standing_still({"listening": Count(4, given=9)}) == []


def test_who_hears_the_last_blocks_after_the_look_is_not_called_frozen():
    judge = Judge({"listening": Count(0, given=0)})

    assert judge.standing_still({"listening": Count(28, given=30)}) == []
    assert judge.standing_still({"listening": Count(30, given=30)}) == []
    assert judge.standing_still({"listening": Count(30, given=30)}) == []


# -- whom it tells -----------------------------------------------------------


def test_without_a_service_manager_nothing_is_asked_and_no_thread_runs():
    before = threading.active_count()

    with ServiceManager.of({}).watching(lambda: pytest.fail("asked")):
        assert threading.active_count() == before


def test_the_managers_names_are_taken_out_so_that_no_child_speaks_for_us():
    environment = {"NOTIFY_SOCKET": "/none", "WATCHDOG_USEC": "10000000", "PATH": "/bin"}

    ServiceManager.of(environment)

    assert environment == {"PATH": "/bin"}
    assert {"NOTIFY_SOCKET", "WATCHDOG_USEC"} < set(VARIABLES)


@pytest.mark.parametrize(
    "watch",
    [
        {},
        {"WATCHDOG_USEC": ""},
        {"WATCHDOG_USEC": "0"},
        {"WATCHDOG_USEC": "ten"},
        {"WATCHDOG_USEC": "-5"},
        {"WATCHDOG_USEC": "400000", "WATCHDOG_PID": "1"},
    ],
    ids=lambda watch: " ".join(f"{name}={value}" for name, value in watch.items()) or "none",
)
def test_who_is_not_watched_says_ready_and_ending_and_feeds_nobody(manager, watch):
    of = {"NOTIFY_SOCKET": manager.address, **watch}

    with ServiceManager.of(of).watching(lambda: pytest.fail("asked"), "all well"):
        wait_until(lambda: len(manager.said) == 2)

    wait_until(lambda: len(manager.said) == 3)
    assert manager.said == ["READY=1", "STATUS=all well", "STOPPING=1"]


def test_an_abstract_socket_is_reached_too():
    fake = FakeManager(f"@station-{os.getpid()}")
    try:
        with ServiceManager(fake.address).watching(dict):
            wait_until(lambda: "READY=1" in fake.said)
    finally:
        fake.close()


def test_a_manager_that_cannot_be_reached_is_said_once_and_ends_nothing(tmp_path, caplog):
    gone = ServiceManager(str(tmp_path / "gone"), 0.04)

    with gone.watching(dict), caplog.at_level(logging.WARNING):
        time.sleep(0.2)

    told = [record.message for record in caplog.records]
    assert len(told) == 1
    assert "cannot be told READY=1" in told[0]


def test_who_stands_still_is_named_once_and_when_it_goes_on_the_status_is_as_before(
    manager, caplog
):
    counts = {"capture": Count(0), "page": Count(0)}
    frozen = threading.Event()

    def progress() -> dict[str, Count]:
        for name in ["page"] if frozen.is_set() else ["capture", "page"]:
            counts[name] = Count(counts[name].done + 1)
        return dict(counts)

    with ServiceManager(manager.address, LIMIT_S).watching(progress, "all well"):
        manager.waits_to_be_fed()
        frozen.set()
        wait_until(lambda: "STATUS=Standing still: capture" in manager.said)
        frozen.clear()
        wait_until(lambda: manager.said.count("STATUS=all well") == 2)

    assert manager.said.count("STATUS=Standing still: capture") == 1
    assert [r.message for r in caplog.records if "no progress" in r.message]


# -- the station itself ------------------------------------------------------


@pytest.fixture(autouse=True)
def swift_page(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(server, "TURN_S", 0.02)


@pytest.fixture
def settings(tmp_path: Path) -> Settings:
    return Settings(
        station=StationSettings("Cellar room", "hemlock-9", tmp_path / "state"),
        input=InputSettings("simulated", channels=SimulatedBand(48_000).lines),
        page=PageSettings("127.0.0.1", 0),
        lamps=LampSettings("off"),
    )


@contextmanager
def watched(
    manager: FakeManager, settings: Settings, make_input: Callable[..., object] | None = None
) -> Iterator[TunerStation]:
    """A station on the simulated band, unless given another input, watched by `manager`."""

    def simulated(on_block, on_state):
        return SimulatedInput(SimulatedBand(48_000), on_block=on_block, on_state=on_state)

    with (
        TunerStation(settings, make_input or simulated, Probe("numpy"), keep=False) as station,
        ServiceManager(manager.address, LIMIT_S).watching(station.progress),
    ):
        manager.waits_to_be_fed()
        yield station


class Frozen:
    """Stands in for a function: whoever calls it once it is frozen waits."""

    def __init__(self, real: Callable[..., object]) -> None:
        self._real = real
        self._go_on = threading.Event()
        self._go_on.set()
        self.caught = threading.Event()

    def __call__(self, *args: object, **options: object) -> object:
        if not self._go_on.is_set():
            self.caught.set()
            self._go_on.wait(30.0)
        return self._real(*args, **options)

    def freeze(self) -> None:
        self._go_on.clear()

    def thaw(self) -> None:
        self._go_on.set()


def ask_for_room(station: TunerStation) -> None:
    """A request, on a thread of its own: it may never be answered."""
    threading.Thread(target=ask, args=(station.page.port, "/api/v1/room"), daemon=True).start()


@pytest.mark.parametrize("loop", ["capture", "listening", "page", "room"])
def test_a_core_loop_that_freezes_ends_the_feeding_and_one_that_goes_on_resumes_it(
    manager, settings, monkeypatch, loop
):
    with watched(manager, settings) as station:
        owner, name = {
            "capture": (station.input.band, "samples"),
            "listening": (station.listening, "_hear"),
            "page": (guards, "check_host"),
            "room": (station.room, "snapshot"),  # called with the room's lock held
        }[loop]
        place = Frozen(getattr(owner, name))
        monkeypatch.setattr(owner, name, place)

        place.freeze()
        try:
            if loop in ("page", "room"):
                ask_for_room(station)
            assert place.caught.wait(10.0)
            fed = manager.fed()
            time.sleep(4 * LIMIT_S)
            fed_after = manager.fed()
        finally:
            place.thaw()

        # One look may have seen the last turn before the freeze.
        assert fed_after <= fed + 1
        manager.waits_to_be_fed()


def test_a_card_that_is_missing_is_no_reason_for_a_restart(manager, settings):
    with watched(manager, settings) as station:
        station.input.unplug()
        wait_until(lambda: station.room.input.state == "waiting")

        manager.waits_to_be_fed(8)

        station.input.plug_in()
        wait_until(lambda: station.room.input.state == "listening")
        manager.waits_to_be_fed()


@pytest.mark.parametrize(
    ("error", "listed"),
    [(LineInputError("unplugged"), False), (LineInputError("hung"), True)],
    ids=["not listed", "listed and broken"],
)
def test_the_line_inputs_waiting_for_its_card_counts_as_progress(
    manager, settings, monkeypatch, error, listed
):
    def broken(self):
        raise error

    cards = {0: "Lines"} if listed else {}
    monkeypatch.setattr(line_input, "read_cards", lambda: cards)
    monkeypatch.setattr(line_input, "LAST_RETRY_S", 0.1)
    monkeypatch.setattr(line_input.LineInput, "__enter__", broken)

    def make_input(on_block, on_state):
        wanted = LineFormat("hw:CARD=Lines,DEV=0")
        return SupervisedInput(wanted, on_block=on_block, on_state=on_state)

    with watched(manager, settings, make_input) as station:
        manager.waits_to_be_fed(8)

        assert station.room.input.state == "waiting"


# -- the command -------------------------------------------------------------


def test_the_command_is_ready_without_a_card_and_a_stopped_process_feeds_nobody(manager, tmp_path):
    path = tmp_path / "settings.toml"
    path.write_text(
        f'[station]\ndata_dir = "{tmp_path / "state"}"\n'
        '[input]\ndevice = "hw:CARD=Nowhere,DEV=0"\n'
        f'[page]\nhost = "127.0.0.1"\nport = {free_port()}\n[lamps]\nmode = "off"\n'
    )
    told = {"NOTIFY_SOCKET": manager.address, "WATCHDOG_USEC": str(round(LIMIT_S * 5e6))}
    process = subprocess.Popen(
        [*DIES_WITH_THE_TEST, sys.executable, "-m", "station.cli", "run", "--config", str(path)],
        env={**os.environ, **told},
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
    )
    try:
        wait_until(lambda: "READY=1" in manager.said)
        manager.waits_to_be_fed()

        process.send_signal(signal.SIGSTOP)
        time.sleep(0.2)
        fed = manager.fed()
        time.sleep(4 * LIMIT_S)
        assert manager.fed() == fed
        process.send_signal(signal.SIGCONT)
        manager.waits_to_be_fed(1)
        # As systemd ends it when it is fed no more: where it stood is left in the log.
        process.send_signal(signal.SIGABRT)
        _, said = process.communicate(timeout=20)
    finally:
        process.kill()
        process.wait()

    assert process.returncode == -signal.SIGABRT
    assert "Fatal Python error: Aborted" in said
    assert len(re.findall(r"^(Current thread|Thread) 0x", said, re.MULTILINE)) > 4
    assert [line for line in manager.said if line.startswith("STATUS=Page: http")]
