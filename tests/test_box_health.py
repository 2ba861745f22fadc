"""What the box says of its temperature, its power supply and its memory."""

from __future__ import annotations

import subprocess
from pathlib import Path

import pytest

from station import box_health
from station.box_health import Supply, memory_bytes, supply, temperature_c

# As Linux writes it (proc(5)), in kibibytes.
MEMINFO = "MemTotal:  468412 kB\nMemFree:  3 kB\nMemAvailable:  251004 kB\nHugePages_Total:  0\n"


def write(root: Path, path: str, text: str) -> None:
    (root / path).parent.mkdir(parents=True, exist_ok=True)
    (root / path).write_text(text)


def test_the_hottest_zone_counts_in_degrees(tmp_path):
    write(tmp_path, "sys/class/thermal/thermal_zone0/temp", "48312\n")
    write(tmp_path, "sys/class/thermal/thermal_zone1/temp", "51000\n")
    write(tmp_path, "sys/class/thermal/thermal_zone2/temp", "broken\n")

    assert temperature_c(tmp_path) == 51.0


@pytest.mark.parametrize(("alarm", "low"), [("0", False), ("1", True)])
def test_the_boards_alarm_tells_a_low_voltage(tmp_path, alarm, low):
    write(tmp_path, "sys/class/hwmon/hwmon0/name", "cpu_thermal\n")
    write(tmp_path, "sys/class/hwmon/hwmon0/in0_lcrit_alarm", "1\n")
    write(tmp_path, "sys/class/hwmon/hwmon1/name", "rpi_volt\n")
    write(tmp_path, "sys/class/hwmon/hwmon1/in0_lcrit_alarm", f"{alarm}\n")

    assert supply(tmp_path) == Supply(low)


@pytest.mark.parametrize(
    ("told", "found"),
    [
        ("throttled=0x0\n", Supply(False, False, False)),
        # 0x50000: low voltage and throttling have occurred since the start (the worked example
        # in the board's own documentation of get_throttled).
        ("throttled=0x50000\n", Supply(False, True, True)),
        ("throttled=0x50005\n", Supply(True, True, True)),
    ],
)
def test_the_firmware_remembers_since_the_start(monkeypatch, tmp_path, told, found):
    monkeypatch.setattr(box_health.shutil, "which", lambda _: "vcgencmd")
    done = subprocess.CompletedProcess([], 0, told, "")
    monkeypatch.setattr(box_health.subprocess, "run", lambda *_, **__: done)

    assert supply(tmp_path, ask_firmware=True) == found


@pytest.mark.parametrize("told", ["", "throttled=", "error=1 error_msg=x", "throttled=0xzz"])
def test_a_firmware_that_says_nothing_leaves_the_alarm(monkeypatch, tmp_path, told):
    write(tmp_path, "sys/class/hwmon/hwmon1/name", "rpi_volt")
    write(tmp_path, "sys/class/hwmon/hwmon1/in0_lcrit_alarm", "1")
    monkeypatch.setattr(box_health.shutil, "which", lambda _: "vcgencmd")
    done = subprocess.CompletedProcess([], 0, told, "")
    monkeypatch.setattr(box_health.subprocess, "run", lambda *_, **__: done)

    assert supply(tmp_path, ask_firmware=True) == Supply(True)


def test_memory_is_what_programs_can_still_have(tmp_path):
    write(tmp_path, "proc/meminfo", MEMINFO)

    assert memory_bytes(tmp_path) == (251004 * 1024, 468412 * 1024)


def test_a_box_that_says_nothing_is_none(tmp_path):
    assert (temperature_c(tmp_path), supply(tmp_path), memory_bytes(tmp_path)) == (None, None, None)
