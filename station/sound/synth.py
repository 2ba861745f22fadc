"""Sounds for the simulated band: decaying sinusoids with the partials of strings and skins.

A string's partials are f_k = k F sqrt(1 + B k^2) (Fletcher 1964; Fletcher &
Rossing, The Physics of Musical Instruments); the pitch asked for is the first
one, F sqrt(1 + B). A drum skin's modes stand at the zeros of the Bessel
functions (Abramowitz & Stegun, table 9.5). Both glide flat-ward from their
attack. Pure: the same seed gives the same samples, however they are fetched.

All voices are rendered at once, a chunk at a time. A chunk of P Q samples is
the sum over partials of z^(Q p + q) = z^(Q p) z^q, that is one matrix product
for each voice, so that nearly no sine is ever computed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from station.sound.blocks import Samples

COARSE, FINE = 16, 32
CHUNK = COARSE * FINE
PARTIALS = 20
VOICES_PER_LINE = 2
ATTACK_S = 0.002
DAMPED_PER_S = 60.0
SILENT = 1e-5
SKIN_RATIOS = (1.0, 1.593, 2.136, 2.295, 2.653, 2.917)
"""Modes of an ideal membrane over its first (Abramowitz & Stegun, table 9.5)."""

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]


@dataclass(frozen=True)
class Timbre:
    """What a struck or plucked thing sounds like.

    ``ratios``: each partial's frequency over the first's. ``amplitudes``:
    full-scale units. ``decays_per_s``: each partial's amplitude falls as exp(-decay t).
    ``glide_cents`` falls away as exp(-t / ``glide_s``). ``knock`` is the attack noise.
    """

    ratios: Floats
    amplitudes: Floats
    decays_per_s: Floats
    glide_cents: float
    glide_s: float
    knock: float


def string_timbre(inharmonicity: float, level: float, pluck_at: float, ring_s: float) -> Timbre:
    """A plucked stiff string; `pluck_at` is a share of its length, `ring_s` the time to 1/e.

    Amplitudes follow |sin(k pi p)| / k, the velocity of an ideal string
    plucked at p (Fletcher & Rossing, chapter 2).
    """
    k = np.arange(1, PARTIALS + 1, dtype=np.float64)
    ratios = k * np.sqrt((1.0 + inharmonicity * k * k) / (1.0 + inharmonicity))
    amplitudes = np.abs(np.sin(k * np.pi * pluck_at)) / k
    decays = (1.0 + 0.3 * (k - 1.0)) / ring_s
    return Timbre(ratios, level * amplitudes / amplitudes.sum(), decays, 3.0, 0.12, 0.25 * level)


def key_timbre(level: float, ring_s: float) -> Timbre:
    """A key of an electric keyboard: exact harmonics that do not glide."""
    k = np.arange(1, PARTIALS + 1, dtype=np.float64)
    amplitudes = k**-1.5
    amplitudes *= level / amplitudes.sum()
    return Timbre(k, amplitudes, np.full(PARTIALS, 1.0 / ring_s), 0.0, 1.0, 0.0)


def skin_timbre(level: float, ring_s: float) -> Timbre:
    """A drum: the ideal membrane's modes, the higher ones shorter."""
    ratios = np.ones(PARTIALS)
    ratios[: len(SKIN_RATIOS)] = SKIN_RATIOS
    amplitudes = np.zeros(PARTIALS)
    amplitudes[: len(SKIN_RATIOS)] = level * np.array([0.5, 0.2, 0.1, 0.1, 0.06, 0.04])
    return Timbre(ratios, amplitudes, ratios / ring_s, 25.0, 0.05, 0.5 * level)


