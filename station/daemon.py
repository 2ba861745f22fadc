"""The one place that wires: input -> listeners -> room -> lamps, pages and storage.

Four threads: the input's own (it only hands blocks over), the listening
thread, the page's, and the lamps'. The room is touched under one lock. What
fails outside of listening (lamps, storage) is said on the page and never
stops it.
"""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any, Protocol

from station import __version__
from station.errors import LampError, StationError, StorageError
from station.lamps.lamps import Lamps
from station.listening import Listening
from station.measure.types import Heard
from station.network import page_addresses
from station.probe import Probe
from station.room.model import Event, Station
from station.room.room import Reference, Room
from station.room.store import RoomStore, open_store
from station.settings import Settings, make_room_code
from station.sound.blocks import Block, InputState
from station.web.app import create_app
from station.web.hub import Hub
from station.web.server import PageServer

log = logging.getLogger(__name__)

STORE_NAME = "room.sqlite"
HOUSEKEEPING_S = 5.0
ADDRESS_LIFE_S = 10.0
"""How long the box's addresses are taken as they are: it may join a network later."""
HOUSE_FAULT = "A fault of the program: what was heard may not be saved ({})."
NOT_SAVED = "Not saved: {}. Everything goes on, but a power cut would lose it."


class Input(Protocol):
    """A line input or the simulated band."""

    def start(self) -> None: ...
    def stop(self) -> None: ...


OnBlock = Callable[[Block], None]
OnState = Callable[[InputState], None]
MakeInput = Callable[[OnBlock, OnState], Input]


def utc_now() -> str:
    """The wall clock as ISO 8601 text, for people to read only."""
    return datetime.now(UTC).isoformat(timespec="seconds").replace("+00:00", "Z")


