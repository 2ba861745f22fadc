"""Storage that is full, has space again, and is read-only at a start. Linux, root only.

    sudo .venv/bin/python -m tests.bench.bench_storage [IDLE_S]

The station keeps its state on a file system of 3 MB in memory, in a mount namespace of
its own. It is filled to the last byte and emptied; each time the reference is changed by
the page and the banners are printed. Then the station stays idle for IDLE_S seconds, with
the page open, and what was written is printed: nothing, if all is well. At last it is
started on the same file system made read-only.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from pathlib import Path

from station.room.store import open_store
from tests.support.page_client import ask, event_stream
from tests.support.station_process import free_port, station_process

PLACE = Path("/mnt")
IDLE_S = 30.0
INSIDE = "inside"


def change(port: int, a4_hz: float) -> str:
    """Set a reference by the page; the answer's status and the banners after it."""
    body = json.dumps({"a4_hz": a4_hz, "by": "Tove"}).encode()
    headers = {"Content-Type": "application/json", "X-Room-Code": "hemlock-9"}
    status = ask(port, "/api/v1/reference", "PUT", body, headers).status
    room = ask(port, "/api/v1/room").json
    assert room["reference"]["a4_hz"] == a4_hz
    return f"{status} {room['station']['banners']}"


def fill() -> Path:
    """Leave not one byte."""
    filler = PLACE / "filler"
    with filler.open("wb", buffering=0) as file:
        for size in (65536, 1):
            try:
                while True:
                    file.write(bytes(size))
            except OSError as error:
                assert error.errno == 28, error
    return filler


def remount(how: str) -> None:
    """Make the file system read-only (ro) or writable (rw)."""
    subprocess.run(["mount", "-o", f"remount,{how}", str(PLACE)], check=True)


def times() -> dict[str, tuple[int, int]]:
    """Every file's size and the time of its last change."""
    return {each.name: (each.stat().st_size, each.stat().st_mtime_ns) for each in PLACE.iterdir()}


def main() -> None:
    """Start again inside a mount namespace, then try everything."""
    if INSIDE not in sys.argv:
        words = ["-m", "tests.bench.bench_storage", *sys.argv[1:], INSIDE]
        subprocess.run(["unshare", "-m", sys.executable, *words], check=True)
        return
    idle_s = float(sys.argv[1]) if sys.argv[1] != INSIDE else IDLE_S
    subprocess.run(["mount", "-t", "tmpfs", "-o", "size=3m", "none", str(PLACE)], check=True)
    config = Path(os.environ.get("TMPDIR", "/tmp")) / f"bench_storage_{os.getpid()}.toml"
    config.write_text(
        f'[station]\nroom_code = "hemlock-9"\ndata_dir = "{PLACE}"\n[tone]\ndevice = "off"\n'
        '[input]\ndevice = "hw:CARD=Gone,DEV=0"\n[lamps]\nmode = "mock"\n'
        f'[page]\nhost = "127.0.0.1"\nport = {free_port()}\n'
    )
    try:
        with station_process("run", "--config", str(config)) as station:
            port = station.wait_for_page()
            print(f"all well:        {change(port, 441.0)}")
            filler = fill()
            print(f"full:            {change(port, 442.0)}")
            filler.unlink()
            print(f"space again:     {change(port, 443.0)}")
            with event_stream(port) as stream:
                stream.until("room")
                time.sleep(5.0)
                before = times()
                time.sleep(idle_s)
                after = times()
            written = sorted(name for name in after if after[name] != before.get(name))
            print(f"idle for {idle_s:g} s:  written: {written or 'nothing'}")
            print(f"ended with {station.end()}")
        remount("ro")
        with station_process("run", "--config", str(config)) as station:
            print(f"read-only:       {change(station.wait_for_page(), 444.0)}")
            print(f"ended with {station.end()}")
        remount("rw")
        opened = open_store(PLACE / "room.sqlite", "now")
        opened.store.close()
        print(f"on storage: {(opened.state or {})['reference']['a4_hz']} Hz, {opened.reason}")
        print((PLACE / "incidents.log").read_text())
    finally:
        config.unlink()


if __name__ == "__main__":
    main()
