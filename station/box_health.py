"""What the box says of its own temperature, power supply and memory; None where it does not say.

Linux tells them under /sys (hwmon and thermal zones) and in /proc/meminfo. On a Raspberry Pi the
supply's alarm is `in0_lcrit_alarm` of the driver raspberrypi-hwmon, called rpi_volt
(docs.kernel.org/hwmon/raspberrypi-hwmon.html); the firmware remembers more than the present
moment, by the bits of its get_throttled (raspberrypi.com, documentation of the OS).
"""

from __future__ import annotations

import shutil
import subprocess
from dataclasses import dataclass
from pathlib import Path

ROOT = Path("/")
HOT_C = 80.0
"""From here on a Raspberry Pi slows itself down (from memory)."""
ASK_LIMIT_S = 2.0
UNDERVOLTAGE_NOW, UNDERVOLTAGE_WAS = 1 << 0, 1 << 16
SLOWED_NOW, SLOWED_WAS = 1 << 2, 1 << 18
WEAK_SUPPLY = (
    "The box's power supply is too weak at this moment: readings may stop."
    " Use the supply made for the board, on a short thick cable."
)


@dataclass(frozen=True, slots=True)
class Supply:
    """Whether the voltage is, and since the start was, too low, and the board slowed by it."""

    low_now: bool
    low_since_start: bool | None = None
    slowed_since_start: bool | None = None


def temperature_c(root: Path = ROOT) -> float | None:
    """The hottest of the thermal zones, in degrees Celsius."""
    found = (_number(each) for each in root.glob("sys/class/thermal/thermal_zone*/temp"))
    degrees = [value / 1000.0 for value in found if value is not None]
    return max(degrees, default=None)


def supply(root: Path = ROOT, ask_firmware: bool = False) -> Supply | None:
    """The power supply as the board sees it; asking the firmware starts a program."""
    bits = _throttled() if ask_firmware else None
    if bits is not None:
        return Supply(
            bool(bits & UNDERVOLTAGE_NOW),
            bool(bits & UNDERVOLTAGE_WAS),
            bool(bits & (SLOWED_NOW | SLOWED_WAS)),
        )
    for name in sorted(root.glob("sys/class/hwmon/hwmon*/name")):
        alarm = _number(name.with_name("in0_lcrit_alarm"))
        if _text(name) == "rpi_volt" and alarm is not None:
            return Supply(alarm != 0)
    return None


def memory_bytes(root: Path = ROOT) -> tuple[int, int] | None:
    """Memory that programs can still have, and all there is (MemAvailable and MemTotal)."""
    rows = [line.split() for line in _text(root / "proc/meminfo").splitlines()]
    told = {row[0].rstrip(":"): row[1] for row in rows if len(row) >= 2 and row[1].isdecimal()}
    if "MemAvailable" not in told or "MemTotal" not in told:
        return None
    return int(told["MemAvailable"]) * 1024, int(told["MemTotal"]) * 1024


def _throttled() -> int | None:
    program = shutil.which("vcgencmd")
    if program is None:
        return None
    try:
        told = subprocess.run(
            [program, "get_throttled"],
            capture_output=True, text=True, timeout=ASK_LIMIT_S, check=True,
        ).stdout  # fmt: skip
        return int(told.strip().partition("=")[2], 16)
    except (OSError, subprocess.SubprocessError, ValueError):
        return None


def _text(path: Path) -> str:
    try:
        return path.read_text(encoding="ascii", errors="replace").strip()
    except OSError:  # a driver may be gone, or have nothing to say
        return ""


def _number(path: Path) -> int | None:
    try:
        return int(_text(path))
    except ValueError:
        return None
