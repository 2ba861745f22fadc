"""Blocks of samples as the rest of the station takes them.

Samples are float32 of shape (frames, channels), full scale +-1.0. Frame
numbers count from the start of the input and never go backward: frames that
were lost are counted too, so a frame number divided by the rate is the time.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from station.errors import LineInputRefusedError

SampleFormat = Literal["int16", "int24", "float32"]
BYTES_PER_SAMPLE = {"int16": 2, "int24": 3, "float32": 4}

Samples = NDArray[np.float32]

LOUDEST = 1000.0
"""No float sample of a sound, however hot, is 60 dB above full scale. Our choice: far beyond any
gain by mistake, far below where squares and sums of float32 overflow."""


@dataclass(frozen=True, slots=True)
class Block:
    """Samples that follow one another without a gap.

    ``captured_at_s`` is CLOCK_MONOTONIC when the last frame had arrived, in
    seconds. ``lost_frames_before`` frames are missing between this block and
    the one before; ``first_frame`` counts them. ``overruns`` counts since the
    input was started. ``adc_delay_s`` is how long before ``captured_at_s`` the first
    frame was converted by the sound system's own account, 0 where it keeps none.
    """

    samples: Samples
    first_frame: int
    lost_frames_before: int
    captured_at_s: float
    overruns: int
    adc_delay_s: float = 0.0


@dataclass(frozen=True, slots=True)
class InputState:
    """How the input is: ``listening``; ``waiting`` for a device that may come
    back; ``failed`` where waiting cures nothing. ``reason`` is one line."""

    state: Literal["listening", "waiting", "failed"]
    device: str
    reason: str | None = None
    overruns: int = 0
    restarts: int = 0


def decode(raw: bytes, sample_format: SampleFormat, channels: int) -> Samples:
    """Interleaved little-endian samples as float32 (frames, channels).

    Exact: integers are divided by their full scale, 2**15 or 2**23, which a
    float32's 24-bit significand holds without rounding.
    Raises LineInputRefusedError for an unknown format or bytes that are no whole frames.
    """
    width = BYTES_PER_SAMPLE.get(sample_format)
    if width is None:
        raise LineInputRefusedError(
            f"sample format {sample_format!r}: take {', '.join(BYTES_PER_SAMPLE)}"
        )
    if channels < 1 or len(raw) % (width * channels):
        raise LineInputRefusedError(
            f"{len(raw)} bytes are no whole frames of {channels} {sample_format} channels"
        )
    if sample_format == "float32":
        flat = np.frombuffer(raw, dtype="<f4").astype(np.float32)
    elif sample_format == "int16":
        flat = np.frombuffer(raw, dtype="<i2").astype(np.float32) / np.float32(2**15)
    else:
        flat = _widen_int24(raw).astype(np.float32) / np.float32(2**23)
    return flat.reshape(-1, channels)


def _widen_int24(raw: bytes) -> NDArray[np.int32]:
    # The three bytes go to the top of an int32, so that the shift back extends the sign.
    wide = np.zeros((len(raw) // 3, 4), dtype=np.uint8)
    wide[:, 1:] = np.frombuffer(raw, dtype=np.uint8).reshape(-1, 3)
    widened: NDArray[np.int32] = wide.view("<i4").ravel() >> 8
    return widened


def are_sound(samples: Samples) -> NDArray[np.bool_]:
    """Which samples can be sound: finite numbers up to LOUDEST. Of the same shape."""
    good: NDArray[np.bool_] = np.abs(samples) <= LOUDEST  # false for what is no number
    return good


class Timeline:
    """Numbers the blocks of one stream after another as a single input.

    Each stream counts its frames and overruns from 0. Between two streams the
    frames that nobody captured are those the clock says went by.
    """

    def __init__(self, rate_hz: int) -> None:
        self._rate_hz = rate_hz
        self._next_frame = 0
        self._offset = 0
        self._overruns_before = 0
        self._last: Block | None = None
        self._fresh = True

    @property
    def overruns(self) -> int:
        """Overruns so far, over all streams."""
        return self._last.overruns if self._last else 0

    def new_stream(self) -> None:
        """The next block comes from a stream that has just been opened."""
        self._fresh = True

    def place(self, block: Block) -> Block:
        """The block with its frame number, loss and overruns in the whole input."""
        lost = block.lost_frames_before
        if self._fresh:
            lost += self._frames_between(block)
            self._offset = self._next_frame + lost - block.first_frame
            self._overruns_before = self.overruns
            self._fresh = False
        placed = replace(
            block,
            first_frame=self._offset + block.first_frame,
            lost_frames_before=lost,
            overruns=self._overruns_before + block.overruns,
        )
        self._next_frame = placed.first_frame + len(placed.samples)
        self._last = placed
        return placed

    def _frames_between(self, block: Block) -> int:
        if self._last is None:
            return 0
        began_s = block.captured_at_s - len(block.samples) / self._rate_hz
        return max(1, round((began_s - self._last.captured_at_s) * self._rate_hz))
