"""A single instrument or drum in a sound file, heard on the channel it is loudest on."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Generic, Protocol, TypeVar

import numpy as np
from numpy.typing import NDArray

from station.errors import SoundFileError
from station.measure.drums.types import Stroke
from station.sound.files import read_blocks

T = TypeVar("T")
T_co = TypeVar("T_co", covariant=True)


class Ear(Protocol[T_co]):
    """What listens to one line and tells values."""

    def push(self, block: NDArray[np.float32]) -> list[T_co]: ...
    def finish(self) -> list[T_co]: ...


@dataclass(frozen=True, slots=True)
class Told(Generic[T]):
    """All that an ear told of a file's ``line``, and the fault the file ended with, if any."""

    line: int
    heard: list[T]
    fault: SoundFileError | None


def hear_loudest(path: str, make_ear: Callable[[float, int], Ear[T]]) -> Told[T]:
    """The loudest channel of a file through an ear made for its rate and line.

    A fault after the beginning comes with what was heard before it. Raises SoundFileError for
    a file that cannot be read at all.
    """
    channel = loudest_channel(path)
    info, blocks = read_blocks(path)
    ear = make_ear(info.rate_hz, channel + 1)
    heard: list[T] = []
    fault: SoundFileError | None = None
    try:
        for block in blocks:
            heard += ear.push(np.ascontiguousarray(block[:, channel]))
    except SoundFileError as error:
        fault = error
    return Told(channel + 1, [*heard, *ear.finish()], fault)


def as_last_told(strokes: list[Stroke]) -> list[Stroke]:
    """Each stroke once, as it was told the last time, in order."""
    last = {stroke.at_s: stroke for stroke in strokes}
    return [last[at_s] for at_s in sorted(last)]


def loudest_channel(path: str) -> int:
    """The channel, from 0, with the most energy.

    A fault after the beginning ends the search: it is told when the file is heard. Raises
    SoundFileError for a file that cannot be read at all.
    """
    info, blocks = read_blocks(path)
    if info.channels == 1:
        return 0
    energy = np.zeros(info.channels)
    try:
        for block in blocks:
            energy += np.square(block, dtype=np.float64).sum(axis=0)
    except SoundFileError:
        pass
    return int(energy.argmax())
