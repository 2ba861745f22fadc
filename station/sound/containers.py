"""Which files are recordings at all, and how many frames the header of one promises.

libsndfile reads two dozen formats, most of them of machines long gone, and readers nobody
uses are where faults stay: that for MAT4 is open in the version soundfile brings
(CVE-2026-88372). So only what recorders and players write today comes before it.

It takes the shorter of what the header says and what is there, without a
word. Sources: Microsoft and IBM, "Multimedia Programming Interface and Data
Specifications 1.0" (RIFF WAVE); EBU Tech 3306 (RF64); Apple, "Audio
Interchange File Format 1.3" (AIFF); Sony Pictures Digital, "Wave64" (W64).
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from typing import BinaryIO

UNKNOWN_FROM = 0xFFFF_F000
"""A recorder that writes into a pipe cannot know the size and puts the most it can."""
W64_NAME_BYTES, W64_HEADER_BYTES = 16, 24
LARGEST_CHUNK = 1 << 48
LONGEST_READ = 64
"""No chunk is looked into further than this."""
CHUNKS_MAX = 10_000
"""No program writes so many before the samples; a spoilt file may have millions of nothing."""


FORMATS = "WAV, RF64, W64, AIFF, AU, CAF, FLAC, Ogg or MP3"
CODINGS = frozenset(
    [
        *("PCM_S8", "PCM_U8", "PCM_16", "PCM_24", "PCM_32", "FLOAT", "DOUBLE", "ULAW", "ALAW"),
        *("VORBIS", "OPUS", "MPEG_LAYER_I", "MPEG_LAYER_II", "MPEG_LAYER_III"),
        *("ALAC_16", "ALAC_20", "ALAC_24", "ALAC_32"),
    ]
)
"""libsndfile's names of what these hold; the telephone's are left out (IMA ADPCM's count of
frames overflows, CVE-2026-37555)."""
_BEGIN = (b".snd", b"dns.", b"caff", b"fLaC", b"OggS")
_INSIDE = {
    b"RIFF": (b"WAVE",),
    b"RIFX": (b"WAVE",),
    b"RF64": (b"WAVE",),
    b"FORM": (b"AIFF", b"AIFC"),
}


def is_recording(file: BinaryIO) -> bool:
    """Whether a file that is open at its start begins as one of `FORMATS`.

    What is tagged in front (ID3v2, https://id3.org/id3v2.4.0-structure) is stepped over, for
    the sound library looks behind it as well.
    """
    for _ in range(CHUNKS_MAX):
        head = file.read(40)
        if head[:3] != b"ID3" or len(head) < 10:
            return _is_known(head)
        flags, *sizes = head[5:10]
        size = sum(
            (each & 0x7F) << shift for each, shift in zip(sizes, (21, 14, 7, 0), strict=True)
        )
        file.seek(size + (20 if flags & 0x10 else 10) - len(head), 1)
    return False


def _is_known(head: bytes) -> bool:
    if head[:4] in _BEGIN or head[8:12] in _INSIDE.get(head[:4], ()):
        return True
    if head[:4] == b"riff":
        return head[24:28] == b"wave"
    return len(head) > 1 and head[0] == 0xFF and head[1] & 0xE0 == 0xE0  # MPEG's eleven bits


def promised_frames(file: BinaryIO) -> int | None:
    """Frames promised by the header of a file that is open at its start.

    None for other formats, for an unknown length and for a header cut short:
    the sound library judges those.
    """
    head = file.read(40)
    if head[:4] in (b"RIFF", b"RF64") and head[8:12] == b"WAVE":
        file.seek(12)
        return _wave_frames(dict(_chunks(file, "<4sI", 8)))
    if head[:4] == b"FORM" and head[8:12] in (b"AIFF", b"AIFC"):
        file.seek(12)
        _, form = dict(_chunks(file, ">4sI", 8)).get(b"COMM", (0, b""))
        return int(struct.unpack_from(">2xI", form)[0]) if len(form) >= 6 else None
    if head[:4] == b"riff" and head[24:28] == b"wave":
        file.seek(40)
        return _wave_frames(dict(_chunks(file, "<16sQ", W64_HEADER_BYTES)))
    return None


def _chunks(
    file: BinaryIO, layout: str, header_bytes: int
) -> Iterator[tuple[bytes, tuple[int, bytes]]]:
    """Each chunk's four letters, size of its content, and the beginning of it."""
    counted = W64_HEADER_BYTES if header_bytes == W64_HEADER_BYTES else 0
    align = 8 if counted else 2
    for _ in range(CHUNKS_MAX):
        if len(header := file.read(header_bytes)) < header_bytes:
            return
        name, size = struct.unpack(layout, header)
        size = max(0, size - counted)
        start = file.tell()
        yield name[:4], (size, file.read(min(size, LONGEST_READ)))
        if name[:4] == b"data" or size > LARGEST_CHUNK:
            return
        file.seek(start + size + -size % align)


def _wave_frames(chunks: dict[bytes, tuple[int, bytes]]) -> int | None:
    data_bytes, _ = chunks.get(b"data", (0, b""))
    _, form = chunks.get(b"fmt ", (0, b""))
    _, long_sizes = chunks.get(b"ds64", (0, b""))
    if data_bytes == 0xFFFF_FFFF and len(long_sizes) >= 16:
        data_bytes = struct.unpack_from("<8xQ", long_sizes)[0]
    elif UNKNOWN_FROM <= data_bytes <= 0xFFFF_FFFF:
        return None
    bytes_per_frame = struct.unpack_from("<12xH", form)[0] if len(form) >= 14 else 0
    return data_bytes // bytes_per_frame if bytes_per_frame else None
