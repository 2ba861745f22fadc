"""Whether the box's clock is right, by whoever can tell, and none of them needed."""

from __future__ import annotations

import ctypes
import errno
import os
import stat
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from station import system_clock
from station.system_clock import (
    MAX_ERROR_US,
    STA_NANO,
    STA_UNSYNC,
    ClockState,
    Timex,
    ask_system,
    read_kernel,
)

# What chrony 4 prints for `chronyc -c tracking`; the fields are those of chronyc(1), tracking.
FOLLOWING = (
    "C0A80101,192.168.1.1,3,1776153600.123456,0.000123,-0.000045,"
    "0.000067,12.345,0.010,0.250,0.001200,0.004500,64.0,Normal"
)
ALONE = (
    "00000000,,0,0.000000000,0.000000000,0.000000000,0.000000000,"
    "0.000,0.000,0.000,0.000000000,0.000000000,0.0,Not synchronised"
)

Program = Callable[[str], str]


@pytest.fixture
def program(tmp_path: Path) -> Program:
    """A program that does what a line of shell says; its path."""

    def make(line: str) -> str:
        path = tmp_path / f"program-{len(list(tmp_path.iterdir()))}"
        path.write_text(f"#!/bin/sh\n{line}\n")
        path.chmod(stat.S_IRWXU)
        return str(path)

    return make


def ask(tmp_path: Path, **given: object) -> ClockState:
    """Ask, with nothing there but what is given."""
    nobody = {
        "kernel": refused,
        "chronyc": str(tmp_path / "no-chronyc"),
        "timedatectl": str(tmp_path / "no-timedatectl"),
        "timesync_flag": tmp_path / "no-flag",
    }
    return ask_system(**(nobody | given))


def refused() -> Timex:
    raise PermissionError(errno.EPERM, os.strerror(errno.EPERM))


def kernel(**fields: int) -> Callable[[], Timex]:
    told = Timex()
    for name, value in fields.items():
        setattr(told, name, value)
    return lambda: told


# -- the kernel ---------------------------------------------------------------------


def test_the_kernels_structure_is_as_long_as_on_64_bit_linux():
    # linux/timex.h on x86-64 and arm64: 208 bytes, `status` at 40, `tick` at 88, `tai` at 160.
    assert ctypes.sizeof(Timex) == 208
    assert (Timex.status.offset, Timex.tick.offset, Timex.tai.offset) == (40, 88, 160)


def test_the_kernels_own_answer_fits_the_structure_or_is_refused():
    before_s = int(time.time())

    try:
        told = read_kernel()
    except OSError as error:
        assert error.errno in (errno.EPERM, errno.ENOSYS)  # a filter, as under a hardened service
        return

    # adjtimex(2): the time as gettimeofday gives it, 9000 to 11000 us a tick at 100 ticks a
    # second, a tolerance of 500 ppm in units of 2**-16 ppm.
    assert before_s <= told.time_s <= int(time.time())
    assert 9000 <= told.tick <= 11000
    assert told.tolerance == 500 << 16
    assert abs(told.freq) <= told.tolerance
    assert told.modes == 0


def test_a_clock_the_kernel_holds_for_synchronised_is(tmp_path):
    state = ask(tmp_path, kernel=kernel(esterror=800, maxerror=20_000, offset=-1500))

    assert state == ClockState(True, "kernel", pytest.approx(0.0008), None, pytest.approx(0.0015))


def test_an_offset_in_nanoseconds_is_read_as_such(tmp_path):
    state = ask(tmp_path, kernel=kernel(status=STA_NANO, offset=2_500_000))

    assert state.correcting_s == pytest.approx(0.0025)
    assert state.error_s is None


@pytest.mark.parametrize(
    "fields", [{"status": STA_UNSYNC}, {"maxerror": MAX_ERROR_US}, {"status": STA_UNSYNC | 1}]
)
def test_a_clock_the_kernel_has_given_up_is_not_synchronised(tmp_path, fields):
    state = ask(tmp_path, kernel=kernel(**fields))

    assert state == ClockState(False, reason="no time server has been reached")


