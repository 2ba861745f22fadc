"""Where phones are told to find the page."""

from __future__ import annotations

import socket
from ipaddress import IPv4Address
from types import SimpleNamespace

import pytest

from station import network
from station.network import interface_addresses, page_addresses


@pytest.fixture
def box(monkeypatch: pytest.MonkeyPatch):
    """A box with the given addresses and name."""

    def make(*addresses: str, name: str = "cellar") -> None:
        adapters = [SimpleNamespace(ips=[SimpleNamespace(ip=each)]) for each in addresses]
        # An IPv6 address comes as a tuple: address, flow, scope.
        adapters.append(SimpleNamespace(ips=[SimpleNamespace(ip=("fe80::1", 0, 2))]))
        monkeypatch.setattr("ifaddr.get_adapters", lambda: adapters)
        monkeypatch.setattr(socket, "gethostname", lambda: name)

    return make


def test_the_address_other_phones_can_reach_comes_first(box):
    box("127.0.0.1", "192.0.2.17")

    assert page_addresses("0.0.0.0", 8000) == [
        "http://192.0.2.17:8000",
        "http://cellar.local:8000",
        "http://localhost:8000",
        "http://127.0.0.1:8000",
    ]


def test_an_address_the_box_gave_itself_comes_after_one_of_the_network(box):
    # Link-local IPv4: 169.254/16 (RFC 3927).
    box("169.254.3.4", "192.0.2.17")

    assert interface_addresses() == [IPv4Address("192.0.2.17"), IPv4Address("169.254.3.4")]


def test_without_a_network_the_page_is_still_somewhere(box):
    box("127.0.0.1")

    assert page_addresses("::", 8000)[0] == "http://cellar.local:8000"
    assert "http://127.0.0.1:8000" in page_addresses("::", 8000)


def test_a_full_host_name_is_shortened_to_its_first_part(box):
    box("192.0.2.17", name="cellar.rehearsal.internal")

    assert "http://cellar.local:8000" in page_addresses("0.0.0.0", 8000)


@pytest.mark.parametrize(
    ("host", "port", "url"),
    [
        ("192.0.2.17", 8000, "http://192.0.2.17:8000"),
        ("192.0.2.17", 80, "http://192.0.2.17"),
        ("fd00::17", 8000, "http://[fd00::17]:8000"),  # brackets: RFC 3986, section 3.2.2
    ],
)
def test_a_page_served_on_one_address_is_only_there(host, port, url):
    assert page_addresses(host, port) == [url]


def test_this_machine_has_itself_among_its_addresses():
    assert any(address.is_loopback for address in interface_addresses())
    assert network.page_addresses("0.0.0.0", 1)[-1] == "http://127.0.0.1:1"
