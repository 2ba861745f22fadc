"""Where phones are told to find the page."""

from __future__ import annotations

import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from ipaddress import IPv4Address
from pathlib import Path
from types import SimpleNamespace

import pytest

from station import network
from station.network import interface_addresses, multicast_name, page_addresses


@pytest.fixture
def box(monkeypatch: pytest.MonkeyPatch):
    """A box with the given addresses and name."""

    def make(*addresses: str, name: str | None = "cellar.local") -> None:
        adapters = [SimpleNamespace(ips=[SimpleNamespace(ip=each)]) for each in addresses]
        # An IPv6 address comes as a tuple: address, flow, scope.
        adapters.append(SimpleNamespace(ips=[SimpleNamespace(ip=("fe80::1", 0, 2))]))
        monkeypatch.setattr("ifaddr.get_adapters", lambda: adapters)
        monkeypatch.setattr(network, "multicast_name", lambda own: name if own else None)

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

    assert page_addresses("::", 8000) == ["http://localhost:8000", "http://127.0.0.1:8000"]


def test_a_name_nobody_answers_for_is_not_offered(box):
    box("192.0.2.17", name=None)

    assert page_addresses("0.0.0.0", 8000)[:2] == [
        "http://192.0.2.17:8000",
        "http://localhost:8000",
    ]


@contextmanager
def responder(folder: Path, *answers: bytes) -> Iterator[tuple[Path, list[bytes]]]:
    """Answers one question a connection, as avahi-daemon does; what it was asked."""
    asked: list[bytes] = []
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as listening:
        listening.bind(str(folder / "responder"))
        listening.listen()

        def serve() -> None:
            for answer in answers:
                client, _ = listening.accept()
                with client:
                    asked.append(client.recv(512))
                    client.sendall(answer)

        thread = threading.Thread(target=serve)
        thread.start()
        yield folder / "responder", asked
        thread.join()


def test_the_name_is_the_one_the_responder_answers_for(tmp_path):
    # As avahi-daemon 0.8 answers; the second of two boxes of one name.
    with responder(tmp_path, b"- 15 Timeout reached\n", b"+ 4 0 cellar-2.local\n") as (path, asked):
        found = multicast_name(["192.0.2.17", "198.51.100.4"], path)

    assert found == "cellar-2.local"
    assert asked == [b"RESOLVE-ADDRESS 192.0.2.17\n", b"RESOLVE-ADDRESS 198.51.100.4\n"]


@pytest.mark.parametrize("answer", [b"", b"+ 4 0\n", b"\xff\xfe\n", b"+ 4 0 public.name.example\n"])
def test_an_answer_that_is_no_name_is_none(tmp_path, answer):
    with responder(tmp_path, answer) as (path, _):
        assert multicast_name(["192.0.2.17"], path) is None


def test_without_a_responder_there_is_no_name(tmp_path):
    assert multicast_name(["192.0.2.17"], tmp_path / "nobody") is None


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
