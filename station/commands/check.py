"""`station check`: this box looked over, item by item, each with its remedy.

While a station answers on the page's port, it is asked what it hears and
lights; its device and pins are left to it.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from dataclasses import asdict
from ipaddress import ip_address
from pathlib import Path

from station.commands.check_board import look_at_board, look_at_name
from station.commands.check_box import (
    look_at_dependencies,
    look_at_lamps,
    look_at_network,
    look_at_python,
    look_at_storage,
)
from station.commands.check_clock import look_at_clock
from station.commands.check_input import look_at_cards, look_at_input, look_at_tone
from station.commands.check_item import Item, fault, ok, remark
from station.commands.check_past import look_at_incidents, serving_item
from station.commands.check_running import (
    BETTER_TRACKER,
    look_at_port,
    look_at_running_station,
)
from station.commands.serve import read_settings
from station.errors import SettingsError, StorageError
from station.last_good import last_good
from station.probe import Probe, probe_aubio
from station.settings import Settings

NEED_SETTINGS = ("input", "lamps", "storage", "page port")


def run_check(config: Path | None, as_json: bool, show_code: bool = False) -> int:
    """Print every item as it is found; 1 when one of them is a fault, else 0."""
    states = []
    for item in look_over(config, show_code):
        states.append(item.state)
        print(as_line(item) if as_json else as_text(item), flush=True)  # noqa: T201
    if not as_json:
        print(summary(states))  # noqa: T201
    return 1 if "fault" in states else 0


def look_over(config: Path | None, show_code: bool = False) -> Iterator[Item]:
    """Every item in turn; what takes time comes after what is known at once."""
    yield look_at_python()
    yield from look_at_dependencies()
    yield from look_at_board()
    try:
        settings = read_settings(config)
        yield settings_item(config, settings, show_code)
    except SettingsError as error:
        yield from (fault("settings", line, "correct the settings file") for line in error.faults)
        found = None if config is None else last_good(config)
        if found is None:
            yield look_at_clock()
            yield tracker_item(probe_aubio())
            unseen = "not looked at: the settings cannot be read"
            yield from (remark(name, unseen, "correct the settings file") for name in NEED_SETTINGS)
            return
        yield serving_item(found)
        settings = found.settings
    yield from look_with(settings)


def look_with(settings: Settings) -> Iterator[Item]:
    """What is looked at with the settings that hold."""
    yield storage_item(settings)
    yield look_at_incidents(settings)
    yield look_at_network(settings.page.host)
    if not ip_address(settings.page.host).is_loopback:
        yield look_at_name()
    yield look_at_cards()
    port, room = look_at_port(settings.page.host, settings.page.port)
    yield port
    if room is not None and not room["station"]["simulated"]:
        yield from look_at_running_station(room)
        return
    yield look_at_clock()
    yield tracker_item(probe_aubio())
    yield look_at_lamps(settings.lamps.mode, wiring=settings.lamps.wiring())
    yield look_at_tone(settings.tone.device)
    yield from look_at_input(settings.input, settings.players)


def settings_item(config: Path | None, settings: Settings, show_code: bool = False) -> Item:
    """Which settings hold; of the room code only whether there is one, unless asked for."""
    source = "the defaults (no settings file given)" if config is None else str(config)
    players, lines = len(settings.players), settings.input.channels
    found = f"{source}: {_counted(players, 'player')} on {_counted(lines, 'line')}"
    if settings.station.room_code:
        code = f"room code {settings.station.room_code}" if show_code else "room code set"
        return ok("settings", f"{found}, {code}")
    return remark(
        "settings",
        f"{found}, no room code: every start of the station makes a new one",
        "set room_code in [station] to keep one",
    )


def storage_item(settings: Settings) -> Item:
    """Whether there is a folder to keep the room's state in, and it can be written."""
    try:
        return look_at_storage(settings.data_dir())
    except StorageError as error:
        return fault("storage", str(error), "set data_dir in [station]")


def tracker_item(probe: Probe) -> Item:
    """Who gives the first guess of a pitch."""
    if probe.reason is None:
        return ok("tracker", f"{probe.tracker} hears a test tone right")
    return remark(
        "tracker",
        f"{probe.reason}; the station listens with its own numpy tracker",
        BETTER_TRACKER,
    )


def as_line(item: Item) -> str:
    """An item as one JSON object on one line."""
    return json.dumps({"kind": "check", **asdict(item)}, ensure_ascii=False)


def as_text(item: Item) -> str:
    """An item for people; the remedy stands below it."""
    head = f"{item.state:<7} {item.item:<11} "
    text = head + item.found
    return text if item.remedy is None else f"{text}\n{'':<{len(head)}}-> {item.remedy}"


def summary(states: Iterable[str]) -> str:
    """How many faults and remarks there were."""
    found = list(states)
    faults, remarks = found.count("fault"), found.count("remark")
    return f"{_counted(faults, 'fault')}, {_counted(remarks, 'remark')}."


def _counted(number: int, what: str) -> str:
    return f"{number or 'no'} {what}{'' if number == 1 else 's'}"
