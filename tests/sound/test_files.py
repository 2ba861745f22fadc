"""Sound files: every format exactly, and one clear line for each way to be bad."""

from __future__ import annotations

import os
import struct
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile

from station.errors import SoundFileError
from station.sound.files import read_blocks

RNG = np.random.default_rng(5)


def fault_of(path: Path) -> tuple[str, int]:
    """The message a bad file ends with, and the frames it gave before."""
    given = 0
    with pytest.raises(SoundFileError) as caught:
        for block in read_blocks(path)[1]:
            given += len(block)
    message = str(caught.value)
    assert "\n" not in message
    assert message.startswith(f"{path}: ")
    return message.removeprefix(f"{path}: "), given


def noise(frames: int, channels: int) -> np.ndarray:
    return RNG.uniform(-0.9, 0.9, (frames, channels))


# -- good files ----------------------------------------------------------


@pytest.mark.parametrize(
    ("suffix", "subtype", "step"),
    [
        ("wav", "PCM_U8", 2.0**-7),
        ("wav", "PCM_16", 2.0**-15),
        ("wav", "PCM_24", 2.0**-23),
        ("wav", "PCM_32", 2.0**-23),
        ("wav", "FLOAT", 2.0**-23),
        ("wav", "DOUBLE", 2.0**-23),
        ("aiff", "PCM_24", 2.0**-23),
        ("flac", "PCM_S8", 2.0**-7),
        ("flac", "PCM_24", 2.0**-23),
        ("w64", "PCM_16", 2.0**-15),
        ("rf64", "PCM_16", 2.0**-15),
    ],
)
def test_every_depth_is_read_to_its_last_bit(
    tmp_path: Path, suffix: str, subtype: str, step: float
) -> None:
    wanted = noise(5000, 2)
    path = tmp_path / f"take.{suffix}"
    soundfile.write(path, wanted, 44_100, subtype=subtype)

    info, blocks = read_blocks(path)
    heard = np.concatenate(list(blocks))

    assert info == (44_100, 2, 5000)
    assert heard.dtype == np.float32
    assert np.abs(heard - wanted).max() <= 1.01 * step


@pytest.mark.parametrize("rate_hz", [8_000, 11_025, 44_100, 48_000, 96_000, 192_000])
@pytest.mark.parametrize("channels", [1, 2, 32])
def test_any_rate_and_number_of_channels_is_read(
    tmp_path: Path, rate_hz: int, channels: int
) -> None:
    wanted = noise(3000, channels).astype(np.float32)
    path = tmp_path / "take.wav"
    soundfile.write(path, wanted, rate_hz, subtype="FLOAT")

    info, blocks = read_blocks(path, 700)
    pieces = list(blocks)

    assert info == (rate_hz, channels, 3000)
    assert [piece.shape for piece in pieces] == [(700, channels)] * 4 + [(200, channels)]
    assert np.array_equal(np.concatenate(pieces), wanted)


def test_a_recording_from_a_pipe_that_does_not_know_its_length_is_read(tmp_path: Path) -> None:
    path = tmp_path / "piped.wav"
    soundfile.write(path, noise(4000, 1), 48_000, subtype="PCM_16")
    raw = bytearray(path.read_bytes())
    raw[4:8] = raw[40:44] = b"\xff\xff\xff\xff"
    path.write_bytes(raw)

    info, blocks = read_blocks(path)

    assert info.rate_hz == 48_000
    assert sum(map(len, blocks)) == 4000


# -- bad files -----------------------------------------------------------


def test_a_missing_file_is_named(tmp_path: Path) -> None:
    assert fault_of(tmp_path / "nowhere.wav") == ("no such file", 0)


def test_a_folder_is_no_sound_file(tmp_path: Path) -> None:
    (tmp_path / "takes").mkdir()

    assert fault_of(tmp_path / "takes") == ("a folder, not a sound file", 0)


def test_an_empty_file_is_said_to_be_empty(tmp_path: Path) -> None:
    (tmp_path / "empty.wav").touch()

    assert fault_of(tmp_path / "empty.wav") == ("empty file (0 bytes)", 0)


def test_a_header_without_samples_is_said_to_be_empty(tmp_path: Path) -> None:
    soundfile.write(tmp_path / "bare.wav", noise(0, 1), 48_000)

    assert fault_of(tmp_path / "bare.wav") == ("empty: its header is there, but no samples", 0)


@pytest.mark.parametrize(
    "content",
    [b"We meet at eight. Bring the good cables.\n" * 40, bytes(range(256)) * 16, b"RIFF", b"\0"],
    ids=["text", "bytes", "four letters", "one byte"],
)
def test_what_is_not_sound_is_refused(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "notes.wav").write_bytes(content)

    message, given = fault_of(tmp_path / "notes.wav")

    assert message.startswith("not a sound file that can be read: ")
    assert given == 0


