"""A line's mains hum as the room tells it: what it is now, and when that is news. Pure."""

from __future__ import annotations

NEWS_HZ = 0.05
NEWS_DB = 1.0
STAYS_S = 3.0  # hum hidden for a moment, by a gap or by noise as loud, is not gone
LOUD_DBFS = -50.0  # common practice, no source; the page's words.js has it, too
REMEDY = (  # common practice, no source; the page's words.js says the same
    "keep the cable off mains leads, break a ground loop with an isolating DI box,"
    " and never lift a mains earth"
)


class LineHum:
    """The hum of one line: ``hz`` of the mains, ``dbfs`` of all its multiples; None without."""

    def __init__(self) -> None:
        self.hz: float | None = None
        self.dbfs: float | None = None
        self._told: tuple[float, float] | None = None
        self._heard_at_s = 0.0

    def hear(self, hz: float | None, dbfs: float | None, now_s: float) -> bool:
        """Take in what a level says of hum; whether it came, moved, or went for good."""
        if hz is None or dbfs is None:
            return self._miss(now_s)
        self.hz, self.dbfs, self._heard_at_s = hz, dbfs, now_s
        told = self._told
        if told and abs(hz - told[0]) <= NEWS_HZ and abs(dbfs - told[1]) <= NEWS_DB:
            return False
        self._told = (hz, dbfs)
        return True

    def _miss(self, now_s: float) -> bool:
        if self._told is None or now_s - self._heard_at_s < STAYS_S:
            return False
        self.hz = self.dbfs = self._told = None
        return True


def mains_hz(hz: float) -> int:
    """The mains that a hum at ``hz`` comes from: 50 or 60."""
    return 50 if hz < 55 else 60


def hum_words(hz: float, dbfs: float) -> str:
    """Hum in a few words."""
    return f"mains hum {hz:.2f} Hz, {dbfs:.1f} dBFS"


def is_loud(dbfs: float | None) -> bool:
    """Whether something should be done about hum of this level; None is no hum."""
    return dbfs is not None and dbfs > LOUD_DBFS
