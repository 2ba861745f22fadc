"""The simulated band: four invented players who tune and play, for the demo and for tests.

Line 1 a guitar, line 2 a bass, line 3 a keyboard that cannot be tuned, line 4
drums. Strings start 10 to 30 cents off; their players pluck, turn the peg
while the note rings, pluck again, and go on to the next string once it is in.
When all are in they play a song, in which strings go flat again, and so for ever
(`band_songs`). Pure: sound time is the only clock, and the seed decides everything
but ``set_reference``.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from station.sound.band_songs import SONG_S, Evening
from station.sound.blocks import Samples
from station.sound.synth import Synth, Timbre, key_timbre, skin_timbre, string_timbre

KEYBOARD_A4_HZ = 441.2
NOISE_LEVEL = 5e-5
"""A quiet line: noise at -86 dBFS."""
IN_CENTS = 1.0
PLUCK_EVERY_S = 2.2
TURN_AFTER_S, TURN_FOR_S = 1.0, 0.6
REST_S = 1.5
TUNED_CENTS = 0.5


class BandMember(NamedTuple):
    """Who plays what on which line (counted from 1)."""

    id: str
    name: str
    instrument: str
    line: int


BAND = (
    BandMember("wren", "Wren", "guitar", 1),
    BandMember("odell", "Odell", "bass", 2),
    BandMember("pim", "Pim", "keyboard", 3),
    BandMember("tamsin", "Tamsin", "drum-kit", 4),
)

GUITAR_MIDI = (64, 59, 55, 50, 45, 40)
BASS_MIDI = (43, 38, 33, 28)
"""Open strings, string 1 first, as MIDI note numbers."""
KEYBOARD_MIDI = (57, 64, 60, 66, 61, 69, 63, 70, 65, 59, 68, 62)  # every note of the octave
TOMS_HZ = (172.0, 128.0, 94.0)


class Turn(NamedTuple):
    """A peg being turned: string `string` goes from one offset to another meanwhile."""

    string: int
    begins_s: float
    from_cents: float
    to_cents: float

    def cents_at(self, now_s: float) -> float:
        """Where the string has got to."""
        share = min(1.0, max(0.0, (now_s - self.begins_s) / TURN_FOR_S))
        return self.from_cents + share * (self.to_cents - self.from_cents)


class StringPlayer:
    """Tunes open strings, string by string, and plays; pitches are cents from A4 = 440 Hz."""

    def __init__(
        self,
        line: int,
        open_midi: tuple[int, ...],
        timbres: tuple[Timbre, ...],
        rng: np.random.Generator,
        *,
        tuned: bool = False,
    ) -> None:
        self.open_midi = open_midi
        self._line = line
        self._timbres = timbres
        self._rng = rng
        most = TUNED_CENTS if tuned else 30.0
        off = rng.uniform(most / 3.0, most, len(open_midi))
        self._cents = off * rng.choice([-1.0, -1.0, 1.0], len(open_midi))
        self._string = len(open_midi) - 1
        self._turn: Turn | None = None
        self._pluck_at_s = float(rng.uniform(0.3, 1.2))
        self._reference_cents = 0.0

    def follow(self, a4_hz: float) -> None:
        """Tune to this A4 from now on."""
        self._reference_cents = 1200.0 * math.log2(a4_hz / 440.0)

    def offsets_cents(self) -> tuple[float, ...]:
        """How far each string is from its target now, string 1 first."""
        return tuple(float(cents) for cents in self._cents - self._reference_cents)

    def all_in(self) -> bool:
        """Whether every string is where it should be, and no peg is being turned."""
        return self._turn is None and all(abs(each) <= IN_CENTS for each in self.offsets_cents())

    def wait_until(self, at_s: float) -> None:
        """Let the pegs be, and tune again from then on."""
        self._turn, self._pluck_at_s = None, at_s

    def slip(self, string: int, cents: float) -> None:
        """A string (from 1) goes off by itself."""
        self._cents[string - 1] += cents

    def pick(self, synth: Synth, string: int, fret: int, cents: float) -> None:
        """Strike a string (from 1) pressed at a fret, `cents` sharp by the pressing."""
        hz = self._hz(string - 1) * 2.0 ** ((fret + cents / 100.0) / 12.0)
        synth.strike(self._line, hz, self._timbres[string - 1])

    def play(self, synth: Synth, now_s: float) -> None:
        """Turn the peg that is being turned, pluck when it is time."""
        if self._turn is not None and now_s >= self._turn.begins_s:
            self._keep_turning(self._turn, synth, now_s)
        if now_s >= self._pluck_at_s:
            self._pluck(synth, now_s)

    def _keep_turning(self, turn: Turn, synth: Synth, now_s: float) -> None:
        self._cents[turn.string] = turn.cents_at(now_s)
        synth.bend(self._line, self._hz(turn.string))
        if now_s >= turn.begins_s + TURN_FOR_S:
            self._turn = None

    def _pluck(self, synth: Synth, now_s: float) -> None:
        offsets = self.offsets_cents()
        resting = all(abs(cents) <= IN_CENTS for cents in offsets)
        if resting:
            self._string = (self._string - 1) % len(offsets)
        synth.strike(self._line, self._hz(self._string), self._timbres[self._string])
        self._pluck_at_s = now_s + (REST_S if resting else PLUCK_EVERY_S)
        if abs(offsets[self._string]) > IN_CENTS:
            to_cents = self._aim(offsets[self._string]) + self._reference_cents
            begins_s = now_s + TURN_AFTER_S
            self._turn = Turn(self._string, begins_s, self._cents[self._string], to_cents)
        elif not resting:
            # In, and heard to be in: on to the next that is not.
            out = [string for string, cents in enumerate(offsets) if abs(cents) > IN_CENTS]
            self._string = out[-1]

    def _aim(self, offset_cents: float) -> float:
        # A hand does not hit it at once: what is far off ends near, what is near ends in.
        if abs(offset_cents) > 8.0:
            return float(offset_cents * self._rng.uniform(0.1, 0.3))
        return float(self._rng.uniform(-0.6, 0.6))

    def _hz(self, string: int) -> float:
        semitones = self.open_midi[string] - 69 + self._cents[string] / 100.0
        return float(440.0 * 2.0 ** (semitones / 12.0))


class FixedPlayer:
    """Strikes pitches that never change, one after the other and from the first again."""

    def __init__(
        self,
        line: int,
        pitches_hz: tuple[float, ...],
        timbre: Timbre,
        every_s: float,
        rng: np.random.Generator,
    ) -> None:
        self._line = line
        self._pitches_hz = pitches_hz
        self._timbre = timbre
        self._every_s = every_s
        self._rng = rng
        self._strike_at_s = float(rng.uniform(0.5, every_s))
        self._struck = 0

    def play(self, synth: Synth, now_s: float) -> None:
        """Strike when it is time."""
        if now_s >= self._strike_at_s:
            self.strike(synth, self._struck)
            self._struck += 1
            self._strike_at_s = now_s + self._every_s * float(self._rng.uniform(0.8, 1.3))

    def strike(self, synth: Synth, which: int) -> None:
        """Strike one of the pitches, counted from 0 and round again."""
        hz = self._pitches_hz[which % len(self._pitches_hz)]
        synth.strike(self._line, hz, self._timbre)


class SimulatedBand:
    """The four of ``BAND``. ``samples`` may be fetched in pieces of any size.

    With ``tuned`` they are in tune from the beginning; ``song_s`` is how long a song lasts.
    """

    lines = len(BAND)

    def __init__(
        self, rate_hz: int = 48_000, seed: int = 1, *, tuned: bool = False, song_s: float = SONG_S
    ) -> None:
        rng = np.random.default_rng(seed)
        self.rate_hz = rate_hz
        self._synth = Synth(rate_hz, self.lines, rng)
        self._now_s = 0.0
        self._ready = np.zeros((0, self.lines), dtype=np.float32)
        self._string_players: dict[str, StringPlayer] = {
            "wren": StringPlayer(0, GUITAR_MIDI, _guitar_timbres(), rng, tuned=tuned),
            "odell": StringPlayer(1, BASS_MIDI, _bass_timbres(), rng, tuned=tuned),
        }
        keys_hz = tuple(KEYBOARD_A4_HZ * 2.0 ** ((midi - 69) / 12.0) for midi in KEYBOARD_MIDI)
        self.evening = Evening(
            self._string_players["wren"],
            self._string_players["odell"],
            FixedPlayer(2, keys_hz, key_timbre(0.2, 0.8), 3.0, rng),
            FixedPlayer(3, TOMS_HZ, skin_timbre(0.5, 0.25), 3.0, rng),
            rng,
            song_s,
        )

    def set_reference(self, a4_hz: float) -> None:
        """The players tune to another A4 from now on; the keyboard cannot."""
        for player in self._string_players.values():
            player.follow(a4_hz)

    def offsets_cents(self, member_id: str) -> tuple[float, ...]:
        """How far the strings of a string player truly are from their targets now."""
        return self._string_players[member_id].offsets_cents()

    def samples(self, frames: int) -> Samples:
        """The next samples, shape (`frames`, 4), full scale +-1.0."""
        pieces = [self._ready]
        have = len(self._ready)
        while have < frames:
            pieces.append(self._next_chunk())
            have += len(pieces[-1])
        joined = np.concatenate(pieces)
        self._ready = joined[frames:]
        return joined[:frames]

    def _next_chunk(self) -> Samples:
        self.evening.play(self._synth, self._now_s)
        chunk = self._synth.chunk(NOISE_LEVEL)
        self.evening.talk(chunk, self._now_s, self.rate_hz)
        self._now_s += self._synth.chunk_s
        return chunk


def _guitar_timbres() -> tuple[Timbre, ...]:
    # B of steel strings, 1e-5 (thin, plain) to 2e-4 (thick): the range measured on real ones.
    stiffness = (2e-5, 3e-5, 7e-5, 5e-5, 8e-5, 1.2e-4)
    return tuple(string_timbre(b, 0.3, 0.17, 1.4) for b in stiffness)


def _bass_timbres() -> tuple[Timbre, ...]:
    stiffness = (8e-5, 1.1e-4, 1.5e-4, 2e-4)
    return tuple(string_timbre(b, 0.35, 0.13, 1.8) for b in stiffness)
