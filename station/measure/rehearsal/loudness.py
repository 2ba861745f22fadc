"""When one line is being played, by its level alone: limits that follow gain, hiss and room.

A line is as loud as it was lately when loudest: quickly up, a decibel in four minutes down. Its
hiss is what it falls to: quickly down, slowly up. Played is what comes within 20 dB of the one
and stands clear of the other.
"""

from __future__ import annotations

import math

LOUD_UP = 0.25  # of the way in each level
LOUD_DOWN_DB_A_S = 1.0 / 240.0
FLOOR_DOWN = 0.5
FLOOR_UP_DB_A_S = 1.0 / 30.0
REACH_DB = 20.0
CLEAR_DB = 8.0
BELOW_LOUD_DB, HISS_DB = 6.0, 3.0
LEAST_DBFS = -60.0
NOTE_REACH_DB = 20.0  # a note has died away once so far below its own stroke
NOTE_LEAST_DB = 38.0


class Loudness:
    """Follows the levels of one line, in dBFS rms, one each `interval_s`."""

    def __init__(self) -> None:
        self.loud_dbfs = -math.inf
        self.floor_dbfs = math.inf

    def hear(self, rms_dbfs: float, interval_s: float) -> None:
        """Take the next level; what is no number is passed over."""
        if not math.isfinite(rms_dbfs):
            return
        if math.isinf(self.loud_dbfs):
            self.loud_dbfs = self.floor_dbfs = rms_dbfs
            return
        if rms_dbfs > self.loud_dbfs:
            self.loud_dbfs += LOUD_UP * (rms_dbfs - self.loud_dbfs)
        else:
            self.loud_dbfs -= LOUD_DOWN_DB_A_S * interval_s
        if rms_dbfs < self.floor_dbfs:
            self.floor_dbfs += FLOOR_DOWN * (rms_dbfs - self.floor_dbfs)
        else:
            self.floor_dbfs += FLOOR_UP_DB_A_S * interval_s

    @property
    def limit_dbfs(self) -> float:
        """What is louder is being played."""
        # Where no silence has been heard yet the floor is too high; what never varies is hiss.
        clear = max(self.loud_dbfs - BELOW_LOUD_DB, self.floor_dbfs + HISS_DB)
        clear = min(self.floor_dbfs + CLEAR_DB, clear)
        return max(self.loud_dbfs - REACH_DB, clear, LEAST_DBFS)

    def played(self, rms_dbfs: float, stroke_dbfs: float | None = None) -> bool:
        """Whether a level is that of a line being played.

        `stroke_dbfs`: how loud the note was that sounds, None without one. Softly played, it
        counts until it has died away.
        """
        if rms_dbfs >= self.limit_dbfs:
            return True
        if stroke_dbfs is None or rms_dbfs < LEAST_DBFS - 10.0:
            return False
        soft = self.loud_dbfs - NOTE_LEAST_DB
        return rms_dbfs >= max(stroke_dbfs - NOTE_REACH_DB, soft)
