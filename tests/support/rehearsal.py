"""A rehearsal as it truly is: songs, breaks, drifting strings, gaps with talk and tuning; seeded.

Four invented players: a guitar that plays riffs, arpeggios and chords (line 1), a guitar that
plays lead with bends, slides and vibrato (line 2), a bass (line 3) and drums (line 4). What they
do is a list of `Stroke`; `rehearsal_sound` makes sound of it, `rehearsal_events` what the
engine would say. Frets sharpen by a few cents, differently on each player's instrument, and
nobody presses twice alike. Sizes are common practice, no source, where nothing is said.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

import numpy as np

from station.room.model import Player

GUITAR_MIDI = (64, 59, 55, 50, 45, 40)
BASS_MIDI = (43, 38, 33, 28)
"""Open strings, string 1 first."""
BENT = ("bend", "pre-bend", "slide", "vibrato")
TALL_CENTS = 6.0  # a drift that must be named
SMALL_CENTS = 4.0  # a drift that must not be
MIN_STROKES = 12  # on a string since it moved: with fewer nobody could know

PLAYERS = (
    Player("wren", "Wren", "guitar", line=1),
    Player("isolde", "Isolde", "guitar", line=2),
    Player("odell", "Odell", "bass", line=3),
    Player("tamsin", "Tamsin", "drum-kit", line=4),
)
STRINGED = {"wren": GUITAR_MIDI, "isolde": GUITAR_MIDI, "odell": BASS_MIDI}


@dataclass(frozen=True)
class Stroke:
    """One string struck, or all of a chord's at once with the same `at_s`.

    `cents` is how far the settled pitch stands from the note `midi`; `amount` is what a
    bend or vibrato adds at most, where a slide comes from, how far a peg is turned.
    """

    line: int
    at_s: float
    until_s: float
    string: int
    midi: int
    cents: float
    level: float
    kind: str = "plain"
    amount: float = 0.0
    chord: bool = False
    ring_s: float = 1.2

    def trace(self, t: np.ndarray) -> np.ndarray:
        """Cents from `midi` at `t` seconds after the stroke, without the pluck's glide."""
        added = np.zeros_like(t)
        if self.kind == "bend":
            added = self.amount * np.clip((t - 0.08) / 0.18, 0.0, 1.0)
        elif self.kind == "pre-bend":
            added = np.full_like(t, self.amount)
        elif self.kind == "slide":
            added = self.amount * (1.0 - np.clip((t - 0.05) / 0.12, 0.0, 1.0))
        elif self.kind == "vibrato":
            sway = np.sin(np.pi * 5.5 * np.maximum(0.0, t - 0.1)) ** 2  # upward only: it stretches
            added = self.amount * sway
        elif self.kind == "peg":
            added = self.amount * np.clip((t - 0.8) / 0.6, 0.0, 1.0)
        return self.cents + added


@dataclass(frozen=True)
class Noise:
    """Talk or applause, `level` at the microphones, or a drummer's stroke on line 4."""

    kind: str  # "talk", "applause", "kick", "snare", "hat", "tom", "sticks"
    at_s: float
    until_s: float
    level: float


@dataclass
class StringTruth:
    """One string: when tuned and how well, its slips, its own rate in cents a minute."""

    tuned: list[tuple[float, float]]
    rate: float
    slips: list[tuple[float, float]] = field(default_factory=list)

    def since(self, now_s: float) -> tuple[float, float]:
        """When it was last tuned by `now_s`, and what was left then."""
        return max(t for t in self.tuned if t[0] <= now_s)

    def own(self, now_s: float) -> float:
        """Its own drift since then."""
        at_s = self.since(now_s)[0]
        slipped = sum(cents for t, cents in self.slips if at_s < t <= now_s)
        return slipped + self.rate * (now_s - at_s) / 60.0


