"""How often the temperament of a random instrument is told, and A4 with it.

    .venv/bin/python -m tests.bench.bench_harps [TRIALS] [--counts 10 13 24] [--diatonic]

Instruments of every temperament with random roots, A4 from 412 to 446 Hz and random notes
between C3 and C6 (with --diatonic only those of one major scale), their reeds off by 2 cents at
random: evenly within 2 cents either way, or Gaussian with that standard deviation.

`right`, `none`, `wrong`: names told, in percent; `sure`: the rightly named at odds of 49 to 1 and
more, `sure wrong` the wrongly named. `A4`: A4 within 0.2 cents of the A4 that best fits the reeds
as they are (least squares under the true temperament; the A4 they were meant to have cannot be
found better than to sigma / sqrt n: 0.37 or 0.63 cents of ten notes); `A4 of right`: the same
among the rightly named (roots that no note tells apart count as one tuning, whose A4 is their
mean: `open_a4_cents`); `limit A4`: how often that of an observer is as near who knows sigma, roots
that cannot be told apart averaged. `bet`: how often an observer has the right name who knows how
the reeds scatter, evenly or Gaussian, and that no reed is bad, and bets on the likeliest however
little likelier it is. `asked`: how often the station has the right name after as many notes at
most, but asking for them two by two from the first random three on, until it is sure.

With --until-sure only who plays what is asked for, two by two from three random notes on, until
the station is sure: how many notes that takes, how often the name was right then, after ten notes,
after sixteen and after twenty at most. With --layouts whole instruments: the nineteen notes of a
ten-hole diatonic harp in each key, just and equal, and all 38 of a chromatic one.

Then instruments in none of the temperaments, ten notes each, that were named as one of them:
per-note offsets of several sizes, sixth-comma meantone and a temperament with four fifths a
quarter of the syntonic comma narrow and one a schisma; instruments of every temperament with one
bad reed, 8 to 40 cents off; stretched pianos.
"""

from __future__ import annotations

import argparse
import math

import numpy as np

from station.measure.fixed.a4 import InstrumentPitch, instrument_pitch
from station.measure.fixed.claim import SURE
from station.measure.fixed.shapes import OFFSETS
from station.music.names import parse_note
from station.music.temperaments import PITCH_CLASSES, TEMPERAMENTS, TemperamentName, roots_of
from tests.support.harps import (
    KEYBOARD,
    SCATTERS,
    Harp,
    bets_on,
    cents_of,
    fixed_note,
    ideal_observer,
    open_a4_cents,
    random_harp,
    with_a_bad_reed,
)
from tests.support.strings import Floats

COUNTS = (10, 13, 24)
NEAR_CENTS = 0.2
COLUMNS = (
    "right", "none", "wrong", "sure", "sure wrong", "A4", "A4 of right", "limit A4", "bet", "asked"
)  # fmt: skip
FIRST_NOTES = 3
LAYOUT_COLUMNS = ("right", "wrong", "its key", "other key", "A4")
UNTIL_COLUMNS = "    right: by 10       by 16       by 20        sure"
OFFSET_CENTS = (2.0, 3.0, 4.0, 7.0, 12.0)
FIFTH_CENTS = 1200.0 * math.log2(1.5)
SYNTONIC_CENTS = 1200.0 * math.log2(81 / 80)
SCHISMA_CENTS = 1200.0 * math.log2(3**12 / 2**19) - SYNTONIC_CENTS


def heard(harp: Harp) -> InstrumentPitch:
    found = instrument_pitch(harp.notes())
    if found is None:
        raise SystemExit(f"no pitch at all from {harp}")
    return found


def asked_for(whole: Harp, rng: np.random.Generator, count: int) -> str | None:
    """What is told of an instrument that has all of `whole`'s notes, playing what is asked for."""
    return asked_until_sure(whole, rng, count)[1]


def asked_until_sure(
    whole: Harp, rng: np.random.Generator, most: int
) -> tuple[int, str | None, bool]:
    """Notes played, so many at most, what is told then, and whether nothing more was asked for."""
    reeds = dict(zip(whole.midi, range(len(whole.midi)), strict=True))
    played = [int(each) for each in rng.choice(whole.midi, FIRST_NOTES, replace=False)]
    while True:
        places = [reeds[each] for each in sorted(played)]
        midi, errors = (tuple(row[i] for i in places) for row in (whole.midi, whole.errors))
        found = heard(Harp(whole.name, whole.root, whole.a4_hz, midi, errors))
        sure = found.temperament is not None and found.evidence[0].probability >= SURE
        if len(played) >= most or sure or not found.play_next:
            return len(played), found.temperament, sure
        steps = found.notes[0].midi - midi[0]
        wanted = [parse_note(each) - steps for each in found.play_next]
        there = [each for each in wanted if each in reeds and each not in played]
        rest = [each for each in whole.midi if each not in played]
        played += (there or [int(rng.choice(rest))])[: most - len(played)]


