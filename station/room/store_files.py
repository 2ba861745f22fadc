"""The files of the room's database: whose they are, whether they are still there, put aside."""

from __future__ import annotations

import fcntl
import os
from pathlib import Path

from station.errors import StorageError

LOCK_SUFFIX = ".lock"
START_ANEW = "start the station anew to save again"
MAX_BYTES = 16_000_000
"""A room's state is under 1 MB. To read what is much larger might take all the box's memory."""


class Damaged(StorageError):
    """What is stored cannot be a room's state; it is moved aside, never repaired."""


def check_size(path: Path) -> None:
    """Raises Damaged for more than a room can have."""
    for name in (path, path.with_name(f"{path.name}-wal")):
        if name.is_file() and name.stat().st_size > MAX_BYTES:
            raise Damaged(f"{name.name} is larger than {MAX_BYTES / 1e6:.0f} MB")


def take_lock(path: Path) -> int:
    """The open descriptor that holds the lock; raises StorageError when another has it."""
    try:
        lock_fd = os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o644)
    except OSError as error:
        raise StorageError(f"{path}: cannot make the lock file: {error.strerror}") from error
    try:
        fcntl.flock(lock_fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        os.close(lock_fd)
        if isinstance(error, BlockingIOError):
            raise StorageError(
                f"{path.parent}: another station keeps its state here:"
                " end one of them, or give it a data_dir of its own"
            ) from error
        raise StorageError(f"{path}: cannot be locked: {error.strerror}") from error
    return lock_fd


def identity(path: Path) -> tuple[int, int]:
    """Device and inode of what the name stands for now; an open file keeps its own."""
    try:
        found = path.stat()
    except OSError as error:
        raise StorageError(
            f"{path}: is gone ({error.strerror}), removed while in use: {START_ANEW}"
        ) from error
    return found.st_dev, found.st_ino


def move_aside(path: Path, stamp: str) -> Path:
    """Rename the database and its log, so that neither is read again; the new main name."""
    aside = path.with_name(f"{path.name}.corrupt-{stamp}")
    try:
        for suffix in ("-wal", "-shm", ""):
            part = path.with_name(path.name + suffix)
            if part.exists():
                part.replace(aside.with_name(aside.name + suffix))
    except OSError as error:
        raise StorageError(f"{path}: cannot move it aside: {error.strerror}") from error
    return aside