def test_the_kernel_tells_whether_and_systemds_flag_by_whom(tmp_path):
    (tmp_path / "synchronized").touch()

    now = ask(tmp_path, kernel=kernel(), timesync_flag=tmp_path / "synchronized")
    no_more = ask(
        tmp_path, kernel=kernel(status=STA_UNSYNC), timesync_flag=tmp_path / "synchronized"
    )

    assert (now.synchronised, now.source) == (True, "systemd-timesyncd")
    assert (no_more.synchronised, no_more.source) == (False, "systemd-timesyncd")


# -- chrony --------------------------------------------------------------------------


def test_chrony_is_believed_before_the_kernel_which_it_need_not_tell(tmp_path, program):
    # Without `rtcsync` in its settings chrony leaves the kernel's flag alone (chrony.conf(5)).
    state = ask(tmp_path, chronyc=program(f"echo {FOLLOWING}"), kernel=kernel(status=STA_UNSYNC))

    assert state == ClockState(True, "chrony", 0.000067, None, 0.000123)


def test_chrony_is_asked_without_looking_up_names(tmp_path, program):
    asked = tmp_path / "asked"

    ask(tmp_path, chronyc=program(f'printf "%s " "$@" > {asked}; echo {FOLLOWING}'))

    assert asked.read_text() == "-n -c tracking "


def test_an_older_chrony_that_tells_a_field_less_is_understood(tmp_path, program):
    older = FOLLOWING.replace(",192.168.1.1", "", 1)

    state = ask(tmp_path, chronyc=program(f"echo {older}"))

    assert state == ClockState(True, "chrony", 0.000067, None, 0.000123)


def test_a_chrony_that_follows_nobody_is_not_synchronised(tmp_path, program):
    own_clock = FOLLOWING.replace("C0A80101,192.168.1.1", "7F7F0101,")

    alone = ask(tmp_path, chronyc=program(f'echo "{ALONE}"'), kernel=kernel())
    itself = ask(tmp_path, chronyc=program(f'echo "{own_clock}"'), kernel=kernel())

    assert alone == ClockState(False, "chrony", reason="chrony: no time server has been reached")
    assert (itself.synchronised, itself.source) == (False, "chrony")
    assert "own clock" in (itself.reason or "")


@pytest.mark.parametrize(
    "line",
    [
        "echo '506 Cannot talk to daemon'; exit 1",
        "echo",
        "exit 0",
        f"echo {FOLLOWING.replace('0.000067', 'soon')}",
        "printf '\\377\\376,,,,,,,,,,,,,\\n'",
        "kill -9 $$",
    ],
)
def test_a_chrony_that_tells_nothing_of_use_is_passed_over(tmp_path, program, line):
    state = ask(tmp_path, chronyc=program(line), kernel=kernel())

    assert (state.synchronised, state.source) == (True, "kernel")


def test_a_program_that_never_ends_is_ended_and_passed_over(tmp_path, program, monkeypatch):
    monkeypatch.setattr(system_clock, "ANSWER_LIMIT_S", 0.2)

    state = ask(tmp_path, chronyc=program("exec sleep 600"), kernel=kernel())

    assert (state.synchronised, state.source) == (True, "kernel")


# -- where the kernel may not be asked ---------------------------------------------------


@pytest.mark.parametrize(("answer", "synchronised"), [("yes", True), ("no", False)])
def test_systemd_is_asked_where_a_filter_refuses_the_kernel(
    tmp_path, program, answer, synchronised
):
    (tmp_path / "synchronized").touch()

    state = ask(
        tmp_path,
        timedatectl=program(f"echo {answer}"),
        timesync_flag=tmp_path / "synchronized",
    )

    assert (state.synchronised, state.source) == (synchronised, "systemd-timesyncd")
    assert (state.reason is None) == synchronised


def test_where_nobody_may_be_asked_that_is_the_reason(tmp_path):
    state = ask(tmp_path)

    assert state == ClockState(
        False,
        reason="the system does not tell whether its clock is right"
        " (adjtimex: Operation not permitted)",
    )


def test_this_box_is_asked_without_an_error():
    state = ask_system()

    assert state.synchronised == (state.reason is None)
    assert "\n" not in (state.reason or "")
