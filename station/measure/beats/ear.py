"""Listens to one line for two strings that sound together: samples in, beats out.

The line is decimated to what the pair's meeting partials need, kept for some seconds, and
every quarter second all that rang since the last stroke is measured as a whole: the longer
both strings ring, the surer. What came first after the stroke is left out, for strings glide
flat-ward then. Samples are worked on in hops of fixed length, so that how the sound is cut into
blocks changes nothing.
"""

from __future__ import annotations

import numpy as np

from station.measure.beats.alone import Alone
from station.measure.beats.joining import MOST_BANDS, Heard, Own, hear_pair
from station.measure.beats.near_lines import hear_lines
from station.measure.beats.strokes import HOP_S, Strokes
from station.measure.beats.types import BeatReading, OwnPitch
from station.measure.decimate import PASS_SHARE, WORKING_RATE_HZ, Samples
from station.measure.hops import HopEar
from station.music.pairs import StringPair
from station.music.pitch import A4_STANDARD_HZ, check_a4

EVERY_S = 0.25
KEPT_S = 6.0
FIRST_S = 0.8  # after the stroke
GLIDE_SHARE, SHORTEST_GLIDE_S, LONGEST_GLIDE_S = 0.25, 0.12, 0.6
LIVE_BANDS = 2
STROKE_HOPS = 4
OWN_EVERY_S = 1.0
OVER_DB = 45.0  # below the loudest since the stroke nothing is told any more
QUIETEST = 1e-8  # mean square: -80 dBFS
LEAST_TOP_HZ, MOST_TOP_HZ = 1300.0, 4700.0
TOP_TIMES = 4.2  # the fourth meeting, and some


class BeatEar(HopEar[BeatReading]):
    """Listens to line `line` (counted from 1) at `rate_hz`, 8 to 192 kHz, for the beats of `pair`.

    Without a pair the strongest two lines that beat are told. `a4_hz` is the present reference,
    `hold` the side (0 or 1) that is said to be in its place. `thorough`: all meeting partials
    are listened to at every reading, which takes twice as long; a reading comes `every_s`.
    Raises SignalError for an impossible rate, ReferenceRangeError, and SignalError from `push` for
    samples of the wrong shape or not finite.
    """

    def __init__(
        self,
        rate_hz: float,
        pair: StringPair | None,
        line: int = 1,
        a4_hz: float = A4_STANDARD_HZ,
        hold: int | None = None,
        thorough: bool = False,
        every_s: float = EVERY_S,
    ) -> None:
        check_a4(a4_hz)
        least_hz = min(_top_hz(pair, a4_hz) / PASS_SHARE, WORKING_RATE_HZ)
        super().__init__(rate_hz, line, HOP_S, KEPT_S + 1.0, least_hz)
        self._top_hz = self._decimator.top_share * self._rate
        self._strokes = Strokes(self._hop)
        self._pair = pair
        self._a4_hz = a4_hz
        self._hold = hold
        self._every_s = every_s
        self._bands = MOST_BANDS if thorough else LIVE_BANDS
        self._forget()

    def finish(self) -> list[BeatReading]:
        """The stream ends: what still sounds, as far as more of it was heard than was told."""
        readings: list[BeatReading] = []
        if self._done > self._told_at and self._ripe():
            readings = self._read()
        self._forget()
        return readings

    def _forget(self) -> None:
        self._onset: int | None = None
        self._loudest = 0.0
        self._told_at = 0
        self._own: Own | None = None
        self._own_at = 0

    def _start_afresh(self) -> None:
        self._strokes.reset()

    def _step(self) -> list[BeatReading]:
        first = max(self._base, self._done - self._hop - 2)
        hop = self._history.between(first, self._done).astype(np.float64)
        before = hop[: max(0, hop.size - self._hop)]
        before = np.concatenate((np.zeros(2 - before.size), before))
        struck = self._strokes.push(hop[-self._hop :], before)
        power = self._strokes.power
        readings: list[BeatReading] = []
        if struck:
            readings = self._end_before_stroke()
            self._onset = max(self._base, self._done - 2 * self._hop)
        if self._onset is None:
            return readings
        self._loudest = max(self._loudest, power)
        if power < max(QUIETEST, self._loudest * 10 ** (-OVER_DB / 10)):
            return readings + self.finish()
        if self._ripe() and self._done - self._told_at >= self._every_s * self._rate:
            readings += self._read()
        return readings

    def _end_before_stroke(self) -> list[BeatReading]:
        """What rang until just now is told without the stroke's own beginning."""
        here, self._done = self._done, self._done - STROKE_HOPS * self._hop
        readings = self.finish()
        self._done = here
        return readings

    def _ripe(self) -> bool:
        return self._onset is not None and self._done - self._onset >= FIRST_S * self._rate

    def _read(self) -> list[BeatReading]:
        onset = self._onset
        if onset is None:
            return []
        self._told_at = self._done
        rang_s = (self._done - onset) / self._rate
        skip_s = min(max(GLIDE_SHARE * rang_s, SHORTEST_GLIDE_S), LONGEST_GLIDE_S)
        first = max(onset + round(skip_s * self._rate), self._done - round(KEPT_S * self._rate))
        x = self._history.between(first, self._done)
        heard = self._heard(x)
        if heard is None:
            return []
        from_s, onset_s = self._seconds(first), self._seconds(onset)
        at_s = self._seconds(self._done) + self._decimator.delay_s
        start, stop = round(onset_s * self._rate_hz), round(at_s * self._rate_hz)
        clipped = self._meter.clipped_between(max(0, start), stop)
        return [self._reading(heard, from_s, onset_s, at_s, clipped)]

    def _heard(self, x: Samples) -> Heard | None:
        if self._pair is None:
            return hear_lines(x, self._rate, self._top_hz)
        fresh = self._done - self._own_at < OWN_EVERY_S * self._rate and self._bands < MOST_BANDS
        heard = hear_pair(
            x,
            self._rate,
            self._pair,
            self._a4_hz,
            self._top_hz,
            self._hold,
            self._bands,
            self._own if fresh else None,
        )
        if heard is not None and not (fresh and self._own is not None):
            self._own, self._own_at = heard.own, self._done
        return heard

    def _seconds(self, sample: int) -> float:
        return self._origin_s + sample / self._rate

    def _reading(
        self, heard: Heard, from_s: float, onset_s: float, at_s: float, clipped: bool
    ) -> BeatReading:
        turns, last_s = heard.phase_turns, None
        if turns is not None and heard.beat_hz > 0:
            heard_until_s = from_s + heard.phase_at_s
            turns = (turns + (at_s - heard_until_s) * heard.beat_hz) % 1.0
            last_s = at_s - turns / heard.beat_hz
        first, second = (_own_pitch(each) for each in heard.own)
        return BeatReading(
            self._line,
            at_s,
            onset_s,
            from_s,
            heard.beat_hz,
            heard.sd_hz,
            heard.resolved,
            heard.bound_hz,
            heard.signed_hz,
            heard.line_hz,
            first,
            second,
            heard.depth,
            turns,
            last_s,
            heard.bands,
            heard.missing,
            clipped,
        )


def _own_pitch(string: Alone | None) -> OwnPitch | None:
    if string is None:
        return None
    return OwnPitch(string.hz, string.cents_sd, string.stiffness, string.partials)


def _top_hz(pair: StringPair | None, a4_hz: float) -> float:
    if pair is None:
        return MOST_TOP_HZ
    meant_hz = pair.partials[0] * pair.first.target_hz(a4_hz)
    return min(max(TOP_TIMES * meant_hz, LEAST_TOP_HZ), MOST_TOP_HZ)
