"""The one place that wires: input -> listeners -> room -> lamps, pages and storage.

Threads: the input's own (it only hands blocks over), the listening thread, the
page's and its workers', the lamps', the tone's while one sounds, one that keeps house and
one that watches the clock. The room is touched under one lock. What fails outside of
listening (lamps, tone, clock, storage) is said on the page and never stops it.
"""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable
from typing import Any, Protocol

from station import __version__
from station.asked import Asked, utc_now
from station.box_watch import BoxWatch
from station.card_clock import CardClock
from station.errors import LampError, StationError, StorageError
from station.keeping import NOT_SAVED, Change, Keeping
from station.lamps.lamps import Lamps
from station.listening import Listening
from station.measure.fixed.types import FixedNote
from station.measure.types import Heard
from station.network import page_addresses
from station.probe import Probe
from station.room.model import Clock, Event, Reference, Station
from station.room.parts import WantedEar
from station.room.quiet import AutoQuiet
from station.room.room import Room
from station.settings import Settings, make_room_code
from station.sound.blocks import Block, InputState
from station.sound.tone_out import OnState as OnToneState
from station.sound.tone_out import OnTone, ToneOut, ToneOutput
from station.watchdog import Count, core_loops
from station.web.app import create_app
from station.web.hub import Hub
from station.web.server import PageServer

log = logging.getLogger(__name__)

HOUSEKEEPING_S = 5.0
TICK_S = 1.0
ADDRESS_LIFE_S = 10.0
"""How long the box's addresses are taken as they are: it may join a network later."""
HOUSE_FAULT = "A fault of the program: what was heard may not be saved ({})."


class Input(Protocol):
    """A line input or the simulated band."""

    def start(self) -> None: ...
    def stop(self) -> None: ...


OnBlock = Callable[[Block], None]
OnState = Callable[[InputState], None]
MakeInput = Callable[[OnBlock, OnState], Input]
MakeToneOut = Callable[[OnToneState, OnTone], ToneOutput]


