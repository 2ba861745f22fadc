"""Sound files and pipes that are none: one line each, and no more read than there is."""

from __future__ import annotations

import struct
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from station.sound import wire
from station.sound.containers import CHUNKS_MAX, promised_frames
from tests.bench.bench_fuzz import pipes, sound_files
from tests.support.fuzz import changed, check_sound, check_wire

few = settings(max_examples=60, derandomize=True, deadline=None, database=None)
BITS = st.sampled_from([b"data", b"fmt ", b"ds64", b"COMM", b"\xff\xff\xff\xff", b"\x00" * 4])


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("fuzz")


@pytest.fixture(scope="module")
def whole(folder: Path) -> list[bytes]:
    return sound_files(folder)


@given(st.data())
@settings(few, max_examples=120)
def test_any_sound_file_is_read_or_refused_in_one_line(whole, folder, data):
    raw = data.draw(st.sampled_from(whole).flatmap(lambda each: changed(each, BITS)))

    check_sound(raw, folder / "take.wav")


@given(pipes())
@few
def test_whatever_stands_in_the_pipe_is_a_record_or_nonsense(raw):
    check_wire(raw)


@pytest.mark.parametrize("time_s", [float("nan"), float("inf"), float("-inf")])
def test_a_record_of_no_time_is_refused(time_s):
    record = wire.Record(wire.BLOCK, b"", captured_at_s=time_s)

    with pytest.raises(ValueError, match="of no time"):
        wire.unpack(bytearray(wire.pack(record)))


def test_a_header_of_endless_chunks_is_not_read_to_its_end(tmp_path):
    path = tmp_path / "chunks.wav"
    chunk = struct.pack("<4sI", b"junk", 0)
    path.write_bytes(b"RIFF\xff\xff\xff\x7fWAVE" + chunk * (CHUNKS_MAX + 1000))

    with path.open("rb") as file:
        assert promised_frames(file) is None
        assert file.tell() < 16 * CHUNKS_MAX
