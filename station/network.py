"""Where phones find the page: this box's own addresses."""

from __future__ import annotations

import ipaddress
import socket


def page_addresses(host: str, port: int) -> list[str]:
    """Addresses of a page served on `host`, the one for other phones first.

    Served on every interface ("0.0.0.0" or "::") these are the box's IPv4
    addresses, then its multicast-DNS name (RFC 6762), then itself; an address
    no phone can reach comes last. Names are not looked up anywhere.
    """
    if host not in ("0.0.0.0", "::"):  # noqa: S104 - compared with, not bound to
        return [_url(host, port)]
    own = [str(address) for address in interface_addresses()]
    name = socket.gethostname().partition(".")[0]
    urls = [_url(each, port) for each in own if not ipaddress.ip_address(each).is_loopback]
    return [*urls, _url(f"{name}.local", port), _url("localhost", port), _url("127.0.0.1", port)]


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
