"""The unknowns and the notes of a fit of courses (`course`), laid out for numpy.

The unknowns: each string's own offset at its *knots* (every segment of playing, every tuning),
the offset all of the player's strings share at every segment (a guitar that gets warm), each
pitch's own error, what pressing adds, how far a pluck glides. A *pair* is a note and a
string it may have been played on.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from station.measure.rehearsal.heard import Segment, Strings, Tuned

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

NOTHING = 1e4  # weight of what is nothing by definition
MOST_CENTS = 40.0  # nearer to half a semitone nobody knows which note it was
FRETS = 22
FRET_WEIGHT = 6.0  # frets; lower ones are played more often (common practice, no source)
OPEN_WEIGHT = 2.0
OPEN_SCATTER = 0.6  # of what fretted notes scatter by: no hand presses an open string
FIXED_STEP_CENTS = 0.35
STEP_CENTS = 0.5  # a minute: what most strings drift by themselves
SHARED_STEP_CENTS = 1.0  # and all of them together
GLIDE_S = 0.25  # a note so long keeps a third of its pluck's glide in its pitch
GAP_STEP_CENTS = 1.0  # somebody may have tuned unheard


class Layout:
    """Lays out one player's notes. Raises nothing: strings without notes have knots all the same.

    Of each pair (all shape (pairs,)): ``note``, ``string`` (its place), ``off`` in cents from the
    string's target for that pitch, ``variance``, ``segment``, ``newest`` (of the last segment),
    ``scatter`` (of such notes, over that of fretted ones),
    ``usual`` (how probable the string is, before anything is known), ``place`` (the same for
    all pairs of one pitch and string, below ``places``).
    """

    def __init__(
        self, strings: Strings, segments: Sequence[Segment], tuned: Sequence[Tuned]
    ) -> None:
        self.numbers = strings.numbers
        self.strings = len(strings.numbers)
        self._segments = segments
        self.segments = len(segments)
        self._lay_knots(tuned)
        self._lay_pairs(strings)
        self._lay_sums()

    # -- knots ---------------------------------------------------------------------------

    def _lay_knots(self, tuned: Sequence[Tuned]) -> None:
        self.times: list[float] = []
        self.base: list[int] = []
        self.now: list[int] = []
        firsts: list[int] = []
        self._links: list[tuple[int, int]] = []
        sds: list[float] = []
        self._at: Ints = np.zeros((len(self._segments), self.strings), np.int64)
        marks: list[tuple[int, Tuned]] = []
        for place, number in enumerate(self.numbers):
            course: list[tuple[float, int | Tuned]] = [
                *((t.at_s, t) for t in tuned if t.string == number),
                *((0.5 * (s.began_s + s.ended_s), i) for i, s in enumerate(self._segments)),
            ]
            course.sort(key=lambda knot: knot[0])
            base = len(self.times)
            for step, (at_s, what) in enumerate(course):
                here = len(self.times)
                self.times.append(at_s)
                new = step == 0
                if isinstance(what, Tuned):
                    marks.append((here, what))
                    new |= what.moved
                else:
                    self._at[what, place] = here
                if new:
                    firsts.append(here)
                    base = here
                else:
                    self._links.append((here - 1, here))
                    sds.append(self._step_sd(at_s - course[step - 1][0], what))
            self.base.append(base)
            self.now.append(len(self.times) - 1)
        self.knots = len(self.times)
        self.firsts: Ints = np.array(firsts, np.int64)
        self._one: Ints = np.array([one for one, _ in self._links], np.int64)
        self._two: Ints = np.array([two for _, two in self._links], np.int64)
        self._sd: Floats = np.array(sds, np.float64)
        self.since_base = [
            min((g for g in range(self.segments) if self._at[g, s] >= base), default=0)
            for s, base in enumerate(self.base)
        ]
        self._lay_shared()
        self.tuned_knots: Ints = np.array([here for here, _ in marks], np.int64)
        self.tuned_cents: Floats = np.array([t.cents for _, t in marks], np.float64)
        self.tuned_variance: Floats = np.array([t.unsure**2 for _, t in marks], np.float64)

    def _lay_shared(self) -> None:
        """The course all strings share begins at nothing; each knot stands at one place of it."""
        middles = np.array([0.5 * (s.began_s + s.ended_s) for s in self._segments])
        self._shared: Ints = self.knots + np.searchsorted(middles, np.array(self.times), "right")
        minutes = np.diff(middles, prepend=min([self.times[0], float(middles[0])])) / 60.0
        sd = SHARED_STEP_CENTS * np.sqrt(np.maximum(0.1, minutes))
        self._shared_weight: Floats = 1.0 / sd**2
        self.courses = self.knots + middles.size + 1

    def total(self, values: Floats) -> Floats:
        """Each knot's offset, shared part included."""
        out: Floats = values[: self.knots] + values[self._shared]
        return out

    def drift_covariance(self, covariance: Floats) -> Floats:
        """Of the strings' offsets now less those at their bases, shape (strings, strings)."""
        rows = np.zeros((self.strings, covariance.shape[0]))
        each = np.arange(self.strings)
        now, base = np.array(self.now), np.array(self.base)
        for knot, sign in ((now, 1.0), (base, -1.0)):
            np.add.at(rows, (each, knot), sign)
            np.add.at(rows, (each, self._shared[knot]), sign)
        out: Floats = rows @ covariance @ rows.T
        return out

    def shared_steps(self, values: Floats) -> Floats:
        """Every step of the shared course over what is usual for it."""
        out: Floats = np.diff(values[self.knots : self.courses]) * np.sqrt(self._shared_weight)
        return out

    def add_tunings(self, matrix: Floats, right: Floats, weight: Floats) -> None:
        """What was heard of strings while they were tuned."""
        own, shared = self.tuned_knots, self._shared[self.tuned_knots]
        for one, two in ((own, own), (shared, shared), (own, shared), (shared, own)):
            np.add.at(matrix, (one, two), weight)
        np.add.at(right, own, weight * self.tuned_cents)
        np.add.at(right, shared, weight * self.tuned_cents)

    def _step_sd(self, seconds: float, what: int | Tuned) -> float:
        sd = math.hypot(FIXED_STEP_CENTS, STEP_CENTS * math.sqrt(max(0.0, seconds) / 60.0))
        if not isinstance(what, Tuned) and self._segments[what].gap_before:
            return max(sd, GAP_STEP_CENTS)
        return sd

    def steps(self, values: Floats) -> Floats:
        """Every step of a course over what is usual for it."""
        out: Floats = (values[self._two] - values[self._one]) / self._sd
        return out

    def add_links(self, matrix: Floats, weights: Floats) -> None:
        """Hold neighbouring knots together."""
        weight = weights / self._sd**2
        shared = np.arange(self.knots, self.courses - 1)
        matrix[self.knots, self.knots] += NOTHING
        one = np.concatenate((self._one, shared))
        two = np.concatenate((self._two, shared + 1))
        weight = np.concatenate((weight, self._shared_weight))
        np.add.at(matrix, (one, one), weight)
        np.add.at(matrix, (two, two), weight)
        np.add.at(matrix, (one, two), -weight)
        np.add.at(matrix, (two, one), -weight)

    def course_from(self, string: int, segment: int) -> slice:
        """The knots of a string from a segment on, until it is tuned again."""
        first = int(self._at[segment, string])
        later = self.firsts[self.firsts > first]
        end = int(later.min()) if later.size else self.knots
        return slice(first, end)

    def swapped(self, values: Floats, one: int, two: int, segment: int) -> Floats:
        """One string's course for the other's, from a segment on, until either is tuned again."""
        out = values.copy()
        ends = [self.course_from(string, segment).stop for string in (one, two)]
        for knots in self._at[segment:]:
            if knots[one] >= ends[0] or knots[two] >= ends[1]:
                break
            out[knots[one]], out[knots[two]] = values[knots[two]], values[knots[one]]
        return out

    def jumps(self, values: Floats, least_cents: float) -> list[tuple[tuple[int, int], float]]:
        """Where a string's course steps by so much: string, segment, and the step in cents."""
        where = {int(k): (s, g) for (g, s), k in np.ndenumerate(self._at)}
        out = []
        for one, two in self._links:
            step = float(values[two] - values[one])
            if abs(step) >= least_cents and two in where:
                out.append((where[two], step))
        return sorted(out, key=lambda each: -abs(each[1]))

    # -- notes ---------------------------------------------------------------------------

    def _lay_pairs(self, strings: Strings) -> None:
        midi: Floats = np.array([m for s in self._segments for m in s.midi], np.float64)
        unsure: Floats = np.array([u for s in self._segments for u in s.unsure], np.float64)
        length: Floats = np.array([x for s in self._segments for x in s.length], np.float64)
        counts = [len(s.midi) for s in self._segments]
        segment: Ints = np.repeat(np.arange(len(self._segments)), counts)
        own = midi[:, None] - np.array(strings.offset_cents) / 100.0
        pitch = np.rint(own)
        fret: Ints = (pitch - np.array(strings.midi, np.float64)).astype(np.int64)
        off = 100.0 * (own - pitch)
        possible: NDArray[np.bool_] = (fret >= 0) & (fret <= FRETS) & (np.abs(off) <= MOST_CENTS)
        note, string = np.nonzero(possible)
        self._notes: int = int(midi.size)
        self.note: Ints = note
        self.string: Ints = string
        self.off: Floats = off[possible]
        self.variance: Floats = (unsure**2)[note]
        self.segment: Ints = segment[note]
        self.newest: NDArray[np.bool_] = self.segment == len(self._segments) - 1
        self._fretted: Floats = (fret[possible] > 0).astype(np.float64)
        self._short: Floats = np.exp(-length / GLIDE_S)[note]
        self.scatter: Floats = np.where(self._fretted > 0, 1.0, OPEN_SCATTER)
        usual = np.exp(-fret[possible] / FRET_WEIGHT)
        usual *= np.where(fret[possible] == 0, OPEN_WEIGHT, 1.0)
        self.usual: Floats = usual / self.over_strings(usual)[note]
        self.possible_notes: NDArray[np.bool_] = possible.any(axis=1)
        pitches, place = np.unique(pitch[possible], return_inverse=True)
        self._pitch: Ints = place
        self._pitches = int(pitches.size)
        self._knot: Ints = self._at[self.segment, self.string]
        self.place: Ints = self._pitch * self.strings + self.string
        self.places: int = self._pitches * self.strings
        _, first = np.unique(self.place, return_index=True)
        self._first_of_place: Ints = first
        self.size: int = self.courses + self._pitches + 2

    def habit_log(self, prior: Floats) -> float:
        """The sum, over pitches and strings, of what is usual times the log of what is found."""
        first = self._first_of_place
        ratio = prior[first] / self.usual[first]
        return float(self.usual[first] @ np.log(np.maximum(ratio, 1e-12)))

    def over_strings(self, each: Floats) -> Floats:
        """Sums over the strings of every note, shape (notes,)."""
        return np.bincount(self.note, each, minlength=self._notes).astype(np.float64)

    def predicted(self, values: Floats) -> Floats:
        """What the unknowns make of every pair, in cents."""
        pitch = values[self.courses + self._pitch]
        out: Floats = self.total(values)[self._knot] + self._fretted * (pitch + values[-2])
        out += self._short * values[-1]
        return out

    # -- sums ------------------------------------------------------------------------------

    def _lay_sums(self) -> None:
        """Which entries of the normal equations each pair adds to."""
        size, knot, pitch = self.size, self._knot, self.courses + self._pitch
        shared = self._shared[self._knot]
        press, short = size - 2, size - 1
        # An open string has neither a fret's error nor a hand's: all notes of it hang together.
        ones, glide = np.ones(knot.size), self._short
        self._rows = [
            (knot, pitch, self._fretted),
            (knot, np.full(knot.size, press), self._fretted),
            (knot, np.full(knot.size, short), glide),
            (pitch, np.full(knot.size, press), self._fretted),
            (pitch, np.full(knot.size, short), self._fretted * glide),
            (np.full(knot.size, press), np.full(knot.size, short), self._fretted * glide),
            (knot, shared, ones),
            (shared, pitch, self._fretted),
            (shared, np.full(knot.size, press), self._fretted),
            (shared, np.full(knot.size, short), glide),
        ]
        self._flat = np.concatenate([one * size + two for one, two, _ in self._rows])
        self._gain: Floats = np.concatenate([gain for _, _, gain in self._rows])
        self._diagonal = np.concatenate((knot, pitch, np.full(knot.size, press), shared))
        self._diagonal_gain: Floats = np.concatenate((ones, self._fretted, self._fretted, ones))

    def normal(self, weight: Floats) -> tuple[Floats, Floats]:
        """Matrix and right side of the weighted normal equations of all pairs."""
        size = self.size
        weights = np.tile(weight, len(self._rows)) * self._gain
        upper = np.bincount(self._flat, weights, minlength=size * size).astype(np.float64)
        matrix: Floats = upper.reshape(size, size)
        matrix = matrix + matrix.T
        tripled = np.tile(weight, 4) * self._diagonal_gain
        diagonal = np.bincount(self._diagonal, tripled, minlength=size).astype(np.float64)
        diagonal[-1] = float(weight @ self._short**2)
        np.einsum("ii->i", matrix)[:] += diagonal
        pulled = tripled * np.tile(self.off, 4)
        right = np.bincount(self._diagonal, pulled, minlength=size).astype(np.float64)
        right[-1] = float((weight * self._short) @ self.off)
        return matrix, right
