"""Devices by names that stay: ``hw:CARD=<id>,DEV=<n>`` or an ALSA PCM name.

PortAudio numbers its devices anew each time it starts, and calls a card by
its number of the day: ``USB Box: Audio (hw:1,0)``. The kernel gives each card
an id as well, under which ``/proc/asound/<id>`` points to ``card<number>``;
alsa-lib takes the same id in ``hw:CARD=<id>,DEV=<n>`` (alsa-lib manual, "PCM
naming conventions"). Everything here goes by that id. Two boxes of one make
are told apart by a udev rule that sets ``ATTR{id}``.

Pure but for ``read_cards``, ``capture_names`` and ``list_devices``. Light: the capture
child imports it.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import NamedTuple

from station.errors import LineInputError, LineInputRefusedError

PROC_ASOUND = Path("/proc/asound")

_PORTAUDIO_HW = re.compile(r"\(hw:(\d+),(\d+)\)\s*$")
_WANTED_HW = re.compile(r"hw:CARD=([^,\s=]+)(?:,DEV=(\d+))?$")
_INDEX = re.compile(r"(?:(?:plug)?hw:)?\d+(?:,\d+)*$")


class Device(NamedTuple):
    """One PortAudio input or output; `number` is valid only in the process that asked."""

    number: int
    name: str
    channels: int
    rate_hz: float


def read_cards(proc_asound: Path = PROC_ASOUND) -> dict[int, str]:
    """Card number to card id, such as ``{0: "Headphones", 1: "Box"}``; empty without a card."""
    cards: dict[int, str] = {}
    try:
        entries = sorted(proc_asound.iterdir())
    except OSError:
        return cards
    for entry in entries:
        if not entry.is_symlink():
            continue
        number = re.fullmatch(r"card(\d+)", entry.readlink().name)
        if number:
            cards[int(number[1])] = entry.name
    return cards


def capture_names(proc_asound: Path = PROC_ASOUND) -> list[str]:
    """Stable names of every input the kernel knows, whoever has it open.

    ``cardN/pcmMc`` is device M for capture of card N (Linux, sound/designs/procfile).
    """
    return [
        f"hw:CARD={card},DEV={device}"
        for number, card in sorted(read_cards(proc_asound).items())
        for device in sorted(
            int(entry.name[3:-1])
            for entry in (proc_asound / f"card{number}").glob("pcm*c")
            if entry.name[3:-1].isdecimal()
        )
    ]


def check_wanted(wanted: str, what: str = "input") -> str:
    """The name in full (``,DEV=0`` added where it is left out); `what` is for messages.

    Raises LineInputRefusedError for an index, which may be another device tomorrow.
    """
    text = wanted.strip()
    if not text:
        raise LineInputRefusedError(
            f"no {what} device named: give hw:CARD=<id>,DEV=0 or an ALSA PCM name such as default"
        )
    if _INDEX.match(text):
        raise LineInputRefusedError(
            f"{what} device {text!r} is a number, which may be another device after a restart:"
            " name it hw:CARD=<id>,DEV=0 (ids are the links in /proc/asound)"
        )
    hw = _WANTED_HW.match(text)
    return f"hw:CARD={hw[1]},DEV={hw[2] or 0}" if hw else text


def stable_name(portaudio_name: str, cards: Mapping[int, str]) -> str | None:
    """The name that stays; None for a card whose id is not known.

    >>> stable_name("USB Box: Audio (hw:1,0)", {1: "Box"})
    'hw:CARD=Box,DEV=0'
    >>> stable_name("pulse", {1: "Box"})
    'pulse'
    """
    hw = _PORTAUDIO_HW.search(portaudio_name)
    if not hw:
        return portaudio_name
    card = cards.get(int(hw[1]))
    return None if card is None else f"hw:CARD={card},DEV={hw[2]}"


def find_device(
    devices: Sequence[Device], cards: Mapping[int, str], wanted: str, what: str = "input"
) -> Device:
    """The device of that stable name; `what` is for messages: "input" or "output".

    Raises LineInputError, listing what there is, when it is missing or not the only one.
    """
    name = check_wanted(wanted, what)
    usable = [device for device in devices if device.channels > 0]
    found = [device for device in usable if stable_name(device.name, cards) == name]
    if len(found) == 1:
        return found[0]
    if found:
        raise LineInputError(f"{len(found)} {what}s are called {name}: cannot tell them apart")
    raise LineInputError(
        f"no {what} device {name} (unplugged, or in use by another program?):"
        f" there {describe(usable, cards, what)}"
    )


def describe(usable: Sequence[Device], cards: Mapping[int, str], what: str = "input") -> str:
    """What there is, in a few words that follow "there ".

    >>> describe([Device(0, "pulse", 32, 44100.0)], {})
    'is pulse (32 channels)'
    """
    words = [
        f"{name} ({device.channels} channel{'' if device.channels == 1 else 's'})"
        for device in usable
        if (name := stable_name(device.name, cards)) is not None
    ]
    if not words:
        return f"is no {what} device at all"
    return f"{'is' if len(words) == 1 else 'are'} {', '.join(words)}"


def list_devices() -> list[tuple[str, int]]:
    """Stable name and number of channels of every input, asked of a child process.

    Raises LineInputError when the child cannot tell.
    """
    # Imported late: the capture child imports this module and needs none of it.
    from station.sound.child import ask_for_devices

    return ask_for_devices()