# Of libsndfile's formats those of machines long gone, whose readers nobody looks after.
@pytest.mark.parametrize(
    "kind", ["MAT4", "MAT5", "SVX", "PAF", "VOC", "IRCAM", "PVF", "NIST", "AVR", "HTK", "XI", "WVE"]
)
@pytest.mark.parametrize("tag", [b"", b"ID3\4\0\0\0\0\0\5hello"], ids=["plain", "tagged"])
def test_a_format_that_no_recorder_writes_never_reaches_the_sound_library(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, kind: str, tag: bytes
) -> None:
    path = tmp_path / "take.wav"
    subtype = soundfile.default_subtype(kind)
    rate_hz = 8000 if kind == "WVE" else 44_100
    soundfile.write(path, np.zeros(2000), rate_hz, format=kind, subtype=subtype)
    path.write_bytes(tag + path.read_bytes())
    monkeypatch.setattr(soundfile, "SoundFile", lambda *_: pytest.fail("reached"))

    with pytest.raises(SoundFileError, match=r"it does not begin as WAV, .* Ogg or MP3$"):
        read_blocks(path)


@pytest.mark.parametrize("kind", ["FLAC", "MP3"])
def test_a_tag_before_a_recording_is_stepped_over(tmp_path: Path, kind: str) -> None:
    path = tmp_path / "take"
    soundfile.write(path, np.zeros(20_000), 44_100, format=kind)
    tagged = b"ID3\4\0\0\0\0\1\0" + bytes(128) + path.read_bytes()
    path.write_bytes(tagged)

    _, blocks = read_blocks(path)

    assert sum(len(block) for block in blocks) >= 20_000


@pytest.mark.parametrize("subtype", ["IMA_ADPCM", "MS_ADPCM", "GSM610"])
def test_a_coding_of_the_telephone_is_refused_with_what_to_do(tmp_path: Path, subtype: str) -> None:
    path = tmp_path / "take.wav"
    soundfile.write(path, np.zeros(8000), 8000, subtype=subtype)

    with pytest.raises(SoundFileError, match="save it as WAV or FLAC"):
        read_blocks(path)


