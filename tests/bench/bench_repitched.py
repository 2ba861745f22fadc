"""How near the difference of two recordings of an instrument is read, one repitched by known cents.

    .venv/bin/python -m tests.bench.bench_repitched [FONT.sf2 ...] [--held-out] [--verbose]

Five notes of a General MIDI program are played by fluidsynth from each sound font (the installed
one without an argument), and A4 is found of them (`instrument_pitch`). Then the same again:
`resampled`: the whole recording played faster or slower, by Fourier transforms, the ratio known
exactly; `bent`: played by the synthesizer from the same samples at another pitch, which leaves
its own vibrato and its envelopes as fast as they were. What fluidsynth makes of a bend
is measured on the font's ocarina by another method, in whole cents.

Printed: trials within 0.3 cents (`A4`; where 76 cents more give the notes other names, which
another A4 belongs to, the mean of the five notes), trials without a note (`none`), the worst,
and how many single notes moved by as much within 0.3 cents. --held-out takes further programs
and other notes than those that any limit of `measure/fixed` was set on.
"""

from __future__ import annotations

import argparse
import math
import tempfile
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import soundfile
from scipy.signal import resample

from station.measure.fixed.a4 import instrument_pitch
from station.measure.fixed.types import FixedNote
from tests.support.reeds import hear, midi_of
from tests.support.soundfont import DEFAULT_FONT, Strike, render
from tests.support.strings import Floats, cents
from tests.support.tones import tone_hz

NEAR_CENTS = 0.3
BENDS = (25.5, -24.5, 76.0)
OCARINA = 79
FIRST_S, SOUND_S, EVERY_S = 0.3, 1.8, 2.2
NOTES = (48, 55, 60, 64, 69)
OTHER_NOTES = (50, 53, 62, 67, 71)
PROGRAMS = {
    0: "piano", 4: "electric piano", 16: "drawbar organ", 17: "percussive organ",
    18: "rock organ", 19: "church organ", 20: "reed organ", 21: "accordion", 22: "harmonica",
    23: "tango accordion",
}  # fmt: skip
HELD_OUT = {
    1: "bright piano", 2: "electric grand", 3: "honky-tonk", 5: "electric piano 2",
    6: "harpsichord", 7: "clavinet", 9: "glockenspiel", 11: "vibraphone", 14: "tubular bells",
    68: "oboe", 71: "clarinet", 72: "piccolo", 73: "flute", 74: "recorder", 75: "pan flute",
    79: "ocarina", 109: "bagpipe",
}  # fmt: skip


@dataclass
class Tally:
    """What came of the trials of one way."""

    trials: int = 0
    near: int = 0
    none: int = 0
    worst: float = 0.0
    notes: list[float] = field(default_factory=list)


def record(folder: Path, font: Path, strikes: list[Strike]) -> tuple[Floats, int]:
    """One channel of what fluidsynth plays."""
    path = render(folder / "take.wav", strikes, gain=0.5, font=font)
    samples, rate_hz = soundfile.read(path)
    return samples[:, 0], rate_hz


def strikes(program: int, notes: tuple[int, ...], bend_cents: float = 0.0) -> list[Strike]:
    """One note after the other."""
    return [
        Strike(program, midi, FIRST_S + i * EVERY_S, SOUND_S, bend_cents=bend_cents)
        for i, midi in enumerate(notes)
    ]


def bent_cents(folder: Path, font: Path, bend_cents: float) -> float:
    """What fluidsynth makes of a bend."""
    hz = []
    for bend in (0.0, bend_cents):
        x, rate_hz = record(folder, font, strikes(OCARINA, (72,), bend))
        first = round((FIRST_S + 0.4) * rate_hz)
        hz.append(tone_hz(x[first : first + rate_hz].astype(np.float32), rate_hz))
    return round(cents(hz[1], hz[0]))


def compare(
    tally: Tally, plain: list[FixedNote], moved: list[FixedNote], shift_cents: float
) -> str:
    """Count one trial; says what is wrong with it, nothing if nothing is."""
    tally.trials += 1
    first, second = instrument_pitch(plain), instrument_pitch(moved)
    if first is None or second is None:
        tally.none += 1
        return "no note"
    notes = _pairs(plain, moved, shift_cents)
    tally.notes += notes
    off = 1200.0 * math.log2(second.a4_hz / first.a4_hz) - shift_cents
    if abs(off) > 50.0:
        off = float(np.mean(notes))  # named a semitone apart: by its names another instrument
    tally.worst = max(tally.worst, abs(off))
    if abs(off) < NEAR_CENTS:
        tally.near += 1
        return ""
    each = " ".join(f"{note:+.2f}" for note in notes)
    return f"A4 {off:+.2f} ({first.temperament}, {second.temperament}), notes {each}"


def _pairs(plain: list[FixedNote], moved: list[FixedNote], shift_cents: float) -> list[float]:
    """How far each note's step is from what it should be, of the longest take of each."""
    off = []
    long = [note for note in plain if note.end_s - note.onset_s > SOUND_S / 2]
    for note in long:
        wanted = midi_of(note.hz) + shift_cents / 100.0
        near = [each for each in moved if abs(midi_of(each.hz) - wanted) < 0.5]
        if near:
            other = max(near, key=lambda each: each.end_s - each.onset_s)
            off.append(cents(other.hz, note.hz) - shift_cents)
    return off


def trial(
    folder: Path, font: Path, program: int, notes: tuple[int, ...], tallies: dict[str, Tally],
    bends: dict[float, float],
) -> list[str]:  # fmt: skip
    """All repitchings of one instrument; what went wrong."""
    x, rate_hz = record(folder, font, strikes(program, notes))
    plain = hear(x, rate_hz)
    wrong = []
    for bend, truth in bends.items():
        size = round(x.size / 2 ** (bend / 1200))
        shift_cents = 1200.0 * math.log2(x.size / size)
        moved = hear(resample(x, size), rate_hz)
        wrong.append(("resampled", bend, compare(tallies["resampled"], plain, moved, shift_cents)))
        y, _ = record(folder, font, strikes(program, notes, bend))
        wrong.append(("bent", bend, compare(tallies["bent"], plain, hear(y, rate_hz), truth)))
    return [f"{way} {bend:+.1f}: {said}" for way, bend, said in wrong if said]


def main() -> None:
    parser = argparse.ArgumentParser(description="known shifts of recorded instruments")
    parser.add_argument("fonts", nargs="*", type=Path, default=[DEFAULT_FONT])
    parser.add_argument("--held-out", action="store_true")
    parser.add_argument("--verbose", action="store_true")
    wanted = parser.parse_args()
    programs, notes = (HELD_OUT, OTHER_NOTES) if wanted.held_out else (PROGRAMS, NOTES)
    tallies = {"resampled": Tally(), "bent": Tally()}
    with tempfile.TemporaryDirectory() as name:
        for font in wanted.fonts:
            bends = {bend: bent_cents(Path(name), font, bend) for bend in BENDS}
            for program, title in programs.items():
                wrong = trial(Path(name), font, program, notes, tallies, bends)
                if wanted.verbose:
                    for line in wrong:
                        print(f"  {font.stem}, {title}, {line}", flush=True)
    for way, found in tallies.items():
        moved = np.abs(found.notes)
        print(
            f"{way:10} A4 {found.near} of {found.trials}, none {found.none}, worst"
            f" {found.worst:.2f} cents; notes {np.count_nonzero(moved < NEAR_CENTS)} of"
            f" {moved.size}, median {np.median(moved):.3f}"
        )


if __name__ == "__main__":
    main()
