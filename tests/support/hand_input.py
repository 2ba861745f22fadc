"""An input that gives a station what the test hands it, and when."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

import numpy as np

from station.daemon import TunerStation
from station.listening import Listening
from station.sound.blocks import Block, InputState
from tests.support.page_client import wait_until
from tests.support.strings import Floats, StiffString, noise

FRAMES = 1024
LOOK_EVERY_S = 0.002  # a block is heard in less than that
AT_ONCE = 8  # blocks handed over before listening has caught up: under its backlog from 16 kHz on


class HandInput:
    """Given to TunerStation as ``make_input``; it then stands in for a line input."""

    def __init__(self) -> None:
        self.started = False
        self.stopped = False
        self.turns = 0
        self._next_frame = 0
        self._given = 0

    def __call__(
        self, on_block: Callable[[Block], None], on_state: Callable[[InputState], None]
    ) -> HandInput:
        self._on_block, self.on_state = on_block, on_state
        return self

    def start(self) -> None:
        self.started = True
        self.on_state(InputState("listening", "by hand"))

    def stop(self) -> None:
        self.stopped = True

    def play(self, samples: Floats, listening: Listening, lost: int = 0) -> None:
        """Hand over samples of shape (frames, channels) and wait until they are heard."""
        for start in range(0, len(samples), FRAMES):
            wait_until(lambda: self._given - listening.blocks_heard < AT_ONCE, LOOK_EVERY_S)
            block = samples[start : start + FRAMES].astype(np.float32)
            self._next_frame += lost
            self._on_block(Block(block, self._next_frame, lost, time.monotonic(), 0))
            self._next_frame += len(block)
            self._given += 1
            lost = 0
        wait_until(lambda: self._given == listening.blocks_heard, LOOK_EVERY_S)


def pluck(
    station: TunerStation, hand: HandInput, line: int, hz: float, length_s: float = 1.0
) -> None:
    """Sound one stiff string on one line, then a silence that ends its note."""
    rate_hz, lines = station.settings.input.rate_hz, station.settings.input.channels
    sound = StiffString(hz, 5e-5, ring_s=0.8).sound(rate_hz, length_s)
    whole = np.zeros((len(sound) + rate_hz // 2, lines))
    whole[: len(sound), line - 1] = sound
    whole += noise(whole.size, -90.0).reshape(whole.shape)
    hand.play(whole, station.listening)


def player_of(station: TunerStation, player_id: str) -> dict[str, Any]:
    """A player as the page shows it."""
    return next(p for p in station.snapshot()["players"] if p["id"] == player_id)
