"""Bass drums, snares with wires on and off, timbales and toms: what is told of five taps on each.

    .venv/bin/python -m tests.bench.bench_played_drums [DRUMS] [--kits FOLDER]

First simulated ones (tests/support/played_drums.py), of which the truth is known, DRUMS of each
kind (20 unless said). `told`: of 100 a tap was told of; `semitone`: of those told, the settled
fundamental met within 100 cents; `sure`: told to be sure of it; `of these`: within 100 cents where
it is sure; `2 sd`: within twice the uncertainty told; `cents`: median error; `kind`: the
kind of drum, wires on or off for snares, told right.

Then recorded ones: FOLDER holds drum kits, a folder each (Debian's package hydrogen-drumkits puts
them into /usr/share/hydrogen/data/drumkits). Recordings that differ in their last number or
word of force only are strokes on one drum. `strokes`: how many are no cymbal, rim or double;
`Hz`, `sd`: their pitch and its uncertainty; `spread`: of single strokes, in cents; `long`: how far
the highest peak of a long spectrum near lies, median over strokes, cents; `on`, `off`: strokes
whose wires are told to be on or off.

At last recorded toms of these kits that are told surely, each cut off so many seconds after the
stroke: `wrong`: told as a good stroke more than a semitone from what the whole recording says;
`surely`: sure of it; `left out`: not told, or as a stroke that does not count.
"""

from __future__ import annotations

import argparse
import re
from collections import defaultdict
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import soundfile

from station.measure.drums.tap import cents, tap
from station.measure.drums.types import Stroke, Tap
from tests.support.drum_strokes import Floats, alone, fft_peak_hz, heard, take
from tests.support.played_drums import PlayedDrum, bass_drum, snare_drum, timbale

KITS = Path("/usr/share/hydrogen/data/drumkits")
TAPS, LENGTH_S = 5, 1.6
NOISE_DB = -60.0
SOUNDS = {".wav", ".flac", ".aiff", ".aif", ".ogg"}
DRUMS = r"kick|bassdrum|\bbd|snare|(?<![a-z])sn|tom|timb"
FORCE = re.compile(r"[-_ ]?(softest|soft|med|hardest|hard|normal|lite)?[-_]?(shot)?\d*$", re.I)
CUTS_S, EDGE = (0.16, 0.2, 0.25, 0.3, 0.4), 96
COLUMNS = ("told", "semitone", "sure", "of these", "2 sd", "cents", "kind")


def tapped(drum: PlayedDrum, seed: int) -> Tap | None:
    """What five taps on a drum say, some harder than others."""
    rng = np.random.default_rng([seed, 9])
    strokes = []
    for at in range(TAPS):
        force = rng.uniform(0.5, 1.0)
        hit = replace(drum, seed=97 * seed + at, glide=drum.glide * force**2)
        strokes.append((0.4 + 1.8 * at, force * hit.sound(LENGTH_S)))
    return tap(heard(take(strokes, 0.4 + 1.8 * TAPS, NOISE_DB, seed=seed)))


def simulated(make: Callable[[int], PlayedDrum], kind: str | None, count: int) -> str:
    """A row of figures for `count` drums."""
    rows = []
    for seed in range(count):
        drum = make(seed)
        said = tapped(drum, seed)
        if said is None:
            continue
        off = abs(cents(said.fundamental_hz, drum.settled_hz))
        right = kind is None or said.kind == kind
        rows.append((off < 100, said.sure, off < 2 * said.uncertainty_cents, off, right))
    if not rows:
        return f"{0:>10}"
    near, sure, covered, off, right = np.array(rows, dtype=float).T
    of_sure = near[sure > 0].mean() if sure.any() else np.nan
    shares = (len(rows) / count, near.mean(), sure.mean(), of_sure, covered.mean())
    cells = "".join(f"{100 * each:10.0f}" for each in shares)
    return f"{cells}{np.median(off):10.1f}{100 * right.mean():10.0f}"


def recordings(folder: Path) -> dict[tuple[str, str], list[Path]]:
    """Kit and drum, and the recordings of it."""
    drums: dict[tuple[str, str], list[Path]] = defaultdict(list)
    for path in sorted(folder.rglob("*")):
        if path.suffix.lower() in SOUNDS and re.search(DRUMS, path.stem, re.I):
            drums[path.parent.name, FORCE.sub("", path.stem)].append(path)
    return drums


def mono_of(path: Path) -> tuple[Floats, int]:
    """All channels together, as loud as others, shape (n,), and the rate."""
    x, rate_hz = soundfile.read(path, dtype="float64", always_2d=True)
    mono = x.mean(axis=1)
    return mono * (0.8 / max(float(np.abs(mono).max()), 1e-9)), int(rate_hz)