class TunerStation(Asked):
    """A running station; also what the page asks (`station.web.facade.Station`).

    `make_input` is given the two callbacks and returns an input not yet
    started; `make_tone_out` likewise the output of the reference tone, the one of the
    settings unless given. With `keep` False nothing is stored. `on_event` sees every event
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
        make_tone_out: MakeToneOut | None = None,
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
        self.keeping = self._make_keeping(keep)
        self.box_watch = BoxWatch(self.room, self._do)
        for remark in settings.remarks:
            self.room.add_banner(remark)
        self.lamps: Lamps | None = None  # a button may be pressed before they are all there
        self._kept_mark = self.room.save_mark
        self._blocks_taken = 0
        self._auto_quiet = AutoQuiet(settings.quiet.automatic)
        self._band_hz = self.room.reference.a4_hz
        self.card_clock = CardClock(settings.input.rate_hz, simulated=simulated)
        self.tone_out = (make_tone_out or self._usual_tone_out)(
            self._tone_out_changed, self._tone_changed
        )
        self._tone_out_changed(self.tone_out.state)
        self.listening = Listening(
            settings.input.rate_hz,
            settings.input.channels,
            probe.tracker,
            self._hear,
            self.room.pitched_lines(),
            self._listening_failed,
            self._measured,
            self._told,
            lambda reason: self._do(lambda: self.room.add_banner(reason)),
        )
        self._measured_lines: frozenset[int] = frozenset()
        self.lamps = self._make_lamps()  # last of what a button may reach
        self.input = make_input(self._take_block, self._input_changed)
        self.page = PageServer(create_app(self), settings.page.host, settings.page.port, self.hub)
        self._addresses: list[str] = []
        self._addresses_at_s = 0.0
        self._house_kept_at_s = 0.0
        self._house = threading.Thread(target=self._keep_house, name="housekeeping", daemon=True)
        self._clock = threading.Thread(target=self._watch_clock, name="clock", daemon=True)

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
        self._clock.start()
        self.hub.presence.listen(self.on_presence)

    def stop(self) -> None:
        """End everything in reverse order and save; harmless when called twice."""
        self._stopping.set()
        for thread in (self._house, self._clock):
            if thread.is_alive():
                thread.join(timeout=5.0)
        self.input.stop()
        self.listening.stop()
        if self.lamps is not None:
            self.lamps.stop()
        self.page.stop()
        self.tone_out.close()
        self.keeping.close()

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

    def addresses(self) -> list[str]:
        """Where phones find the page, as last looked up; asked for with every request."""
        return self._addresses

    def progress(self) -> dict[str, Count]:
        """How far each core loop has come; waits for as long as somebody holds the room up."""
        with self._lock:
            return core_loops(self.input, self.listening, self._blocks_taken, self.page)

    # -- events ----------------------------------------------------------------

    def _do(self, change: Callable[[], list[Event]]) -> None:
        with self._lock:
            events = change()
            for event in events:
                self.hub.publish(event.kind, event.key, event.payload)
                if self.lamps is not None and event.kind != "note":
                    self.lamps.show(event.payload)
        if self._on_event is not None:
            for event in events:
                self._on_event(event)

    def _change(self, change: Change, save: bool = False) -> None:
        self._do(change)
        self._follow_room()
        mark = self.room.save_mark
        if save or mark != self._kept_mark:
            self.keeping.save()
            # Only now: who asks meanwhile saves, too, and so waits until it is on storage.
            self._kept_mark = mark

    def _follow_room(self) -> None:
        """Ears and band follow what the room wants now."""
        with self._lock:
            lines, a4_hz = self.room.measuring_lines(), self.room.reference.a4_hz
            self.listening.set_pitched(self.room.pitched_lines())
            self.listening.set_ears(self.room.wanted_ears())
            if lines != self._measured_lines:
                self._measured_lines = lines
                self.listening.measure(lines)
            if self._on_reference is not None and a4_hz != self._band_hz:
                self._on_reference(a4_hz)
            self._band_hz = a4_hz
        self._follow_evening()

    def _take_block(self, block: Block) -> None:
        self.card_clock.hear_block(block)
        self._blocks_taken += 1
        self.listening.put(block)

    def _hear(self, heard: list[Heard]) -> None:
        now_s = time.monotonic()
        for item in self.card_clock.corrected(heard):
            self._do(lambda item=item: self.room.hear(item, now_s))

    def _measured(self, line: int, notes: list[FixedNote], sounding: bool) -> None:
        now_s = time.monotonic()
        told = self.card_clock.corrected(notes)
        self._do(lambda: self.room.measure(line, told, sounding, now_s))
        self._follow_room()

    def _told(self, ear: WantedEar, told: list[Any]) -> None:
        now_s = time.monotonic()
        self._do(lambda: self.room.hear_ear(ear, told, now_s))

    def _listening_failed(self, reason: str) -> None:
        """A fault of ours, not of the band's gear: only a new start can mend it."""
        device = self.room.input.device
        self._do(lambda: self.room.set_input_state("failed", device, reason))
        self.fault = reason
        self.ended.set()

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
            decides=settings.agreement.decides,
            leader=settings.agreement.leader or None,
        )

    def _usual_tone_out(self, on_state: OnToneState, on_tone: OnTone) -> ToneOutput:
        return ToneOut(
            self.settings.tone.device, self.settings.input.rate_hz, on_state, on_tone=on_tone
        )

    def _card_ppm(self) -> float:
        """Known where the tone leaves by the card that is listened to."""
        same = self.settings.tone.device == self.settings.input.device
        return 1e6 * (self.card_clock.correction - 1.0) if same else 0.0

    def _make_lamps(self) -> Lamps | None:
        chosen = self.settings.lamps
        try:
            lamps = Lamps(
                chosen.mode,
                player=chosen.player,
                in_cents=self.settings.station.in_cents,
                wiring=chosen.wiring(),
                on_quiet_button=self._toggle_quiet,
                on_reference_button=self._reference_button,
                on_state=lambda state, reason: self._do(
                    lambda: self.room.set_lamp_state(state, reason)
                ),
                on_stuck=lambda text, stuck: self._do(
                    lambda: (self.room.add_banner if stuck else self.room.remove_banner)(text)
                ),
                # A folder that cannot be written must not cost the lamps as well.
                work_dir=self.settings.data_dir() if self.keeping.store is not None else None,
            )
        except LampError as error:
            self.room.set_lamp_state("off", str(error))
            return None
        self.room.set_lamp_state(*lamps.status)
        return lamps

    def _make_keeping(self, keep: bool) -> Keeping:
        folder = None
        if keep:
            try:
                folder = self.settings.data_dir()
            except StorageError as error:
                self.room.add_banner(NOT_SAVED.format(error))
        return Keeping(folder, utc_now().replace(":", ""), self.room, self._lock, self._do)

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

    def _watch_clock(self) -> None:
        """The system may take seconds to answer, so this has a thread of its own."""
        self._tell_clock()
        while not self._stopping.wait(TICK_S):
            try:
                if self.card_clock.look(time.monotonic()):
                    self._tell_clock()
            except Exception:
                # Readings go on without; the next look may succeed.
                log.exception("the clock could not be looked at")

    def _tell_clock(self) -> None:
        told = self.card_clock.state(self.room.reference.a4_hz)
        clock = Clock(**{**told, "budget": tuple(told["budget"])})
        self._do(lambda: self.room.set_clock(clock))

    def _keep_house_when_due(self) -> None:
        now_s = time.monotonic()
        if now_s - self._house_kept_at_s < HOUSEKEEPING_S:
            return
        self._house_kept_at_s = now_s
        self.box_watch.look(now_s)
        if now_s - self._addresses_at_s >= ADDRESS_LIFE_S:
            self._look_up_addresses()
        self.keeping.save(only_if_due=True)

    def _keep_house(self) -> None:
        """What is due now and then, away from listening and from the page."""
        trouble: str | None = None
        while not self._stopping.wait(min(TICK_S, HOUSEKEEPING_S)):
            try:
                self._change(lambda: self.room.tick(utc_now(), time.monotonic()))
                self._solve_evening()
                self.keeping.note(utc_now(), time.monotonic())
                self._keep_house_when_due()
                if trouble is not None:
                    self._do(lambda text=trouble: self.room.remove_banner(text))
                    trouble = None
            except Exception as fault:
                # Nothing in here may end the saving for the rest of the evening.
                if trouble is None:
                    log.exception("housekeeping failed; it is tried again")
                    trouble = HOUSE_FAULT.format(" ".join(repr(fault).split())[:200])
                    self._do(lambda text=trouble: self.room.add_banner(text))


__all__ = ["StationError", "TunerStation"]
