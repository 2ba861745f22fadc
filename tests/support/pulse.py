"""A PulseAudio of the test's own: a null sink that can be played into and captured from.

It keeps its sockets, home and settings in one directory, so that it touches
no other daemon, and may be killed and started again on the same paths.
"""

from __future__ import annotations

import contextlib
import os
import shutil
import subprocess
import time
from collections.abc import Iterator, Mapping
from pathlib import Path
from types import TracebackType
from typing import Self

from tests.support.processes import ahead_of_others

START_LIMIT_S = 10.0
ALSA_ORDER = [
    "front-left",
    "front-right",
    "rear-left",
    "rear-right",
    "front-center",
    "lfe",
    "side-left",
    "side-right",
]
"""Channels as ALSA's ``pulse`` PCM orders them: in any other order PulseAudio would mix them."""
DIES_WITH_THE_TEST = ("setpriv", "--pdeathsig", "KILL")


class PulseAudio:
    """A context manager: a running daemon whose null sink's monitor is the default source.

    ``environment`` holds what a process needs for paplay, pactl or PortAudio's
    ``pulse`` and ``default`` devices to reach this daemon and no other.
    """

    def __init__(
        self, directory: Path, *, rate_hz: int = 48_000, channels: int = 2, asoundrc: str = ""
    ) -> None:
        """`asoundrc` adds ALSA PCMs of the test's own, beside ``pulse`` and ``default``."""
        missing = [tool for tool in ("pulseaudio", "paplay", "pactl") if not shutil.which(tool)]
        if missing:
            raise RuntimeError(
                f"{', '.join(missing)} not found: install pulseaudio, pulseaudio-utils"
                " and libasound2-plugins"
            )
        self.directory = directory
        self.rate_hz = rate_hz
        self.channels = channels
        self._daemon: subprocess.Popen[bytes] | None = None
        self._players: list[subprocess.Popen[bytes]] = []
        self._home = directory / "home"
        self._runtime = directory / "run"
        self._script = directory / "daemon.pa"
        self._log = directory / "pulseaudio.log"
        self._write_settings(asoundrc)

    @property
    def environment(self) -> dict[str, str]:
        """Variables to set, none of which the station itself knows about."""
        return {
            "HOME": str(self._home),
            "XDG_CONFIG_HOME": str(self._home / ".config"),
            "XDG_RUNTIME_DIR": str(self._runtime),
            "PULSE_RUNTIME_PATH": str(self._runtime / "pulse"),
            "PULSE_SERVER": f"unix:{self._socket}",
        }

    @property
    def pid(self) -> int:
        """Process id of the running daemon."""
        if self._daemon is None:
            raise RuntimeError("PulseAudio is not running")
        return self._daemon.pid

    def __enter__(self) -> Self:
        try:
            self.start()
        except BaseException:
            self.close()
            raise
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def start(self) -> None:
        """Start the daemon and wait until its null sink's monitor is the default source."""
        with self._log.open("ab") as log, ahead_of_others():
            self._daemon = subprocess.Popen(
                [
                    *DIES_WITH_THE_TEST,
                    "pulseaudio",
                    "-n",
                    f"--file={self._script}",
                    "--system=false",
                    "--daemonize=no",
                    "--exit-idle-time=-1",
                    "--use-pid-file=no",
                    "--log-target=stderr",
                ],
                env=self._full_environment(),
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=log,
            )
        limit_s = time.monotonic() + START_LIMIT_S
        while not self._is_ready():
            if self._daemon.poll() is not None or time.monotonic() > limit_s:
                raise RuntimeError(f"PulseAudio did not start:\n{self._log.read_text()[-2000:]}")
            time.sleep(0.05)

    def kill(self) -> None:
        """SIGKILL, as a crash would: the socket stays behind, nobody is told."""
        if self._daemon is not None:
            self._daemon.kill()
            self._daemon.wait()
            self._daemon = None

    def play(self, path: Path) -> subprocess.Popen[bytes]:
        """Start to play a sound file into the null sink, in real time.

        With more than two channels the file has as many as the sink.
        """
        order = [f"--channel-map={self._order}"] if self.channels > 2 else []
        with ahead_of_others():
            player = subprocess.Popen(
                [*DIES_WITH_THE_TEST, "paplay", "--latency-msec=500", *order, str(path)],
                env=self._full_environment(),
                stdin=subprocess.DEVNULL,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
            )
        self._players.append(player)
        return player

    def hush(self) -> None:
        """End whatever is being played."""
        for player in self._players:
            player.kill()
            player.wait()
        self._players.clear()

    def close(self) -> None:
        """End everything that was started."""
        self.hush()
        self.kill()

    def _is_ready(self) -> bool:
        if not self._socket.exists():
            return False
        asked = subprocess.run(
            ["pactl", "get-default-source"],
            env=self._full_environment(),
            capture_output=True,
            text=True,
            check=False,
            timeout=START_LIMIT_S,
        )
        return asked.stdout.strip() == "rehearsal.monitor"

    @property
    def _order(self) -> str:
        return ",".join(ALSA_ORDER[: self.channels])

    @property
    def _socket(self) -> Path:
        return self._runtime / "pulse" / "native"

    def _full_environment(self) -> dict[str, str]:
        outer = {key: value for key, value in os.environ.items() if not key.startswith("DBUS_")}
        return outer | self.environment

    def _write_settings(self, asoundrc: str) -> None:
        for folder in (self._home, self._runtime, self._runtime / "pulse"):
            folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        (self._home / ".asoundrc").write_text(asoundrc)
        # Without norewinds the sink renders two seconds at a time until its first client
        # asks for less, and that client waits for them.
        self._script.write_text(
            f"load-module module-native-protocol-unix auth-anonymous=1 socket={self._socket}\n"
            f"load-module module-null-sink sink_name=rehearsal norewinds=1 format=float32le"
            f" rate={self.rate_hz} channels={self.channels} channel_map={self._order}\n"
            "set-default-sink rehearsal\n"
            "set-default-source rehearsal.monitor\n"
        )


@contextlib.contextmanager
def environment_set(variables: Mapping[str, str]) -> Iterator[None]:
    """Set variables of this process for a while, for the children it starts meanwhile."""
    before = {key: os.environ.get(key) for key in variables}
    os.environ.update(variables)
    try:
        yield
    finally:
        for key, value in before.items():
            if value is None:
                del os.environ[key]
            else:
                os.environ[key] = value
