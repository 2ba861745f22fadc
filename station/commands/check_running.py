"""What `station check` learns from the page's port, and from the station that answers there."""

from __future__ import annotations

import errno
import http.client
import json
import socket
from collections.abc import Iterator
from typing import Any

from station import __version__
from station.commands.check_box import dark_lamps
from station.commands.check_clock import look_at_clock, running_clock_item
from station.commands.check_input import NO_TONE, broken_input, input_item, line_item
from station.commands.check_item import Item, fault, ok, remark

ANSWER_LIMIT_S = 3.0
ANSWER_BYTES = 4_000_000
THIS_BOX = {"0.0.0.0": "127.0.0.1", "::": "::1"}  # noqa: S104 - compared with, not bound to
ITEM = "page port"
BETTER_TRACKER = (
    "install the system's package python3-aubio, built for the system's numpy, then restart the"
    " station"
)
CHANGE_PORT = "end that program, or set another port in [page]"


def look_at_port(host: str, port: int) -> tuple[Item, dict[str, Any] | None]:
    """Whether the page can be served, and the room of the station that does so already."""
    own = THIS_BOX.get(host, host)
    try:
        health = _get(own, port, "/health")
        if not _is_ours(health):
            raise ValueError
        room = _get(own, port, "/api/v1/room")
    except ConnectionRefusedError:
        return _try_to_bind(host, port), None
    except (OSError, ValueError, http.client.HTTPException):
        # A timeout, too: something took the connection and is not a station's page.
        taken = _try_to_bind(host, port)
        if taken.state == "ok":
            return remark(ITEM, f"port {port} was given up just now", "check again"), None
        return taken, None
    what = "the demo" if room["station"]["simulated"] else "this box's station"
    found = f"{what} {health['version']} answers on port {port}"
    if room["station"]["simulated"]:
        return remark(ITEM, found, "end the demo before the station is started"), room
    if health["version"] != __version__:
        return remark(ITEM, f"{found}, {__version__} is installed", "restart the station"), room
    return ok(ITEM, f"{found}, and is asked about the rest"), room


def look_at_running_station(room: dict[str, Any]) -> Iterator[Item]:
    """The running station's own account of its parts, from its room's JSON."""
    station = room["station"]
    for banner in station["banners"]:
        yield remark("station", banner, "see to what it says; it is shown on every page")
    if station["tracker_reason"] is None:
        yield ok("tracker", f"the station listens with {station['tracker']}")
    else:
        yield remark(
            "tracker",
            f"{station['tracker_reason']}; the station listens with its own numpy tracker",
            BETTER_TRACKER,
        )
    yield running_clock_item(station["clock"]) if "clock" in station else look_at_clock()
    lamps = station["lamps"]
    yield (
        ok("lamps", "lit by the station")
        if lamps["state"] == "lit"
        else dark_lamps(lamps["reason"] or "off")
    )
    yield tone_item(station)
    heard = station["input"]
    if heard["state"] != "listening":
        yield broken_input(heard["reason"] or heard["state"], heard["state"] == "failed")
        return
    yield input_item(f"the station listens to {heard['device']}", heard["overruns"])
    for level in room["lines"]:
        here = (p["name"] for p in room["players"] if p["line"] == level["line"])
        yield line_item(level, " and ".join(here))


def tone_item(station: dict[str, Any]) -> Item:
    """Whether the running station can sound the reference."""
    told = station.get("tone_out") or {"state": "off", "reason": "not told"}
    if told["state"] == "failed":
        return remark("tone", told["reason"] or "failed", NO_TONE)
    return ok("tone", told["reason"] or "can be sounded by the station")


def _get(host: str, port: int, path: str) -> Any:
    """The JSON at a path of this box's own page, straight, whatever proxy is set.

    Raises OSError, HTTPException, and ValueError for what is not JSON.
    """
    connection = http.client.HTTPConnection(host, port, timeout=ANSWER_LIMIT_S)
    try:
        connection.request("GET", path)
        return json.loads(connection.getresponse().read(ANSWER_BYTES))
    finally:
        connection.close()


def _is_ours(health: Any) -> bool:
    keys = {"status", "version", "input", "streams", "max_streams"}
    return isinstance(health, dict) and keys <= health.keys()


def _try_to_bind(host: str, port: int) -> Item:
    """Whether the page could be served here, tried as the page would and given up at once."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    try:
        with socket.create_server((host, port), family=family, dualstack_ipv6=host == "::"):
            return ok(ITEM, f"port {port} is free")
    except OSError as error:
        if error.errno == errno.EADDRINUSE:
            return fault(
                ITEM, f"port {port} is in use, and no station's page answers there", CHANGE_PORT
            )
        return fault(
            ITEM,
            f"the page cannot be served on {host} port {port}: {error.strerror or error}",
            "set an address of this box and a port from 1024 up in [page]",
        )