class TunerStation:
    """A running station; also what the page asks (`station.web.app.Station`).

    `make_input` is given the two callbacks and returns an input not yet
    started. With `keep` False nothing is stored. `on_event` sees every event
    of the room, after the page does. `ended` is set by whoever wants it to
    stop; by the station itself only for a `fault` it cannot go on from.
    Raises StationError for what makes starting pointless: a port in use.
    """

    def __init__(
        self,
        settings: Settings,
        make_input: MakeInput,
        probe: Probe,
        *,
        simulated: bool = False,
        keep: bool = True,
        on_event: Callable[[Event], None] | None = None,
        on_reference: Callable[[float], None] | None = None,
    ) -> None:
        self.settings = settings
        self.room_code = settings.station.room_code or make_room_code()
        self.hub = Hub(settings.page.max_streams)
        self._on_event = on_event
        self._on_reference = on_reference
        self._lock = threading.RLock()
        self._stopping = threading.Event()
        self.ended = threading.Event()
        self.fault: str | None = None
        self._instruments = settings.instruments()
        self.room = self._make_room(probe, simulated)
        self._store = self._open_store() if keep else None
        self.lamps: Lamps | None = None  # a button may be pressed before they are all there
        self.lamps = self._make_lamps()
        self.listening = Listening(
            settings.input.rate_hz,
            settings.input.channels,
            probe.tracker,
            self._hear,
            self.room.pitched_lines(),
            self._listening_failed,
        )
        self.input = make_input(self.listening.put, self._input_changed)
        self.page = PageServer(create_app(self), settings.page.host, settings.page.port, self.hub)
        self._addresses: list[str] = []
        self._addresses_at_s = 0.0
        self._house = threading.Thread(target=self._keep_house, name="housekeeping", daemon=True)

    # -- life ---------------------------------------------------------------

    def start(self) -> None:
        """Page first, so that whatever follows can be said there."""
        self.page.start()
        self._look_up_addresses()
        if self.lamps is not None:
            self.lamps.start()
            self.lamps.show(self.snapshot())
        self.listening.start()
        self.input.start()
        self._house.start()

    def stop(self) -> None:
        """End everything in reverse order and save; harmless when called twice."""
        self._stopping.set()
        if self._house.is_alive():
            self._house.join(timeout=5.0)
        self.input.stop()
        self.listening.stop()
        if self.lamps is not None:
            self.lamps.stop()
        self.page.stop()
        store, self._store = self._store, None
        if store is not None:
            self._save_last(store)
            store.close()

    def __enter__(self) -> TunerStation:
        try:
            self.start()
        except BaseException:
            self.stop()
            raise
        return self

    def __exit__(self, *_: object) -> None:
        self.stop()

    # -- what the page asks ---------------------------------------------------

    def snapshot(self) -> dict[str, Any]:
        """The whole room as JSON data."""
        with self._lock:
            return self.room.snapshot(time.monotonic())

    def set_reference(self, a4_hz: float, by: str, source: str) -> None:
        """Agree on a reference, durably; raises ReferenceRangeError and UsageError."""
        self._do(lambda: self.room.set_reference(a4_hz, by, source, utc_now()))
        if self._on_reference is not None:
            self._on_reference(a4_hz)
        self._save()

    def change_player(self, player_id: str, changes: dict[str, Any]) -> None:
        """Change a player; raises UnknownPlayerError and UsageError."""
        self._do(lambda: self.room.change_player(player_id, **changes))
        self.listening.set_pitched(self.room.pitched_lines())
        self._save()

    def instruments(self) -> dict[str, Any]:
        """Every instrument with its kind and the labels of its tunings."""
        return {
            key: {
                "label": instrument.label,
                "kind": instrument.kind,
                "tunings": {k: tuning.label for k, tuning in instrument.tunings.items()},
            }
            for key, instrument in self._instruments.items()
        }

    def addresses(self) -> list[str]:
        """Where phones find the page, as last looked up; asked for with every request."""
        return self._addresses

    # -- events ----------------------------------------------------------------

    def _do(self, change: Callable[[], list[Event]]) -> None:
        with self._lock:
            for event in change():
                self.hub.publish(event.kind, event.key, event.payload)
                if self.lamps is not None and event.kind != "note":
                    self.lamps.show(event.payload)
                if self._on_event is not None:
                    self._on_event(event)

    def _hear(self, heard: list[Heard]) -> None:
        now_s = time.monotonic()
        for item in heard:
            self._do(lambda item=item: self.room.hear(item, now_s))

    def _listening_failed(self, reason: str) -> None:
        """A fault of ours, not of the band's gear: only a new start can mend it."""
        device = self.room.input.device
        self._do(lambda: self.room.set_input_state("failed", device, reason))
        self.fault = reason
        self.ended.set()

    def _toggle_quiet(self) -> None:
        """The quiet button: the lamps at a quarter of their light, and back."""
        with self._lock:
            if self.lamps is None:
                return
            quiet = not self.room.station.quiet
            self.lamps.set_quiet(quiet)
            self._do(lambda: self.room.set_station(quiet=quiet))

    def _input_changed(self, state: InputState) -> None:
        self._do(
            lambda: self.room.set_input_state(
                state.state, state.device, state.reason, state.overruns, state.restarts
            )
        )

    # -- parts ------------------------------------------------------------------

    def _make_room(self, probe: Probe, simulated: bool) -> Room:
        settings = self.settings
        station = Station(
            name=settings.station.name,
            version=__version__,
            simulated=simulated,
            tracker=probe.tracker,
            tracker_reason=probe.reason,
            note_names=settings.station.note_names,
        )
        return Room(
            settings.players,
            Reference(settings.station.a4_hz),
            settings.input.channels,
            settings.station.in_cents,
            station=station,
            instruments=self._instruments,
        )

    def _make_lamps(self) -> Lamps | None:
        chosen = self.settings.lamps
        try:
            lamps = Lamps(
                chosen.mode,
                player=chosen.player,
                in_cents=self.settings.station.in_cents,
                on_quiet_button=self._toggle_quiet,
                on_state=lambda state, reason: self._do(
                    lambda: self.room.set_lamp_state(state, reason)
                ),
                # A folder that cannot be written must not cost the lamps as well.
                work_dir=self.settings.data_dir() if self._store is not None else None,
            )
        except LampError as error:
            self.room.set_lamp_state("off", str(error))
            return None
        self.room.set_lamp_state(*lamps.status)
        return lamps

    def _open_store(self) -> RoomStore | None:
        stamp = utc_now().replace(":", "")
        try:
            opened = open_store(self.settings.data_dir() / STORE_NAME, stamp)
        except StorageError as error:
            self.room.add_banner(NOT_SAVED.format(error))
            return None
        if opened.reason is not None:
            self.room.add_banner(opened.reason)
        if opened.state is not None:
            for line in self.room.restore(opened.state):
                self.room.add_banner(line)
        return opened.store

    def _look_up_addresses(self) -> None:
        """Ask the system, and tell the page where something changed."""
        self._addresses_at_s = time.monotonic()
        try:
            found = page_addresses(self.settings.page.host, self.page.port)
        except OSError as error:
            log.warning("the box's addresses cannot be looked up: %s", error)
            return
        self._addresses = found
        self._do(lambda: self.room.set_station(addresses=found))

    def _keep_house(self) -> None:
        """What is due now and then, away from listening and from the page."""
        trouble: str | None = None
        while not self._stopping.wait(HOUSEKEEPING_S):
            try:
                if time.monotonic() - self._addresses_at_s >= ADDRESS_LIFE_S:
                    self._look_up_addresses()
                self._save(only_if_due=True)
                if trouble is not None:
                    self._do(lambda text=trouble: self.room.remove_banner(text))
                    trouble = None
            except Exception as fault:
                # Nothing in here may end the saving for the rest of the evening.
                if trouble is None:
                    log.exception("housekeeping failed; it is tried again")
                    trouble = HOUSE_FAULT.format(" ".join(repr(fault).split())[:200])
                    self._do(lambda text=trouble: self.room.add_banner(text))

    def _save(self, only_if_due: bool = False) -> None:
        store = self._store
        if store is None:
            return
        with self._lock:
            state = self.room.state()
        saved = True
        try:
            if only_if_due:
                saved = store.save_if_due(state, time.monotonic())
            else:
                store.save(state, time.monotonic())
        except StorageError as error:
            log.warning("%s", error)
            banner = NOT_SAVED.format(error)
            self._clear_save_banners(but=banner)
            self._do(lambda: self.room.add_banner(banner))
        else:
            if saved:
                self._clear_save_banners()

    def _save_last(self, store: RoomStore) -> None:
        try:
            store.save(self.room.state(), time.monotonic())
        except StorageError as error:
            log.warning("%s", error)

    def _clear_save_banners(self, but: str = "") -> None:
        prefix = NOT_SAVED.partition("{")[0]
        for banner in self.snapshot()["station"]["banners"]:
            if banner.startswith(prefix) and banner != but:
                self._do(lambda banner=banner: self.room.remove_banner(banner))


def demo_settings(settings: Settings, port: int | None, a4_hz: float | None) -> Settings:
    """`settings` with the simulated band for players and mock pins for lamps."""
    from station.room.model import Player
    from station.sound.band import BAND

    players = tuple(Player(m.id, m.name, m.instrument, line=m.line) for m in BAND)
    page = settings.page if port is None else replace(settings.page, port=port)
    station = settings.station if a4_hz is None else replace(settings.station, a4_hz=a4_hz)
    return replace(
        settings,
        station=station,
        page=page,
        players=players,
        input=replace(settings.input, channels=len(BAND), rate_hz=48000),
        lamps=replace(settings.lamps, mode="mock", player=""),
    )


__all__ = ["StationError", "TunerStation", "demo_settings"]
