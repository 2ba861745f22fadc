"""Sound files, block by block, as the live input would give them.

libsndfile (through the soundfile package, imported when the first file is
opened) reads the samples. What it forgives is checked here: a file cut off
before the end its header promises is given as far as it goes and then
reported, and samples that are no numbers are never passed on. (MP3 and Ogg
promise nothing: what is missing at their end cannot be known.)
"""

from __future__ import annotations

import os
import stat
from collections.abc import Iterator
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from station.errors import SoundFileError
from station.plain_text import path_text
from station.sound.blocks import LOUDEST, Samples, are_sound
from station.sound.containers import CODINGS, FORMATS, is_recording, promised_frames

MIN_RATE_HZ, MAX_RATE_HZ = 8_000, 192_000
NOT_SOUND = "not a sound file that can be read"
BLOCK_FRAMES = 8192
"""A sixth of a second or so: reading less at once takes longer, more is not needed."""
MIN_LENGTH_S = 0.01
"""Shorter than one period of 100 Hz: no pitch can be heard in less."""


class FileInfo(NamedTuple):
    """What a sound file says it holds; `frames` is what its header promises."""

    rate_hz: int
    channels: int
    frames: int


def read_blocks(path: str | Path, frames: int = BLOCK_FRAMES) -> tuple[FileInfo, Iterator[Samples]]:
    """What the file holds, and its samples as float32 blocks of up to (`frames`, channels).

    Raises SoundFileError, in one line that begins with `path` as it was given: at once for
    what cannot be read, is no regular file, is empty or has an impossible
    rate; during the iteration, after every frame before it, for a sample
    that is not a finite number or absurdly large (its frame, counted from 0,
    is named) and for a file that ends before its header says.
    """
    name = path_text(path)
    if frames < 1:
        raise SoundFileError(f"{name}: blocks of {frames} frames: take at least 1")
    promised = _check_container(Path(path), name)
    sound = _open(Path(path), name)
    info = FileInfo(sound.samplerate, sound.channels, max(sound.frames, promised or 0))
    try:
        _check_info(name, info)
    except SoundFileError:
        sound.close()
        raise
    return info, _blocks(name, sound, info, frames)


def _open(path: Path, name: str) -> Any:
    import soundfile

    try:
        sound = soundfile.SoundFile(os.fsencode(path))
    except (soundfile.LibsndfileError, TypeError) as error:
        reason = str(getattr(error, "error_string", error)).rstrip(".")
        raise SoundFileError(f"{name}: {NOT_SOUND}: {reason}") from error

    if sound.subtype not in CODINGS:
        sound.close()
        raise SoundFileError(
            f"{name}: {NOT_SOUND}: its samples are {sound.subtype_info}; save it as WAV or FLAC"
        )
    return sound


def _check_info(name: str, info: FileInfo) -> None:
    if info.frames == 0:
        raise SoundFileError(f"{name}: empty: its header is there, but no samples")
    if not MIN_RATE_HZ <= info.rate_hz <= MAX_RATE_HZ:
        raise SoundFileError(
            f"{name}: {info.rate_hz} Hz is outside {MIN_RATE_HZ} to {MAX_RATE_HZ} Hz"
        )
    length_s = info.frames / info.rate_hz
    if length_s < MIN_LENGTH_S:
        plural = "" if info.frames == 1 else "s"
        raise SoundFileError(
            f"{name}: {info.frames} frame{plural} ({length_s:.2g} s) hold no pitch:"
            f" at least {MIN_LENGTH_S:g} s needed"
        )


def _blocks(name: str, sound: Any, info: FileInfo, frames: int) -> Iterator[Samples]:
    done = 0
    with sound:
        while True:
            block, fault = _read(sound, info.channels, frames)
            good = _good(block)
            if good:
                yield block[:good]
            if good < len(block):
                _complain_of(name, block[good], done + good)
            done += good
            if fault is not None:
                where = f"after frame {done} of {info.frames}"
                raise SoundFileError(f"{name}: damaged {where}: {fault}")
            if not good:
                break
    if done < info.frames:
        raise SoundFileError(
            f"{name}: truncated: {done} frames are there, its header promises {info.frames}"
        )


def _read(sound: Any, channels: int, frames: int) -> tuple[Samples, str | None]:
    """The next frames, up to so many, and what is wrong with the file after them."""
    import soundfile

    unread = np.full((frames, channels), np.nan, np.float32)
    try:
        return sound.read(out=unread), None
    except soundfile.LibsndfileError as error:
        # How far it came it does not say; a coding that can be damaged has no such numbers.
        came = int(np.argmax(np.isnan(unread).any(axis=1)))
        return unread[:came], str(error.error_string).rstrip(".")


def _good(block: Samples) -> int:
    """How many of the frames of `block` are sound, until the first that is not."""
    good = are_sound(block)
    return len(block) if good.all() else int(np.argmin(good.all(axis=1)))


def _complain_of(name: str, frame: Samples, number: int) -> None:
    """Raise SoundFileError for `frame`, which cannot be sound."""
    worst = frame[~are_sound(frame)][0]
    what = (
        f"is {worst:g}, over {LOUDEST:g} times full scale"
        if np.isfinite(worst)
        else ("is not a finite number")
    )
    raise SoundFileError(
        f"{name}: frame {number} {what}: the file was written by a faulty program or is not sound"
    )


def _check_container(path: Path, name: str) -> int | None:
    """Frames the header promises, None where that is not known.

    Raises SoundFileError where there is nothing to read at all.
    """
    try:
        mode = path.stat().st_mode
        if stat.S_ISDIR(mode):
            raise SoundFileError(f"{name}: a folder, not a sound file")
        if not stat.S_ISREG(mode):
            # To open a pipe that nobody writes to would wait for ever.
            raise SoundFileError(f"{name}: a pipe or device: record into a file and give that")
        with path.open("rb") as file:
            if not file.read(1):
                raise SoundFileError(f"{name}: empty file (0 bytes)")
            file.seek(0)
            if not is_recording(file):
                raise SoundFileError(f"{name}: {NOT_SOUND}: it does not begin as {FORMATS}")
            file.seek(0)
            return promised_frames(file)
    except FileNotFoundError as error:
        raise SoundFileError(f"{name}: no such file") from error
    except SoundFileError:
        raise
    except OSError as error:
        raise SoundFileError(f"{name}: cannot be read: {error.strerror}") from error
