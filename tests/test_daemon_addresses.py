"""The station's own addresses: looked up now and then, never while a phone waits."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from station import daemon
from station.daemon import TunerStation
from station.probe import Probe
from station.settings import LampSettings, PageSettings, Settings, StationSettings
from tests.support.hand_input import HandInput
from tests.support.page_client import ask, event_stream, wait_until


class Network:
    """What the system would say of the box's addresses, and how often it was asked."""

    def __init__(self) -> None:
        self.hosts = ["192.0.2.17"]
        self.asked = 0
        self.is_down = False

    def __call__(self, host: str, port: int) -> list[str]:
        self.asked += 1
        if self.is_down:
            raise OSError("no interface can be listed")
        return [f"http://{each}:{port}" for each in self.hosts]


@pytest.fixture
def network(monkeypatch: pytest.MonkeyPatch) -> Network:
    invented = Network()
    monkeypatch.setattr(daemon, "page_addresses", invented)
    monkeypatch.setattr(daemon, "HOUSEKEEPING_S", 0.02)
    return invented


@pytest.fixture
def station(network: Network, tmp_path: Path) -> Iterator[TunerStation]:
    settings = Settings(
        station=StationSettings(data_dir=tmp_path),
        page=PageSettings("127.0.0.1", 0),
        lamps=LampSettings("off"),
    )
    with TunerStation(settings, HandInput(), Probe("numpy")) as running:
        yield running


def test_requests_do_not_ask_the_system_for_addresses(
    station: TunerStation, network: Network
) -> None:
    for _ in range(20):
        assert ask(station.page.port, "/health").status == 200

    assert network.asked == 1
    assert station.addresses() == [f"http://192.0.2.17:{station.page.port}"]


def test_an_address_that_comes_later_reaches_the_page(
    monkeypatch: pytest.MonkeyPatch, station: TunerStation, network: Network
) -> None:
    with event_stream(station.page.port) as stream:
        assert len(stream.until("room")["station"]["addresses"]) == 1
        network.hosts.append("198.51.100.4")
        monkeypatch.setattr(daemon, "ADDRESS_LIFE_S", 0.0)

        told = stream.until("room")["station"]["addresses"]

    assert told == station.addresses()
    assert told[1].startswith("http://198.51.100.4:")


def test_addresses_that_cannot_be_looked_up_stay_as_they_were(
    monkeypatch: pytest.MonkeyPatch, station: TunerStation, network: Network
) -> None:
    network.is_down = True
    monkeypatch.setattr(daemon, "ADDRESS_LIFE_S", 0.0)
    asked = network.asked
    wait_until(lambda: network.asked > asked + 2)

    assert station.addresses() == [f"http://192.0.2.17:{station.page.port}"]
    assert ask(station.page.port, "/health").status == 200
