"""One line's listener: blocks of samples in, levels, readings and notes out.

The same object serves a live line and a file, block by block; how the sound
is cut into blocks changes nothing. Samples become hops of 10 ms at a lowered
rate, the tracker follows what sounds, and a note that has ended is measured
once more as a whole.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from station.errors import SignalError
from station.measure.decimate import FINE_RATE_HZ, Decimator, Samples
from station.measure.ears import ears_for
from station.measure.fit import Fit
from station.measure.held_back import borne_out
from station.measure.history import FineHistory, History
from station.measure.hops import LONGEST_BLOCK_S
from station.measure.hum import PAUSES_S, Hum, find_hum
from station.measure.levels import LevelMeter, dbfs
from station.measure.moving import less_sure
from station.measure.reading import longest_s
from station.measure.settle import ENDING_S, Fine, Played, least_clipped, settled
from station.measure.sounding import Ended, Followed, News, Sounding
from station.measure.telling import LATE_S
from station.measure.tracking import FINE_FROM_HZ, FORGET_S, Tracker
from station.measure.types import Gap, Heard, Level, Note, Reading

HOP_S = 0.010
HUM_SEARCHED_S = 0.5
HUM_FOLLOWED_S = 2.0
HUM_LASTS_S = 12.0  # so long its phase may be trusted
BET_CENTS = 3.0  # a note less certain than this is not published
LATE_BET_CENTS = 1.0  # nor, once it dies away, a reading: five standard deviations are 5 cents
TURNED_BET_CENTS = 1.5  # nor one under a peg; one in a thousand of these is 5 cents off
# Nor one of what clips, or has done within the readings that tell where it goes: five standard
# deviations are the cent within which that is told. What clipping mixes into a stiff string's
# partials lies beside them, and moves them as no noise does.
CLIPPED_BET_CENTS = 0.2
CLIPPED_S = 0.3


class Listener:
    """Listens to one line (counted from 1) at `rate_hz`, 8 to 192 kHz.

    `tracker` is "aubio" or "numpy". Raises SignalError for an impossible rate
    or tracker, and from `push` for samples that are not finite.
    """

    def __init__(self, rate_hz: float, line: int = 1, tracker: str = "aubio") -> None:
        self._rate_hz = rate_hz
        self._line = line
        self._first_decimator = Decimator(rate_hz, FINE_RATE_HZ)
        fine_rate_hz = self._first_decimator.rate_hz
        self._decimator = Decimator(fine_rate_hz)
        rate = self._decimator.rate_hz
        self._hop = round(HOP_S * rate)
        self._history = History(round(FORGET_S * rate))
        # As far ahead of `_history` as samples have come that fill no hop yet.
        self._raw = History(round((LONGEST_BLOCK_S + 2 * PAUSES_S[-1]) * rate))
        self._fine = FineHistory(
            fine_rate_hz, self._decimator.factor, self._first_decimator.top_share, FORGET_S
        )
        ears = ears_for(tracker, rate, self._hop)
        self._tracker = Tracker(self._history, self._raw, self._fine, rate, self._hop, ears)
        self._delay_s = self._first_decimator.delay_s + self._decimator.delay_s
        self._meter = LevelMeter(rate_hz, line)
        self._levels: list[Level] = []  # measured, not yet said
        self._taken = 0  # input samples, lost ones included
        self._origin = 0.0  # seconds of the stream at decimated sample 0
        self._longest_block = round(LONGEST_BLOCK_S * rate_hz)
        self._ending = round(ENDING_S * rate)
        self._pauses = [round(pause_s * rate) for pause_s in PAUSES_S]
        self._hum: Hum | None = None
        self._hum_due = 0
        self._hum_lasts = round(HUM_LASTS_S * rate)

    def push(self, block: Samples) -> list[Heard]:
        """Take the next samples, shape (n,), full scale 1.0; returns what they let us say."""
        if block.ndim != 1:
            raise SignalError(f"a line takes samples of shape (n,), not {block.shape}")
        if not math.isfinite(block.dot(block)):
            raise SignalError(f"line {self._line}: a sample is not a finite number")
        said: list[Heard] = []
        for first in range(0, block.size, self._longest_block):
            said += self._hear(block[first : first + self._longest_block])
        return said

    def mark_gap(self, lost_frames: int) -> list[Heard]:
        """Samples were lost: end what sounds, start afresh after them."""
        said = self.finish()
        self.skip(lost_frames)
        said.append(Gap(self._line, self._taken / self._rate_hz, lost_frames))
        return said

    def skip(self, frames: int) -> None:
        """Let `frames` frames pass unheard; nothing before them belongs to what follows."""
        self._taken += max(0, frames)
        self._first_decimator.reset()
        self._decimator.reset()
        self._raw.forget_from(self._history.stop)
        self._fine.align(self._history.stop)
        self._hum, self._hum_due = None, 0  # its phase is unknown after the gap
        self._origin = self._taken / self._rate_hz - self._history.stop / self._decimator.rate_hz
        self._tracker.reset(self._history.stop)

    def finish(self) -> list[Heard]:
        """The stream ends: publish the note that still sounds."""
        return [
            *self._levels_until(self._taken / self._rate_hz),
            *self._say(self._tracker.finish()),
        ]

    def _hear(self, block: Samples) -> list[Heard]:
        self._taken += block.size
        self._levels += self._meter.push(block, self._taken)
        fine = self._first_decimator.push(block)
        self._fine.append(fine)
        self._raw.append(self._decimator.push(fine))
        said: list[Heard] = []
        while self._history.stop + self._hop <= self._raw.stop:
            said += self._hear_hop(self._history.stop)
            if self._levels:
                said += self._levels_until(self._seconds(self._history.stop))
        return said

    def _hear_hop(self, start: int) -> list[Heard]:
        """The hop that begins at sample `start`."""
        hop = self._raw.between(start, start + self._hop)
        if start >= self._hum_due:
            self._ask_for_hum(start)
        if self._hum is not None and start - self._hum.origin <= self._hum_lasts:
            hop = (hop - self._hum.sound(start, self._hop)).astype(np.float32)
        self._history.append(self._tracker.newly.without(hop, start))
        return self._say(self._tracker.step(self._history.stop))

    def _ask_for_hum(self, now: int) -> None:
        """Look for hum in the pause there is: soon in a short one, better in a longer one."""
        paused = self._tracker.pause()
        if paused < self._pauses[0]:
            return
        length = max(pause for pause in self._pauses if pause <= paused)
        known = self._hum
        if known is not None and length < min(self._pauses[-1], known.length):
            return
        pause = self._raw.between(now - length, now)
        self._hum = find_hum(pause, self._decimator.rate_hz, now - pause.size)
        longer = [later - paused for later in self._pauses if later > paused]
        every_s = HUM_SEARCHED_S if self._hum is None else HUM_FOLLOWED_S
        self._hum_due = now + min([round(every_s * self._decimator.rate_hz), *longer])
        if (known is None) != (self._hum is None):
            # The level steps as the hum is taken out or let in again: no stroke, no decay.
            self._tracker.reset(now)

    def _levels_until(self, time_s: float) -> list[Level]:
        """The levels due by `time_s`, with the hum as it is known by then."""
        due = [level for level in self._levels if level.at_s <= time_s]
        self._levels = self._levels[len(due) :]
        hum = self._hum
        if hum is None:
            return due
        return [replace(level, hum_hz=hum.hz, hum_dbfs=dbfs(hum.rms)) for level in due]

    def _say(self, news: News) -> list[Heard]:
        said = [
            self._note(item.note) if isinstance(item, Ended) else self._reading(item)
            for item in news
        ]
        return [item for item in said if item is not None]

    def _seconds(self, sample: int) -> float:
        return self._origin + sample / self._decimator.rate_hz

    def _clipped(self, from_s: float, to_s: float) -> bool:
        start, stop = round(from_s * self._rate_hz), round(to_s * self._rate_hz)
        return self._meter.clipped_between(start, stop)

    def _clear_from(self, onset_s: float, end_s: float) -> int:
        """How many samples after its onset a note clips no more."""
        start, stop = round(onset_s * self._rate_hz), round(end_s * self._rate_hz)
        clear = self._meter.last_clip(start, stop)
        return round((clear - start) / self._rate_hz * self._decimator.rate_hz)

    def _by_clipping(self, fit: Fit, from_s: float, to_s: float) -> float:
        """What clipping adds to how unsure `fit` is, in cents: as if only true samples told."""
        share = self._meter.clipped_share(
            round(from_s * self._rate_hz), round(to_s * self._rate_hz)
        )
        return fit.uncertainty_cents * math.sqrt(share / (1 - share))

    def _reading(self, followed: Followed) -> Reading | None:
        fit = followed.fit
        onset_s = self._seconds(followed.onset)
        at_s = self._seconds(self._history.stop - 1) + self._delay_s
        late_cents = TURNED_BET_CENTS if fit.moving else LATE_BET_CENTS
        bet_cents = BET_CENTS if at_s - onset_s < LATE_S else late_cents
        clipped = self._clipped(onset_s, at_s)
        if clipped:
            from_s = max(onset_s, at_s - longest_s(fit.hz))
            by_clipping = self._by_clipping(fit, from_s, at_s)
            clips = self._clipped(max(onset_s, from_s - CLIPPED_S), at_s)
            if clips and math.hypot(by_clipping, followed.unsure_cents) > CLIPPED_BET_CENTS:
                return None
            fit = less_sure(fit, by_clipping)
        if fit.uncertainty_cents > bet_cents:
            return None
        return Reading(
            self._line,
            at_s,
            fit.hz,
            fit.uncertainty_cents,
            fit.inharmonicity,
            fit.partials,
            onset_s,
            clipped,
            fit.moving,
        )

    def _finer(self, note: Sounding) -> Fine | None:
        """A high note at the fine rate, the mains taken out."""
        x, fine = note.kept_fine, self._fine
        if note.fit.hz < FINE_FROM_HZ or fine.factor == 1 or note.over:
            return None
        if x is None:
            if not fine.holds(note.onset):
                return None
            x = fine.between(note.onset, note.last_good)
        hum = self._hum
        if hum is not None and note.onset - hum.origin <= self._hum_lasts:
            x = (x - hum.sound(note.onset, x.size, fine.factor)).astype(np.float32)
        return Fine(x, fine.rate_hz, fine.top_share)

    def _note(self, ended: Sounding) -> Note | None:
        x = ended.kept
        if x is None:
            x = self._history.between(ended.onset, ended.last_good)
        ending = self._history.between(ended.last_good - self._ending, ended.last_good)
        length = ended.last_good - ended.onset
        played = Played(
            x,
            ending[-length:],
            length,
            ended.fit,
            list(ended.track),
            list(ended.votes),
            self._finer(ended),
        )
        onset_s, end_s = self._seconds(ended.onset), self._seconds(ended.last_good)
        clipped = self._clipped(onset_s, end_s)
        if clipped:
            played = least_clipped(
                played, self._clear_from(onset_s, end_s), self._decimator.rate_hz
            )
        fit = settled(played, self._decimator.rate_hz)
        if fit is not None and clipped:
            heard_s = played.length / self._decimator.rate_hz
            fit = less_sure(fit, self._by_clipping(fit, end_s - heard_s, end_s))
        if fit is None or fit.uncertainty_cents > BET_CENTS:
            return None
        fit = borne_out(fit, ended.track)
        return Note(
            self._line,
            onset_s,
            end_s,
            fit.hz,
            fit.uncertainty_cents,
            fit.inharmonicity,
            fit.partials,
            clipped,
        )