def shares(
    name: TemperamentName, count: int, reading: str, trials: int, diatonic: bool
) -> dict[str, float]:
    """Each column in percent."""
    rng = np.random.default_rng([count, TEMPERAMENTS.index(name)])
    scatter, sigma = SCATTERS[reading]
    rows = []
    for _ in range(trials):
        harp = random_harp(rng, name, count, scatter, diatonic=diatonic)
        found = heard(harp)
        best = open_a4_cents(harp, found)
        near = best is not None and abs(cents_of(found) - best) < NEAR_CENTS
        ideal = ideal_observer(harp, sigma, 0 if best is None else harp.steps(found))
        ideal_near = best is not None and abs(ideal.a4_cents - best) < NEAR_CENTS
        right, none = found.temperament == name, found.temperament is None
        sure = not none and found.evidence[0].probability >= SURE
        whole = random_harp(rng, name, len(KEYBOARD), scatter, diatonic=diatonic)
        asked = asked_for(whole, rng, count)
        rows.append(
            (right, none, not (right or none), sure and right, sure and not right, near,
             near and right, ideal_near, bets_on(harp, reading) == name, asked == name)
        )  # fmt: skip
    means = 100.0 * np.array(rows, dtype=float).mean(axis=0)
    means[6] *= 100.0 / max(means[0], 1e-9)
    return dict(zip(COLUMNS, means.tolist(), strict=True))


def until_sure(name: TemperamentName, reading: str, trials: int) -> str:
    """How many notes were played until the station was sure, and how often it was right."""
    rng = np.random.default_rng([99, TEMPERAMENTS.index(name)])
    steps = (10, 16, 20, len(KEYBOARD))
    counts, right = [], dict.fromkeys(steps, 0)
    for _ in range(trials):
        whole = random_harp(rng, name, len(KEYBOARD), SCATTERS[reading][0])
        told = {}
        for most in steps:
            count, told[most], sure = asked_until_sure(whole, np.random.default_rng(7), most)
            if sure:
                break
        for most in steps:
            right[most] += told.get(most, told[max(told)]) == name
        counts.append(count)
    shares = "".join(f"{100.0 * right[most] / trials:12.1f}" for most in steps)
    quantiles = np.quantile(counts, [0.5, 0.9, 1.0])
    return f"{name:24}" + "".join(f"{each:8.0f}" for each in quantiles) + shares


RICHTER = (0, 2, 4, 7, 11, 12, 14, 16, 17, 19, 21, 23, 24, 26, 28, 29, 31, 33, 36)
"""Semitones above the key note of the nineteen notes of a ten-hole diatonic harp."""


def layouts(reading: str, trials: int) -> None:
    """Whole instruments: named, the key told, A4 within NEAR_CENTS."""
    rng = np.random.default_rng(19)
    scatter = SCATTERS[reading][0]
    made: list[tuple[str, TemperamentName, bool]] = [
        ("ten-hole harp", "just", True), ("ten-hole harp", "equal", True),
        *(("chromatic harp", name, False) for name in TEMPERAMENTS),
    ]  # fmt: skip
    for what, name, is_diatonic in made:
        rows = []
        for trial in range(trials):
            key = trial % 12
            low = 55 + key
            midi = tuple(low + step for step in RICHTER) if is_diatonic else tuple(range(60, 98))
            roots = roots_of(name)
            root = PITCH_CLASSES[low % 12] if len(roots) == 12 else roots[0]
            harp = Harp(name, root, 441.0, midi, tuple(scatter(rng, len(midi)).tolist()))
            found = heard(harp)
            best = open_a4_cents(harp, found)
            near = best is not None and abs(cents_of(found) - best) < NEAR_CENTS
            other = found.root not in (harp.root, None)
            wrong = found.temperament not in (name, None)
            rows.append((found.temperament == name, wrong, found.root == harp.root, other, near))
        means = 100.0 * np.mean(rows, axis=0)
        print(f"  {what:16}{name:24}" + "".join(f"{each:12.1f}" for each in means), flush=True)