@dataclass
class Rehearsal:
    """All that happens, and the truth of it."""

    length_s: float
    songs: list[tuple[float, float]]
    strokes: list[Stroke]
    noises: list[Noise]
    strings: dict[tuple[str, int], StringTruth]
    common: Callable[[float], float]
    floor: tuple[float, ...]  # rms of each line's hiss
    bleed: tuple[float, ...]  # of the drums and of talk in each line

    @property
    def gaps(self) -> list[tuple[float, float]]:
        """Between two songs, and after the last."""
        ends = [*(song[0] for song in self.songs[1:]), self.length_s]
        return [(song[1], until) for song, until in zip(self.songs, ends, strict=True)]

    def offset(self, player: str, string: int, now_s: float) -> float:
        """Cents from its target."""
        truth = self.strings[player, string]
        at_s, left = truth.since(now_s)
        return left + truth.own(now_s) + self.common(now_s) - self.common(at_s)

    def known(self, player: str, string: int, song: int) -> bool:
        """Whether the string was played enough, as it is now, for anybody to know."""
        begin, end = self.songs[song]
        truth = self.strings[player, string]
        moved = [t for t, _ in (*truth.slips, *truth.tuned) if t <= end]
        line = list(STRINGED).index(player) + 1
        played = [
            s
            for s in self.strokes
            if s.line == line and s.string == string and s.kind == "plain" and not s.chord
        ]
        fresh = [s for s in played if max([*moved, begin - 1.0]) < s.at_s < end]
        return len(fresh) >= MIN_STROKES


def make_rehearsal(
    seed: int,
    songs: int = 8,
    song_s: float = 115.0,
    gap_s: tuple[float, float] = (14.0, 42.0),
    common_cents: float | None = None,
) -> Rehearsal:
    """A rehearsal of so many songs of about `song_s`; drifts, gaps and playing by the seed."""
    return _Maker(np.random.default_rng(seed), songs, song_s, gap_s, common_cents).make()


