"""The ears that listen beside a line's listener, made as the room wants them."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Protocol, cast

from station.measure.beats.ear import BeatEar
from station.measure.drums.ear import DrumEar
from station.measure.pluck_ear import PluckEar
from station.measure.strum.ear import StrumEar
from station.measure.strum.types import Target
from station.room.bench_pair import PairAsked
from station.room.parts import EarKind, WantedEar
from station.sound.blocks import Samples, are_sound


class Ear(Protocol):
    """What listens to one line; what it tells depends on its kind."""

    def push(self, block: Samples) -> list[Any]: ...
    def mark_gap(self, lost_frames: int) -> list[Any]: ...


def _drum_ear(rate_hz: float, wanted: WantedEar) -> Ear:
    return DrumEar(rate_hz, wanted.line)


def _strum_ear(rate_hz: float, wanted: WantedEar) -> Ear:
    return StrumEar(rate_hz, cast("tuple[Target, ...]", wanted.how), wanted.line)


def _beat_ear(rate_hz: float, wanted: WantedEar) -> Ear:
    asked = cast("PairAsked", wanted.how)
    return BeatEar(rate_hz, asked.pair, wanted.line, asked.a4_hz, asked.hold)


def _pluck_ear(rate_hz: float, wanted: WantedEar) -> Ear:
    return PluckEar(rate_hz, cast("float", wanted.how), wanted.line)


MAKERS: dict[EarKind, Callable[[float, WantedEar], Ear]] = {
    "strokes": _drum_ear,
    "strum": _strum_ear,
    "beats": _beat_ear,
    "plucks": _pluck_ear,
}


def make_ear(rate_hz: float, wanted: WantedEar) -> Ear:
    """An ear that has heard nothing yet."""
    return MAKERS[wanted.kind](rate_hz, wanted)


def told_by(ear: Ear, samples: Samples, lost: int) -> list[Any]:
    """What an ear tells of a block of its line before which `lost` frames are missing."""
    if not are_sound(samples).all():
        return ear.mark_gap(lost + len(samples))
    told = ear.mark_gap(lost) if lost else []
    return told + ear.push(samples)
