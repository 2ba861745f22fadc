"""Is this box's clock synchronised, and by whom?

Asked in turn: chrony, where its program answers; the kernel, which every time
service tells; systemd's timedatectl, where the kernel may not be asked, as
under a service's system call filter. Each may be missing. Nothing is ever set.
"""

from __future__ import annotations

import ctypes
import os
import subprocess
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

ANSWER_LIMIT_S = 2.0
TIMESYNC_FLAG = Path("/run/systemd/timesync/synchronized")
"""systemd-timesyncd(8): touched whenever the clock was synchronised."""
STA_UNSYNC = 0x0040
STA_NANO = 0x2000
"""linux/timex.h."""
MAX_ERROR_US = 16_000_000
"""linux/timex.h, NTP_PHASE_LIMIT: with no update for hours the kernel itself gives up here."""
OWN_CLOCK = "7F7F0101"
"""chronyc(1), tracking: the reference id of chrony's `local` mode, which follows nobody."""
NO_SERVER = "no time server has been reached"
UNKNOWN = "the system does not tell whether its clock is right"

Source = Literal["chrony", "systemd-timesyncd", "kernel"]


@dataclass(frozen=True, slots=True)
class ClockState:
    """How the clock is.

    ``source`` is who keeps it, None where that is not known. ``error_s`` is about how far it
    is off, None where nobody says. ``correcting_s`` is how far it has still to be moved, or was
    just moved: while that is much, its seconds are too long or too short. ``reason`` is one
    line where it is not synchronised.
    """

    synchronised: bool
    source: Source | None = None
    error_s: float | None = None
    reason: str | None = None
    correcting_s: float = 0.0


class Timex(ctypes.Structure):
    """`struct timex` of linux/timex.h; C's long is the kernel's on 64-bit Linux."""

    _fields_ = (
        ("modes", ctypes.c_uint),
        ("offset", ctypes.c_long),
        ("freq", ctypes.c_long),
        ("maxerror", ctypes.c_long),
        ("esterror", ctypes.c_long),
        ("status", ctypes.c_int),
        ("constant", ctypes.c_long),
        ("precision", ctypes.c_long),
        ("tolerance", ctypes.c_long),
        ("time_s", ctypes.c_long),
        ("time_fraction", ctypes.c_long),
        ("tick", ctypes.c_long),
        ("ppsfreq", ctypes.c_long),
        ("jitter", ctypes.c_long),
        ("shift", ctypes.c_int),
        ("stabil", ctypes.c_long),
        ("jitcnt", ctypes.c_long),
        ("calcnt", ctypes.c_long),
        ("errcnt", ctypes.c_long),
        ("stbcnt", ctypes.c_long),
        ("tai", ctypes.c_int),
        ("reserved", ctypes.c_int * 11),
    )


def read_kernel() -> Timex:
    """The kernel's own account (adjtimex(2) with no mode: reads alone). Raises OSError."""
    told = Timex()
    if ctypes.CDLL(None, use_errno=True).adjtimex(ctypes.byref(told)) < 0:
        number = ctypes.get_errno()
        raise OSError(number, os.strerror(number))
    return told


def ask_system(
    *,
    kernel: Callable[[], Timex] = read_kernel,
    chronyc: str = "chronyc",
    timedatectl: str = "timedatectl",
    timesync_flag: Path = TIMESYNC_FLAG,
) -> ClockState:
    """How the clock is; takes up to twice `ANSWER_LIMIT_S` where a program does not answer."""
    chrony = _ask_chrony(chronyc)
    if chrony is not None:
        return chrony
    by_systemd: Source | None = "systemd-timesyncd" if timesync_flag.exists() else None
    try:
        return _kernel_state(kernel(), by_systemd or "kernel")
    except OSError as error:
        return _ask_systemd(timedatectl, by_systemd, error)


def _ask_chrony(program: str) -> ClockState | None:
    """What chronyc(1) says of `tracking`; None where there is no chrony to say it."""
    # -n: no name is looked up, which without a network would take long.
    answer = _run(program, "-n", "-c", "tracking")
    fields = (answer or "").strip().split(",")
    if len(fields) < 13:
        return None
    # Counted from the end: older versions tell one field less at the beginning.
    leap = fields[-1]
    try:
        now_s, last_s, rms_s = (abs(float(each)) for each in fields[-10:-7])
    except ValueError:
        return None
    if leap == "Not synchronised":
        return ClockState(False, "chrony", reason=f"chrony: {NO_SERVER}")
    if fields[0] == OWN_CLOCK:
        return ClockState(False, "chrony", reason="chrony follows the box's own clock alone")
    return ClockState(True, "chrony", rms_s, correcting_s=max(now_s, last_s))


def _kernel_state(told: Timex, source: Source) -> ClockState:
    if told.status & STA_UNSYNC or told.maxerror >= MAX_ERROR_US:
        return ClockState(False, None if source == "kernel" else source, reason=NO_SERVER)
    error_s = told.esterror * 1e-6 if 0 < told.esterror < MAX_ERROR_US else None
    unit_s = 1e-9 if told.status & STA_NANO else 1e-6
    return ClockState(True, source, error_s, correcting_s=abs(told.offset) * unit_s)


def _ask_systemd(program: str, source: Source | None, refused: OSError) -> ClockState:
    answer = (_run(program, "show", "--property=NTPSynchronized", "--value") or "").strip()
    if answer == "yes":
        return ClockState(True, source)
    if answer == "no":
        return ClockState(False, source, reason=NO_SERVER)
    return ClockState(False, reason=f"{UNKNOWN} (adjtimex: {refused.strerror or refused})")


def _run(*command: str) -> str | None:
    """What a program prints; None where it is missing, fails or does not end in time."""
    try:
        done = subprocess.run(
            command,
            stdin=subprocess.DEVNULL,
            capture_output=True,
            text=True,
            errors="replace",
            timeout=ANSWER_LIMIT_S,
            check=False,
        )
    except (OSError, subprocess.TimeoutExpired):
        return None
    return done.stdout if done.returncode == 0 else None
