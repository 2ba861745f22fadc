"""How the sound children speak to their parent: framed records on one pipe.

A record is a fixed header and a payload. Standard library only, because the
capture child imports this module and must stay small.
"""

from __future__ import annotations

import math
import struct
from typing import NamedTuple

HEADER = struct.Struct("<4scxxxIIQQddQ")
MAGIC = b"line"

OPENED = b"O"
"""The device is open; the payload is its stable name."""
BLOCK = b"B"
"""Interleaved samples as the device gave them."""
PLAYED = b"P"
"""Of the tone child: so many frames were taken; ``first_frame`` is the last order's number."""
DONE = b"D"
"""Of the tone child: the tone has faded out; ``first_frame`` as above."""
MISSING = b"M"
"""Cannot listen now, may be cured by waiting; the payload is one line of text."""
REFUSED = b"R"
"""The device cannot do what was asked; the payload is one line of text."""

MAX_PAYLOAD_BYTES = 8192 * 32 * 4
"""The largest block that may be asked for: 8192 frames of 32 float32 channels."""


class Record(NamedTuple):
    """One record. Times are seconds; ``captured_at_s`` is CLOCK_MONOTONIC.

    ``first_frame`` counts lost frames too. ``adc_delay_s`` is how long before
    the callback, by PortAudio's own stream clock, the first frame of the
    block was converted. ``overruns`` counts since the child started.
    """

    kind: bytes
    payload: bytes
    frames: int = 0
    first_frame: int = 0
    lost_frames_before: int = 0
    captured_at_s: float = 0.0
    adc_delay_s: float = 0.0
    overruns: int = 0


def pack(record: Record) -> bytes:
    """The record as bytes."""
    header = HEADER.pack(
        MAGIC,
        record.kind,
        len(record.payload),
        record.frames,
        record.first_frame,
        record.lost_frames_before,
        record.captured_at_s,
        record.adc_delay_s,
        record.overruns,
    )
    return header + record.payload


def unpack(buffer: bytearray) -> Record | None:
    """Take the first whole record out of `buffer`, or None when it is not all there yet.

    Raises ValueError when the bytes are no record: something else wrote into the pipe.
    """
    if len(buffer) < HEADER.size:
        return None
    magic, kind, size, *rest = HEADER.unpack_from(buffer)
    if magic != MAGIC or size > MAX_PAYLOAD_BYTES:
        raise ValueError(f"no record starts with {bytes(buffer[:8])!r}")
    end = HEADER.size + size
    if len(buffer) < end:
        return None
    payload = bytes(buffer[HEADER.size : end])
    record = Record(kind, payload, *rest)
    if not (math.isfinite(record.captured_at_s) and math.isfinite(record.adc_delay_s)):
        raise ValueError(f"a record of no time: {record.captured_at_s}, {record.adc_delay_s}")
    del buffer[:end]
    return record
