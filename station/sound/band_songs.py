"""What the simulated band does all evening: it tunes, plays a song, stops, talks, and tunes again.

A song begins once every string has been in for a moment. In it one string of each string player
goes flat, as strings do; in the gap after it somebody talks first, and then they tune what has
gone flat. Pure: sound time is the only clock.
"""

from __future__ import annotations

from typing import Literal, Protocol

import numpy as np

from station.sound.blocks import Samples
from station.sound.synth import CHUNK, Synth

SONG_S = 38.4
READY_S = 9.5  # long enough to play every string of a guitar once more
TALK_S = 7.0
EIGHTH_S = 0.3
BAR = 8
FLAT_CENTS = (9.0, 16.0)
FLAT_SHARE = (0.45, 0.6)
"""Of the song: when a string begins to go flat, and when it has done so."""
PRESS_CENTS = 0.7  # no finger presses twice alike
TALK_LEVEL = 0.004  # -48 dBFS at a microphone a few steps away
TALK_LINES = (0, 3)
"""Lines, from 0, that are microphones: the guitarist's and the drummer's."""
SYLLABLES_HZ = 2.2  # common practice for slow speech, no source

Doing = Literal["tuning", "song", "talk"]
Place = tuple[int, int]
"""A string, from 1, and a fret."""

GUITAR_CHORDS: tuple[tuple[Place, ...], ...] = (
    ((6, 0), (5, 2), (4, 2), (3, 0), (2, 0), (1, 0), (2, 0), (3, 0)),  # E minor
    ((5, 3), (4, 2), (3, 0), (2, 1), (1, 0), (2, 1), (3, 0), (4, 2)),  # C
    ((6, 3), (5, 2), (4, 0), (3, 0), (2, 0), (1, 3), (2, 0), (3, 0)),  # G
    ((4, 0), (3, 2), (2, 3), (1, 2), (2, 3), (3, 2), (4, 0), (3, 2)),  # D
)
BASS_ROOTS: tuple[tuple[Place, ...], ...] = (
    ((4, 0), (4, 0), (2, 2), (4, 0)),
    ((3, 3), (3, 3), (2, 2), (3, 3)),
    ((4, 3), (4, 3), (2, 0), (4, 3)),
    ((2, 0), (3, 0), (2, 0), (1, 2)),
)
KEYS: tuple[tuple[int, int], ...] = ((4, 2), (2, 4), (5, 2), (7, 5))
"""Places in the keyboard's notes, two to a bar."""


class Tunes(Protocol):
    """A string player as a song needs one."""

    def play(self, synth: Synth, now_s: float) -> None: ...
    def pick(self, synth: Synth, string: int, fret: int, cents: float) -> None: ...
    def slip(self, string: int, cents: float) -> None: ...
    def all_in(self) -> bool: ...
    def wait_until(self, at_s: float) -> None: ...


class Strikes(Protocol):
    """A player of what cannot be tuned."""

    def play(self, synth: Synth, now_s: float) -> None: ...
    def strike(self, synth: Synth, which: int) -> None: ...


class Evening:
    """Guitarist and bassist, keyboard and drums, through song after song.

    ``song_s`` is how long a song lasts.
    """

    def __init__(
        self,
        guitar: Tunes,
        bass: Tunes,
        keys: Strikes,
        drums: Strikes,
        rng: np.random.Generator,
        song_s: float = SONG_S,
    ) -> None:
        self._strings, self._others = (guitar, bass), (keys, drums)
        self._rng = rng
        self._song_s = song_s
        self.doing: Doing = "tuning"
        self.songs = 0
        self._since_s = 0.0
        self._ready_s: float | None = None
        self._eighths = 0
        self._slips: list[tuple[Tunes, int, float]] = []
        self._slipped = 0.0

    def play(self, synth: Synth, now_s: float) -> None:
        """Do what is due."""
        if self.doing == "song":
            self._go_on(synth, now_s)
        elif self.doing == "talk":
            if now_s - self._since_s >= TALK_S:
                self._begin("tuning", now_s)
        else:
            self._tune(synth, now_s)

    def talk(self, samples: Samples, now_s: float, rate_hz: int) -> None:
        """Add somebody's talk to a chunk, of shape (CHUNK, lines)."""
        if self.doing != "talk":
            return
        hiss = self._rng.standard_normal(CHUNK)
        # Each sample half of the one before: nearly all below a quarter of the rate, as speech is.
        for place in range(1, CHUNK):
            hiss[place] += 0.8 * hiss[place - 1]
        t = now_s + np.arange(CHUNK) / rate_hz
        voice = TALK_LEVEL * np.maximum(0.0, np.sin(2.0 * np.pi * SYLLABLES_HZ * t)) * hiss
        for line in TALK_LINES:
            samples[:, line] += voice.astype(np.float32)

    def _begin(self, doing: Doing, now_s: float) -> None:
        self.doing, self._since_s = doing, now_s
        self._ready_s = None
        for each in self._strings:
            each.wait_until(now_s + float(self._rng.uniform(0.3, 1.2)))

    def _tune(self, synth: Synth, now_s: float) -> None:
        if all(each.all_in() for each in self._strings):
            self._ready_s = now_s if self._ready_s is None else self._ready_s
            if now_s - self._ready_s >= READY_S:
                self._begin_song(now_s)
                return
        else:
            self._ready_s = None
        for each in self._strings:
            each.play(synth, now_s)
        if self.songs == 0:  # at soundcheck everybody tries theirs
            for other in self._others:
                other.play(synth, now_s)

    def _begin_song(self, now_s: float) -> None:
        self._begin("song", now_s)
        self.songs += 1
        self._eighths, self._slipped = 0, 0.0
        self._slips = [
            (each, string, float(-self._rng.uniform(*FLAT_CENTS)))
            for each, string in zip(self._strings, (3, 4), strict=True)
        ]

    def _go_on(self, synth: Synth, now_s: float) -> None:
        share = (now_s - self._since_s) / self._song_s
        begins, ends = FLAT_SHARE
        slipped = min(1.0, max(0.0, (share - begins) / (ends - begins)))
        for player, string, cents in self._slips:
            player.slip(string, cents * (slipped - self._slipped))
        self._slipped = slipped
        if share >= 1.0:
            for line in range(len(self._strings) + len(self._others)):
                synth.damp(line)
            self._begin("talk", now_s)
        elif now_s - self._since_s >= self._eighths * EIGHTH_S:
            self._strike(synth, *divmod(self._eighths, BAR))
            self._eighths += 1

    def _strike(self, synth: Synth, bar: int, eighth: int) -> None:
        guitar, bass = self._strings
        keys, drums = self._others
        chord = bar % len(GUITAR_CHORDS)
        self._press(guitar, synth, GUITAR_CHORDS[chord][eighth])
        if eighth % 2 == 0:
            self._press(bass, synth, BASS_ROOTS[chord][eighth // 2])
            drums.strike(synth, 2 if eighth % 4 == 0 else 0)
        if eighth % 4 == 0:
            keys.strike(synth, KEYS[chord][eighth // 4])

    def _press(self, player: Tunes, synth: Synth, place: Place) -> None:
        string, fret = place
        pressed = PRESS_CENTS * float(self._rng.standard_normal()) if fret else 0.0
        player.pick(synth, string, fret, pressed)
