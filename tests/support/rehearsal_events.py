"""What the engine would say of a rehearsal, without its sound: fast, with the engine's own errors.

Measured on what the real engine said of `rehearsal_sound` (seed 1, three songs, 16 kHz): 97 to
100 of 100 single notes are heard, 0 to 1.2 cents sharp of where they would settle, the more the
shorter; 6 of 100 strings of chords, with errors of 2 to 3 cents; bends are heard where they end,
vibratos at their middle.
"""

from __future__ import annotations

import math

import numpy as np

from station.measure.types import Heard, Level, Note, Reading
from tests.support.rehearsal import Rehearsal, Stroke, strokes_of
from tests.support.rehearsal_sound import DRUM_LINE, GLIDE_CENTS, GLIDE_S

INTERVAL_S = 0.25
READING_EVERY_S = 0.06  # the engine's come every 0.02 s
FIRST_READING_S = 0.08
HEARD_SHARE, CHORD_SHARE, SLIDE_SHARE = 0.97, 0.06, 0.3
STRAY_SHARE, STRAY_CENTS = 0.02, 4.0


def heard_of_events(rehearsal: Rehearsal, seed: int = 0) -> list[Heard]:
    """What would be heard on all lines, in the order of time."""
    said: list[Heard] = []
    for line in (1, 2, 3, DRUM_LINE):
        rng = np.random.default_rng([seed, line, 7])
        said += _levels(rehearsal, line, rng)
        for stroke in strokes_of(rehearsal, line):
            said += _note(stroke, rng)
    return sorted(said, key=told_s)


def told_s(heard: Heard) -> float:
    """When something is said, in the line's stream."""
    return heard.end_s if isinstance(heard, Note) else heard.at_s


def _hz(midi: int, cents: float) -> float:
    return float(440.0 * 2.0 ** ((midi - 69 + cents / 100.0) / 12.0))


def _note(stroke: Stroke, rng: np.random.Generator) -> list[Heard]:
    share = CHORD_SHARE if stroke.chord else HEARD_SHARE
    length_s = stroke.until_s - stroke.at_s
    if rng.random() > (SLIDE_SHARE if stroke.kind == "slide" else share) or length_s < 0.12:
        return []
    onset_s = stroke.at_s + float(rng.uniform(0.0, 0.02))
    # Long notes that ring alone are hardly ever misheard.
    wild = stroke.chord or rng.random() < STRAY_SHARE * (0.1 if length_s > 0.8 else 1.0)
    error = float(rng.normal(0.0, STRAY_CENTS if wild else 0.25))
    t = np.arange(FIRST_READING_S, length_s - 0.02, READING_EVERY_S)
    if stroke.kind == "slide":
        t = t[t > 0.18]  # while it slides nothing agrees with itself
    if not t.size:
        return []
    heard_s = t - 0.5 * np.minimum(0.1, t)
    cents = stroke.trace(heard_s) + GLIDE_CENTS * np.exp(-heard_s / GLIDE_S) + error
    cents += rng.normal(0.0, 0.15, t.size)
    said: list[Heard] = [
        Reading(stroke.line, onset_s + float(at), _hz(stroke.midi, c), 0.3, 6e-5, 8, onset_s)
        for at, c in zip(t, cents, strict=True)
    ]
    late = stroke.trace(np.linspace(0.3 * length_s, length_s, 40))
    settled = float(np.mean(late) if stroke.kind == "vibrato" else late[-1])
    settled += GLIDE_CENTS * math.exp(-0.45 * length_s / GLIDE_S) + error
    hz, unsure = _hz(stroke.midi, settled), 0.5 if stroke.kind == "vibrato" else 0.05
    return [*said, Note(stroke.line, onset_s, stroke.until_s, hz, unsure, 6e-5, 8)]


def _levels(rehearsal: Rehearsal, line: int, rng: np.random.Generator) -> list[Heard]:
    """Levels from the mean power of everything within each quarter second."""
    count = int(rehearsal.length_s / INTERVAL_S)
    power = np.full(count + 8, rehearsal.floor[line - 1] ** 2)
    top = np.sqrt(power) * 4.0
    for stroke in strokes_of(rehearsal, line):
        _add(power, top, stroke.at_s, stroke.until_s, 0.8 * stroke.level, stroke.ring_s / 1.4)
    bleed = rehearsal.bleed[line - 1]
    for noise in rehearsal.noises:
        if noise.kind in ("talk", "applause"):
            if bleed:
                _add(power, top, noise.at_s, noise.until_s, noise.level, math.inf)
        else:
            fade_s = {"kick": 0.09, "snare": 0.05, "tom": 0.1, "hat": 0.03, "sticks": 0.008}
            _add(power, top, noise.at_s, noise.at_s + 0.3, bleed * noise.level, fade_s[noise.kind])
    rms = 10 * np.log10(power[:count]) + rng.normal(0, 0.5, count)
    peaks = 20 * np.log10(top[:count])
    return [
        Level(line, (i + 1) * INTERVAL_S, float(r), float(max(p, r + 3)), 0.0, False, "signal")
        for i, (r, p) in enumerate(zip(rms, peaks, strict=True))
    ]


def _add(
    power: np.ndarray, top: np.ndarray, begin: float, end: float, level: float, fade_s: float
) -> None:
    """Add a sound of rms `level` / sqrt(2) at `begin` whose amplitude falls to 1/e in `fade_s`."""
    for frame in range(int(begin / INTERVAL_S), min(len(power), int(end / INTERVAL_S) + 1)):
        one = max(begin, frame * INTERVAL_S) - begin
        two = min(end, (frame + 1) * INTERVAL_S) - begin
        if two <= one:
            continue
        if math.isinf(fade_s):
            energy = two - one
        else:
            rate = 2.0 / fade_s
            energy = (math.exp(-rate * one) - math.exp(-rate * two)) / rate
        power[frame] += 0.5 * level**2 * energy / INTERVAL_S
        top[frame] = max(
            top[frame], level * (1.0 if fade_s == math.inf else math.exp(-one / fade_s))
        )
