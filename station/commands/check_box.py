"""What `station check` says of the box itself: Python, storage, network, lamps."""

from __future__ import annotations

import importlib.metadata
import platform
import re
import shutil
import tempfile
from collections.abc import Iterator
from ipaddress import ip_address
from pathlib import Path

from station.commands.check_item import Item, fault, ok, remark
from station.errors import LampError
from station.lamps.chip import DEVICES
from station.lamps.lamps import SWITCHED_OFF, FactoryName, Lamps
from station.lamps.wiring import STANDARD, Wiring, budget_words, remarks
from station.network import interface_addresses

DISTRIBUTION = "rehearsal-room-station"
MAY_BE_MISSING = {
    "aubio": "the station listens with its own numpy tracker",
    "gpiozero": "no lamps",
}
INSTALL = "run hw/start.sh again: it installs what is missing"
OTHER_PINS = "take another pin in [lamps] if there is one on this box; else leave it"

# The database stays under 1 MB; these leave room for its log and for the system's own. Our choice.
FULL_BYTES = 10_000_000
NEARLY_FULL_BYTES = 100_000_000


def look_at_python() -> Item:
    """The interpreter and the system it runs on."""
    system = f"{platform.system()} {platform.release()}, {platform.machine()}"
    return ok("python", f"Python {platform.python_version()} on {system}")


def look_at_dependencies() -> Iterator[Item]:
    """An item for each dependency that is missing or too old, one for all the others."""
    try:
        required = importlib.metadata.requires(DISTRIBUTION) or []
    except importlib.metadata.PackageNotFoundError:
        yield remark("packages", f"{DISTRIBUTION} is not installed: versions unknown", INSTALL)
        return
    good = []
    for name, least in _own_requirements(required):
        found = _installed(name)
        if found is not None and _numbers(found) >= _numbers(least):
            good.append(f"{name} {found}")
        else:
            yield _not_good(name, found, least)
    if good:
        yield ok("packages", ", ".join(good))


def _own_requirements(required: list[str]) -> Iterator[tuple[str, str]]:
    """Name and least version of each requirement that no extra asks for."""
    for each in required:
        # Older build tools write the version in parentheses.
        found = re.fullmatch(r"([\w.-]+)\s*\(?>=\s*([\d.]+)\)?", each.strip())
        if found:
            yield found[1], found[2]


def _installed(name: str) -> str | None:
    try:
        return importlib.metadata.version(name)
    except importlib.metadata.PackageNotFoundError:
        return None


def _not_good(name: str, found: str | None, least: str) -> Item:
    what = "is not installed" if found is None else f"{found} is too old"
    said = f"{name} {what} (at least {least} is needed)"
    if name in MAY_BE_MISSING:
        return remark("packages", f"{said}: {MAY_BE_MISSING[name]}", INSTALL)
    return fault("packages", said, INSTALL)


def _numbers(version: str) -> tuple[int, ...]:
    """The leading numbers of a version, enough to compare with a least one."""
    found = re.match(r"\d+(\.\d+)*", version)
    return tuple(int(part) for part in found[0].split(".")) if found else ()


def look_at_storage(folder: Path) -> Item:
    """Whether the room's state can be written to `folder`, and how much space is left.

    Proved by writing: permissions alone do not tell of a read-only medium.
    """
    place = folder
    while not place.exists() and place != place.parent:
        place = place.parent
    try:
        with tempfile.TemporaryFile(dir=place) as trial:
            trial.write(bytes(4096))
            trial.flush()
        free = shutil.disk_usage(place).free
    except OSError as error:
        return fault(
            "storage",
            f"{folder}: cannot be written: {error.strerror}",
            "give the station's user a folder it may write to: data_dir in [station]",
        )
    found = f"{folder}: {free / 1e6:.0f} MB free"
    if free < NEARLY_FULL_BYTES:
        say = fault if free < FULL_BYTES else remark
        return say("storage", found, "make space: delete or move what is not needed")
    if place != folder:
        return ok("storage", f"{found}, to be made at the first start")
    return ok("storage", f"{found}, writable")


def look_at_network(host: str) -> Item:
    """Whether phones can reach a page served on `host`."""
    if ip_address(host).is_loopback:
        return remark(
            "network",
            f"the page is served on {host}, for this box alone",
            'set host = "0.0.0.0" in [page] for the phones in the room',
        )
    own = [str(address) for address in interface_addresses() if not address.is_loopback]
    if not own:
        return remark(
            "network",
            "no network address: no phone can reach the page",
            "connect this box to the room's network by cable or Wi-Fi",
        )
    return ok("network", f"this box is {', '.join(own)}")


def look_at_lamps(mode: FactoryName, devices: Path = DEVICES, wiring: Wiring = STANDARD) -> Item:
    """Whether the lamps' and buttons' pins can be had; they are given back at once."""
    if mode == "mock":
        return remark(
            "lamps",
            f"mock pins: no lamp is lit; {budget_words(wiring)}",
            'set mode = "gpio" in [lamps] for real ones',
        )
    try:
        lamps = Lamps(
            mode,
            devices=devices,
            wiring=wiring,
            on_quiet_button=lambda: None,
            on_reference_button=lambda _: None,
        )
    except LampError as error:
        return dark_lamps(str(error), devices)
    state, reason = lamps.status
    lamps.stop()
    found = reason or f"{state}: every pin can be had; {budget_words(wiring)}"
    if reason is None and (doubtful := remarks(wiring)):
        return remark("lamps", "; ".join([found, *doubtful]), OTHER_PINS)
    return ok("lamps", found)


def dark_lamps(reason: str, devices: Path = DEVICES) -> Item:
    """Lamps that are off for a reason: a fault where the box has GPIO, else to be expected."""
    if reason == SWITCHED_OFF:
        return ok("lamps", reason)
    say = fault if any(devices.glob("gpiochip*")) else remark
    return say(
        "lamps", reason, 'see to it, or set mode = "off" in [lamps]; all else works without lamps'
    )
