"""Sound files, block by block, as the live input would give them.

libsndfile (through the soundfile package, imported when the first file is
opened) reads the samples. What it forgives is checked here: a file cut off
before the end its header promises is given as far as it goes and then
reported, and samples that are no numbers are never passed on. (MP3 and Ogg
promise nothing: what is missing at their end cannot be known.)
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from station.errors import SoundFileError
from station.sound.blocks import Samples
from station.sound.containers import promised_frames

MIN_RATE_HZ, MAX_RATE_HZ = 8_000, 192_000
MIN_LENGTH_S = 0.01
"""Shorter than one period of 100 Hz: no pitch can be heard in less."""


class FileInfo(NamedTuple):
    """What a sound file says it holds; `frames` is what its header promises."""

    rate_hz: int
    channels: int
    frames: int


def read_blocks(path: str | Path, frames: int = 1024) -> tuple[FileInfo, Iterator[Samples]]:
    """What the file holds, and its samples as float32 blocks of up to (`frames`, channels).

    Raises SoundFileError, in one line that begins with the file's name: at once for
    what cannot be read, is empty or has an impossible rate; during the
    iteration, after every whole block before it, for a sample that is not a
    finite number (its frame, counted from 0, is named) and for a file that
    ends before its header says.
    """
    path = Path(path)
    if frames < 1:
        raise SoundFileError(f"{path.name}: blocks of {frames} frames: take at least 1")
    promised = _check_container(path)
    sound = _open(path)
    info = FileInfo(sound.samplerate, sound.channels, max(sound.frames, promised or 0))
    try:
        _check_info(path, info)
    except SoundFileError:
        sound.close()
        raise
    return info, _blocks(path, sound, info, frames)


def _open(path: Path) -> Any:
    import soundfile

    try:
        return soundfile.SoundFile(str(path))
    except (soundfile.LibsndfileError, TypeError) as error:
        reason = str(getattr(error, "error_string", error)).rstrip(".")
        raise SoundFileError(f"{path.name}: not a sound file that can be read: {reason}") from error


def _check_info(path: Path, info: FileInfo) -> None:
    if info.frames == 0:
        raise SoundFileError(f"{path.name}: empty: its header is there, but no samples")
    if not MIN_RATE_HZ <= info.rate_hz <= MAX_RATE_HZ:
        raise SoundFileError(
            f"{path.name}: {info.rate_hz} Hz is outside {MIN_RATE_HZ} to {MAX_RATE_HZ} Hz"
        )
    length_s = info.frames / info.rate_hz
    if length_s < MIN_LENGTH_S:
        plural = "" if info.frames == 1 else "s"
        raise SoundFileError(
            f"{path.name}: {info.frames} frame{plural} ({length_s:.2g} s) hold no pitch:"
            f" at least {MIN_LENGTH_S:g} s needed"
        )


def _blocks(path: Path, sound: Any, info: FileInfo, frames: int) -> Iterator[Samples]:
    import soundfile

    done = 0
    with sound:
        while True:
            try:
                block: Samples = sound.read(frames, dtype="float32", always_2d=True)
            except soundfile.LibsndfileError as error:
                raise SoundFileError(
                    f"{path.name}: damaged after frame {done} of {info.frames}:"
                    f" {error.error_string.rstrip('.')}"
                ) from error
            if not len(block):
                break
            _check_finite(path, block, done)
            done += len(block)
            yield block
    if done < info.frames:
        raise SoundFileError(
            f"{path.name}: truncated: {done} frames are there, its header promises {info.frames}"
        )


def _check_finite(path: Path, block: Samples, first_frame: int) -> None:
    finite = np.isfinite(block).all(axis=1)
    if not finite.all():
        frame = first_frame + int(np.argmin(finite))
        raise SoundFileError(
            f"{path.name}: frame {frame} is not a finite number:"
            " the file was written by a faulty program or is not sound"
        )


def _check_container(path: Path) -> int | None:
    """Frames the header promises, None where that is not known.

    Raises SoundFileError where there is nothing to read at all.
    """
    try:
        with path.open("rb") as file:
            if not file.read(1):
                raise SoundFileError(f"{path.name}: empty file (0 bytes)")
            file.seek(0)
            return promised_frames(file)
    except FileNotFoundError as error:
        raise SoundFileError(f"{path.name}: no such file") from error
    except IsADirectoryError as error:
        raise SoundFileError(f"{path.name}: a folder, not a sound file") from error
    except SoundFileError:
        raise
    except OSError as error:
        raise SoundFileError(f"{path.name}: cannot be read: {error.strerror}") from error
