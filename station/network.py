"""Where phones find the page: this box's own addresses."""

from __future__ import annotations

import ipaddress
import socket
from pathlib import Path

RESPONDER = Path("/run/avahi-daemon/socket")
"""Where the system's multicast-DNS responder (avahi-daemon) answers on its text protocol."""
ANSWER_LIMIT_S = 0.5


def page_addresses(host: str, port: int) -> list[str]:
    """Addresses of a page served on `host`, the one for other phones first.

    Served on every interface ("0.0.0.0" or "::") these are the box's IPv4
    addresses, then the multicast-DNS name (RFC 6762) that is really answered for it, if
    one is, then itself; an address no phone can reach comes last.
    """
    if host not in ("0.0.0.0", "::"):  # noqa: S104 - compared with, not bound to
        return [_url(host, port)]
    own = [str(each) for each in interface_addresses() if not each.is_loopback]
    name = multicast_name(own)
    hosts = [*own, *([name] if name else []), "localhost", "127.0.0.1"]
    return [_url(each, port) for each in hosts]


def multicast_name(addresses: list[str], responder: Path = RESPONDER) -> str | None:
    """The name under which phones find this box, as the responder says: None without one.

    It need not be the host's: where two boxes are called alike the responder has given one
    of them another (RFC 6762, section 9).
    """
    for address in addresses:
        answer = _ask(responder, f"RESOLVE-ADDRESS {address}\n")
        # "+ interface protocol name" where it knows one, "- reason" where not (avahi-daemon 0.8).
        words = answer.split()
        if len(words) == 4 and words[0] == "+" and words[3].endswith(".local"):
            return words[3]
    return None


def _ask(responder: Path, question: str) -> str:
    """One line; empty when nobody answers in time."""
    try:
        with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as asking:
            asking.settimeout(ANSWER_LIMIT_S)
            asking.connect(str(responder))
            asking.sendall(question.encode())
            return asking.recv(512).decode(errors="replace").partition("\n")[0]
    except OSError:
        return ""


def interface_addresses() -> list[ipaddress.IPv4Address]:
    """IPv4 addresses of every interface that is up, link-local ones last."""
    import ifaddr  # only where the page's address is asked for

    found = {
        ipaddress.IPv4Address(each.ip)
        for adapter in ifaddr.get_adapters()
        for each in adapter.ips
        if isinstance(each.ip, str)
    }
    return sorted(found, key=lambda address: (address.is_link_local, address))


def _url(host: str, port: int) -> str:
    shown = f"[{host}]" if ":" in host else host
    return f"http://{shown}" if port == 80 else f"http://{shown}:{port}"
