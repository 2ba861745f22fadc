"""From silence to a note and back: what one line's player is sounding now.

Hop by hop (10 ms) the tracker waits for something periodic, agrees with
itself on what it is, follows it, and lets it end. A note is one stroke of
one string: the same pitch that fades below the noise and returns without a
new stroke is the same note. Nothing is published that is not periodic to
`TONAL_TO_START`; a machine's hum (constant, at a multiple of the mains
frequency) is not a note until it has proved to fade as strings do.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from station.measure.attacks import Attacks
from station.measure.drum_check import (
    SETTLED_S,
    STEADY_S,
    VAGUEST_CENTS,
    may_be_a_drum,
    stands_alone_below,
    steady_as_no_drum,
)
from station.measure.ears import Ears
from station.measure.fit import (
    Fit,
    Guess,
    apart_cents,
    listen_and_fit,
)
from station.measure.held_back import MANY_PARTIALS, shaken
from station.measure.history import FineHistory, History
from station.measure.hypothesis import Hypothesis, suppose
from station.measure.mains_check import MainsDoubt, mains_near
from station.measure.newly_struck import NewlyStruck
from station.measure.reading import SKIP_S, measured, reading_length
from station.measure.ringing import explains, rings_on
from station.measure.sounding import Ended, News, Sounding
from station.measure.telling import SAME_PITCH_CENTS, in_doubt, told_of
from station.measure.windows import Heard

Floats = NDArray[np.floating[Any]]
Samples = NDArray[np.float32]

LISTEN_S = 0.17  # spectrum length at most: five periods of B0
SHORTEST_S = 0.02  # a period of 50 Hz
FRESH_S = 0.3  # so long after a stroke its note is sought at every hop
STALE_S = 1.0  # what has not begun to sound by then swells slowly, or is no note
FORGET_S = 4.0  # how much sound is kept
LONGEST_NOTE_S = 3.0  # what is measured as a whole: of a longer note the first
FINE_FROM_HZ = 250.0  # twenty partials of lower notes lie within the working rate's pass band
QUIETEST_DB = -84.0  # under 16-bit rounding noise in the decimated band
TONAL_TO_START = 0.85
TONAL_TO_STAY = 0.7
LOST_HOPS = 9  # most of a reading's 0.12 s
NOTICED_EVERY_HOPS = 4
LATE_HOPS = 2  # by so much an attack may be told too late
LISTENED_TO_EVERY_HOPS = 8
NEW_READINGS = 10  # 0.2 s: what changes in a hum may at first be some cents beside it
SHAKEN_S = 1.0  # so long a drum may shake a string's readings
RESUME_S = 0.3
AGREE_CENTS = 25.0  # a quarter of a semitone
LEAST_PERIODS = 4.6  # the fit needs 4.5
SHORTEST_NOTE_S = 0.06  # three readings
TAIL_DB = 26.0  # what sounds on this far below a note, unstruck, is its echo
SOUGHT_EVERY_HOPS = 2
CHECK_EVERY_HOPS = 8
ENOUGH_VOTES = 3
CHECK_AGAIN_HOPS = 24
SELDOM_HOPS = 96
YOUNG_S = 0.15  # nobody strikes a string twice so fast
STROKE_S = 0.04  # of thump and slap, kept out of a second opinion
DECIDED_S = 0.6  # later only the partials that die last are left to vote


class Tracker:
    """Follows one line; owns no samples: the histories are read, never written.

    `raw` holds the same samples as `history`, as they came, hum and all; `fine`
    as they came at a higher rate.
    """

    def __init__(
        self,
        history: History,
        raw: History,
        fine: FineHistory,
        rate_hz: float,
        hop_size: int,
        ears: Ears,
    ) -> None:
        self._history = history
        self._fine = fine
        self._rate_hz = rate_hz
        self._hop = hop_size
        self._longest = round(LONGEST_NOTE_S * rate_hz)
        self._ears = ears
        self.attacks = Attacks(history, hop_size, ears)
        self._mains = MainsDoubt(history, raw, rate_hz)
        self.newly = NewlyStruck(history, raw, rate_hz, ears)
        self.reset(0)

    def reset(self, start: int) -> None:
        """Nothing before sample `start` belongs to what follows."""
        self.attacks.reset()
        self._from = start
        self._attack = start
        self._struck = True  # the sound may begin within a note
        self._guess: Hypothesis | None = None
        self._note: Sounding | None = None
        self._pending: Sounding | None = None
        self._last_peak_db = -120.0
        self._count = 0
        self._mains.reset()
        self.newly.reset()

    def step(self, now: int) -> News:
        """Take the hop that ends at sample `now`."""
        struck_ago = self.attacks.push(now)
        self._count += 1
        if struck_ago is not None:
            self._strike(now - (struck_ago + 1) * self._hop)
        if self._count % LISTENED_TO_EVERY_HOPS == 0:
            self.newly.listen(now)
        if self._count % SOUGHT_EVERY_HOPS == 0 and self.newly.looks(now):
            found = self.newly.find(now)
            if found is not None:
                return self._begin_over(*found, now)
        note = self._note
        return self._seek(now) if note is None else self._follow(note, now)

    def pause(self) -> int:
        """For how many samples nobody has played; 0 while a note sounds or just has."""
        if self._note is not None or self._pending is not None:
            return 0
        return self._history.stop - max(self._attack, self._from)

    def finish(self) -> News:
        """The line ends here: what sounds has ended."""
        self._end_note()
        return self._publish_pending()

    # -- strokes ----------------------------------------------------------

    def _strike(self, at: int) -> None:
        """Somebody struck something: what sounded has ended, unless it turns out to ring on."""
        note = self._note
        if note is not None and at - note.onset < YOUNG_S * self._rate_hz:
            return
        if note is not None:
            self.newly.expect(note.fit, note.onset, at - LATE_HOPS * self._hop)
        self._end_note(stop=at)
        self._mains.reset()
        self._attack = max(at, self._from)
        self._struck = True
        self._guess = None

    def _begin_over(self, first: Heard, fit: Fit, now: int) -> News:
        """Another string was struck over the one that rings on."""
        onset = self.newly.take_out(now)
        self._end_note(stop=onset)
        self._attack, self._struck = onset, True
        told = self._begin(first, fit, now, self.attacks.level_db)
        if self._note is not None:
            self._note.over = True
        return told

    # -- waiting ----------------------------------------------------------

    def _seek(self, now: int) -> News:
        heard: News = []
        if self._pending and now - self._pending.last_good > RESUME_S * self._rate_hz:
            heard += self._publish_pending()
        level_db = self.attacks.level_db
        if level_db < QUIETEST_DB or self._count % self._seek_every(now):
            return heard
        if not self._struck and level_db < self._last_peak_db - TAIL_DB:
            return heard
        start = self._window_start(now, LISTEN_S)
        if now - start < SHORTEST_S * self._rate_hz:
            return heard
        x = self._history.between(start, now)
        guess = self._suppose(x)
        known, self._guess = self._guess, guess
        if guess is None or known is None or apart_cents(guess.hz, known.hz) > AGREE_CENTS:
            return heard
        if guess.hz * x.size / self._rate_hz < LEAST_PERIODS:
            return heard
        found = listen_and_fit(x, self._rate_hz, Guess(guess.hz, guess.inharmonicity))
        if found is None or found[1].tonal < TONAL_TO_START:
            return heard
        fit, pending = found[1], self._pending
        resumes = pending is not None and self._resumes(pending, fit, x, now)
        if pending is not None and resumes:
            return heard + self._resume(pending, x, now)
        if resumes is None or not stands_alone_below(found[0]):
            return heard
        if may_be_a_drum(*found) and not self._is_steady(fit, now):
            return heard
        if self._is_mains(fit, now):
            return heard
        return heard + self._begin(*found, now, level_db)

    def _seek_every(self, now: int) -> int:
        """At every so many hops a note is sought: the fewer, the longer ago the stroke."""
        ago_s = (now - self._attack) / self._rate_hz
        if ago_s < FRESH_S:
            return 1 if self._struck else 2
        return 2 if ago_s < STALE_S else 4

    def _window_start(self, now: int, longest_s: float) -> int:
        skip = round(SKIP_S * self._rate_hz) if self._struck and self._attack > self._from else 0
        return max(self._attack + skip, now - round(longest_s * self._rate_hz), self._from)

    def _suppose(self, x: Floats) -> Hypothesis | None:
        return suppose(x, self._rate_hz, self._ears.coarse_hz)

    def _is_mains(self, fit: Fit, now: int) -> bool:
        """Whether `fit` may be the mains: such a pitch has to prove itself a string."""
        onset = self._note.onset if self._note is not None else self._attack
        return self._mains.may_be(fit, onset, now)

    def _is_steady(self, fit: Fit, now: int) -> bool:
        """Whether what proves nothing by its partials has sounded on as no drum does."""
        start = now - round(STEADY_S * self._rate_hz)
        if start < max(self._attack + round(SETTLED_S * self._rate_hz), self._from):
            return False
        return steady_as_no_drum(self._history.between(start, now), self._rate_hz, fit)

    def _begin(self, first: Heard, fit: Fit, now: int, level_db: float) -> News:
        heard = self._publish_pending()
        onset = self._attack if self._struck else self._window_start(now, LISTEN_S)
        self._note = Sounding(onset, fit, now, level_db)
        self._note.suspect = mains_near(fit.hz, fit.uncertainty_cents) is not None
        self._struck = False
        self._guess = None
        told = self._take(self._note, fit, now, now - onset)
        if not shaken((), fit, first):
            return heard + told
        self._note.told = False
        return heard

    def _resume(self, pending: Sounding, x: Samples, now: int) -> News:
        """The note that seemed to have ended goes on."""
        self._note, self._pending = pending, None
        pending.last_good, pending.bank = now, None
        self._struck = False
        self._guess = None
        known = pending.fit
        found = listen_and_fit(x, self._rate_hz, Guess(known.hz, known.inharmonicity))
        if found is None or not self._goes_on(pending, found[1], now):
            return []
        if shaken(pending.track, found[1], found[0]):
            return []
        return self._take(pending, found[1], now, x.size)

    def _resumes(self, pending: Sounding, fit: Fit, x: Samples, now: int) -> bool | None:
        """Whether `fit`, found in `x`, is the note that has just ended, not struck anew.

        None while it is too early to tell. A note too short to have been one was
        the beginning of this one.
        """
        alike = apart_cents(pending.fit.hz, fit.hz) < SAME_PITCH_CENTS
        if not self._struck or pending.last_good - pending.onset < YOUNG_S * self._rate_hz:
            return alike
        if not alike and not explains(pending.fit, fit, x, self._rate_hz):
            return False
        skip = round(SKIP_S * self._rate_hz)
        begin, stroke = pending.onset + skip, pending.last_good
        return rings_on(self._history, self._rate_hz, pending.fit, begin, stroke, now - skip)

    # -- following --------------------------------------------------------

    def _follow(self, note: Sounding, now: int) -> News:
        note.peak_db = max(note.peak_db, self.attacks.level_db)
        if note.kept is None and now - note.onset >= self._longest:
            self._keep(note)
        if self._count % 2:
            return []
        if self._count % NOTICED_EVERY_HOPS == 0:
            self.newly.notice(note.fit, note.onset, now, NOTICED_EVERY_HOPS * self._hop)
        young = now - note.onset < DECIDED_S * self._rate_hz
        if self._is_asked_again(note, young):
            self._check_octave(note, now, young)
        length = reading_length(self._rate_hz, note, now)
        found = measured(self._history, self._rate_hz, note, now, length)
        if found is None or not self._goes_on(note, found[1], now):
            if now - note.last_good > LOST_HOPS * self._hop:
                self._end_note()
            return []
        heard, fit = found
        if not shaken(note.track, fit, heard):
            return self._take(note, fit, now, length)
        note.turn = None  # what it was before a drum bears nothing out
        if now - note.steady_at < SHAKEN_S * self._rate_hz:
            return []
        self._end_note()  # what sounds on has to prove itself anew
        return self._publish_pending()

    def _take(self, note: Sounding, fit: Fit, now: int, length: int) -> News:
        """`fit`, of the last `length` samples, is the note's; it is told where it is sure."""
        note.fit, note.last_good, note.steady_at = fit, now, now
        note.track.append((now - note.onset, fit))
        told = told_of(self._history, self._rate_hz, note, now, length)
        return [] if told is None else [told]

    def _keep(self, note: Sounding) -> None:
        stop = note.onset + self._longest
        note.kept = self._history.between(note.onset, stop).copy()
        if note.fit.hz >= FINE_FROM_HZ and self._fine.holds(note.onset):
            note.kept_fine = self._fine.between(note.onset, stop).copy()

    def _goes_on(self, note: Sounding, fit: Fit, now: int) -> bool:
        """Whether `fit` is the note still sounding, and not the noise after it."""
        is_new = len(note.track) < NEW_READINGS
        if is_new:
            note.suspect |= mains_near(fit.hz, fit.uncertainty_cents) is not None
        if (is_new or note.suspect) and self._is_mains(fit, now):
            return False
        return (
            self.attacks.level_db > QUIETEST_DB
            and fit.tonal >= TONAL_TO_STAY
            and fit.uncertainty_cents <= VAGUEST_CENTS
            and apart_cents(fit.hz, note.fit.hz) < SAME_PITCH_CENTS
        )

    def _is_asked_again(self, note: Sounding, young: bool) -> bool:
        """Whether to ask again now which note it is: of many partials only until it is decided."""
        doubted = in_doubt(note)
        if not young:
            may_err = doubted or note.fit.partials < MANY_PARTIALS
            return may_err and self._count % SELDOM_HOPS == 0
        often = doubted or len(note.votes) < ENOUGH_VOTES
        return self._count % (CHECK_EVERY_HOPS if often else CHECK_AGAIN_HOPS) == 0

    def _check_octave(self, note: Sounding, now: int, young: bool) -> None:
        """Ask again which note it is; equal answers in a row overrule the first.

        Two are enough to go up (an open string's ghost has died under a touched
        harmonic); to go down takes three, for a stroke's thump lies low.
        """
        start = max(
            note.onset + round(STROKE_S * self._rate_hz), now - round(LISTEN_S * self._rate_hz)
        )
        if now - start < SHORTEST_S * self._rate_hz:
            return
        guess = self._suppose(self._history.between(start, now))
        if guess is None:
            return
        note.votes.append(guess.hz)
        needed = 2 if guess.hz > note.fit.hz else 3
        last = note.votes[-needed:]
        agreed = len(last) == needed and max(apart_cents(hz, guess.hz) for hz in last) < AGREE_CENTS
        if young and agreed and apart_cents(guess.hz, note.fit.hz) > SAME_PITCH_CENTS:
            x = self._history.between(start, now)
            found = listen_and_fit(x, self._rate_hz, Guess(guess.hz, guess.inharmonicity))
            if found is None or may_be_a_drum(*found):
                return
            if stands_alone_below(found[0]):
                note.fit = found[1]
                note.suspect |= mains_near(note.fit.hz) is not None

    # -- ending -----------------------------------------------------------

    def _end_note(self, stop: int | None = None) -> None:
        """What sounds has ended, unless it comes back without a stroke (`_begin`)."""
        note, self._note = self._note, None
        if note is None:
            return
        if stop is not None:
            note.last_good = min(note.last_good, stop)
        self._last_peak_db = note.peak_db
        self._mains.reset()
        self._pending = note
        self._attack = note.last_good
        self._struck = False
        self._guess = None

    def _publish_pending(self) -> News:
        note, self._pending = self._pending, None
        if note is None or not note.told:
            return []
        if note.last_good - note.onset < SHORTEST_NOTE_S * self._rate_hz:
            return []
        return [Ended(note)]
