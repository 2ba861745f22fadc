"""The LEDs on their pins: opened together, written as a column and a band lamp, given back."""

from __future__ import annotations

import contextlib
from collections.abc import Sequence
from pathlib import Path
from typing import Any, Literal, get_args

from station.errors import LampError
from station.lamps.chip import DEVICES, gpio_factory, gpio_failures, mock_factory, one_line
from station.lamps.wiring import STANDARD, Wiring, folded

PinsName = Literal["gpio", "mock"]

STEP = 0.01  # lgpio sets brightness in hundredths; finer changes need no writing
IN_USE = "a lamp's pin cannot be used: {}; does another program hold it, such as the station?"


class Lights:
    """Every lamp of a wiring, dark at first.

    ``pins`` is ``"gpio"`` for the header's pins or ``"mock"`` for gpiozero's mock pins.
    Raises LampError when they cannot be had; what `write` and `close` raise is among
    `chip.gpio_failures`.
    """

    def __init__(
        self,
        pins: PinsName = "gpio",
        wiring: Wiring = STANDARD,
        *,
        devices: Path = DEVICES,
        work_dir: Path | None = None,
    ) -> None:
        if pins not in get_args(PinsName):
            raise LampError(f"lamps {pins!r:.40} unknown: choose gpio, mock or off")
        self.wiring = wiring
        self._leds: list[Any] = []
        self._written: list[float] = []
        self.pin_factory: Any = (
            mock_factory() if pins == "mock" else gpio_factory(devices, work_dir)
        )
        reason = self._take_pins()
        if reason is None:
            return
        # Raised here, with no cause attached: a traceback kept by someone would keep
        # the half-made lamp, and gpiozero counts its pin as in use for as long.
        self.close()
        raise LampError(IN_USE.format(reason))

    def write(self, column: Sequence[float], band: float) -> None:
        """Set the pins whose light changed visibly; the two ends are always exact.

        ``column`` holds seven lights, whatever number of lamps they are shown on.
        """
        lights = folded(column, len(self.wiring.column))
        for place, light in enumerate((*lights, band)[: len(self._leds)]):
            before = self._written[place]
            if abs(light - before) >= STEP or (light != before and light in (0.0, 1.0)):
                self._leds[place].value = light
                self._written[place] = light

    def values(self) -> tuple[tuple[float, ...], float]:
        """What the pins carry now: the column bottom to top, and the band lamp."""
        values = [float(led.value) for led in self._leds]
        count = len(self.wiring.column)
        column = tuple(values[:count]) or (0.0,) * count
        return column, values[count] if len(values) > count else 0.0

    def darken(self) -> None:
        """Put out every lamp that still answers."""
        for led in self._leds:
            with contextlib.suppress(*gpio_failures()):
                led.value = 0.0

    def close(self) -> str | None:
        """Give everything back; the reason where a pin fails even now, and is left as it is."""
        failed = None
        for led in self._leds:
            try:
                led.close()
            except gpio_failures() as error:
                failed = one_line(error)
        self._leds, self._written = [], []
        if self.pin_factory is not None:
            self.pin_factory.close()
            self.pin_factory = None
        return failed

    def _take_pins(self) -> str | None:
        """Claim every pin; the reason when one of them cannot be had."""
        import gpiozero  # takes a moment, and is not needed where the lamps are off

        try:
            for lamp in self.wiring.lamps:
                self._leds.append(gpiozero.PWMLED(lamp.bcm, pin_factory=self.pin_factory))
        except gpio_failures() as error:
            return one_line(error)
        self._written = [0.0] * len(self._leds)
        return None
