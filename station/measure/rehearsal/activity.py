"""Playing, a gap between songs, or tuning: what a band is doing, from all its lines.

Every quarter of a second each line is played or not (`loudness`), and if so by somebody who
tunes or not (`tuning_like`). The share of the lines on which somebody plays a song speaks for
playing or against it; the band plays, or not, in the way for which most evidence speaks in
all, each change costing some of it (two-state Viterbi, which for the newest change is Page's
cumulative sum: E. S. Page 1954, Continuous inspection schemes, Biometrika 41). So a stop of two
seconds is no gap, and a gap that was found began when the last chord died away, not when it was
noticed. What happened in the last half minute is judged again with what is known since.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from station.measure.levels import INTERVAL_S
from station.measure.rehearsal.one_line import (
    VOICED_FIRST_S,
    VOICED_MEMORY_S,
    VOICED_WITHIN_S,
    Line,
    LineState,
    line_shares,
    line_state,
)
from station.measure.rehearsal.played import Struck
from station.measure.rehearsal.room_sound import of_the_room
from station.measure.rehearsal.tuning_like import tuning_share
from station.measure.types import Gap, Level, Note, Reading

State = Literal["not known", "playing", "gap"]

WINDOW_S = 40.0
CONTEXT_S = 6.0  # before the window: what is judged is judged with what it followed on
JUDGED_FRAMES = 4  # once a second
LATE_FRAMES = 2  # a line's level may come so much later than another's
INTO_GAP = 7.5  # evidence, in twice seconds of silence: 3.75 s
INTO_PLAYING = 4.5  # and of all lines at once: 2.25 s
STEEPNESS = 4.4  # a quarter of the lines speaks for playing hardly more than for none
ONE_ALONE = 0.12  # a song's quiet passage, its first bars, or somebody who tries a riff
DRUMS_ALONE = -0.3  # counting in, applause in the kit's microphones, a drummer between songs
LINES_MEMORY_S = 240.0
LINES_PRIOR_S = 10.0
SILENT_S = 5.0  # without any level from any line nothing is known


@dataclass(frozen=True, slots=True)
class Span:
    """A stretch of time in which the band played, or did not."""

    state: State
    began_s: float
    ended_s: float


class Activity:
    """The band's activity. Times are seconds of the lines' common stream."""

    def __init__(self) -> None:
        self._lines: dict[int, Line] = {}
        self._size = round((WINDOW_S + CONTEXT_S) / INTERVAL_S)
        self._next: int | None = None
        self._newest = -1
        self._base: State = "not known"
        self._usual: dict[int, float] = {}
        self._done: list[Span] = []  # what has left the window
        self._path: list[State] = []  # each frame in it, from frame `_first` on
        self._first = 0

    def set_lines(self, lines: Mapping[int, tuple[bool, Sequence[float]]]) -> None:
        """Which lines are played on: whether each one's pitch is measured, its open strings' Hz."""
        self._lines = {line: self._lines.get(line) or self._new_line() for line in lines}
        for line, (pitched, opens_hz) in lines.items():
            self._lines[line].pitched, self._lines[line].opens_hz = pitched, tuple(opens_hz)
        for count in range(1, len(lines) + 1):
            self._usual.setdefault(count, 0.0)
        if not any(self._usual.values()) and lines:
            self._usual[len(lines)] = LINES_PRIOR_S / INTERVAL_S

    def _new_line(self) -> Line:
        size = max((len(line.active) for line in self._lines.values()), default=0)
        return Line(
            True,
            active=deque([False] * size),
            notes=deque([None] * size),
            levels=deque([-math.inf] * size),
        )

    @property
    def state(self) -> State:
        """What the band is doing."""
        return self._path[-1] if self._path else "not known"

    @property
    def since_s(self) -> float | None:
        """Since when."""
        return self.spans()[-1].began_s if self._path else None

    @property
    def newest_s(self) -> float:
        """The end of the newest level that was weighed."""
        return 0.0 if self._next is None else self._next * INTERVAL_S

    def spans(self) -> list[Span]:
        """Playing and gaps, oldest first, without a break; the last goes on, or is revised yet."""
        return _joined(self._done, _as_spans(self._path, self._first))

    def line_states(self) -> dict[int, LineState]:
        """What is done on each line now."""
        return {line: each.state for line, each in self._lines.items()}

    def state_at(self, at_s: float, margin_s: float) -> State:
        """What the band did then, as it is known now; not known nearer than that to a change."""
        spans = self.spans()
        for span in reversed(spans):
            if span.began_s <= at_s:
                last = span is spans[-1] or at_s <= span.ended_s - margin_s
                return span.state if last and at_s >= span.began_s + margin_s else "not known"
        return "not known"

    def tuning_share(self, struck: Struck) -> float:
        """How probable it is that a note is of somebody tuning; 0 of one no longer kept."""
        line = self._lines.get(struck.line)
        if line is None:
            return 0.0
        notes = list(line.strikes.notes)
        place = next((place for place, each in enumerate(notes) if each is struck), None)
        if place is None:
            return 0.0
        return tuning_share(notes, place, line.opens_hz, self._others(struck.line))

    def hear_pitch(self, heard: Reading | Note) -> Struck | None:
        """Take a reading or a note; which note of its line it belongs to."""
        line = self._lines.get(heard.line)
        return None if line is None else line.strikes.hear(heard)

    def hear(self, heard: Level | Gap) -> bool:
        """Take a level, or word of lost samples; whether the band's state was judged anew."""
        line = self._lines.get(heard.line)
        if line is None:
            return False
        if isinstance(heard, Gap):
            line.strikes.forget()
            return False
        if not (math.isfinite(heard.at_s) and math.isfinite(heard.rms_dbfs)):
            return False
        frame = round(heard.at_s / INTERVAL_S) - 1
        if self._next is not None and frame < self._next:
            return False
        if self._next is None or frame - self._newest > SILENT_S / INTERVAL_S:
            self._start_at(frame)
        line.waiting[frame] = _loudness_of(heard, line.pitched)
        self._newest = max(self._newest, frame)
        return self._weigh_what_is_due()

    # -- frames ------------------------------------------------------------------------

    def _start_at(self, frame: int) -> None:
        """Nothing was heard for a while, or ever: begin with this frame."""
        self._done = self.spans()
        self._next = self._newest = self._first = frame
        self._base, self._path = "not known", []
        for line in self._lines.values():
            line.waiting.clear()
            line.active.clear()
            line.notes.clear()
            line.levels.clear()

    def _weigh_what_is_due(self) -> bool:
        judged = False
        while self._next is not None and self._is_due(self._next):
            for line in self._lines.values():
                self._enter(line, self._next)
            self._next += 1
            self._count_lines()
            if self._next % JUDGED_FRAMES == 0:
                self._judge()
                judged = True
        return judged

    def _is_due(self, frame: int) -> bool:
        if frame > self._newest:
            return False
        all_here = all(frame in line.waiting for line in self._lines.values())
        return all_here or self._newest - frame >= LATE_FRAMES

    def _enter(self, line: Line, frame: int) -> None:
        rms_dbfs = line.waiting.pop(frame, None)
        begin_s = frame * INTERVAL_S
        struck = line.strikes.sounding(begin_s, begin_s + INTERVAL_S) if line.pitched else None
        active = False
        if rms_dbfs is not None:
            line.loudness.hear(rms_dbfs, INTERVAL_S)
            stroke_dbfs = None
            if struck is not None:
                struck.loudest_dbfs = max(struck.loudest_dbfs, rms_dbfs)
                stroke_dbfs = struck.loudest_dbfs
            active = line.loudness.played(rms_dbfs, stroke_dbfs)
        line.active.append(active)
        line.notes.append(struck)
        line.levels.append(-math.inf if rms_dbfs is None else rms_dbfs)
        if len(line.active) > self._size:
            line.active.popleft()
            line.notes.popleft()
            line.levels.popleft()
        if active and line.pitched and self.state == "playing":
            line.played_s += INTERVAL_S
            if struck is not None:
                line.learn_level(line.levels[-1])
            # The first song tells quickly, the later ones slowly.
            memory_s = min(VOICED_MEMORY_S, VOICED_FIRST_S + line.played_s)
            share = INTERVAL_S / memory_s
            voiced = line.strikes.sounding(begin_s - VOICED_WITHIN_S, begin_s + INTERVAL_S)
            line.voiced += share * ((voiced is not None) - line.voiced)

    def _count_lines(self) -> None:
        """Remember how many lines are usually played at once."""
        count = sum(line.active[-1] for line in self._lines.values())
        if count:
            fade = 1.0 - INTERVAL_S / LINES_MEMORY_S
            for each in self._usual:
                self._usual[each] *= fade
            self._usual[count] += 1.0

    def usual_lines(self) -> float:
        """How many lines are played at once when many are: the 80th percentile."""
        half = 0.8 * sum(self._usual.values())
        for count, weight in sorted(self._usual.items()):
            half -= weight
            if half <= 0:
                return float(count)
        return float(max(1, len(self._lines)))

    # -- evidence ----------------------------------------------------------------------

    def _judge(self) -> None:
        size = max((len(line.active) for line in self._lines.values()), default=0)
        playing, voices, count = [0.0] * size, [0.0] * size, [0] * size
        told = [line_shares(line, self._others(number)) for number, line in self._lines.items()]
        lines = list(self._lines.values())
        rooms = of_the_room(lines, _song_notes(lines, told, size))
        for line, shares, room in zip(lines, told, rooms, strict=True):
            for i, (plays, _) in enumerate(shares):
                if room[i]:
                    continue
                playing[i] += plays
                voices[i] += plays if line.pitched else 0.0
                count[i] += plays > 0.5
            line.state = line_state(shares)
        usual = self.usual_lines()
        evidence = [_evidence(*each, usual) for each in zip(playing, voices, count, strict=True)]
        assert self._next is not None
        judged = evidence[-round(WINDOW_S / INTERVAL_S) :]
        self._follow(judged, self._next - len(judged))

    def _others(self, line: int) -> list[list[float]]:
        """When each other line was struck, as far back as the window goes."""
        since_s = self.newest_s - WINDOW_S - CONTEXT_S - 5.0
        return [
            [note.onset_s for note in other.strikes.notes if note.onset_s >= since_s]
            for number, other in self._lines.items()
            if number != line
        ]

    def _follow(self, evidence: list[float], first: int) -> None:
        """The likeliest course through the window; what has left it is settled."""
        left = max(0, first - self._first)
        if self._path and left:
            settled = self._path[:left]
            self._done = _joined(self._done, _as_spans(settled, self._first))
            self._base = settled[-1]
        self._first = first
        self._path = likeliest(evidence, self._base)


