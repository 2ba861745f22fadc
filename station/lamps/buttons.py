"""A push button on a pin: presses are told, and one that is stuck is said to be.

The pin is pulled up by the board and pressed to ground. Where the pins are real their
driver waits for a contact to settle; `press.PressJudge` judges what comes through.
"""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable
from typing import Any

from station.lamps.pins import Push
from station.lamps.press import BOUNCE_S, LONG_S, Press, PressJudge

log = logging.getLogger(__name__)

STUCK = "The {} button is held down or stuck: it is ignored until it is let go."

OnPress = Callable[[Press, float], None]
OnStuck = Callable[[str, bool], None]


class PushButton:
    """One button; give it back with ``close``.

    ``on_down`` is called when the contact closes, ``on_press`` with "short" when it is let go or
    "long" once it has been held for two seconds, and for how many seconds; ``on_stuck`` with
    a line for people and True when it turns out to be stuck, with the same line and False
    when it was let go. All from gpiozero's threads, whom a fault in them does not end; a
    button that is down at the start is told here and now. Raises what gpiozero raises when
    the pin cannot be had.
    """

    def __init__(
        self,
        push: Push,
        pin_factory: Any,
        *,
        on_down: Callable[[], None] | None = None,
        on_press: OnPress | None = None,
        on_stuck: OnStuck | None = None,
    ) -> None:
        import gpiozero  # takes a moment, and is not needed where the lamps are off

        self.push = push
        self._on_down, self._on_press, self._on_stuck = on_down, on_press, on_stuck
        self._judge = PressJudge()
        self._down_s = 0.0
        self._lock = threading.Lock()
        self._button: Any = gpiozero.Button(
            push.bcm, pull_up=True, bounce_time=BOUNCE_S, pin_factory=pin_factory
        )
        self._button.hold_time = LONG_S
        self._button.hold_repeat = True  # to notice one that is never let go
        if self._button.is_pressed:
            self._judge.was_down()
            self._tell_stuck(True)
        self._button.when_pressed = self._down
        self._button.when_released = self._up
        self._button.when_held = self._held

    @property
    def is_pressed(self) -> bool:
        """Whether the contact is closed now."""
        return bool(self._button.is_pressed)

    @property
    def is_stuck(self) -> bool:
        """Whether it is down for too long to be a finger, or has been since the start."""
        return self._judge.stuck

    @property
    def pin(self) -> Any:
        """gpiozero's pin."""
        return self._button.pin

    def close(self) -> None:
        """Give the pin back; raises what gpiozero raises when that fails."""
        self._button.close()

    def _down(self) -> None:
        with self._lock:
            self._down_s = time.monotonic()
            self._judge.down(self._down_s)
        if self._on_down is not None:
            self._call(self._on_down)

    def _up(self) -> None:
        with self._lock:
            now_s = time.monotonic()
            was_stuck, press = self._judge.stuck, self._judge.up(now_s)
        if was_stuck:
            self._tell_stuck(False)
        self._tell(press, now_s)

    def _held(self) -> None:
        with self._lock:
            now_s = time.monotonic()
            press, has_stuck = self._judge.held(now_s), self._judge.has_stuck(now_s)
        self._tell(press, now_s)
        if has_stuck:
            self._tell_stuck(True)

    def _tell(self, press: Press | None, now_s: float) -> None:
        on_press = self._on_press
        if press is not None and on_press is not None:
            seconds = now_s - self._down_s
            self._call(lambda: on_press(press, seconds))

    def _tell_stuck(self, is_stuck: bool) -> None:
        text = STUCK.format(self.push.name)
        if is_stuck:
            log.warning(text)
        else:
            log.warning("The %s button was let go: it works again.", self.push.name)
        on_stuck = self._on_stuck
        if on_stuck is not None:
            self._call(lambda: on_stuck(text, is_stuck))

    def _call(self, tell: Callable[[], None]) -> None:
        try:
            tell()
        except Exception:
            log.exception("a press of the %s button was not carried out", self.push.name)