@pytest.mark.parametrize("subtype", ["PCM_16", "PCM_24", "FLOAT"])
def test_a_truncated_wav_gives_what_is_there_and_then_says_so(tmp_path: Path, subtype: str) -> None:
    path = tmp_path / "cut.wav"
    soundfile.write(path, noise(10_000, 2), 48_000, subtype=subtype)
    whole = path.read_bytes()
    path.write_bytes(whole[: len(whole) // 2])

    message, given = fault_of(path)

    assert message == f"truncated: {given} frames are there, its header promises 10000"
    assert 4900 < given <= 5000


def test_a_wav_cut_inside_its_header_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "cut.wav"
    soundfile.write(path, noise(10_000, 2), 48_000)
    path.write_bytes(path.read_bytes()[:30])

    message, given = fault_of(path)

    assert message.startswith("not a sound file that can be read")
    assert given == 0


@pytest.mark.parametrize("suffix", ["flac", "aiff", "w64", "rf64"])
def test_other_formats_cut_off_are_reported_too(tmp_path: Path, suffix: str) -> None:
    path = tmp_path / f"cut.{suffix}"
    soundfile.write(path, noise(60_000, 1), 48_000, subtype="PCM_16")
    whole = path.read_bytes()
    path.write_bytes(whole[: len(whole) // 2])

    message, given = fault_of(path)

    assert message.startswith(("truncated", "damaged", "not a sound file"))
    assert given < 60_000


def test_a_flac_damaged_in_its_middle_gives_all_that_comes_before(tmp_path: Path) -> None:
    samples, path = noise(60_000, 2), tmp_path / "damaged.flac"
    soundfile.write(path, samples, 48_000, subtype="PCM_16")
    whole = bytearray(path.read_bytes())
    middle = len(whole) // 2
    whole[middle : middle + 60] = bytes(each ^ 0xFF for each in whole[middle : middle + 60])
    path.write_bytes(whole)
    read: list[np.ndarray] = []

    with pytest.raises(SoundFileError, match=r"damaged after frame \d+ of 60000: ") as caught:
        read.extend(read_blocks(path)[1])

    given = np.concatenate(read)
    # One coded block of FLAC holds 4096 frames.
    assert 30_000 - 2 * 4096 < len(given) < 30_000
    assert f"after frame {len(given)} of" in str(caught.value)
    np.testing.assert_allclose(given, samples[: len(given)], atol=2.0**-15)


@pytest.mark.parametrize("value", [np.nan, np.inf, -np.inf])
def test_a_sample_that_is_no_number_is_named_by_its_frame(tmp_path: Path, value: float) -> None:
    samples = noise(5000, 2)
    samples[3456, 1] = value
    soundfile.write(tmp_path / "bad.wav", samples, 48_000, subtype="FLOAT")

    message, given = fault_of(tmp_path / "bad.wav")

    assert message.startswith("frame 3456 is not a finite number")
    assert given == 3456


@pytest.mark.parametrize("value", [3e38, -1001.0])
def test_a_sample_no_sound_can_have_is_named_by_its_frame_and_value(
    tmp_path: Path, value: float
) -> None:
    samples = noise(5000, 2)
    samples[3456, 1] = value
    soundfile.write(tmp_path / "bad.wav", samples, 48_000, subtype="FLOAT")

    message, given = fault_of(tmp_path / "bad.wav")

    assert message.startswith(f"frame 3456 is {value:g}, over 1000 times full scale")
    assert given == 3456


def test_a_hot_recording_in_floats_is_read(tmp_path: Path) -> None:
    soundfile.write(tmp_path / "hot.wav", 900.0 * noise(5000, 1), 48_000, subtype="FLOAT")

    assert sum(map(len, read_blocks(tmp_path / "hot.wav")[1])) == 5000


def test_a_pipe_is_refused_and_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.wav")

    message, _ = fault_of(tmp_path / "pipe.wav")

    assert message == "a pipe or device: record into a file and give that"


def test_a_file_of_nothing_but_nan_gives_nothing(tmp_path: Path) -> None:
    soundfile.write(tmp_path / "bad.wav", np.full((9000, 2), np.nan), 48_000, subtype="FLOAT")

    message, given = fault_of(tmp_path / "bad.wav")

    assert message.startswith("frame 0 is not a finite number")
    assert given == 0


def test_one_sample_holds_no_pitch(tmp_path: Path) -> None:
    soundfile.write(tmp_path / "tick.wav", noise(1, 1), 48_000)

    message, given = fault_of(tmp_path / "tick.wav")

    assert message == "1 frame (2.1e-05 s) hold no pitch: at least 0.01 s needed"
    assert given == 0


@pytest.mark.parametrize("rate_hz", [4_000, 384_000])
def test_a_rate_outside_the_limits_is_refused_with_the_limits(tmp_path: Path, rate_hz: int) -> None:
    soundfile.write(tmp_path / "odd.wav", noise(9000, 1), rate_hz)

    message, _ = fault_of(tmp_path / "odd.wav")

    assert message == f"{rate_hz} Hz is outside 8000 to 192000 Hz"


def test_a_wav_that_promises_an_absurd_length_is_read_as_far_as_it_goes(tmp_path: Path) -> None:
    path = tmp_path / "boast.wav"
    soundfile.write(path, noise(2000, 1), 48_000, subtype="PCM_16")
    raw = bytearray(path.read_bytes())
    raw[40:44] = struct.pack("<I", 2_000_000_000)
    path.write_bytes(raw)

    message, given = fault_of(path)

    assert message == "truncated: 2000 frames are there, its header promises 1000000000"
    assert given == 2000


def test_a_file_cut_at_any_byte_never_ends_in_anything_but_one_line(tmp_path: Path) -> None:
    for suffix, subtype in (
        ("wav", "PCM_24"),
        ("flac", "PCM_16"),
        ("aiff", "PCM_16"),
        ("w64", "PCM_16"),
        ("rf64", "PCM_16"),
    ):
        path = tmp_path / f"cut.{suffix}"
        soundfile.write(path, noise(1500, 2), 48_000, subtype=subtype)
        whole = path.read_bytes()
        for size in RNG.integers(0, len(whole) - 8, 60):
            path.write_bytes(whole[:size])
            fault_of(path)


@pytest.mark.parametrize("suffix", ["wav", "w64", "rf64", "aiff", "flac"])
def test_damaged_bytes_end_in_one_line_or_none(tmp_path: Path, suffix: str) -> None:
    path = tmp_path / f"damaged.{suffix}"
    soundfile.write(path, noise(1500, 2), 48_000, subtype="PCM_16")
    whole = path.read_bytes()
    told = 0
    for _ in range(150):
        raw = bytearray(whole)
        for place in RNG.integers(0, 160, 3):
            raw[place] = RNG.integers(0, 256)
        path.write_bytes(raw)
        try:
            for block in read_blocks(path)[1]:
                assert np.isfinite(block).all()
        except SoundFileError as error:
            told += 1
            assert "\n" not in str(error)
            assert str(error).startswith(f"{path}: ")
    assert told > 0


def test_blocks_of_no_frames_are_refused(tmp_path: Path) -> None:
    with pytest.raises(SoundFileError, match="blocks of 0 frames: take at least 1"):
        read_blocks(tmp_path / "any.wav", 0)


def test_libsndfile_is_loaded_with_the_first_file_only() -> None:
    code = "import station.sound.files, sys; print('soundfile' in sys.modules)"
    said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)

    assert said.stdout.strip() == "False"