def _song_notes(
    lines: Sequence[Line], shares: Sequence[Sequence[tuple[float, float]]], size: int
) -> list[bool]:
    """For each frame whether a note that is more probably one of a song sounds on any line."""
    return [
        any(
            line.notes[i] is not None and told[i][0] > 0.5
            for line, told in zip(lines, shares, strict=True)
        )
        for i in range(size)
    ]


def _evidence(playing: float, voices: float, count: int, usual: float) -> float:
    """From -1, nobody plays, to 1, as many as usual do.

    `playing` is how many lines are played, `voices` how many of those have pitch, `count` how
    many are played more probably than not, `usual` how many are when many are.
    """
    value = min(1.0, STEEPNESS * playing / usual - 1.0)
    if count > 1 or usual < 2.5:
        return value
    return min(value, ONE_ALONE if voices > 0.5 else DRUMS_ALONE)


def likeliest(evidence: Sequence[float], base: State) -> list[State]:
    """For each frame "playing" or "gap"; `base` is the state before, at no cost if not known."""
    unit = 2.0 * INTERVAL_S
    play = 0.0 if base != "gap" else -INTO_PLAYING
    rest = 0.0 if base != "playing" else -INTO_GAP
    came: list[tuple[bool, bool]] = []  # whether each of the two was the other one before
    for value in evidence:
        into_play, into_rest = rest - INTO_PLAYING > play, play - INTO_GAP > rest
        play, rest = (
            (rest - INTO_PLAYING if into_play else play) + unit * value / 2.0,
            (play - INTO_GAP if into_rest else rest) - unit * value / 2.0,
        )
        came.append((into_play, into_rest))
    playing = play > rest
    path: list[State] = []
    for into_play, into_rest in reversed(came):
        path.append("playing" if playing else "gap")
        playing = playing != (into_play if playing else into_rest)
    return path[::-1]


def _loudness_of(level: Level, pitched: bool) -> float:
    """A string's sound lasts; of a drum's stroke a quarter second's mean tells too little."""
    if pitched or not math.isfinite(level.peak_dbfs):
        return level.rms_dbfs
    return 0.5 * (level.rms_dbfs + level.peak_dbfs)


def _joined(before: list[Span], after: list[Span]) -> list[Span]:
    """Two courses, one after the other, the same state on both sides made one span."""
    if not (before and after):
        return [*before, *after]
    last, first = before[-1], after[0]
    if last.state != first.state or first.began_s > last.ended_s:
        return [*before, *after]
    return [*before[:-1], Span(last.state, last.began_s, first.ended_s), *after[1:]]


def _as_spans(path: list[State], first: int) -> list[Span]:
    spans, begin = [], 0
    for i in range(1, len(path) + 1):
        if i == len(path) or path[i] != path[begin]:
            spans.append(Span(path[begin], (first + begin) * INTERVAL_S, (first + i) * INTERVAL_S))
            begin = i
    return spans
