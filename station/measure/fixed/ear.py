"""Listens to an instrument of fixed pitch on one line: samples in, notes out.

The line is decimated once, cut into frames, and the frames say where the sound holds
still (`stretches.py`). Each such stretch is then measured as a whole (`hearing.py`): its
notes (`chords.py`), their partials' lines (`spectrum.py`, `partials.py`), their reeds
(`reeds.py`). A note that is held is told after TOLD_S and ended after the last of them: what
goes on after that is another note. Samples are worked on in pieces of fixed length, so
that how the sound is cut into blocks changes nothing.
"""

from __future__ import annotations

import math

import numpy as np

from station.errors import SignalError
from station.measure.decimate import Decimator, Samples
from station.measure.fixed.hearing import notes_in
from station.measure.fixed.stretches import FRAME_S, HOP_S, Stretch, Stretches
from station.measure.fixed.types import FixedNote
from station.measure.history import History
from station.measure.levels import LevelMeter
from station.measure.windows import hann

PIECE_S = 0.25
TOLD_S = (1.5, 4.0, 8.0)
KEPT_S = TOLD_S[-1] + 2 * PIECE_S + 2 * FRAME_S
LEAST_S = 0.29  # two frames: one alone cannot tell that it holds still
MORE = 1.03  # longer than what was told before, to be told again: all of a note is heard
SETTLE_S = 0.12  # a free reed bends while it starts to speak (common practice, no source)
LOWEST_HZ = 25.0


class FixedEar:
    """Listens to line `line` (counted from 1) at `rate_hz`, 8 to 192 kHz.

    `sounding`: whether something holds still right now. Raises SignalError for an
    impossible rate, and from `push` for samples of the wrong shape or not finite.
    """

    def __init__(self, rate_hz: float, line: int = 1) -> None:
        self.sounding = False
        self._line = line
        self._rate_hz = rate_hz
        self._decimator = Decimator(rate_hz)
        self._rate = self._decimator.rate_hz
        self._top_hz = self._decimator.top_share * self._rate
        self._piece = round(PIECE_S * rate_hz)
        self._frame = round(FRAME_S * self._rate)
        self._hop = round(HOP_S * self._rate)
        self._bins = slice(
            int(LOWEST_HZ * self._frame / self._rate), int(self._top_hz * self._frame / self._rate)
        )
        self._window = (2 * hann(self._frame)).astype(np.float32)
        self._history = History(round(KEPT_S * self._rate))
        self._meter = LevelMeter(rate_hz, line)
        self._stretches = Stretches()
        self._waiting: list[Samples] = []
        self._waits = 0
        self._taken = 0  # input samples worked on, lost ones included
        self._next_frame = 0
        self._base = 0  # decimated sample at which frame 0 begins
        self._origin = 0.0  # seconds of the stream at decimated sample 0
        self._told = 0
        self._goes_on = -1  # the frame with which a note that was cut at the longest goes on

    def push(self, block: Samples) -> list[FixedNote]:
        """Take the next samples, shape (n,), full scale 1.0; the notes they let us tell."""
        if block.ndim != 1:
            raise SignalError(f"a line takes samples of shape (n,), not {block.shape}")
        if not math.isfinite(float(np.dot(block, block))):
            raise SignalError(f"line {self._line}: a sample is not a finite number")
        self._waiting.append(np.array(block, np.float32))
        self._waits += block.size
        notes: list[FixedNote] = []
        if self._waits >= self._piece:
            whole: Samples = np.concatenate(self._waiting)
            used = whole.size // self._piece * self._piece
            for start in range(0, used, self._piece):
                notes += self._hear(whole[start : start + self._piece])
            self._waiting, self._waits = [whole[used:]], whole.size - used
        return notes

    def mark_gap(self, lost_frames: int) -> list[FixedNote]:
        """Samples were lost: end what sounds, start afresh after them."""
        notes = self.finish()
        self._taken += max(0, lost_frames)
        self._decimator.reset()
        self._base = self._history.stop
        self._next_frame, self._goes_on = 0, -1
        self._origin = self._taken / self._rate_hz - self._history.stop / self._rate
        self._stretches.reset(0)
        return notes

    def finish(self) -> list[FixedNote]:
        """The stream ends: the notes that still sound."""
        notes: list[FixedNote] = []
        if self._waits:
            rest: Samples = np.concatenate(self._waiting)
            self._waiting, self._waits = [], 0
            notes += self._hear(rest)
        ended = self._stretches.finish()
        self.sounding, self._told = False, 0
        if ended is not None:
            notes += self._tell(ended)
        return notes

    def _hear(self, piece: Samples) -> list[FixedNote]:
        self._taken += piece.size
        self._meter.push(piece, self._taken)
        self._history.append(self._decimator.push(piece))
        notes: list[FixedNote] = []
        while self._base + self._next_frame * self._hop + self._frame <= self._history.stop:
            start = self._base + self._next_frame * self._hop
            self._next_frame += 1
            heard = np.fft.rfft(self._history.between(start, start + self._frame) * self._window)
            stretch = self._stretches.push(np.abs(heard[self._bins]))
            self.sounding = (
                stretch is not None and not stretch.over and stretch.last > stretch.first
            )
            if stretch is not None:
                notes += self._follow(stretch)
        return notes

    def _follow(self, stretch: Stretch) -> list[FixedNote]:
        """Tell of a stretch that has ended, or has gone on for long enough to be told of."""
        length_s = (stretch.last - stretch.first) * HOP_S + FRAME_S
        if stretch.over:
            told_s = TOLD_S[self._told - 1] if self._told else 0.0
            self._told = 0
            return self._tell(stretch) if length_s > told_s * MORE else []
        if length_s < TOLD_S[self._told]:
            return []
        self._told += 1
        # What begins just now may not yet be seen: the last frames wait.
        notes = self._tell(stretch._replace(last=stretch.last - 2))
        if self._told == len(TOLD_S):
            self._told = 0
            self._goes_on = self._next_frame
            self._stretches.reset(self._next_frame)
        return notes

    def _tell(self, stretch: Stretch) -> list[FixedNote]:
        start = self._base + stretch.first * self._hop
        stop = self._base + stretch.last * self._hop + self._frame
        length_s = (stop - start) / self._rate
        if length_s < LEAST_S:
            return []
        onset_s, end_s = self._origin + start / self._rate, self._origin + stop / self._rate
        if stretch.first != self._goes_on:
            start += round(min(SETTLE_S, 0.5 * (length_s - LEAST_S)) * self._rate)
        clipped = self._meter.clipped_between(
            round(onset_s * self._rate_hz), round(end_s * self._rate_hz)
        )
        return [
            FixedNote(
                self._line,
                onset_s,
                end_s,
                found.hz,
                found.uncertainty_cents,
                found.inharmonicity,
                found.partials,
                found.reeds,
                found.beat_hz,
                clipped,
            )
            for found in notes_in(self._history.between(start, stop), self._rate, self._top_hz)
        ]
