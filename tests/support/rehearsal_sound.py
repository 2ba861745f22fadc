"""The sound of a rehearsal on its four lines, and what the engine says of it.

Strings are stiff (Fletcher 1964) and glide flat from their stroke; drums are decaying noise and
tones, heard in the guitarist's and the bassist's microphones, too; the second guitar is a direct
line. Talk is noise in syllables through a formant-like band, applause many short bursts.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from station.listening import LevelEar
from station.measure.listener import Listener
from station.measure.types import Heard
from tests.support.rehearsal import Noise, Rehearsal, Stroke, strokes_of

Floats = NDArray[np.float32]

PARTIALS = 12
GLIDE_CENTS, GLIDE_S = 3.0, 0.12
STIFFNESS = 6e-5
DRUM_LINE = 4
RELEASE_S = 0.012


def string_sound(stroke: Stroke, rate_hz: int, rng: np.random.Generator) -> Floats:
    """One stroke from its first sample on, shape (n,)."""
    size = max(8, round((stroke.until_s - stroke.at_s) * rate_hz))
    t = np.arange(size) / rate_hz
    cents = stroke.trace(t) + GLIDE_CENTS * np.exp(-t / GLIDE_S)
    hz = 440.0 * 2.0 ** ((stroke.midi - 69) / 12.0 + cents / 1200.0)
    phase = 2 * np.pi * np.cumsum(hz) / rate_hz
    x = np.zeros(size)
    highest = float(hz.max())
    for k in range(1, PARTIALS + 1):
        ratio = k * np.sqrt((1 + STIFFNESS * k * k) / (1 + STIFFNESS))
        if highest * ratio > 0.45 * rate_hz:
            break
        fade = np.exp(-t * np.sqrt(k) / stroke.ring_s)
        x += np.abs(np.sin(0.21 * np.pi * k)) / k * fade * np.sin(ratio * phase + rng.uniform(0, 6))
    edge = np.minimum(1.0, np.minimum(t / 0.003, t[::-1] / RELEASE_S))
    return (stroke.level * edge * x).astype(np.float32)


def drum_sound(noise: Noise, rate_hz: int, rng: np.random.Generator) -> Floats:
    """One stroke on the kit."""
    t = np.arange(round(0.3 * rate_hz)) / rate_hz
    hiss = rng.normal(size=t.size)
    if noise.kind == "kick":
        turn = 2 * np.pi * (55 * t + 2.0 * (1 - np.exp(-t / 0.03)))
        x = np.exp(-t / 0.09) * np.sin(turn) + 0.2 * hiss * np.exp(-t / 0.004)
    elif noise.kind == "snare":
        x = 0.5 * hiss * np.exp(-t / 0.05) + 0.5 * np.exp(-t / 0.06) * np.sin(2 * np.pi * 190 * t)
    elif noise.kind == "tom":
        x = np.exp(-t / 0.1) * np.sin(2 * np.pi * 110 * t) + 0.1 * hiss * np.exp(-t / 0.01)
    else:
        bright = np.diff(hiss, prepend=0.0)
        x = bright * np.exp(-t / (0.03 if noise.kind == "hat" else 0.008))
    return (noise.level * x).astype(np.float32)


def room_noise(noise: Noise, rate_hz: int, rng: np.random.Generator) -> Floats:
    """Talk or applause."""
    t = np.arange(max(8, round((noise.until_s - noise.at_s) * rate_hz))) / rate_hz
    hiss = rng.normal(size=t.size)
    if noise.kind == "talk":
        low = np.convolve(hiss, np.hanning(max(4, rate_hz // 900)), "same")
        low /= max(1e-9, float(low.std()))
        shape = np.maximum(0.0, np.sin(2 * np.pi * 2.2 * t + rng.uniform(0, 6)))
        voice = np.sin(2 * np.pi * np.cumsum(130 + 25 * np.sin(3 * t)) / rate_hz)
        x = shape * (0.6 * low + 0.8 * voice)
    else:
        claps = rng.random(t.size) < 25.0 / rate_hz
        burst = np.exp(-np.arange(round(0.03 * rate_hz)) / (0.008 * rate_hz))
        x = 2.0 * np.convolve(claps * rng.uniform(0.4, 1.0, t.size), burst)[: t.size] * hiss
    return (noise.level * x).astype(np.float32)


def drums_and_room(rehearsal: Rehearsal, rate_hz: int, seed: int) -> tuple[Floats, Floats]:
    """The kit and the room, each shape (n,)."""
    rng = np.random.default_rng([seed, DRUM_LINE])
    kit = np.zeros(round(rehearsal.length_s * rate_hz), np.float32)
    room = np.zeros_like(kit)
    for noise in rehearsal.noises:
        if noise.kind in ("talk", "applause"):
            _add(room, noise.at_s, room_noise(noise, rate_hz, rng), rate_hz)
        else:
            _add(kit, noise.at_s, drum_sound(noise, rate_hz, rng), rate_hz)
    return kit, room


def line_sound(
    rehearsal: Rehearsal, line: int, rate_hz: int, seed: int, kit: Floats, room: Floats
) -> Floats:
    """What one line gives, shape (n,)."""
    rng = np.random.default_rng([seed, line])
    x = (rehearsal.floor[line - 1] * rng.standard_normal(kit.size)).astype(np.float32)
    bleed = np.float32(rehearsal.bleed[line - 1])
    x += bleed * kit
    # Talk reaches every microphone in about the same strength.
    x += np.float32(1.0 if bleed else 0.0) * room
    for stroke in strokes_of(rehearsal, line):
        _add(x, stroke.at_s, string_sound(stroke, rate_hz, rng), rate_hz)
    return np.clip(x, -1.0, 1.0)


def heard_of(x: Floats, line: int, rate_hz: int) -> list[Heard]:
    """What the real engine says of one line."""
    said: list[Heard] = []
    if line == DRUM_LINE:
        ear = LevelEar(rate_hz, line)
        for start in range(0, x.size, 4096):
            part = x[start : start + 4096]
            said += ear.push(part, start + part.size)
        return said
    listener = Listener(rate_hz, line)
    for start in range(0, x.size, 4096):
        said += listener.push(x[start : start + 4096])
    return said + listener.finish()


def heard_through_the_engine(
    rehearsal: Rehearsal, rate_hz: int, seed: int = 0
) -> Iterator[list[Heard]]:
    """What the real engine says, a line after the other."""
    kit, room = drums_and_room(rehearsal, rate_hz, seed)
    for line in (1, 2, 3, DRUM_LINE):
        yield heard_of(line_sound(rehearsal, line, rate_hz, seed, kit, room), line, rate_hz)


def _add(x: Floats, at_s: float, part: Floats, rate_hz: int) -> None:
    first = round(at_s * rate_hz)
    fits = part[: max(0, x.size - first)]
    x[first : first + fits.size] += fits
