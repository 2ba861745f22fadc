"""Which string was struck while another rings on?

A string may have all its partials where another one has every second or third of its own:
B3's lie 2 cents from every third of E2's. Their places tell nothing; what tells is what is new.
The string that rang is carried on beyond the stroke and taken out: what is left is the
one newly struck, at as many decibels below the other as the two strings differ. It is
left out of all that follows, as hum is, while it rings on as it was bound to.
"""

from __future__ import annotations

import math
from collections import deque

import numpy as np

from station.measure.continued import LENGTH_S, Continued, carried_on
from station.measure.drum_check import may_be_a_drum, stands_alone_below
from station.measure.ears import Ears
from station.measure.fit import CENTS, Fit, Guess, apart_cents, listen_and_fit
from station.measure.held_back import shaken
from station.measure.history import History, Samples
from station.measure.hypothesis import Hypothesis, suppose
from station.measure.windows import Floats, Heard, Windows, power_of

LOOKED_S = 0.3  # so long after a stroke
SKIP_S = 0.006
YOUNG_S = 0.35  # before that a pluck glides, and too little is known of its partials
SHORTEST_S = 0.03
LEAST_PERIODS = 4.6
AGREE_CENTS = 25.0
OTHER_CENTS = 60.0
TONAL = 0.85
# A partial goes on as it was bound to if no more than a tenth of its power is new; of a string
# that was touched none does, of two an octave apart half of the lower one's.
UNTOUCHED = 0.1
LEAST_UNTOUCHED = 0.4
TOUCHED = 0.25
SHARED_CENTS = 20.0
LEAST_PARTIALS = 3  # two may be the ringing string's own, moved by a drum: an octave, for a string
NEWER = 4.0  # beats and glides leave something of all partials alike
GONE = 0.5
LEAST_NOTICED_S = 0.02
LATE_S = 0.07  # by so much a stroke may be later than it is looked for
PERIODS = 4
RISEN = 0.05  # of the peak power, 13 dB under it
SLOPES = 4  # the stroke may fall into the end of the last but one
BRIGHTER = 1.15
ASKED_S = 0.1
FADED_DB = 60.0