class Synth:
    """Voices on lines; each line sounds one voice while the one before is damped."""

    def __init__(self, rate_hz: int, lines: int, rng: np.random.Generator) -> None:
        voices = lines * VOICES_PER_LINE
        self.rate_hz = rate_hz
        self._lines = lines
        self._rng = rng
        self._hz = np.full(voices, 100.0)
        self._ratios = np.ones((voices, PARTIALS))
        self._amplitudes = np.zeros((voices, PARTIALS))
        self._decays = np.zeros((voices, PARTIALS))
        self._phases = np.zeros((voices, PARTIALS))
        self._glide = np.zeros((voices, 2))
        self._knock = np.zeros(voices)
        self._age_s = np.zeros(voices)
        self._current = np.arange(lines) * VOICES_PER_LINE
        self._ramp = np.minimum(1.0, np.arange(CHUNK) / (ATTACK_S * rate_hz))
        self._knock_fade = np.exp(-np.arange(CHUNK) / (0.006 * rate_hz))

    @property
    def chunk_s(self) -> float:
        """Seconds in a chunk."""
        return CHUNK / self.rate_hz

    def strike(self, line: int, hz: float, timbre: Timbre) -> None:
        """Begin a note on `line` (from 0) and damp the one that sounds there."""
        old = self._current[line]
        self._decays[old] = DAMPED_PER_S
        base = line * VOICES_PER_LINE
        voice = base + (old - base + 1) % VOICES_PER_LINE
        self._current[line] = voice
        self._hz[voice] = hz
        self._ratios[voice] = timbre.ratios
        audible = hz * timbre.ratios < 0.45 * self.rate_hz
        self._amplitudes[voice] = timbre.amplitudes * audible
        self._decays[voice] = timbre.decays_per_s
        self._phases[voice] = self._rng.uniform(0.0, 2.0 * np.pi, PARTIALS)
        self._glide[voice] = timbre.glide_cents, timbre.glide_s
        self._knock[voice] = timbre.knock
        self._age_s[voice] = 0.0

    def damp(self, line: int) -> None:
        """A hand on whatever sounds on `line`."""
        self._decays[self._current[line]] = DAMPED_PER_S

    def bend(self, line: int, hz: float) -> None:
        """The sounding note of `line` is at `hz` now: its peg was turned."""
        self._hz[self._current[line]] = hz

    def chunk(self, noise_level: float) -> Samples:
        """The next CHUNK samples of every line, shape (CHUNK, lines)."""
        out = noise_level * self._rng.standard_normal((self._lines, CHUNK), dtype=np.float32)
        sounding = np.flatnonzero(self._amplitudes.max(axis=1) > SILENT)
        if sounding.size:
            waves = self._waves(sounding)
            for voice, wave in zip(sounding, waves, strict=True):
                out[voice // VOICES_PER_LINE] += self._with_attack(voice, wave)
            self._age_s[sounding] += self.chunk_s
        return np.ascontiguousarray(out.T)

    def _waves(self, sounding: NDArray[np.intp]) -> Floats:
        glide_cents, glide_s = self._glide[sounding].T
        cents = glide_cents * np.exp(-self._age_s[sounding] / glide_s)
        hz = self._hz[sounding] * 2.0 ** (cents / 1200.0)
        turn = 2.0 * np.pi * hz[:, None] * self._ratios[sounding] / self.rate_hz
        fade = self._decays[sounding] / self.rate_hz
        fine = _powers(np.exp(1j * turn - fade), FINE)
        coarse = _powers(np.exp(FINE * (1j * turn - fade)), COARSE)
        phases = self._phases[sounding]
        coarse *= (self._amplitudes[sounding] * np.exp(1j * phases))[:, :, None]
        self._phases[sounding] = (phases + CHUNK * turn) % (2.0 * np.pi)
        self._amplitudes[sounding] *= np.exp(-CHUNK * fade)
        waves: Floats = (coarse.transpose(0, 2, 1) @ fine).imag.reshape(-1, CHUNK)
        return waves

    def _with_attack(self, voice: int, wave: Floats) -> Floats:
        if self._age_s[voice] > 0.0:
            return wave
        knock = self._knock[voice] * self._knock_fade
        struck: Floats = self._ramp * (wave + 0.2 * knock * self._rng.standard_normal(CHUNK))
        return struck


def _powers(base: Complexes, count: int) -> Complexes:
    """base**0 to base**(count - 1) on a new last axis; `count` is a power of two."""
    powers = np.empty((*base.shape, count), dtype=np.complex128)
    powers[..., 0] = 1.0
    done, step = 1, base
    while done < count:
        powers[..., done : 2 * done] = powers[..., :done] * step[..., None]
        done, step = 2 * done, step * step
    return powers
