"""The unknowns and the notes of a fit of courses (`course`), laid out for numpy.

The unknowns: each string's own offset at its *knots* (every segment of playing, every tuning),
the offset all of the player's strings share at every segment (a guitar that gets warm), each
pitch's own error, what pressing adds, how far a pluck glides. A *pair* is a note and a
string it may have been played on.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from station.measure.rehearsal.heard import GLIDE_S, Segment, Strings, Tuned

Floats = NDArray[np.floating[Any]]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

NOTHING = 1e4  # weight of what is nothing by definition
MOST_CENTS = 40.0  # nearer to half a semitone nobody knows which note it was
FRETS = 22
FRET_WEIGHT = 6.0  # frets; lower ones are played more often (common practice, no source)
FIXED_STEP_CENTS = 0.35
STEP_CENTS = 0.5  # a minute: what most strings drift by themselves
SHARED_STEP_CENTS = 1.0  # and all of them together
GAP_STEP_CENTS = 1.0  # somebody may have tuned unheard


class Normal(NamedTuple):
    """Normal equations: of courses, pressing and glide (``matrix``, ``right``), of every fret's
    own error (``frets`` is their diagonal, they have nothing in common), and between the two.
    """

    matrix: Floats
    right: Floats
    between: Floats
    frets: Floats
    frets_right: Floats


class Layout:
    """Lays out one player's notes. Raises nothing: strings without notes have knots all the same.

    Of each pair (all shape (pairs,)): ``note``, ``string`` (its place), ``off`` in cents from the
    string's target for that pitch, ``variance``, ``segment``, ``newest`` (of the last segment),
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
        self._lay_links()
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
        """The course all strings share: straight from each segment's end to the next one's."""
        ends = [s.ended_s for s in self._segments]
        begin = min([*self.times, self._segments[0].began_s])
        self._ends: Floats = np.maximum.accumulate([begin, *ends])
        minutes = np.diff(self._ends) / 60.0
        sd = SHARED_STEP_CENTS * np.sqrt(np.maximum(0.1, minutes))
        self._shared_weight: Floats = 1.0 / sd**2
        self.courses = self.knots + self._ends.size
        times = np.array(self.times)
        times[self.now] = self._ends[-1]  # what is asked for is where it got to
        self._shared, self._along = self._place(times)

    def _place(self, times: Floats) -> tuple[Ints, Floats]:
        """Where times lie on the shared course: the unknown before, and how far to the next."""
        at: Ints = np.searchsorted(self._ends[1:-1], times, "left")
        whole = np.maximum(1e-3, self._ends[at + 1] - self._ends[at])
        return self.knots + at, np.clip((times - self._ends[at]) / whole, 0.0, 1.0)

    def total(self, values: Floats) -> Floats:
        """Each knot's offset, shared part included."""
        before, after = values[self._shared], values[self._shared + 1]
        out: Floats = values[: self.knots] + before + self._along * (after - before)
        return out

    def drift_covariance(self, covariance: Floats) -> Floats:
        """Of the strings' offsets now less those at their bases, shape (strings, strings)."""
        rows = np.zeros((self.strings, covariance.shape[0]))
        each = np.arange(self.strings)
        now, base = np.array(self.now), np.array(self.base)
        for knot, sign in ((now, 1.0), (base, -1.0)):
            np.add.at(rows, (each, knot), sign)
            np.add.at(rows, (each, self._shared[knot]), sign * (1.0 - self._along[knot]))
            np.add.at(rows, (each, self._shared[knot] + 1), sign * self._along[knot])
        out: Floats = rows @ covariance @ rows.T
        return out

    def shared_steps(self, values: Floats) -> Floats:
        """Every step of the shared course over what is usual for it."""
        out: Floats = np.diff(values[self.knots : self.courses]) * np.sqrt(self._shared_weight)
        return out

    def add_tunings(self, matrix: Floats, right: Floats, weight: Floats) -> None:
        """What was heard of strings while they were tuned."""
        own = self.tuned_knots
        shared, along = self._shared[own], self._along[own]
        parts = ((own, np.ones(own.size)), (shared, 1.0 - along), (shared + 1, along))
        for one, gain in parts:
            for two, other in parts:
                np.add.at(matrix, (one, two), weight * gain * other)
            np.add.at(right, one, weight * gain * self.tuned_cents)

    def _step_sd(self, seconds: float, what: int | Tuned) -> float:
        sd = math.hypot(FIXED_STEP_CENTS, STEP_CENTS * math.sqrt(max(0.0, seconds) / 60.0))
        if not isinstance(what, Tuned) and self._segments[what].gap_before:
            return max(sd, GAP_STEP_CENTS)
        return sd

    def steps(self, values: Floats) -> Floats:
        """Every step of a course over what is usual for it."""
        out: Floats = (values[self._two] - values[self._one]) / self._sd
        return out

    def add_links(self, matrix: Floats, weights: Floats, shared: Floats) -> None:
        """Hold neighbouring knots together; where a course begins by definition, at nothing."""
        weight = np.concatenate((weights / self._sd**2, shared * self._shared_weight))
        size = matrix.shape[0]
        added = np.concatenate((weight, weight, -weight, -weight))
        matrix += sums(self._linked, added, size * size).reshape(size, size)
        matrix[self.knots, self.knots] += NOTHING

    def _lay_links(self) -> None:
        shared = np.arange(self.knots, self.courses - 1)
        one = np.concatenate((self._one, shared))
        two = np.concatenate((self._two, shared + 1))
        rows, columns = np.concatenate((one, two, one, two)), np.concatenate((one, two, two, one))
        self._linked: Ints = rows * self.core + columns

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
        at: Floats = np.array([t for s in self._segments for t in s.at], np.float64)
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
        self.fretted: Floats = (fret[possible] > 0).astype(np.float64)
        self._short: Floats = np.exp(-length / GLIDE_S)[note]
        usual = np.exp(-fret[possible] / FRET_WEIGHT)
        self.usual: Floats = usual / self.over_strings(usual)[note]
        self.possible_notes: NDArray[np.bool_] = np.any(possible, axis=1)
        _, kind = np.unique(pitch[possible], return_inverse=True)
        self._knot: Ints = self._at[self.segment, self.string]
        before, beyond = self._place(at)
        self._before: Ints = before[note]
        self._beyond: Floats = beyond[note]
        # Every fret of every string has an error of its own.
        _, first, place = np.unique(
            kind * self.strings + self.string, return_index=True, return_inverse=True
        )
        self.place: Ints = place
        self.places: int = int(first.size)
        self._first_of_place: Ints = first
        self.core: int = self.courses + 2

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
        error = values[self.courses + self.place]
        before, after = values[self._before], values[self._before + 1]
        out: Floats = values[self._knot] + before + self._beyond * (after - before)
        out += self.fretted * (error + values[-2])
        out += self._short * values[-1]
        return out

    # -- sums ------------------------------------------------------------------------------

    def _lay_sums(self) -> None:
        """Which entries of the normal equations each pair adds to, and how much of its weight."""
        core, count = self.core, self._knot.size
        # An open string has neither a fret's error nor a hand's: all notes of it hang together.
        columns: list[tuple[Ints, Floats]] = [
            (self._knot, np.ones(count)),
            (self._before, 1.0 - self._beyond),
            (self._before + 1, self._beyond),
            (np.full(count, core - 2), self.fretted),
            (np.full(count, core - 1), self._short),
        ]
        flat: list[Ints] = []
        gain: list[Floats] = []
        for i, one in enumerate(columns):
            for two in columns[i:]:
                # Half of each diagonal entry: the matrix is added to its own transpose.
                half = 0.5 if one is two else 1.0
                flat.append(one[0] * core + two[0])
                gain.append(half * one[1] * two[1])
            flat.append(core * core + one[0] * self.places + self.place)
            gain.append(one[1] * self.fretted)
        self._flat: Ints = np.concatenate(flat)
        self._gain: Floats = np.array(gain)
        self._columns: Ints = np.concatenate([column for column, _ in columns])
        self._column_gain: Floats = np.array([gain for _, gain in columns])

    def normal(self, weight: Floats) -> Normal:
        """The weighted normal equations of all pairs."""
        core = self.core
        added = (self._gain * weight).ravel()
        both = sums(self._flat, added, core * (core + self.places))
        half, mixed = both[: core * core].reshape(core, core), both[core * core :]
        pulled = weight * self.off
        return Normal(
            half + half.T,
            sums(self._columns, (self._column_gain * pulled).ravel(), core),
            mixed.reshape(core, self.places),
            sums(self.place, weight * self.fretted, self.places),
            sums(self.place, pulled * self.fretted, self.places),
        )


def sums(places: Ints, each: Floats, size: int) -> Floats:
    """What falls on each place, added up."""
    return np.asarray(np.bincount(places, each, minlength=size), np.float64)
