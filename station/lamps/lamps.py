"""The lamps themselves: pins, buttons, and the thread that draws fifty frames a second.

Listening never depends on them. A GPIO that is missing raises LampError when
they are opened; one that fails later ends the drawing, and ``status`` and
``on_state`` say why.
"""

from __future__ import annotations

import contextlib
import logging
import threading
import time
from collections.abc import Callable, Mapping
from pathlib import Path
from types import TracebackType
from typing import Any, Literal, get_args

from station.errors import LampError
from station.lamps.animation import Animation
from station.lamps.chip import DEVICES, gpio_factory, gpio_failures, mock_factory, one_line
from station.lamps.column import IN_CENTS
from station.lamps.pins import BAND, COLUMN, QUIET_BUTTON, REFERENCE_BUTTON, Push
from station.lamps.press import BOUNCE_S, LONG_S, Press, PressJudge

log = logging.getLogger(__name__)

FactoryName = Literal["gpio", "mock", "off"]

FRAME_S = 0.02
STEP = 0.01  # lgpio sets brightness in hundredths; finer changes need no writing
STOP_WAIT_S = 2.0
SWITCHED_OFF = "switched off in the settings"


class Lamps:
    """The lamp column, the band lamp and the two buttons.

    ``factory`` is ``"gpio"`` for the header's pins, ``"mock"`` for gpiozero's
    mock pins, ``"off"`` for none. ``player`` fixes whom the column shows.
    ``on_quiet_button`` is called when that button is pressed,
    ``on_reference_button`` with False when that one is let go after a short
    press and with True once it has been held for two seconds, ``on_state`` with
    ``"lit"`` or ``"off"`` and the reason; all from other threads.
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
        work_dir: Path | None = None,
        devices: Path = DEVICES,
    ) -> None:
        if factory not in get_args(FactoryName):
            raise LampError(f"lamps {factory!r:.40} unknown: choose gpio, mock or off")
        self.status: tuple[str, str | None] = ("off", SWITCHED_OFF)
        self.pin_factory: Any = None
        self._animation = Animation(player, in_cents)
        self._lock = threading.Lock()
        self._on_state = on_state
        self._on_quiet_button = on_quiet_button
        self._on_reference_button = on_reference_button
        self._press = PressJudge()
        self._press_lock = threading.Lock()
        self._leds: list[Any] = []
        self._buttons: list[Any] = []
        self._written: list[float] = []
        self._stopping = threading.Event()
        self._thread: threading.Thread | None = None
        if factory != "off":
            mock = factory == "mock"
            self.pin_factory = mock_factory() if mock else gpio_factory(devices, work_dir)
            self._open()
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

    def start(self) -> None:
        """Begin drawing. Does nothing when the lamps are off."""
        if self._on_state:
            self._on_state(*self.status)
        if self._leds and self._thread is None:
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
        values = tuple(float(led.value) for led in self._leds)
        return (values[:-1], values[-1]) if values else ((0.0,) * len(COLUMN), 0.0)

    def _open(self) -> None:
        reason = self._take_pins()
        if reason is None:
            self._written = [0.0] * len(self._leds)
            return
        # Raised here, with no cause attached: a traceback kept by someone would keep
        # the half-made lamp, and gpiozero counts its pin as in use for as long.
        self._close()
        raise LampError(f"a lamp's pin cannot be used: {reason}")

    def _take_pins(self) -> str | None:
        """Claim every pin; the reason when one of them cannot be had."""
        import gpiozero  # takes a moment, and is not needed where the lamps are off

        try:
            for lamp in (*COLUMN, BAND):
                self._leds.append(gpiozero.PWMLED(lamp.bcm, pin_factory=self.pin_factory))
            if self._on_quiet_button is not None:
                self._take_button(QUIET_BUTTON).when_pressed = self._on_quiet_button
            if self._on_reference_button is not None:
                self._take_reference_button()
        except gpio_failures() as error:
            return one_line(error)
        return None

    def _take_button(self, push: Push) -> Any:
        import gpiozero

        button = gpiozero.Button(
            push.bcm, pull_up=True, bounce_time=BOUNCE_S, pin_factory=self.pin_factory
        )
        self._buttons.append(button)
        return button

    def _take_reference_button(self) -> None:
        button = self._take_button(REFERENCE_BUTTON)
        button.hold_time = LONG_S
        button.hold_repeat = True  # to notice one that is never let go
        button.when_pressed = lambda: self._reference_button("down")
        button.when_released = lambda: self._reference_button("up")
        button.when_held = lambda: self._reference_button("held")
        if button.is_pressed:
            log.warning("the reference button was down at the start: ignored until it is let go")

    def _reference_button(self, what: Literal["down", "up", "held"]) -> None:
        """From gpiozero's threads, which a fault of the callback must not end."""
        now_s = time.monotonic()
        press: Press | None = None
        with self._press_lock:
            if what == "down":
                self._press.down(now_s)
            elif what == "up":
                press = self._press.up(now_s)
            else:
                press = self._press.held(now_s)
                if self._press.has_stuck(now_s):
                    log.warning("the reference button is stuck: ignored until it is let go")
        if press is None or self._on_reference_button is None:
            return
        try:
            self._on_reference_button(press == "long")
        except Exception:
            log.exception("a press of the reference button was not carried out")

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

    def _give_up(self, reason: str) -> None:
        self.status = ("off", reason)
        self._stopping.set()
        for led in self._leds:
            with contextlib.suppress(*gpio_failures()):  # what can still go dark does
                led.value = 0.0
        if self._on_state:
            self._on_state(*self.status)

    def _write(self, lights: tuple[float, ...]) -> None:
        """Set the pins whose light changed visibly; the two ends are always exact."""
        for place, light in enumerate(lights):
            before = self._written[place]
            if abs(light - before) >= STEP or (light != before and light in (0.0, 1.0)):
                self._leds[place].value = light
                self._written[place] = light

    def _close(self) -> None:
        """Give everything back; pins that fail even now are left as they are."""
        for device in (*self._buttons, *self._leds):
            try:
                device.close()
            except gpio_failures() as error:
                self.status = ("off", f"a pin could not be given back: {one_line(error)}")
        self._buttons, self._leds, self._written = [], [], []
        if self.pin_factory is not None:
            self.pin_factory.close()
            self.pin_factory = None