def rows_of(drums: dict[tuple[str, str], list[Path]]) -> Iterator[str]:
    """A row of figures for each recorded drum."""
    for (kit, drum), paths in drums.items():
        strokes: list[Stroke] = []
        apart = []
        for place, path in enumerate(paths):
            mono, rate_hz = mono_of(path)
            said = heard(alone(mono, rate_hz), rate_hz)
            if not said:
                continue
            strokes.append(replace(said[0], at_s=float(place)))
            own = said[0].fundamental
            if said[0].verdict == "good" and own is not None:
                apart.append(long_spectrum_cents(mono, rate_hz, own.hz, own.ring_s or 0.3))
        yield f"{kit[:18]:<19}{drum[:26]:<27}{row_of(len(paths), strokes, apart)}"


def row_of(count: int, strokes: list[Stroke], apart: list[float]) -> str:
    """The figures of one recorded drum."""
    said = tap(strokes)
    if said is None:
        return f"{len(strokes):>4} of {count}"
    wires = [each.wires for each in said.strokes]
    return (
        f"{len(said.strokes):>4} of {count:<3}{said.fundamental_hz:9.2f}"
        f"{said.uncertainty_cents:8.1f}{said.spread_cents:8.1f}{np.median(np.abs(apart)):8.1f}"
        f"{wires.count('on'):4}{wires.count('off'):4}  {said.kind}{'' if said.sure else ', unsure'}"
    )


def long_spectrum_cents(x: Floats, rate_hz: int, hz: float, ring_s: float) -> float:
    """How far from `hz` the spectrum of the settled part peaks."""
    first = int(np.argmax(np.abs(x) > 0.2 * np.abs(x).max()))
    first += min(round(0.3 * ring_s * rate_hz), (x.size - first) // 3)
    stretch = x[first : first + round(max(ring_s, 0.15) * rate_hz)]
    return cents(hz, fft_peak_hz(stretch, rate_hz, hz, 0.12))


def cut_off(drums: dict[tuple[str, str], list[Path]]) -> Iterator[str]:
    """A row for each time at which toms are cut off."""
    counts = {cut_s: [0, 0, 0, 0] for cut_s in CUTS_S}
    for (_, drum), paths in drums.items():
        for path in paths if re.search("tom", drum, re.I) else []:
            mono, rate_hz = mono_of(path)
            whole = heard(alone(mono, rate_hz), rate_hz)
            if not whole or not whole[0].sure or whole[0].verdict != "good":
                continue
            own = whole[0].fundamental
            first = int(np.argmax(np.abs(mono) > 0.2 * np.abs(mono).max()))
            for cut_s, count in counts.items():
                part = mono[: first + round(cut_s * rate_hz)].copy()
                part[-EDGE:] *= np.linspace(1.0, 0.0, EDGE)
                said = heard(alone(part, rate_hz), rate_hz)
                count[0] += 1
                if not said or said[0].verdict != "good" or said[0].fundamental is None:
                    count[3] += 1
                elif own is not None and abs(cents(said[0].fundamental.hz, own.hz)) > 100:
                    count[1] += 1
                    count[2] += said[0].sure
    for cut_s, (all_of, wrong, surely, left_out) in counts.items():
        yield f"{cut_s:8.2f} s{all_of:8}{wrong:8}{surely:8}{left_out:10}"


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("drums", type=int, nargs="?", default=20)
    parser.add_argument("--kits", type=Path, default=KITS)
    asked = parser.parse_args()
    kinds: tuple[tuple[str, Callable[[int], PlayedDrum], str | None], ...] = (
        ("bass drum", bass_drum, None),
        ("snare, wires on", snare_drum, "snare, wires on"),
        ("snare, wires off", lambda seed: snare_drum(seed, 0.0), "snare, wires off"),
        ("timbale", timbale, None),
    )
    print(f"{'':18}" + "".join(f"{each:>10}" for each in COLUMNS))
    for name, make, kind in kinds:
        print(f"{name:18}{simulated(make, kind, asked.drums)}", flush=True)
    if not asked.kits.is_dir():
        print(f"\nno recordings: {asked.kits} is not there")
        return
    print(f"\n{'':46}{'strokes':>10}{'Hz':>9}{'sd':>8}{'spread':>8}{'long':>8}  on off")
    drums = recordings(asked.kits)
    for row in rows_of(drums):
        print(row, flush=True)
    print(f"\n{'cut off':>10}{'toms':>8}{'wrong':>8}{'surely':>8}{'left out':>10}")
    for row in cut_off(drums):
        print(row)


if __name__ == "__main__":
    main()