def of_fifths(tempered: dict[int, float]) -> Floats:
    """Cents of a circle of fifths from C up, its k-th narrower than pure by so much."""
    cents, place, total = np.zeros(12), 0, 0.0
    for k in range(11):
        total += FIFTH_CENTS - 700.0 - tempered.get(k, 0.0)
        place = (place + 7) % 12
        cents[place] = total
    return cents


NEIGHBOURS = {
    "sixth-comma meantone": of_fifths(dict.fromkeys(range(11), SYNTONIC_CENTS / 6)),
    "four quarter commas": of_fifths(
        dict.fromkeys(range(4), SYNTONIC_CENTS / 4) | {6: SCHISMA_CENTS}
    ),
}


def nameless(rng: np.random.Generator, own: Floats, reading: str) -> Harp:
    """Ten notes with offsets of their own."""
    midi = np.sort(rng.choice(list(KEYBOARD), 10, replace=False))
    errors = own[midi % 12] + SCATTERS[reading][0](rng, midi.size)
    return Harp("equal", None, 440.0, tuple(midi.tolist()), tuple(errors.tolist()))


def stretched(rng: np.random.Generator) -> str | None:
    """What is told of ten notes of a piano, stretched as on Railsback's figure (`posterior`)."""
    midi = np.sort(rng.choice(range(28, 100), 10, replace=False))
    octaves = (midi - 69) / 12.0
    cents = rng.uniform(0.8, 1.6) * octaves + 0.35 * octaves**3 + rng.normal(0.0, 0.7, 10)
    found = instrument_pitch(
        [
            fixed_note(int(m), float(c), 441.0, inharmonicity=4e-4)
            for m, c in zip(midi, cents, strict=True)
        ]
    )
    return None if found is None else found.temperament


def others(trials: int, reading: str) -> None:
    rng = np.random.default_rng(77)

    def line(what: str, told: list[str | None], right: list[str | None]) -> None:
        pairs = list(zip(told, right, strict=True))
        wrong = [one for one, true in pairs if one not in (None, true)]
        good = sum(one == true for one, true in pairs)
        share = 100.0 / len(told)
        print(f"  {what:34} right {share * good:5.1f}  wrong {share * len(wrong):5.1f}")

    for cents in OFFSET_CENTS:
        told = [
            heard(nameless(rng, rng.normal(0.0, cents, 12), reading)).temperament
            for _ in range(trials)
        ]
        line(f"offsets of {cents:g} cents", told, [OFFSETS] * trials)
    for what, own in NEIGHBOURS.items():
        told = [
            heard(nameless(rng, np.roll(own, rng.integers(12)), reading)).temperament
            for _ in range(trials)
        ]
        line(what, told, [OFFSETS] * trials)
    bad, true = [], []
    for name in TEMPERAMENTS:
        for _ in range(max(1, trials // len(TEMPERAMENTS))):
            harp = random_harp(rng, name, 10, SCATTERS[reading][0])
            bad.append(heard(with_a_bad_reed(rng, harp)).temperament)
            true.append(name)
    line("one bad reed", bad, list(true))
    line("stretched pianos", [stretched(rng) for _ in range(trials)], ["equal"] * trials)


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("trials", type=int, nargs="?", default=100)
    parser.add_argument("--counts", type=int, nargs="+", default=COUNTS)
    parser.add_argument("--diatonic", action="store_true")
    parser.add_argument("--until-sure", action="store_true")
    parser.add_argument("--layouts", action="store_true")
    wanted = parser.parse_args()
    for reading in SCATTERS:
        print(f"\n{reading}, {wanted.trials} instruments each, percent")
        if wanted.layouts:
            print(f"{'':42}" + "".join(f"{each:>12}" for each in LAYOUT_COLUMNS))
            layouts(reading, wanted.trials)
        if wanted.until_sure:
            print(f"{'notes until sure:':24}  median     90%    most" + UNTIL_COLUMNS)
            for name in TEMPERAMENTS:
                print(until_sure(name, reading, wanted.trials), flush=True)
        if wanted.layouts or wanted.until_sure:
            continue
        print(f"{'':24}{'notes':>6}" + "".join(f"{each:>12}" for each in COLUMNS))
        for count in wanted.counts:
            for name in TEMPERAMENTS:
                found = shares(name, count, reading, wanted.trials, wanted.diatonic)
                row = "".join(f"{found[each]:12.1f}" for each in COLUMNS)
                print(f"{name:24}{count:6}{row}", flush=True)
        others(wanted.trials, reading)


if __name__ == "__main__":
    main()
