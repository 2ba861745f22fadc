"""Processes that a test starts must end with it."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress

import psutil

AHEAD = -10  # as a sound server asks for itself where it may


@contextmanager
def ahead_of_others() -> Iterator[None]:
    """Let this thread, and all it starts meanwhile, go before other tests: sound cannot wait.

    Only root may; for others nothing changes.
    """
    before = os.getpriority(os.PRIO_PROCESS, 0)
    with suppress(PermissionError):
        os.setpriority(os.PRIO_PROCESS, 0, min(before, AHEAD))
    try:
        yield
    finally:
        os.setpriority(os.PRIO_PROCESS, 0, before)


@contextmanager
def no_child_left(spared: tuple[str, ...] = ()) -> Iterator[None]:
    """Kill, and fail for, children that outlive the block.

    Names that begin with one of `spared` belong to a fixture that ends them later.
    """
    before = {child.pid for child in psutil.Process().children(recursive=True)}
    yield
    left = [
        child
        for child in psutil.Process().children(recursive=True)
        if child.pid not in before and not _name(child).startswith(spared)
    ]
    _, alive = psutil.wait_procs(left, timeout=2.0)
    for child in alive:
        child.kill()
    assert not alive, f"still running after the test: {alive}"


def _name(process: psutil.Process) -> str:
    try:
        return process.name()
    except psutil.NoSuchProcess:
        return ""  # it has just ended: wait_procs sees that too
