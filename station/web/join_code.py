"""The QR code (ISO/IEC 18004) that leads another phone to the page."""

from __future__ import annotations

import functools
import io
import ipaddress
from urllib.parse import urlsplit

from station.errors import PageRequestError

QUIET_ZONE_MODULES = 4  # ISO/IEC 18004 asks for four


def join_address(addresses: list[str]) -> str:
    """The first of the page's addresses that another phone can reach.

    A loopback address leads a phone to itself; it is given only when the
    station has no other. Raises PageRequestError when there is none at all.
    """
    if not addresses:
        raise PageRequestError("the station knows no address of its page yet", 503, 5)
    return next((each for each in addresses if not _is_loopback(each)), addresses[0])


def svg(addresses: list[str]) -> bytes:
    """The join address as an SVG image, dark on light so that every camera reads it."""
    return _draw(join_address(addresses))


@functools.lru_cache(maxsize=8)
def _draw(address: str) -> bytes:
    import segno  # only phones that ask for the image pay for it

    image = io.BytesIO()
    code = segno.make(address, error="m", micro=False)
    code.save(
        image,
        kind="svg",
        border=QUIET_ZONE_MODULES,
        light="#ffffff",
        dark="#0b0b0e",
        omitsize=True,
        svgclass=None,
        lineclass=None,
    )
    return image.getvalue()


def _is_loopback(address: str) -> bool:
    name = urlsplit(address).hostname or ""
    try:
        return ipaddress.ip_address(name).is_loopback
    except ValueError:
        return name == "localhost"