class _Maker:
    def __init__(
        self,
        rng: np.random.Generator,
        songs: int,
        song_s: float,
        gap_s: tuple[float, float],
        common_cents: float | None,
    ) -> None:
        self.rng, self.count, self.song_s, self.gap_s = rng, songs, song_s, gap_s
        whole_s = songs * (song_s + float(np.mean(gap_s)))
        most = rng.uniform(-9.0, 9.0) if common_cents is None else common_cents
        # A room that warms up: fast at first.
        self.common = lambda t: float(most * (1 - np.exp(-2.0 * t / whole_s)) / (1 - np.exp(-2.0)))
        self.strings = {
            (player, number): StringTruth(
                [(0.0, float(rng.normal(0, 0.7)))], float(rng.normal(0, 0.08))
            )
            for player, midis in STRINGED.items()
            for number in range(1, len(midis) + 1)
        }
        # What all strings do is the common drift, by definition.
        mean = float(np.mean([truth.rate for truth in self.strings.values()]))
        for truth in self.strings.values():
            truth.rate -= mean
        self.press = {player: rng.uniform(0.5, 4.5) for player in STRINGED}
        self.place = {player: rng.normal(0, 1.0, (7, 25)) for player in STRINGED}
        self.gain = dict(zip(STRINGED, rng.uniform(0.06, 0.35, 3), strict=True))
        self.strokes: list[Stroke] = []
        self.noises: list[Noise] = []

    def make(self) -> Rehearsal:
        rng, songs = self.rng, []
        now_s = self._tune_all(float(rng.uniform(5.0, 9.0)))
        for number in range(self.count):
            begin, end = now_s, now_s + self.song_s * float(rng.uniform(0.8, 1.2))
            self._let_slip(begin, end)
            songs.append(self._song(begin, end))
            last = songs[-1][1]
            now_s = self._gap(last, last + float(rng.uniform(*self.gap_s)), number)
        floor = tuple(10 ** rng.uniform(-4.3, -3.6, 4))
        bleed = (10 ** rng.uniform(-1.7, -1.2), 0.0, 10 ** rng.uniform(-2.2, -1.5), 1.0)
        self.strokes.sort(key=lambda stroke: stroke.at_s)
        self.noises.sort(key=lambda noise: noise.at_s)
        return Rehearsal(
            now_s, songs, self.strokes, self.noises, self.strings, self.common, floor, bleed
        )

    # -- what drifts ---------------------------------------------------------------

    def _let_slip(self, begin: float, end: float) -> None:
        for truth in self.strings.values():
            if self.rng.random() < 0.09:
                size = self.rng.choice([-1.0, -1.0, -1.0, 1.0]) * self.rng.uniform(6.5, 20.0)
                at_s = float(self.rng.uniform(begin, begin + 0.6 * (end - begin)))
                truth.slips.append((at_s, float(size)))

    def _offset(self, player: str, string: int, now_s: float) -> float:
        truth = self.strings[player, string]
        at_s, left = truth.since(now_s)
        return left + truth.own(now_s) + self.common(now_s) - self.common(at_s)

    # -- what is played -------------------------------------------------------------

    def _strike(
        self,
        player: str,
        at_s: float,
        until_s: float,
        string: int,
        fret: int,
        kind: str = "plain",
        amount: float = 0.0,
        loud: float = 1.0,
        chord: bool = False,
    ) -> None:
        fretted = 0.0
        if fret:
            place = self.place[player][string, fret]
            fretted = self.press[player] + place + self.rng.normal(0, 1.2)
        cents = self._offset(player, string, at_s) + fretted + self.rng.normal(0, 0.3)
        midi = STRINGED[player][string - 1] + fret
        line = list(STRINGED).index(player) + 1
        level = self.gain[player] * loud * float(self.rng.uniform(0.7, 1.3))
        ring = 2.0 if player == "odell" else 1.2
        self.strokes.append(
            Stroke(
                line, at_s, until_s, string, midi, float(cents), level, kind, amount, chord, ring
            )
        )

    def _song(self, begin: float, end: float) -> tuple[float, float]:
        """Play from `begin` to about `end`: after counting in, until the last chord has died."""
        rng = self.rng
        beat = 60.0 / float(rng.uniform(80, 150))
        counted = begin + 4 * beat
        for n in range(4):
            self.noises.append(Noise("sticks", begin + n * beat, 0.0, 0.3))
        bars = max(8, round((end - counted) / (4 * beat)))
        alone = set(range(2)) if rng.random() < 0.4 else set()  # an intro of one guitar
        no_drums = set(range(bars // 2, bars // 2 + 3)) if rng.random() < 0.5 else set()
        stop = int(rng.integers(bars // 4, bars - 4)) if rng.random() < 0.7 else -1
        for bar in range(bars):
            at_s = counted + bar * 4 * beat
            loud = 0.35 if bar % 16 in range(4, 8) else 1.0
            beats = 2 if bar == stop else 4  # a stop of half a bar
            self._riffs(at_s, beat, beats, bar, loud)
            if bar in alone:
                continue
            self._lead(at_s, beat, beats, loud)
            self._bass(at_s, beat, beats, loud)
            if bar not in no_drums:
                self._drums(at_s, beat, beats, loud)
        return counted, self._last_chord(counted + bars * 4 * beat)

    def _last_chord(self, at_s: float) -> float:
        ring_s = float(self.rng.uniform(0.8, 2.4))
        for player, string in (("wren", 6), ("wren", 5), ("isolde", 5), ("odell", 4)):
            self._strike(player, at_s, at_s + ring_s, string, 3, chord=player == "wren")
        self.noises += [Noise("kick", at_s, 0.0, 0.5), Noise("snare", at_s, 0.0, 0.4)]
        return at_s + ring_s

    def _riffs(self, at_s: float, beat: float, beats: int, bar: int, loud: float) -> None:
        rng = self.rng
        kind = (bar // 4) % 3
        if kind == 2:  # chords: power chords on the lower strings
            for n in range(beats):
                root = int(rng.choice([6, 5]))
                fret = int(rng.integers(0, 6))
                for string, up in ((root, 0), (root - 1, 2), (root - 2, 2)):
                    begin = at_s + n * beat
                    self._strike(
                        "wren",
                        begin,
                        begin + 0.93 * beat,
                        string,
                        fret + up,
                        "plain",
                        0.0,
                        0.6 * loud,
                        True,
                    )
            return
        for n in range(2 * beats):
            begin = at_s + n * beat / 2
            string = int(rng.integers(1, 7)) if kind else int(rng.choice([6, 5, 4]))
            fret = int(rng.choice([0, 0, 1, 2, 2, 3, 3, 4, 5]))
            hold = beat / 2 * (0.95 if rng.random() < 0.8 else 0.5)
            self._strike("wren", begin, begin + hold, string, fret, loud=loud)

    def _lead(self, at_s: float, beat: float, beats: int, loud: float) -> None:
        rng, now = self.rng, 0.0
        while now < beats - 0.1:
            length = float(rng.choice([0.5, 0.5, 1.0, 1.0, 2.0]))
            length = min(length, beats - now)
            if rng.random() > 0.12:
                string, fret = int(rng.integers(1, 7)), int(rng.integers(0, 10))
                kind, amount = self._ornament(length * beat, fret)
                begin = at_s + now * beat
                self._strike(
                    "isolde", begin, begin + 0.94 * length * beat, string, fret, kind, amount, loud
                )
            now += length

    def _ornament(self, length_s: float, fret: int) -> tuple[str, float]:
        rng = self.rng
        chance = rng.random()
        if fret == 0 or length_s < 0.3 or chance > 0.34:
            return "plain", 0.0
        if chance < 0.12:
            return "bend", float(rng.choice([50.0, 100.0, 200.0]) + rng.normal(0, 12))
        if chance < 0.15:
            return "pre-bend", float(rng.choice([100.0, 200.0]) + rng.normal(3, 10))
        if chance < 0.22:
            return "slide", float(rng.choice([-200.0, -100.0, 200.0]))
        return "vibrato", float(rng.uniform(15.0, 50.0))

    def _bass(self, at_s: float, beat: float, beats: int, loud: float) -> None:
        rng = self.rng
        step = 0.5 if rng.random() < 0.5 else 1.0
        root = int(rng.integers(1, 5))
        for n in range(round(beats / step)):
            begin = at_s + n * step * beat
            string = root if rng.random() < 0.6 else int(rng.integers(1, 5))
            fret = int(rng.choice([0, 1, 2, 3, 3, 5, 5, 7]))
            slide = fret > 2 and step == 1.0 and rng.random() < 0.06
            self._strike(
                "odell",
                begin,
                begin + 0.92 * step * beat,
                string,
                fret,
                "slide" if slide else "plain",
                -200.0 if slide else 0.0,
                loud,
            )

    def _drums(self, at_s: float, beat: float, beats: int, loud: float) -> None:
        for n in range(2 * beats):
            begin = at_s + n * beat / 2 + float(self.rng.normal(0, 0.006))
            self.noises.append(Noise("hat", begin, 0.0, 0.10 * loud))
            if n % 4 == 0:
                self.noises.append(Noise("kick", begin, 0.0, 0.5 * loud))
            if n % 4 == 2:
                self.noises.append(Noise("snare", begin, 0.0, 0.4 * loud))

    # -- what is done in a gap ----------------------------------------------------------

    def _gap(self, begin: float, end: float, number: int) -> float:
        rng = self.rng
        if rng.random() < 0.5:
            until = begin + 0.4 + float(rng.uniform(2.0, 5.0))
            self.noises.append(
                Noise("applause", begin + 0.4, until, float(rng.uniform(0.01, 0.03)))
            )
        now = begin + float(rng.uniform(0.5, 3.0))
        while now < end - 2.0:
            until = min(end - 1.0, now + float(rng.uniform(1.0, 6.0)))
            self.noises.append(Noise("talk", now, until, float(rng.uniform(0.003, 0.012))))
            now = until + float(rng.uniform(0.5, 6.0))
        done = end
        for player in STRINGED:
            if rng.random() < 0.45:
                done = max(done, self._tune(player, begin + float(rng.uniform(1.0, 5.0))))
            elif rng.random() < 0.2 and end - begin > 18.0:
                self._noodle(player, begin + float(rng.uniform(4.0, 9.0)))
        if rng.random() < 0.25:  # the drummer tries something
            for n in range(int(rng.integers(2, 7))):
                self.noises.append(Noise("tom", begin + 3.0 + 0.3 * n, 0.0, 0.3))
        return done + 2.0

    def _noodle(self, player: str, at_s: float) -> None:
        strings = len(STRINGED[player])
        for n in range(int(self.rng.integers(6, 14))):
            begin = at_s + 0.22 * n
            self._strike(
                player,
                begin,
                begin + 0.2,
                int(self.rng.integers(1, strings + 1)),
                int(self.rng.integers(1, 8)),
                loud=0.5,
            )

    def _tune_all(self, at_s: float) -> float:
        """Everyone tunes before the first song."""
        starts = [at_s + float(self.rng.uniform(0.0, 2.0)) for _ in STRINGED]
        return max(map(self._tune, STRINGED, starts)) + 3.0

    def _tune(self, player: str, at_s: float) -> float:
        """Every string is plucked; one that is out is turned and plucked again."""
        rng, now = self.rng, at_s
        for string in range(len(STRINGED[player]), 0, -1):
            off = self._offset(player, string, now)
            if abs(off) < 2.5:
                for _ in range(2):
                    self._strike(player, now, now + 1.1, string, 0, loud=0.5)
                    now += 1.2 + float(rng.uniform(0.0, 0.3))
                continue
            left = float(rng.normal(0, 0.7))
            self._strike(player, now, now + 1.9, string, 0, "peg", left - off, 0.5)
            self.strings[player, string].tuned.append((now + 1.5, left))
            self._strike(player, now + 2.0, now + 3.0, string, 0, loud=0.5)
            now += 3.1 + float(rng.uniform(0.0, 0.5))
        return now


def strokes_of(rehearsal: Rehearsal, line: int) -> Iterator[Stroke]:
    """The strokes on one line in order."""
    return (stroke for stroke in rehearsal.strokes if stroke.line == line)