class NewlyStruck:
    """Looks for a new string over one that rings; holds what rings on, to be taken out."""

    def __init__(self, history: History, raw: History, rate_hz: float, ears: Ears) -> None:
        self._history = history
        self._raw = raw
        self._rate_hz = rate_hz
        self._ears = ears
        self.reset()

    def reset(self) -> None:
        """Nothing rings on."""
        self._ringing: Continued | None = None
        self._tuned: Windows | None = None  # of what rings, as many samples as were asked for last
        self._known: Fit | None = None
        self.stroke = 0
        self._guess: Hypothesis | None = None
        self._out: list[Continued] = []
        self._slopes: deque[float] = deque(maxlen=SLOPES)

    def expect(self, known: Fit, begin: int, stroke: int) -> None:
        """The string `known`, sounding since sample `begin`, may ring on beyond `stroke`."""
        self._slopes.clear()
        if self.looks(stroke):  # the same stroke, noticed before: nothing of it may count as old
            return
        self.stroke, self._ringing, self._tuned = stroke, None, None
        if stroke - begin < YOUNG_S * self._rate_hz:
            return
        skip = round(SKIP_S * self._rate_hz)
        self._ringing = carried_on(self._history, self._rate_hz, known, begin + skip, stroke - skip)
        self._known, self.stroke, self._guess = known, stroke, None

    def notice(self, known: Fit, begin: int, now: int, every: int) -> None:
        """Asked every so many samples: expect another string where the sound is brighter at once.

        A ringing string's upper partials fade first, so that a pluck 12 dB below it, which adds
        a quarter of a decibel, nearly doubles the power of the sound's slope; in whole periods
        that of the string alone is steady.
        """
        if now - begin < YOUNG_S * self._rate_hz:
            return
        period = self._rate_hz / known.hz
        length = round(math.ceil(LEAST_NOTICED_S * known.hz) * period)
        x = self._history.between(now - length - 1, now)
        slope = x[1:] - x[:-1]
        powers = self._slopes
        powers.append(float(slope.dot(slope)) / length)
        if len(powers) < SLOPES or self.looks(now):
            return
        if powers[-1] > BRIGHTER * max(powers[0], powers[1]):
            self.expect(known, begin, now - length - every)

    def looks(self, now: int) -> bool:
        """Whether it may still be found."""
        return self._ringing is not None and now - self.stroke < LOOKED_S * self._rate_hz

    def find(self, now: int) -> tuple[Heard, Fit] | None:
        """The string struck at the stroke, if it is another than the one that rings on."""
        start = self.stroke + round(SKIP_S * self._rate_hz)
        if self._ringing is None or self._known is None:
            return None
        if now - start < SHORTEST_S * self._rate_hz:
            return None
        beyond = self._beyond(self._ringing, self._known.hz, start, now)
        if beyond is None:
            return None
        if _untouched(*beyond) < TOUCHED:
            if now - start > (LATE_S + PERIODS / self._known.hz) * self._rate_hz:
                self._ringing = None  # that string was touched, too
            return None
        x = self._history.between(start, now)
        left = (x - self._ringing.sound(start, x.size)).astype(np.float32)
        guess = suppose(left, self._rate_hz, self._ears.coarse_hz)
        known, self._guess = self._guess, guess
        if guess is None or known is None or apart_cents(guess.hz, known.hz) > AGREE_CENTS:
            return None
        if guess.hz * left.size / self._rate_hz < LEAST_PERIODS:
            return None
        if apart_cents(guess.hz, self._known.hz) < OTHER_CENTS:
            return None
        found = listen_and_fit(left, self._rate_hz, Guess(guess.hz, guess.inharmonicity))
        if found is None or found[1].tonal < TONAL:
            return None
        heard, fit = found
        if fit.partials < LEAST_PARTIALS or not stands_alone_below(heard):
            return None
        if not self._is_new(self._ringing, fit, *beyond) or not self._is_more(self._ringing, left):
            return None
        return None if may_be_a_drum(heard, fit) or shaken((), fit, heard) else found

    def _beyond(
        self, ringing: Continued, hz: float, start: int, now: int
    ) -> tuple[Floats, Floats] | None:
        """The power at each partial of what rings, and that beyond it, after sample `start`.

        None before two periods are heard: in an even number of them no partial hears another. In
        the newest four, for what begins within a window is heard by all.
        """
        period = self._rate_hz / hz
        size = round(min((now - start) / period // 2 * 2, PERIODS) * period)
        if size == 0:
            return None
        if self._tuned is None or self._tuned.size != size:
            self._tuned = ringing.tuned(self._rate_hz, size)
        windows = self._tuned
        bound = ringing.heard(windows, now - size)
        heard = windows.hear(self._history.between(now - size, now), size)[0]
        return power_of(bound), power_of(heard - bound)

    def _is_new(self, ringing: Continued, fit: Fit, bound: Floats, new: Floats) -> bool:
        """Whether the ringing string goes on untouched, and what is left of it is `fit`'s."""
        if _untouched(bound, new) < LEAST_UNTOUCHED:
            return False
        hz = ringing.change.imag * self._rate_hz / (2 * np.pi)
        number = np.maximum(1.0, np.rint(hz / fit.hz))
        shared = CENTS * np.abs(np.log(hz / (number * fit.hz))) < SHARED_CENTS
        if np.count_nonzero(shared) < 2:
            return True
        others = new[~shared]
        return others.size == 0 or float(new[shared].mean()) > NEWER * float(others.mean())

    def _is_more(self, ringing: Continued, left: Samples) -> bool:
        """Whether what is `left` after the stroke is more than what was left before it.

        An open string's ghost under a touched harmonic, what a loop or a converter adds to a
        tone are no partials of what rings, and were there all along.
        """
        stop = self.stroke - round(SKIP_S * self._rate_hz)
        start = stop - min(left.size, round(LENGTH_S * self._rate_hz))
        before = self._history.between(start, stop) - ringing.sound(start, stop - start)
        return bool(np.square(left).mean() > NEWER * np.square(before).mean())

    def take_out(self, now: int) -> int:
        """Take the ringing string out of what was heard since the stroke, and of what comes.

        Returns the sample at which the other one begins.
        """
        ringing, self._ringing = self._ringing, None
        if ringing is None:
            return self.stroke
        x = self._history.between(self.stroke, now)
        x -= ringing.sound(self.stroke, x.size).astype(np.float32)
        self._out.append(ringing)
        loud = np.square(x)
        return self.stroke + int(np.argmax(loud > RISEN * loud.max()))

    def without(self, hop: Samples, start: int) -> Samples:
        """`hop`, whose first sample is number `start`, without the strings that ring on."""
        for ringing in self._out:
            hop = (hop - ringing.sound(start, hop.size)).astype(np.float32)
        return hop

    def listen(self, now: int) -> None:
        """Give up what no longer rings on: taken out of nothing it would be heard itself."""
        start = now - round(ASKED_S * self._rate_hz)
        self._out = [each for each in self._out if self._rings(each, start, now)]

    def _rings(self, ringing: Continued, start: int, now: int) -> bool:
        raw = self._raw.between(start, now)
        windows = ringing.tuned(self._rate_hz, raw.size)
        bound = ringing.heard(windows, start)
        faded = power_of(bound).sum() < power_of(ringing.amplitude).sum() * 10 ** (-FADED_DB / 10)
        heard = windows.hear(raw, raw.size)[0]
        along = (heard * np.conj(bound)).real / power_of(bound)
        # The median by amplitude: partials shared with a louder string may say anything.
        ranked = np.argsort(along)
        weight = np.abs(bound)[ranked].cumsum()
        middle = ranked[np.searchsorted(weight, 0.5 * weight[-1])]
        return not faded and bool(along[middle] > GONE)


def _untouched(bound: Floats, new: Floats) -> float:
    """The share of partials, by amplitude, that go on as they were bound to: powers, shape (k,)."""
    amplitude = np.sqrt(bound)
    return float(amplitude[new < UNTOUCHED * bound].sum() / amplitude.sum())
