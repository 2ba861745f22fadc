"""`station label`: a label for the box, to print."""

from __future__ import annotations

import ipaddress
from pathlib import Path
from typing import Literal
from urllib.parse import urlsplit

from station.commands.printed import complain
from station.commands.serve import read_settings
from station.errors import StationError, UsageError
from station.network import page_addresses
from station.plain_text import path_text
from station.settings import Settings
from station.web.join_code import join_address
from station.web.label import Label, html, svg

Kind = Literal["svg", "html"]

ADDRESS_SIGNS = 80  # in three lines they are still legible
EVERY_NETWORK = ("0.0.0.0", "::")  # noqa: S104 - compared with, not bound to
NO_CODE = (
    "no room code is on the label: there is none in the settings, so every start of the"
    " station makes a new one; set room_code in [station]"
)
MAY_CHANGE = (
    "{} is the box's address now; the network may give it another: have the router keep it, or"
    " print again with --address"
)


def run_label(
    config: Path | None,
    address: str | None,
    with_code: bool,
    kind: Kind | None,
    output: Path | None,
) -> int:
    """Print the label or write it to `output`; what to know about it goes to standard error.

    Raises SettingsError, UsageError for an address that leads no phone here and for a file of
    another ending, StationError when the file cannot be written. Exit code 0.
    """
    kind = chosen_kind(kind, output)
    settings = read_settings(config)
    label = make_label(settings, address, with_code)
    text = svg(label) if kind == "svg" else html(label)
    if output is None:
        print(text, end="", flush=True)  # noqa: T201
    else:
        _write(output, text)
    if with_code and not label.room_code:
        complain(NO_CODE, 0)
    if address is None and _is_numeric(label.address):
        complain(MAY_CHANGE.format(label.address), 0)
    return 0


def make_label(settings: Settings, address: str | None, with_code: bool) -> Label:
    """What is on it; raises UsageError for an address that leads no phone here."""
    code = settings.station.room_code if with_code else ""
    if address is not None:
        return Label(settings.station.name, checked_address(address), room_code=code)
    host, port = settings.page.host, settings.page.port
    own = page_addresses(host, port)
    first = join_address(own)
    if _is_own(first):
        if host not in EVERY_NETWORK:
            raise UsageError(
                f"the page is served on {host}, for this box alone: no phone can reach it; set"
                ' host = "0.0.0.0" in [page], or say --address'
            )
        raise StationError(
            "this box has no network address to print: connect it to the room's network, or say"
            " --address"
        )
    names = [each for each in own if (urlsplit(each).hostname or "").endswith(".local")]
    other = next((each for each in names if each != first), "")
    return Label(settings.station.name, first, other, code)


def checked_address(address: str) -> str:
    """An address a phone can open, as given; raises UsageError."""
    shown = path_text(address)
    try:
        parts = urlsplit(address)
        good = parts.scheme in ("http", "https") and bool(parts.hostname) and parts.port != 0
    except ValueError:
        good = False
    if not good or not address.isascii() or not address.isprintable() or " " in address:
        raise UsageError(f"{shown:.80}: no address of a page, such as http://192.0.2.7:8000")
    if len(address) > ADDRESS_SIGNS:
        raise UsageError(
            f"an address of {len(address)} signs does not fit the label: at most {ADDRESS_SIGNS}"
        )
    if _is_own(address):
        raise UsageError(f"{shown}: leads a phone to itself; say this box's own address")
    return address


def chosen_kind(kind: Kind | None, output: Path | None) -> Kind:
    """As asked for, else by the file's ending, else a picture; raises UsageError."""
    if kind is not None:
        return kind
    if output is None:
        return "svg"
    ending = output.suffix.lower()
    if ending == ".svg":
        return "svg"
    if ending in (".html", ".htm"):
        return "html"
    raise UsageError(f"{path_text(output)}: call it .svg or .html, or say --format")


def _write(output: Path, text: str) -> None:
    try:
        output.write_text(text, encoding="utf-8")
    except OSError as error:
        raise StationError(f"{path_text(output)}: cannot be written: {error.strerror}") from error


def _is_own(address: str) -> bool:
    host = urlsplit(address).hostname or ""
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


def _is_numeric(address: str) -> bool:
    try:
        ipaddress.ip_address(urlsplit(address).hostname or "")
    except ValueError:
        return False
    return True
