"""Finding the GPIO of the 40-pin header, and saying plainly why there is none.

The header's chip has had different numbers on different boards and kernels (4
and later 0 on a Raspberry Pi 5: raspberrypi/linux pull request 6144), so it is
known by its label and never by its number. lgpio keeps named pipes in the
folder that ``LG_WD`` names and moves the whole process there when imported;
both are seen to here.
"""

from __future__ import annotations

import atexit
import importlib
import os
import shutil
import sys
import tempfile
from collections import deque
from pathlib import Path
from typing import Any

from station.errors import LampError

# Labels of the pin controllers behind the header: raspberrypi/linux pull request 6144
# for rp1, Linux's drivers/pinctrl/bcm/pinctrl-bcm2835.c for bcm2711, bcm2835 from memory.
HEADER_LABELS = ("pinctrl-rp1", "pinctrl-bcm2711", "pinctrl-bcm2835")
DEVICES = Path("/dev")
MOCK_STATES = 50


def gpio_factory(devices: Path = DEVICES, work_dir: Path | None = None) -> Any:
    """A gpiozero pin factory for the header's GPIO.

    ``devices`` is where the chips are listed; ``work_dir`` is a folder lgpio
    may write to, unless ``LG_WD`` is set already (default: a temporary one).
    Raises LampError.
    """
    lgpio = _load_lgpio(work_dir)
    number = _header_chip(lgpio, devices)
    try:
        pins: Any = importlib.import_module("gpiozero.pins.lgpio")
        return pins.LGPIOFactory(chip=number)
    except gpio_failures() as error:
        raise LampError(f"GPIO chip {number} cannot be used: {one_line(error)}") from error


def mock_factory() -> Any:
    """gpiozero's own mock pins: they light nothing, and remember a little of what was written.

    As they come they remember all of it: 25 kB a second of a demo.
    """
    pins: Any = importlib.import_module("gpiozero.pins.mock")

    class ForgetfulPin(pins.MockPWMPin):
        def clear_states(self) -> None:
            super().clear_states()
            self.states: Any = deque(self.states, maxlen=MOCK_STATES)

    return pins.MockFactory(pin_class=ForgetfulPin)


def gpio_failures() -> tuple[type[Exception], ...]:
    """The exceptions by which gpiozero, lgpio and the system say that a pin failed."""
    gpiozero: Any = importlib.import_module("gpiozero")
    lgpio_error = getattr(sys.modules.get("lgpio"), "error", OSError)
    return (gpiozero.GPIOZeroError, OSError, ImportError, lgpio_error)


def one_line(error: BaseException) -> str:
    """What an exception says, as one line, without the quotes around all that a KeyError says."""
    text = " ".join(str(error).split())
    if len(text) > 1 and text[0] == text[-1] and text[0] in "'\"":
        text = text[1:-1]
    return text or type(error).__name__


def _load_lgpio(work_dir: Path | None) -> Any:
    """Import lgpio with a folder it can write to, and stay where the process was."""
    if "LG_WD" not in os.environ:
        os.environ["LG_WD"] = _own_folder(work_dir)
    here = Path.cwd()
    try:
        return importlib.import_module("lgpio")
    except ImportError as error:
        raise LampError(
            f"the GPIO library lgpio is not usable ({one_line(error)}):"
            " install the package python3-lgpio"
        ) from error
    except OSError as error:
        folder = os.environ["LG_WD"]
        raise LampError(
            f"lgpio cannot write to its folder {folder}: set LG_WD to one it may write to"
        ) from error
    finally:
        os.chdir(here)


def _own_folder(work_dir: Path | None) -> str:
    try:
        folder = tempfile.mkdtemp(prefix="station-lamps-", dir=work_dir)
    except OSError as error:
        raise LampError(
            f"no folder for lgpio can be made in {work_dir or 'the temporary folder'}:"
            f" {error.strerror}; set LG_WD to one it may write to"
        ) from error
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    return folder


def _header_chip(lgpio: Any, devices: Path) -> int:
    """The number of the chip behind the header."""
    seen = []
    for path in sorted(devices.glob("gpiochip*"), key=_number):
        if not os.access(path, os.R_OK | os.W_OK):
            seen.append(f"{path.name} (no permission: is the station's user in the group gpio?)")
            continue
        label = _label(lgpio, _number(path))
        if label in HEADER_LABELS:
            return _number(path)
        seen.append(f"{path.name} ({label})")
    found = ", ".join(seen) or "no GPIO chip at all"
    raise LampError(f"no GPIO header found, only {found}" if seen else f"there is {found}")


def _number(path: Path) -> int:
    digits = path.name.removeprefix("gpiochip")
    return int(digits) if digits.isdecimal() else -1


def _label(lgpio: Any, number: int) -> str:
    """A chip's label, or why it cannot be read."""
    try:
        handle = lgpio.gpiochip_open(number)
        try:
            return str(lgpio.gpio_get_chip_info(handle)[3])
        finally:
            lgpio.gpiochip_close(handle)
    except lgpio.error as error:
        return one_line(error)
