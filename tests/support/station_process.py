"""A station as its users start it: the `station` command in a process of its own."""

from __future__ import annotations

import contextlib
import re
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import psutil

from tests.support.page_client import ask
from tests.support.pulse import DIES_WITH_THE_TEST

START_LIMIT_S = 20.0
END_LIMIT_S = 10.0
ROOM_CODE = "elm-35"
PLAYERS = (("Tove", "guitar", 1), ("Brannock", "bass", 2))


def free_port() -> int:
    """A port nobody serves on now."""
    with socket.create_server(("127.0.0.1", 0)) as listener:
        return listener.getsockname()[1]


def write_settings(
    folder: Path,
    port: int,
    players: tuple[tuple[str, str, int], ...] = PLAYERS,
    lines: int = 2,
    shown_on_lamps: str = "",
) -> Path:
    """A settings file: the `pulse` input, mock lamps, state kept in `folder`."""
    path = folder / "settings.toml"
    rows = [
        f'[[players]]\nname = "{name}"\ninstrument = "{instrument}"\nline = {line}\n'
        for name, instrument, line in players
    ]
    path.write_text(
        f'[station]\nname = "Cellar room"\nroom_code = "{ROOM_CODE}"\n'
        f'data_dir = "{folder / "state"}"\n'
        f'[input]\ndevice = "pulse"\nchannels = {lines}\n'
        f'[page]\nhost = "127.0.0.1"\nport = {port}\n'
        f'[lamps]\nmode = "mock"\nplayer = "{shown_on_lamps}"\n' + "".join(rows)
    )
    return path


class StationProcess:
    """A running `station` command and what it prints; ended with it, however the test ends."""

    def __init__(self, *arguments: str) -> None:
        self.begun_s = time.monotonic()
        self.process = subprocess.Popen(
            [*DIES_WITH_THE_TEST, sys.executable, "-m", "station.cli", *arguments],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
        )
        self.port = 0
        self.printed: list[str] = []
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()

    def _read(self) -> None:
        assert self.process.stdout is not None
        self.printed.extend(iter(self.process.stdout.readline, ""))

    def wait_for_page(self) -> int:
        """The page's port, once it answers."""
        while time.monotonic() - self.begun_s < START_LIMIT_S:
            found = re.search(r"^Page: http://[^ ]*?:(\d+)$", "".join(self.printed), re.MULTILINE)
            if found and ask(int(found[1]), "/health").status == 200:
                self.port = int(found[1])
                return self.port
            assert self.process.poll() is None, f"it has ended: {self.printed}"
            time.sleep(0.02)
        raise AssertionError(f"no page within {START_LIMIT_S:g} s: {self.printed}")

    def family(self) -> list[psutil.Process]:
        """The daemon and its children (the capture child, the only one once it listens)."""
        daemon = psutil.Process(self.process.pid)
        return [daemon, *daemon.children(recursive=True)]

    def kill(self) -> None:
        """SIGKILL, as a power cut would end it, and wait until its children are gone too."""
        family = self.family()
        self.process.kill()
        self.process.wait()
        _, alive = psutil.wait_procs(family, timeout=END_LIMIT_S)
        assert not alive, f"left behind by the daemon: {alive}"

    def end(self) -> int:
        """SIGTERM; the exit code."""
        self.process.terminate()
        return self.process.wait(END_LIMIT_S)

    def close(self) -> None:
        """Make sure that nothing of it is left."""
        self.process.kill()
        self.process.wait()
        self._reader.join(END_LIMIT_S)
        if self.process.stdout is not None:
            self.process.stdout.close()


@contextlib.contextmanager
def station_process(*arguments: str) -> Iterator[StationProcess]:
    """`station ARGUMENTS`, for as long as the block lasts."""
    station = StationProcess(*arguments)
    try:
        yield station
    finally:
        station.close()
