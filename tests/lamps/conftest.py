"""The pin factories the lamp tests run on: mock pins, and the header's path over a fake lgpio.

On a board with a header the real pins take part too.
"""

from __future__ import annotations

import importlib.util
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from fake_lgpio import FakeLgpio

from station.errors import LampError
from station.lamps.chip import gpio_factory
from station.lamps.lamps import Lamps

PI_4 = 0xC03111  # a revision code gpiozero knows: its own table of boards


@pytest.fixture
def fake_gpio(monkeypatch, tmp_path) -> Iterator[Callable[..., FakeLgpio]]:
    """Makes a fake lgpio with the given chips, and their files under ``tmp_path``."""
    monkeypatch.setenv("LG_WD", str(tmp_path))

    def make(labels: dict[int, str]) -> FakeLgpio:
        fake = FakeLgpio(labels)
        for number in labels:
            (tmp_path / f"gpiochip{number}").touch()
        monkeypatch.setitem(sys.modules, "lgpio", fake)
        monkeypatch.delitem(sys.modules, "gpiozero.pins.lgpio", raising=False)
        monkeypatch.setattr("gpiozero.pins.local.get_pi_revision", lambda: PI_4)
        return fake

    yield make
    sys.modules.pop("gpiozero.pins.lgpio", None)


def header_is_here() -> bool:
    if importlib.util.find_spec("lgpio") is None:
        return False
    try:
        gpio_factory().close()
    except LampError:
        return False
    return True


@pytest.fixture(params=["mock", "fake", *(["gpio"] if header_is_here() else [])])
def lamps(request, fake_gpio, tmp_path) -> Iterator[Lamps]:
    """Lamps on each kind of pins there is here; not yet started."""
    if request.param == "fake":
        fake_gpio({0: "pinctrl-bcm2711"})
    made = Lamps(
        "mock" if request.param == "mock" else "gpio",
        devices=tmp_path if request.param == "fake" else Path("/dev"),
    )
    yield made
    made.stop()
