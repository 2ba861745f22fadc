"""How long a phone that vanishes without a word keeps its place. Linux, root only.

    sudo .venv/bin/python -m tests.bench.bench_vanished

The server and the phones run in two network namespaces joined by a cable; the
cable is pulled. No packet tells the server, as when a phone leaves the room.
"""

from __future__ import annotations

import subprocess
import sys
import time

from station.web.app import create_app
from station.web.server import PageServer
from tests.support.fake_station import FakeStation
from tests.support.page_client import wait_until

PHONES = 16
PATIENCE_S = 60.0
INSIDE = "inside"
PHONES_CODE = """
import socket, sys, time
phones = [socket.create_connection(("10.9.0.1", int(sys.argv[1]))) for _ in range(int(sys.argv[2]))]
for phone in phones:
    phone.sendall(b"GET /api/v1/events HTTP/1.1\\r\\nHost: localhost\\r\\n\\r\\n")
time.sleep(300)
"""


def run(*words: str) -> None:
    subprocess.run(words, check=True)


def main() -> None:
    if INSIDE not in sys.argv:
        run("unshare", "-n", sys.executable, "-m", "tests.bench.bench_vanished", INSIDE)
        return
    room = subprocess.Popen(["unshare", "-n", "sleep", "300"])
    time.sleep(0.5)
    in_room = ["nsenter", "-t", str(room.pid), "-n"]
    started = [room]
    try:
        run(
            "ip",
            "link",
            "add",
            "box",
            "type",
            "veth",
            "peer",
            "name",
            "phone",
            "netns",
            str(room.pid),
        )
        run("ip", "addr", "add", "10.9.0.1/24", "dev", "box")
        run("ip", "link", "set", "box", "up")
        run(*in_room, "ip", "addr", "add", "10.9.0.2/24", "dev", "phone")
        run(*in_room, "ip", "link", "set", "phone", "up")
        station = FakeStation()
        with PageServer(create_app(station), "10.9.0.1", 0, station.hub) as server:
            words = [sys.executable, "-c", PHONES_CODE, str(server.port), str(PHONES)]
            started.append(subprocess.Popen([*in_room, *words]))
            wait_until(lambda: station.hub.streams == PHONES)
            run(*in_room, "ip", "link", "set", "phone", "down")
            pulled = time.monotonic()
            while station.hub.streams and time.monotonic() - pulled < PATIENCE_S:
                time.sleep(0.1)
            passed = time.monotonic() - pulled
            print(f"{PHONES} vanished phones: {station.hub.streams} left after {passed:.1f} s")
    finally:
        for process in reversed(started):
            process.kill()
            process.wait()


if __name__ == "__main__":
    main()
