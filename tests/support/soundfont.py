"""Real recorded instruments, one note at a time, from a Debian sound font.

fluidsynth plays the font's recordings into a WAV file without reverb or
chorus. The fonts are recordings of real instruments, looped and shifted by
their maker, so a rendered note is true to its name within some cents and
carries its instrument's real partials, attack and noise.
"""

from __future__ import annotations

import subprocess
from dataclasses import dataclass
from pathlib import Path

import mido

DEFAULT_FONT = Path("/usr/share/sounds/sf2/TimGM6mb.sf2")
TICKS_PER_BEAT = 480
TEMPO_US = 500_000  # MIDI's default: 120 beats a minute, so 960 ticks a second


@dataclass(frozen=True)
class Strike:
    """One note of a score: General MIDI program (0-127), MIDI note, start and length."""

    program: int
    midi: int
    start_s: float
    length_s: float
    velocity: int = 96
    bend_cents: float = 0.0


def _ticks(seconds: float) -> int:
    return round(seconds * TICKS_PER_BEAT * 1e6 / TEMPO_US)


def write_midi(path: Path, strikes: list[Strike], tail_s: float = 1.0) -> None:
    """Write `strikes` as a one-track MIDI file; one program a file."""
    events: list[tuple[float, int, mido.Message]] = []
    for strike in strikes:
        bend = round(strike.bend_cents / 200 * 8192)  # General MIDI's default range: +-200 cents
        change = mido.Message("program_change", program=strike.program)
        events.append((strike.start_s - 0.01, 0, change))
        events.append((strike.start_s - 0.005, 1, mido.Message("pitchwheel", pitch=bend)))
        on = mido.Message("note_on", note=strike.midi, velocity=strike.velocity)
        off = mido.Message("note_off", note=strike.midi, velocity=64)
        events.append((strike.start_s, 2, on))
        events.append((strike.start_s + strike.length_s, 0, off))
    events.sort(key=lambda event: (event[0], event[1]))
    track = mido.MidiTrack()
    now = 0
    for at_s, _, message in events:
        tick = _ticks(max(0.0, at_s))
        track.append(message.copy(time=max(0, tick - now)))
        now = max(now, tick)
    track.append(mido.MetaMessage("end_of_track", time=_ticks(tail_s)))
    midi = mido.MidiFile(ticks_per_beat=TICKS_PER_BEAT)
    midi.tracks.append(track)
    midi.save(str(path))


def render(
    path: Path,
    strikes: list[Strike],
    rate_hz: int = 48000,
    font: Path = DEFAULT_FONT,
    gain: float = 0.8,
) -> Path:
    """Play `strikes` into the WAV file `path` (16 bit, stereo) and return it."""
    score = path.with_suffix(".mid")
    write_midi(score, strikes)
    command = ["fluidsynth", "-ni", "-q", "-R", "0", "-C", "0", "-g", str(gain)]
    command += ["-r", str(rate_hz), "-O", "s16", "-F", str(path), str(font), str(score)]
    subprocess.run(command, check=True, capture_output=True, timeout=120)
    score.unlink()
    return path
