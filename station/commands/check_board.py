"""What `station check` says of the board: temperature, power supply, memory, names."""

from __future__ import annotations

import socket
from collections.abc import Iterator
from pathlib import Path

from station.box_health import HOT_C, ROOT, Supply, memory_bytes, supply, temperature_c
from station.commands.check_item import Item, ok, remark
from station.network import interface_addresses, multicast_name

LEAST_MEMORY_BYTES = 150_000_000
"""What daemon and capture child need together with eight lines (tests/bench/bench_station.py)."""
NOT_TOLD = "this box does not say"
BETTER_SUPPLY = "use the supply made for the board, on a short thick cable"


def look_at_board(root: Path = ROOT) -> Iterator[Item]:
    """Temperature, power supply and memory, as far as the box tells them."""
    yield temperature_item(temperature_c(root))
    yield supply_item(supply(root, ask_firmware=root == ROOT))
    yield memory_item(memory_bytes(root))


def temperature_item(degrees_c: float | None) -> Item:
    """How hot the processor is."""
    if degrees_c is None:
        return ok("temperature", NOT_TOLD)
    found = f"{degrees_c:.0f} degrees Celsius"
    if degrees_c < HOT_C:
        return ok("temperature", found)
    return remark(
        "temperature", f"{found}: the board slows itself down", "give it air, or a heat sink"
    )


def supply_item(found: Supply | None) -> Item:
    """Whether the board gets its voltage."""
    if found is None:
        return ok("power", NOT_TOLD)
    if found.low_now:
        return remark("power", "the supply's voltage is too low now", BETTER_SUPPLY)
    if found.low_since_start:
        slowed = ", and the board slowed itself down" if found.slowed_since_start else ""
        return remark("power", f"the voltage was too low since the start{slowed}", BETTER_SUPPLY)
    return ok("power", "the supply's voltage is as it should be")


def memory_item(found: tuple[int, int] | None) -> Item:
    """Whether the station has room."""
    if found is None:
        return ok("memory", NOT_TOLD)
    free, whole = found
    text = f"{free / 1e6:.0f} of {whole / 1e6:.0f} MB free"
    if free >= LEAST_MEMORY_BYTES:
        return ok("memory", text)
    return remark(
        "memory",
        f"{text}: the station needs up to {LEAST_MEMORY_BYTES / 1e6:.0f}",
        "end other programs on this box; a station that runs already has its share",
    )


def look_at_name() -> Item:
    """The name under which phones may find the box."""
    own = [str(each) for each in interface_addresses() if not each.is_loopback]
    name = multicast_name(own)
    if name is not None:
        return ok("name", f"phones find this box as {name}")
    return remark(
        "name",
        f"nobody answers for {socket.gethostname().partition('.')[0]}.local in this network",
        "phones can use the address or the QR code; for a name install avahi-daemon",
    )
