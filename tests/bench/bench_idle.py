"""What an idle station writes: ten minutes without a sound, a phone looking on all the while.

    .venv/bin/python -m tests.bench.bench_idle [MINUTES]

A real `station run` listens on a silent PulseAudio sink. Prints how many bytes daemon and
capture child handed to storage (proc(5), write_bytes of /proc/PID/io), and every file of the
room's folder that has changed. The first half minute, in which a start is noted, is not
counted. On a file system in memory nothing counts as written: TMPDIR must be on a disk.
"""

from __future__ import annotations

import re
import sys
import tempfile
import time
from contextlib import ExitStack
from pathlib import Path

import psutil

from tests.support.page_client import event_stream, wait_until
from tests.support.pulse import PulseAudio, environment_set
from tests.support.station_process import free_port, station_process, write_settings

MINUTES = 10.0
SETTLED_S = 30.0


def written_bytes(family: list[psutil.Process]) -> int:
    """Handed to storage so far."""
    told = (Path(f"/proc/{each.pid}/io").read_text() for each in family)
    return sum(int(re.search(r"^write_bytes: (\d+)", text, re.MULTILINE)[1]) for text in told)


def files(folder: Path) -> dict[str, tuple[int, int]]:
    """Size and time of the last change of every file."""
    return {path.name: (path.stat().st_size, path.stat().st_mtime_ns) for path in folder.rglob("*")}


def look_on(port: int, seconds: float) -> int:
    """How many events a phone gets that opens its stream anew whenever that ends."""
    events, until_s = 0, time.monotonic() + seconds
    while time.monotonic() < until_s:
        with event_stream(port) as phone:
            for _ in phone:
                events += 1
                if time.monotonic() > until_s:
                    break
    return events


def main() -> None:
    minutes = float(sys.argv[1]) if len(sys.argv) > 1 else MINUTES
    with ExitStack() as running:
        folder = Path(running.enter_context(tempfile.TemporaryDirectory()))
        pulse = running.enter_context(PulseAudio(folder / "pulse"))
        running.enter_context(environment_set(pulse.environment))
        config = write_settings(folder, free_port())
        station = running.enter_context(station_process("run", "--config", str(config)))
        port = station.wait_for_page()
        wait_until(lambda: len(station.family()) == 2)
        look_on(port, SETTLED_S)
        family = station.family()
        bytes_before, files_before = written_bytes(family), files(folder / "state")
        events = look_on(port, 60 * minutes)
        written = written_bytes(family) - bytes_before
        files_now = files(folder / "state")
        changed = [name for name, state in files_now.items() if files_before.get(name) != state]
        print(
            f"{minutes:g} minutes without a sound, {events} events to a phone:"
            f" {written} bytes written, files changed: {', '.join(changed) or 'none'}"
        )


if __name__ == "__main__":
    main()
