"""A stand-in for the lgpio module: chips with labels, and what was written to their pins.

Put in ``sys.modules`` by the tests that want it. Signatures, numbers and the
way failures come (``lgpio.error``) follow lgpio 0.2.2's own module.
"""

from __future__ import annotations

import types
from typing import Any


class FakeLgpio(types.ModuleType):
    """``labels`` maps chip numbers to labels; ``duty`` keeps the last percentage of each pin."""

    SET_PULL_NONE, SET_PULL_UP, SET_PULL_DOWN = 128, 32, 64
    IS_OUTPUT = 2  # of the mode's bits
    RISING_EDGE, FALLING_EDGE, BOTH_EDGES = 1, 2, 3

    class error(Exception):
        pass

    def __init__(self, labels: dict[int, str]) -> None:
        super().__init__("lgpio")
        self.labels = labels
        self.opened: list[int] = []
        self.duty: dict[int, float] = {}
        self.broken = False
        self.busy: set[int] = set()
        self.debounced_us: dict[int, int] = {}
        self.pulled: dict[int, int] = {}
        self._mode: dict[int, int] = {}

    def gpiochip_open(self, chip: int) -> int:
        if chip not in self.labels:
            raise self.error("can not open gpiochip")
        self.opened.append(chip)
        return chip

    def gpiochip_close(self, handle: int) -> int:
        self.opened.remove(handle)
        return 0

    def gpio_get_chip_info(self, handle: int) -> list[Any]:
        return [0, 54, f"gpiochip{handle}", self.labels[handle]]

    def gpio_claim_input(self, handle: int, pin: int, flags: int = 0) -> int:
        self.pulled[pin] = flags
        self._mode[pin] = flags
        return self._claim(pin)

    def gpio_claim_alert(self, handle: int, pin: int, edges: int, flags: int = 0) -> int:
        return self._claim(pin)

    def callback(self, handle: int, pin: int, edges: int, call: Any) -> Any:
        return types.SimpleNamespace(cancel=lambda: None)

    def gpio_set_debounce_micros(self, handle: int, pin: int, microseconds: int) -> int:
        self.debounced_us[pin] = microseconds
        return 0

    def gpio_claim_output(self, handle: int, pin: int, level: int = 0) -> int:
        self._mode[pin] = self.IS_OUTPUT
        return self._claim(pin)

    def gpio_free(self, handle: int, pin: int) -> int:
        return 0

    def gpio_get_mode(self, handle: int, pin: int) -> int:
        return self._mode.get(pin, self.IS_OUTPUT)

    def gpio_write(self, handle: int, pin: int, level: int) -> int:
        self.duty[pin] = 100.0 * level
        return 0

    def gpio_read(self, handle: int, pin: int) -> int:
        return int(self.duty.get(pin, 0.0) > 50.0)

    def tx_pwm(self, handle: int, pin: int, frequency_hz: float, duty: float) -> int:
        if self.broken:
            raise self.error("GPIO not allocated")
        self.duty[pin] = duty
        return 0

    def _claim(self, pin: int) -> int:
        if pin in self.busy:
            raise self.error("GPIO busy")
        return 0
