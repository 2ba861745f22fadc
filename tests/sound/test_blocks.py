"""Decoding samples exactly, and numbering frames over restarts."""

from __future__ import annotations

import struct

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.errors import LineInputRefusedError
from station.sound.blocks import Block, Timeline, decode


@given(st.lists(st.integers(-(2**15), 2**15 - 1), min_size=1, max_size=64))
def test_int16_decodes_exactly(values: list[int]) -> None:
    decoded = decode(struct.pack(f"<{len(values)}h", *values), "int16", 1)

    assert decoded.dtype == np.float32
    assert [float(x) for x in decoded[:, 0]] == [value / 2**15 for value in values]


@given(st.lists(st.integers(-(2**23), 2**23 - 1), min_size=1, max_size=64))
def test_int24_decodes_exactly(values: list[int]) -> None:
    raw = b"".join(value.to_bytes(3, "little", signed=True) for value in values)

    decoded = decode(raw, "int24", 1)

    assert decoded.dtype == np.float32
    assert [float(x) for x in decoded[:, 0]] == [value / 2**23 for value in values]


@given(st.lists(st.floats(width=32, allow_nan=False), min_size=1, max_size=64))
def test_float32_is_passed_on_as_it_is(values: list[float]) -> None:
    decoded = decode(struct.pack(f"<{len(values)}f", *values), "float32", 1)

    assert [float(x) for x in decoded[:, 0]] == values


@pytest.mark.parametrize("sample_format", ["int16", "int24", "float32"])
@pytest.mark.parametrize("channels", [1, 2, 8, 32])
def test_channels_stay_apart(sample_format: str, channels: int) -> None:
    width = {"int16": 2, "int24": 3, "float32": 4}[sample_format]
    frames = 5
    loud = frames * channels - 1
    raw = bytearray(frames * channels * width)
    raw[loud * width : (loud + 1) * width] = (
        struct.pack("<f", -0.5)
        if sample_format == "float32"
        else (-(2 ** (8 * width - 2))).to_bytes(width, "little", signed=True)
    )

    decoded = decode(bytes(raw), sample_format, channels)

    assert decoded.shape == (frames, channels)
    assert decoded[frames - 1, channels - 1] == -0.5
    assert np.count_nonzero(decoded) == 1


def test_half_a_frame_is_refused() -> None:
    with pytest.raises(LineInputRefusedError, match="7 bytes are no whole frames"):
        decode(bytes(7), "int16", 2)


def test_an_unknown_format_is_refused_with_those_there_are() -> None:
    with pytest.raises(LineInputRefusedError, match="'int12': take int16, int24, float32"):
        decode(bytes(4), "int12", 1)  # type: ignore[arg-type]


def block(first: int, captured_at_s: float, lost: int = 0, overruns: int = 0) -> Block:
    return Block(np.zeros((100, 1), np.float32), first, lost, captured_at_s, overruns)


def test_the_first_stream_is_numbered_as_it_comes() -> None:
    timeline = Timeline(1000)

    placed = [timeline.place(block(0, 10.1)), timeline.place(block(130, 10.23, lost=30))]

    assert [(b.first_frame, b.lost_frames_before) for b in placed] == [(0, 0), (130, 30)]


def test_the_time_between_two_streams_is_counted_as_lost() -> None:
    timeline = Timeline(1000)
    timeline.place(block(0, 10.1))
    timeline.new_stream()

    placed = timeline.place(block(0, 13.7))
    after = timeline.place(block(100, 13.8))

    # captured 13.7 s, 0.1 s long: begins 3.5 s after the last one ended
    assert (placed.lost_frames_before, placed.first_frame) == (3500, 3600)
    assert (after.lost_frames_before, after.first_frame) == (0, 3700)


def test_frames_never_go_backward_even_when_the_clock_says_so() -> None:
    timeline = Timeline(1000)
    timeline.place(block(0, 10.1))
    timeline.new_stream()

    placed = timeline.place(block(0, 10.0))

    assert (placed.lost_frames_before, placed.first_frame) == (1, 101)


def test_overruns_add_up_over_streams() -> None:
    timeline = Timeline(1000)
    timeline.place(block(0, 10.1, overruns=2))
    timeline.new_stream()
    timeline.place(block(0, 11.0, overruns=0))

    assert timeline.place(block(100, 11.1, overruns=3)).overruns == 5
    assert timeline.overruns == 5
