"""The band behind the face of a line input."""

from __future__ import annotations

import itertools
import threading
import time

import numpy as np

from station.sound.band import SimulatedBand
from station.sound.blocks import Block, InputState
from station.sound.simulated_input import SimulatedInput

LIMIT_S = 10.0


class Heard:
    """What came, and an event for the block at which the test has had enough."""

    def __init__(self, enough: int) -> None:
        self.blocks: list[Block] = []
        self.states: list[InputState] = []
        self.enough = threading.Event()
        self._wanted = enough
        self.input: SimulatedInput | None = None

    def on_block(self, block: Block) -> None:
        self.blocks.append(block)
        if len(self.blocks) >= self._wanted:
            self.enough.set()
            assert self.input is not None
            self.input.stop()


def play(heard: Heard, **options: object) -> SimulatedInput:
    heard.input = SimulatedInput(
        SimulatedBand(48_000, seed=2),
        on_block=heard.on_block,
        on_state=heard.states.append,
        **options,  # type: ignore[arg-type]
    )
    return heard.input


def test_blocks_come_numbered_and_without_a_gap() -> None:
    heard = Heard(50)
    band = play(heard, real_time=False, frames_per_block=480)

    band.start()
    assert heard.enough.wait(LIMIT_S)
    band.stop()

    assert [block.first_frame for block in heard.blocks] == [480 * i for i in range(50)]
    assert not any(block.lost_frames_before for block in heard.blocks)
    assert [state.state for state in heard.states] == ["listening"]
    samples = np.concatenate([block.samples for block in heard.blocks])
    assert np.array_equal(samples, SimulatedBand(48_000, seed=2).samples(50 * 480))


def test_in_real_time_blocks_come_no_sooner_than_they_would_sound() -> None:
    heard = Heard(20)
    band = play(heard, real_time=True, frames_per_block=1024)

    began_s = time.monotonic()
    band.start()
    assert heard.enough.wait(LIMIT_S)
    band.stop()

    for block in heard.blocks:
        assert block.captured_at_s - began_s >= block.first_frame / 48_000


def test_what_is_missed_while_unplugged_is_marked_as_lost() -> None:
    heard = Heard(10)
    band = play(heard, real_time=True, frames_per_block=480)
    gone, begun = threading.Event(), threading.Event()

    def on_state(state: InputState) -> None:
        heard.states.append(state)
        (gone if state.state == "waiting" else begun).set()

    band._on_state = on_state
    band.start()
    assert begun.wait(LIMIT_S)
    band.unplug("somebody tripped over the cable")
    assert gone.wait(LIMIT_S)
    band.plug_in()
    assert heard.enough.wait(LIMIT_S)
    band.stop()

    states = [(state.state, state.reason, state.restarts) for state in heard.states]
    assert ("waiting", "somebody tripped over the cable", 1) in states
    assert states[-1] == ("listening", None, 1)
    marked = [block for block in heard.blocks if block.lost_frames_before]
    assert len(marked) == 1
    for before, after in itertools.pairwise(heard.blocks):
        ends = before.first_frame + len(before.samples)
        assert after.first_frame == ends + after.lost_frames_before


def test_a_device_that_is_not_there_at_first_is_waited_for_with_its_reason() -> None:
    heard = Heard(1)
    band = play(heard, real_time=True, frames_per_block=480)
    band.unplug("not switched on")
    band.start()
    threading.Timer(0.1, band.plug_in).start()

    assert heard.enough.wait(LIMIT_S)
    band.stop()

    states = [(state.state, state.reason, state.restarts) for state in heard.states]
    assert states == [("waiting", "not switched on", 0), ("listening", None, 0)]


def test_a_band_that_never_began_can_be_stopped() -> None:
    band = play(Heard(1))

    band.stop()

    assert band.state.state == "waiting"
