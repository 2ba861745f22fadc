"""Run as ``ExecStartPre`` of the service: what its restrictions let a process do.

Prints a line for every deed, "ok" where it went as the service file means it, and ends
with the number of those that did not. Arguments are deeds to leave out.
`tests/bench/boot_root.sh` calls it.
"""

from __future__ import annotations

import ctypes
import errno
import mmap
import os
import socket
import sys
import time
from collections.abc import Callable
from pathlib import Path

CLONE_NEWUSER = 0x10000000  # linux/sched.h
LIBC = ctypes.CDLL(None, use_errno=True)

Deed = Callable[[], object]


def unshare_user() -> None:
    if LIBC.unshare(CLONE_NEWUSER):
        number = ctypes.get_errno()
        raise OSError(number, os.strerror(number))


def writable_and_executable_memory() -> None:
    access = mmap.PROT_READ | mmap.PROT_WRITE | mmap.PROT_EXEC
    mmap.mmap(-1, 4096, prot=access).close()


def bind_udp() -> None:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as here:
        here.bind(("127.0.0.1", 0))


def bind_tcp() -> None:
    with socket.create_server(("127.0.0.1", 0)):
        pass


def setuid_file() -> None:
    path = Path(os.environ["RUNTIME_DIRECTORY"]) / "setuid"
    path.touch()
    path.chmod(0o4755)


def write(folder: str) -> Deed:
    return lambda: (Path(folder) / "probe").write_text("probe")


def opened(path: str) -> Deed:
    return lambda: os.close(os.open(path, os.O_RDWR))


FORBIDDEN: dict[str, tuple[Deed, tuple[int, ...]]] = {
    "write to /etc": (write("/etc"), (errno.EROFS, errno.EACCES)),
    "write to /usr": (write("/usr"), (errno.EROFS, errno.EACCES)),
    "write to /opt": (write("/opt"), (errno.EROFS, errno.EACCES)),
    "see root's home": (lambda: list(Path("/root").iterdir()), (errno.EACCES, errno.ENOENT)),
    "become root": (lambda: os.setuid(0), (errno.EPERM,)),
    "set the clock": (
        lambda: time.clock_settime(time.CLOCK_REALTIME, time.time()),
        (errno.EPERM,),
    ),
    "run before others": (
        lambda: os.sched_setscheduler(0, os.SCHED_FIFO, os.sched_param(1)),
        (errno.EPERM,),
    ),
    "make a namespace": (unshare_user, (errno.EPERM,)),
    "make a setuid file": (setuid_file, (errno.EPERM,)),
    "write code and run it": (writable_and_executable_memory, (errno.EPERM, errno.EACCES)),
    "open a packet socket": (
        lambda: socket.socket(socket.AF_PACKET, socket.SOCK_RAW).close(),
        (errno.EAFNOSUPPORT,),
    ),
    "bind a UDP port": (bind_udp, (errno.EPERM,)),
    "open a serial port": (opened("/dev/ttyProbe"), (errno.EPERM,)),
    "read another's environment": (
        lambda: Path("/proc/1/environ").read_bytes(),
        (errno.EACCES, errno.ENOENT),
    ),
    "make a device": (lambda: os.mknod("/tmp/null", 0o20666, os.makedev(1, 3)), (errno.EPERM,)),
}
ALLOWED: dict[str, Deed] = {
    "write to its state": write(os.environ["STATE_DIRECTORY"]),
    "write where lgpio does": write(os.environ["LG_WD"]),
    "write to a /tmp of its own": write("/tmp"),
    "serve a TCP port": bind_tcp,
    "see more in /proc than processes": lambda: Path("/proc/uptime").read_text(),
}


def tried(deed: Deed) -> int:
    """The error's number, 0 for none."""
    try:
        deed()
    except OSError as error:
        return error.errno or -1
    return 0


def sound_card_opens() -> bool:
    """No card is behind the node: it is let through to the driver, which has none."""
    return tried(opened("/dev/snd/probe")) in (errno.ENODEV, errno.ENXIO)


def main() -> int:
    ends = {
        f"cannot {name}": (tried(deed) in numbers)
        for name, (deed, numbers) in FORBIDDEN.items()
        if name not in sys.argv[1:]
    }
    ends |= {f"can {name}": tried(deed) == 0 for name, deed in ALLOWED.items()}
    ends["can open a sound card's node"] = sound_card_opens()
    ends["has no capability"] = "CapEff:\t0000000000000000" in Path("/proc/self/status").read_text()
    for name, as_meant in ends.items():
        print(f"{'ok  ' if as_meant else 'BAD '} {name}", flush=True)
    return sum(not as_meant for as_meant in ends.values())


if __name__ == "__main__":
    sys.exit(main())
