"""The lamps and buttons of a station, and the thread that draws fifty frames a second.

Listening never depends on them. A GPIO that is missing raises LampError when
they are opened; one that fails later ends the drawing, and ``status`` and
``on_state`` say why.
"""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable, Mapping
from pathlib import Path
from types import TracebackType
from typing import Any, Literal, get_args

from station.errors import LampError
from station.lamps.animation import Animation
from station.lamps.buttons import OnPress, PushButton
from station.lamps.chip import DEVICES, gpio_failures, one_line
from station.lamps.column import IN_CENTS
from station.lamps.lights import IN_USE, Lights
from station.lamps.pins import Push
from station.lamps.wiring import STANDARD, Wiring

log = logging.getLogger(__name__)

FactoryName = Literal["gpio", "mock", "off"]

FRAME_S = 0.02
STOP_WAIT_S = 2.0
SWITCHED_OFF = "switched off in the settings"


class Lamps:
    """The lamp column, the band lamp and the two buttons, as `wiring` says.

    ``factory`` is ``"gpio"`` for the header's pins, ``"mock"`` for gpiozero's
    mock pins, ``"off"`` for none. ``player`` fixes whom the column shows.
    ``on_quiet_button`` is called as soon as that button is pressed,
    ``on_reference_button`` with False when that one is let go after a short
    press and with True once it has been held for two seconds, ``on_state`` with
    ``"lit"`` or ``"off"`` and the reason, ``on_stuck`` with a line for people and
    True when a button is stuck and so ignored, with the same line and False when it
    was let go: all from other threads, but for a button that is down at the start.
    Raises LampError when the pins cannot be had.
    """

    def __init__(
        self,
        factory: FactoryName = "gpio",
        *,
        player: str = "",
        in_cents: float = IN_CENTS,
        on_quiet_button: Callable[[], None] | None = None,
        on_reference_button: Callable[[bool], None] | None = None,
        on_state: Callable[[str, str | None], None] | None = None,
        on_stuck: Callable[[str, bool], None] | None = None,
        wiring: Wiring = STANDARD,
        work_dir: Path | None = None,
        devices: Path = DEVICES,
    ) -> None:
        if factory not in get_args(FactoryName):
            raise LampError(f"lamps {factory!r:.40} unknown: choose gpio, mock or off")
        self.status: tuple[str, str | None] = ("off", SWITCHED_OFF)
        self.wiring = wiring
        self._animation = Animation(player, in_cents)
        self._lock = threading.Lock()
        self._on_state = on_state
        self._on_stuck = on_stuck
        self._lights: Lights | None = None
        self._buttons: list[PushButton] = []
        self._stopping = threading.Event()
        self._thread: threading.Thread | None = None
        if factory != "off":
            self._lights = Lights(factory, wiring, devices=devices, work_dir=work_dir)
            self._open_buttons(on_quiet_button, on_reference_button)
            self.status = ("lit", None)

    def __enter__(self) -> Lamps:
        self.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.stop()

    @property
    def pin_factory(self) -> Any:
        """gpiozero's pins, None when the lamps are off."""
        return None if self._lights is None else self._lights.pin_factory

    def start(self) -> None:
        """Begin drawing. Does nothing when the lamps are off."""
        if self._on_state:
            self._on_state(*self.status)
        if self._lights is not None and self._thread is None:
            self._thread = threading.Thread(target=self._draw, name="lamps", daemon=True)
            self._thread.start()

    def stop(self) -> None:
        """Stop drawing, darken every lamp and give the pins back."""
        self._stopping.set()
        if self._thread is not None and self._thread is not threading.current_thread():
            self._thread.join(STOP_WAIT_S)
        self._close()

    def show(self, payload: Mapping[str, Any]) -> None:
        """Show a room snapshot or a reading; from any thread, never waiting for a pin."""
        with self._lock:
            self._animation.show(payload, time.monotonic())

    def set_quiet(self, quiet: bool) -> None:
        """Dim the lamps to a quarter, or undo that."""
        with self._lock:
            self._animation.quiet = quiet

    def lit(self) -> tuple[tuple[float, ...], float]:
        """What the pins carry now: the column bottom to top, and the band lamp."""
        if self._lights is None:
            return (0.0,) * len(self.wiring.column), 0.0
        return self._lights.values()

    def _open_buttons(
        self,
        on_quiet: Callable[[], None] | None,
        on_reference: Callable[[bool], None] | None,
    ) -> None:
        reason = None
        try:
            if on_quiet is not None:
                self._add_button(self.wiring.quiet_button, on_down=on_quiet)
            if on_reference is not None:
                self._add_button(
                    self.wiring.reference_button,
                    on_press=lambda press, _: on_reference(press == "long"),
                )
        except gpio_failures() as error:
            reason = one_line(error)
        if reason is not None:  # raised with no cause attached: see `Lights`
            self._close()
            raise LampError(IN_USE.format(reason))

    def _add_button(
        self,
        push: Push | None,
        on_down: Callable[[], None] | None = None,
        on_press: OnPress | None = None,
    ) -> None:
        if push is not None:
            button = PushButton(
                push,
                self.pin_factory,
                on_down=on_down,
                on_press=on_press,
                on_stuck=self._on_stuck,
            )
            self._buttons.append(button)

    def _draw(self) -> None:
        try:
            while not self._stopping.wait(FRAME_S):
                with self._lock:
                    column, band = self._animation.frame(time.monotonic())
                self._write((*column, band))
        except gpio_failures() as error:
            self._give_up(f"the lamps stopped answering: {one_line(error)}")
        except Exception as fault:
            # Lamps that nobody draws any more must not go on being called lit.
            log.exception("the lamps have ended by a fault")
            self._give_up(f"the lamps have ended by a fault: {one_line(fault):.200}")

    def _write(self, lights: tuple[float, ...]) -> None:
        if self._lights is not None:
            self._lights.write(lights[:-1], lights[-1])

    def _give_up(self, reason: str) -> None:
        self.status = ("off", reason)
        self._stopping.set()
        if self._lights is not None:
            self._lights.darken()
        if self._on_state:
            self._on_state(*self.status)

    def _close(self) -> None:
        """Give everything back; pins that fail even now are left as they are."""
        failed = None
        for button in self._buttons:
            try:
                button.close()
            except gpio_failures() as error:
                failed = one_line(error)
        self._buttons = []
        if self._lights is not None:
            failed = self._lights.close() or failed
        if failed is not None:
            self.status = ("off", f"a pin could not be given back: {failed}")
