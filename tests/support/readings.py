"""Readings, notes and levels by the thousand, as two lines of strings would give them."""

from __future__ import annotations

from collections.abc import Callable

from station.measure.types import Heard, Level, Note, Reading

# Open strings of a guitar on line 1 and a bass on line 2, equal temperament (from memory).
STRINGS = (
    *((1, hz) for hz in (82.407, 110.0, 146.832, 195.998, 246.942, 329.628)),
    *((2, hz) for hz in (41.203, 55.0, 73.416, 97.999)),
)
EVERY_S = 0.02
A_LEVEL = 5  # readings to each level


class ReadingsFed:
    """Hands readings to `hear`, one at a time, `a_note` of them to each note.

    ``count`` is how many so far.
    """

    def __init__(self, hear: Callable[[list[Heard]], object], a_note: int = 20) -> None:
        self._hear = hear
        self._a_note = a_note
        self.count = 0

    def feed(self, readings: int) -> None:
        """So many more, each string in turn for one note, in and out by turns."""
        for number in range(self.count, self.count + readings):
            self._feed_one(number)
        self.count += readings

    def _feed_one(self, number: int) -> None:
        note, within = divmod(number, self._a_note)
        line, in_tune_hz = STRINGS[note % len(STRINGS)]
        cents = 8.0 * ((note * 7) % 5 - 2) / 2 + 0.1 * within
        hz, at_s = in_tune_hz * 2 ** (cents / 1200), number * EVERY_S
        onset_s = at_s - within * EVERY_S
        heard: list[Heard] = [Reading(line, at_s, hz, 0.2, 5e-5, 12, onset_s)]
        if within == self._a_note - 1:
            heard.append(Note(line, onset_s, at_s, hz, 0.05, 5e-5, 12))
        if number % A_LEVEL == 0:
            heard.append(Level(line, at_s, -20.0, -12.0, 0.0, False, "signal"))
        self._hear(heard)
