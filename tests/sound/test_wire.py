"""Records between the capture child and its parent."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.sound import wire


@given(
    st.lists(st.binary(max_size=300), min_size=1, max_size=5),
    st.integers(min_value=1, max_value=97),
)
def test_records_survive_a_pipe_that_cuts_anywhere(payloads: list[bytes], cut: int) -> None:
    sent = [
        wire.Record(wire.BLOCK, payload, 7, 2**40 + i, i, 1.5 * i, 0.25, 3)
        for i, payload in enumerate(payloads)
    ]
    stream = b"".join(map(wire.pack, sent))

    buffer, received = bytearray(), []
    for start in range(0, len(stream), cut):
        buffer += stream[start : start + cut]
        while (record := wire.unpack(buffer)) is not None:
            received.append(record)

    assert received == sent
    assert not buffer


def test_bytes_that_are_no_record_are_refused() -> None:
    with pytest.raises(ValueError, match="no record starts with"):
        wire.unpack(bytearray(b"ALSA lib: something printed here" * 4))


def test_a_payload_beyond_the_largest_block_is_refused() -> None:
    header = wire.HEADER.pack(wire.MAGIC, wire.BLOCK, wire.MAX_PAYLOAD_BYTES + 1, 0, 0, 0, 0, 0, 0)

    with pytest.raises(ValueError, match="no record"):
        wire.unpack(bytearray(header))
