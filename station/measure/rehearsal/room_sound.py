"""What several microphones hear alike is the room: applause and talk, which no one of them plays.

Each line hears the room with a gain of its own, so that the levels of two lines without a note
stay the same number of decibels apart. Two players' own sounds do not: they are struck and
die away each by itself. While a note of a song sounds on any line nothing is taken for the room.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from station.measure.rehearsal.one_line import Line

Bools = NDArray[np.bool_]

ALIKE_FRAMES = 4  # a second
ALIKE_DB = 4.0  # from the least difference to the greatest; levels of a quarter second err by half
CLEAR_DB = 10.0  # above both lines' hiss


def of_the_room(lines: Sequence[Line], songs: Sequence[bool]) -> list[Bools]:
    """For each line and frame, newest last, whether it hears the room and not its player.

    `songs`: for each frame, whether a note of a song sounds on any line. All lines have as many
    frames.
    """
    size = len(songs)
    out: list[Bools] = [np.zeros(size, np.bool_) for _ in lines]
    if size < ALIKE_FRAMES:
        return out
    levels = [np.array(line.levels, np.float64) for line in lines]
    free = ~np.array(songs, np.bool_)
    clear = [
        free
        & np.array([note is None for note in line.notes], np.bool_)
        & (level > line.loudness.floor_dbfs + CLEAR_DB)
        for line, level in zip(lines, levels, strict=True)
    ]
    for one in range(len(lines)):
        for two in range(one):
            both = clear[one] & clear[two]
            if int(both.sum()) < ALIKE_FRAMES:
                continue
            # Nothing is taken from nothing: a line that is not heard has no level at all.
            apart_db = np.full(size, np.nan)
            np.subtract(levels[one], levels[two], out=apart_db, where=both)
            alike = _alike(apart_db)
            out[one] |= alike
            out[two] |= alike
    return out


def _alike(apart_db: NDArray[np.float64]) -> Bools:
    """Frames in a stretch of ALIKE_FRAMES over which a difference stays; NaN never does."""
    windows = np.lib.stride_tricks.sliding_window_view(apart_db, ALIKE_FRAMES)
    stays = windows.max(axis=1) - windows.min(axis=1) <= ALIKE_DB
    out = np.zeros(apart_db.size, np.bool_)
    for step in range(ALIKE_FRAMES):
        out[step : step + stays.size] |= stays
    return out
