"""What a line input gives, kept and waited for by a test.

Time limits are how long a test waits for what was promised (a hung child seen
after about 2 s, recovery within 5 s), not measurements.
"""

from __future__ import annotations

import itertools
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import numpy as np
import psutil

from station.sound.blocks import Block, InputState
from station.sound.child import MODULE
from station.sound.line_input import LineFormat, LineInput, SupervisedInput

RECOVERY_LIMIT_S = 5.0
NOTICE_LIMIT_S = 3.5


def capture(line: LineInput, frames: int) -> tuple[np.ndarray, list[Block]]:
    """At least so many frames of an open line."""
    blocks: list[Block] = []
    for block in line:
        blocks.append(block)
        if sum(len(b.samples) for b in blocks) >= frames:
            break
    return np.concatenate([b.samples for b in blocks]), blocks


def capture_child_of(parent: int | None = None) -> int | None:
    """Process id of the capture child of that process (this one's when none is named)."""
    found = [child.pid for child in psutil.Process(parent).children() if _captures(child)]
    assert len(found) <= 1
    return found[0] if found else None


def _captures(process: psutil.Process) -> bool:
    try:
        return MODULE in process.cmdline()
    except (psutil.NoSuchProcess, psutil.ZombieProcess):
        return False


class Audience:
    """Keeps what a SupervisedInput reports, and waits for it."""

    def __init__(self) -> None:
        self.blocks: list[Block] = []
        self.states: list[InputState] = []
        self._news = threading.Condition()

    def on_block(self, block: Block) -> None:
        with self._news:
            self.blocks.append(block)
            self._news.notify_all()

    def on_state(self, state: InputState) -> None:
        with self._news:
            self.states.append(state)
            self._news.notify_all()

    def wait_for(self, met: Callable[[], bool], limit_s: float) -> None:
        with self._news:
            if not self._news.wait_for(met, limit_s):
                raise AssertionError(f"not within {limit_s} s: {self.states}")

    def wait_for_blocks(self, more: int = 5, limit_s: float = RECOVERY_LIMIT_S) -> None:
        wanted = len(self.blocks) + more
        self.wait_for(lambda: len(self.blocks) >= wanted, limit_s)

    def wait_for_state(self, state: str, limit_s: float) -> InputState:
        self.wait_for(lambda: bool(self.states) and self.states[-1].state == state, limit_s)
        return self.states[-1]


@contextmanager
def listening(device: str, **options: object) -> Iterator[tuple[SupervisedInput, Audience]]:
    audience = Audience()
    wanted = LineFormat(device, **options)  # type: ignore[arg-type]
    line = SupervisedInput(wanted, on_block=audience.on_block, on_state=audience.on_state)
    line.start()
    try:
        yield line, audience
    finally:
        line.stop()


def assert_no_frame_is_unaccounted_for(blocks: list[Block]) -> None:
    for before, after in itertools.pairwise(blocks):
        expected = before.first_frame + len(before.samples) + after.lost_frames_before
        assert after.first_frame == expected
