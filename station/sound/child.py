"""Starting the processes that PortAudio lives in, and making sense of what ends them."""

from __future__ import annotations

import contextlib
import fcntl
import importlib.util
import os
import re
import select
import subprocess
import sys
import time
from collections import deque
from collections.abc import Iterable
from pathlib import Path

from station.errors import LineInputError, LineInputRefusedError

MODULE = "station.sound.capture_child"
PACKAGE_PARENT = Path(__file__).resolve().parents[2]
LIST_LIMIT_S = 10.0
PIPE_BYTES = 1 << 20
READ_BYTES = 1 << 18

_NOISE = re.compile(
    r"conf(misc)?\.c:|Unknown PCM|Unknown parameters|jack|JACK|Jack"
    r"|Cannot connect to server|pcm_(oss|a52|usb_stream)|left_out|^Expression '|^\s*$"
)
"""What ALSA and JACK say each time PortAudio looks at every PCM there might be, and
PortAudio's quotations from its own source."""
_ALSA_PREFIX = re.compile(r"^ALSA lib \S+?:\d+:\(\w+\) ")


def child_environment() -> dict[str, str]:
    """The parent's environment, and what makes the child find its modules.

    Raises LineInputRefusedError where PyAudio is not installed.
    """
    site = _site_of("pyaudio")
    if site is None:
        raise LineInputRefusedError("PyAudio is not installed: install python3-pyaudio")
    numpy_site = _site_of("numpy") or site  # elsewhere where only one of them is the system's own
    environment = dict(os.environ)
    environment["PYTHONPATH"] = os.pathsep.join(map(str, (PACKAGE_PARENT, site, numpy_site)))
    environment["JACK_NO_START_SERVER"] = "1"
    environment["OPENBLAS_NUM_THREADS"] = "1"  # numpy's threads would cost the tone child memory
    return environment


def _site_of(package: str) -> Path | None:
    """The folder a package was installed into."""
    spec = importlib.util.find_spec(package)
    if spec is None or spec.origin is None:
        return None
    folder = Path(spec.origin).parent
    return folder.parent if spec.submodule_search_locations else folder


class SoundChild:
    """A process of our own with PortAudio in it: what it writes, what it says, and its end."""

    def __init__(self, module: str, *arguments: str) -> None:
        """Start it. -S keeps the ``site`` module and all it would import out of it."""
        self.process = subprocess.Popen(
            [sys.executable, "-S", "-m", module, *arguments],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            bufsize=0,
            env=child_environment(),
        )
        pipes = (self.process.stdin, self.process.stdout, self.process.stderr)
        self._pipes = tuple(pipe for pipe in pipes if pipe is not None)
        self._stdin_fd, self._stdout_fd, self._stderr_fd = (pipe.fileno() for pipe in self._pipes)
        self._last_words = LastWords()
        with contextlib.suppress(OSError):  # a larger pipe is a comfort, not a need
            fcntl.fcntl(self._stdout_fd, fcntl.F_SETPIPE_SZ, PIPE_BYTES)

    def read(self, deadline_s: float) -> bytes | None:
        """What has come on its standard output; b"" at its end.

        None when nothing came until CLOCK_MONOTONIC showed `deadline_s`.
        """
        poll = select.poll()
        poll.register(self._stdout_fd, select.POLLIN)
        poll.register(self._stderr_fd, select.POLLIN)
        while True:
            wait_s = max(0.0, deadline_s - time.monotonic())
            ready = [fd for fd, _ in poll.poll(wait_s * 1000.0)]
            if self._stderr_fd in ready:
                said = os.read(self._stderr_fd, READ_BYTES)
                self._last_words.feed(said)
                if not said:
                    poll.unregister(self._stderr_fd)
            if self._stdout_fd in ready:
                return os.read(self._stdout_fd, READ_BYTES)
            if not ready:
                return None

    def tell(self, line: str) -> None:
        """Write a line to its standard input; never waits.

        A child that has ended or no longer reads is noticed by what it does not write.
        """
        os.set_blocking(self._stdin_fd, False)
        with contextlib.suppress(OSError):
            os.write(self._stdin_fd, f"{line}\n".encode())

    def useful_line(self) -> str:
        """The last thing it said on stderr that matters, or nothing."""
        return self._last_words.useful_line()

    def ending(self) -> str:
        """How it ended, in a few words, once ``read`` has returned b""."""
        try:
            code = self.process.wait(timeout=1.0)
        except subprocess.TimeoutExpired:
            return "closed its pipe"
        if code < 0:
            return f"was ended by signal {-code}"
        return f"ended with code {code}"

    def kill(self) -> None:
        """End it, however stuck it is; may be called from any thread."""
        self.process.kill()

    def close(self) -> None:
        """End it and close its pipes."""
        self.kill()
        # Held inside the kernel by a broken device it dies later, when the kernel lets go;
        # subprocess reaps it then.
        with contextlib.suppress(subprocess.TimeoutExpired):
            self.process.wait(timeout=1.0)
        for pipe in self._pipes:
            pipe.close()


class CaptureChild(SoundChild):
    """One capture child."""

    def __init__(self, *arguments: str) -> None:
        super().__init__(MODULE, *arguments)


class LastWords:
    """The end of what a child says on stderr, and the one line of it worth showing."""

    def __init__(self) -> None:
        self._lines: deque[str] = deque(maxlen=50)
        self._rest = ""

    def feed(self, raw: bytes) -> None:
        """Take bytes as they come, whole lines or not."""
        *lines, self._rest = (self._rest + raw.decode(errors="replace")).split("\n")
        self._lines.extend(lines)
        self._rest = self._rest[-1000:]

    def useful_line(self) -> str:
        """The last line that is not the usual noise, or nothing."""
        return last_useful_line([*self._lines, self._rest])


def last_useful_line(lines: Iterable[str]) -> str:
    """The last line that says something about this failure; "" when all is noise.

    >>> last_useful_line(["ALSA lib pulse.c:242:(connect) Refused", "jack server is not running"])
    'Refused'
    """
    useful = [line.strip() for line in lines if not _NOISE.search(line)]
    return _ALSA_PREFIX.sub("", useful[-1])[:200] if useful else ""


def ask_for_devices(module: str = MODULE, what: str = "inputs") -> list[tuple[str, int]]:
    """Stable name and channels of every input, or of whatever else `module` lists.

    Raises LineInputError when the child fails or takes longer than LIST_LIMIT_S.
    """
    child = SoundChild(module, "--list")
    try:
        listing = _read_all(child, time.monotonic() + LIST_LIMIT_S, what)
        ending, reason = child.ending(), child.useful_line()
    finally:
        child.close()
    if child.process.returncode:
        raise LineInputError(f"the {what} cannot be listed: {reason or 'the process ' + ending}")
    pairs = (line.split("\t") for line in listing.decode().splitlines())
    return [(name, int(channels)) for name, channels in pairs]


def _read_all(child: SoundChild, deadline_s: float, what: str) -> bytes:
    listing = b""
    while more := child.read(deadline_s):
        listing += more
    if more is None:
        raise LineInputError(f"the sound system did not list its {what} in {LIST_LIMIT_S:g} s")
    return listing
