"""`station run` and `station demo`: start the daemon, say where it is, wait for the end."""

from __future__ import annotations

import contextlib
import logging
import os
import signal
import sys
import threading
from collections import deque
from collections.abc import Iterator, Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any

from station import __version__
from station.asked import utc_now
from station.daemon import TunerStation
from station.demo import demo_settings
from station.errors import StationError, StorageError
from station.incidents import IncidentHandler, Incidents
from station.last_good import Given, keep, settings_to_serve
from station.music.names import NamingSystem, note_in
from station.music.pitch import check_a4
from station.probe import probe_aubio
from station.room.model import Event
from station.settings import Settings, default_settings, load_settings
from station.watchdog import ServiceManager

log = logging.getLogger(__name__)

WAITING_LINES = 100


def read_settings(config: Path | None) -> Settings:
    """The settings file's, or the defaults; raises SettingsError with every fault."""
    return default_settings() if config is None else load_settings(config)


def run_station(config: Path | None) -> None:
    """Serve the line input until told to end."""
    from station.sound.line_input import LineFormat, SupervisedInput

    given = settings_to_serve(config)
    settings = given.settings
    wanted = LineFormat(**asdict(settings.input))

    def make_input(on_block: Any, on_state: Any) -> SupervisedInput:
        return SupervisedInput(wanted, on_block=on_block, on_state=on_state)

    _set_up_logging()
    manager = ServiceManager.of(os.environ)
    incidents = _incidents(settings)
    station = TunerStation(settings, make_input, probe_aubio(), on_event=incidents.hear)
    _heed_signals(station)  # before its page answers, and so before anyone is told it is ready
    with station:
        _announce(station)
        with (
            _remembered(station, given, incidents),
            manager.watching(station.progress, _status(station)),
        ):
            _wait_for_the_end(station)


def _incidents(settings: Settings) -> Incidents:
    try:
        return Incidents(settings.data_dir(), utc_now)
    except StorageError:  # said by the station itself; what has no folder is never started
        return Incidents(Path(), utc_now)


@contextlib.contextmanager
def _remembered(station: TunerStation, given: Given, incidents: Incidents) -> Iterator[None]:
    """Settings that serve, and what befalls the station, kept beside the room's state.

    Only where that is this station's own: another one may have the folder.
    """
    if station.keeping.store is None:
        yield
        return
    try:
        keep(given)
    except StorageError as error:
        log.warning("%s", error)
    handler = IncidentHandler(incidents)
    logging.getLogger().addHandler(handler)
    incidents.start(__version__)
    try:
        yield
    finally:
        logging.getLogger().removeHandler(handler)
        incidents.stop(station.fault)


def run_demo(config: Path | None, port: int | None, a4_hz: float | None) -> None:
    """Serve the simulated band until told to end; nothing is kept."""
    from station.sound.band import SimulatedBand
    from station.sound.simulated_input import SimulatedInput
    from station.sound.tone_muted import MutedToneOut

    if a4_hz is not None:
        check_a4(a4_hz)
    settings = demo_settings(read_settings(config), port, a4_hz)
    band = SimulatedBand(settings.input.rate_hz)
    band.set_reference(settings.station.a4_hz)

    def make_input(on_block: Any, on_state: Any) -> SimulatedInput:
        return SimulatedInput(band, on_block=on_block, on_state=on_state)

    _set_up_logging()
    manager = ServiceManager.of(os.environ)
    station = TunerStation(
        settings,
        make_input,
        probe_aubio(),
        simulated=True,
        keep=False,
        on_event=Printer(settings.station.note_names),
        on_reference=band.set_reference,
        make_tone_out=lambda _, on_tone: MutedToneOut(on_tone),
    )
    _heed_signals(station)
    with station:
        _announce(station)
        with manager.watching(station.progress, _status(station)):
            _wait_for_the_end(station)


def _set_up_logging() -> None:
    logging.basicConfig(level=logging.WARNING, format="station: %(message)s")


def _announce(station: TunerStation) -> None:
    snapshot = station.snapshot()
    lines = [f"Page: {address}" for address in snapshot["station"]["addresses"]]
    lines.append(f"Room code (asked for when someone changes something): {station.room_code}")
    a4 = note_in("A4", snapshot["station"]["note_names"])
    lines.append(f"Reference: {a4} = {snapshot['reference']['a4_hz']:g} Hz")
    if snapshot["station"]["simulated"]:
        lines.append("Simulated band: no sound card, no lamps, nothing is kept.")
    if snapshot["station"]["tracker_reason"]:
        lines.append(f"Listening without aubio: {snapshot['station']['tracker_reason']}")
    if snapshot["station"]["lamps"]["state"] == "off":
        lines.append(f"Lamps off: {snapshot['station']['lamps']['reason']}")
    lines += snapshot["station"]["banners"]
    lines.append("End with Ctrl-C.")
    _say("\n".join(lines))


def _status(station: TunerStation) -> str:
    return f"Page: {next(iter(station.addresses()), 'no address yet')}"


def _say(text: str) -> None:
    """Print; a reader that has left (a `| head`) or a full disk ends nothing phones still watch."""
    try:
        print(text, flush=True)  # noqa: T201
    except OSError:
        # What is printed from now on goes nowhere, as the documentation of signal.SIGPIPE advises.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


class Printer:
    """Prints what was played, a line a note: all a terminal can show of the band.

    On a thread of its own, for a terminal that is held up or a pipe nobody reads waits for
    ever; of what it cannot print in time the oldest is dropped.
    """

    def __init__(self, names: NamingSystem) -> None:
        self._names = names
        self._lines: deque[str] = deque(maxlen=WAITING_LINES)
        self._news = threading.Event()
        threading.Thread(target=self._print, name="printing", daemon=True).start()

    def __call__(self, event: Event) -> None:
        if event.kind == "note" and event.payload["player"] is not None:
            self._lines.append(_note_line(event.payload, self._names))
            self._news.set()

    def _print(self) -> None:
        while True:
            self._news.wait()
            self._news.clear()
            while self._lines:
                _say(self._lines.popleft())


def _note_line(said: Mapping[str, Any], names: NamingSystem) -> str:
    string = f"string {said['string']}" if said["string"] else ""
    cents = said["cents"] if said["string_cents"] is None else said["string_cents"]
    target = note_in(said["target"] or said["note"], names)
    return (
        f"{said['player']:<10} {string:<10} {target:<5} {cents:+6.1f} cents  "
        f"{said['verdict'] or ''}"
    )


def _heed_signals(station: TunerStation) -> None:
    """From now on SIGTERM, SIGINT and SIGHUP end it, and further ones do not disturb the ending."""
    for number in (signal.SIGTERM, signal.SIGINT, signal.SIGHUP):
        signal.signal(number, lambda *_: station.ended.set())


def _wait_for_the_end(station: TunerStation) -> None:
    """Until told to end; raises StationError when it was the station that could not go on."""
    station.ended.wait()
    print("Ending.", file=sys.stderr, flush=True)  # noqa: T201
    if station.fault is not None:
        raise StationError(station.fault)
