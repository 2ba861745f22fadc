"""How near every string of a strum is to the same string alone, and who is missing.

    .venv/bin/python -m tests.bench.bench_strum [MIXES] [CENTS] [SEED]

200 random strums (MIXES) mixed from single recorded strings of a Debian sound font, detuned by up
to 40 cents (CENTS) by resampling, each string's level within 6 dB, struck 5 to 30 ms one after
the other, one in eight missing. A string is held to the settled pitch the station's listener
publishes of its recording alone. Programs and seeds are others than those the limits of
`station/measure/strum` were set on (0, 6, 15, 25, 26, 29, 33, 34, 37, 104, 105 and 106, seeds
1 to 93).

For comparison "alone": the listener's own fit of one string (`fit.fit_segment`), deaf to the
other strings, asked about each target; "told": the same, told each true pitch beforehand.
"""

from __future__ import annotations

import sys
import time

import numpy as np

from station.measure.decimate import Decimator
from station.measure.fit import Guess, fit_segment
from station.measure.strum.types import targets_of
from station.music.tunings import Tuning, find_tuning_by_name
from tests.support.strums import RATE_HZ, SILENCE_S, Mix, Score, heard_strums, mix, recorded

SETS = (
    ("guitar", 24),
    ("guitar", 27),
    ("guitar:dadgad", 24),
    ("guitar-7", 27),
    ("guitar-12", 24),
    ("bass", 32),
    ("bass-5", 36),
    ("bass-6", 35),
    ("ukulele", 46),
    ("mandolin", 107),
)
SEED = 20260
ALONE_CENTS = 50.0
TOLD_CENTS = 4.0


def main() -> None:
    mixes = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    cents = float(sys.argv[2]) if len(sys.argv) > 2 else 40.0
    print(
        f"{'':14}{'program':>8}{'strings':>8}{'<0.5':>7}{'<2':>7}{'rms':>7}{'/told':>6}"
        f"{'lost':>6}{'missing':>8}{'ghosts':>7}{'pairs':>6}{'split':>6}{'ms':>5}{'alone<2':>8}{'told<0.5':>9}"
    )
    whole = Score()
    rng = np.random.default_rng(int(sys.argv[3]) if len(sys.argv) > 3 else SEED)
    for name, program in SETS:
        tuning = find_tuning_by_name(name)
        notes = tuple(sorted({string.midi for string in tuning.strings}))
        sounds = recorded(program, notes)
        score, seconds = Score(), 0.0
        alone: list[float] = []
        told: list[float] = []
        for _ in range(max(1, mixes // len(SETS))):
            mixed = mix(tuning, sounds, rng, cents)
            began = time.process_time()
            strums = heard_strums(mixed.x, RATE_HZ, targets_of(tuning))
            seconds += time.process_time() - began
            for each in (score, whole):
                each.add(mixed, targets_of(tuning), strums)
            alone += naive(mixed, tuning, None)
            told += naive(mixed, tuning, TOLD_CENTS)
        each_ms = 1000 * seconds / max(1, mixes // len(SETS))
        print(row(name, str(program), score, each_ms, alone, told))
    print(row("all", "", whole, float("nan"), [], []))


def naive(mixed: Mix, tuning: Tuning, told_cents: float | None) -> list[float]:
    """Cents by which the fit of each string by itself is off; 99 where it finds none.

    With `told_cents` it is told the true pitch, to be believed within so many cents.
    """
    decimator = Decimator(RATE_HZ)
    x = decimator.push(mixed.x.astype(np.float32)).astype(np.float64)
    part = x[round((SILENCE_S + 0.25) * decimator.rate_hz) :]
    off = []
    for each in mixed.strings:
        if each.hz is None:
            continue
        target_hz = tuning.string(each.string).target_hz()
        guess = Guess(target_hz, 0.0, ALONE_CENTS)
        if told_cents is not None:
            guess = Guess(each.hz, 0.0, told_cents)
        fit = fit_segment(part, decimator.rate_hz, guess)
        off.append(99.0 if fit is None else float(1200 * np.log2(fit.hz / each.hz)))
    return off


def row(
    name: str,
    program: str,
    score: Score,
    each_ms: float,
    alone: list[float],
    told_off: list[float],
) -> str:
    """One line of the table."""
    errors, unsure = np.array(score.errors), np.array(score.unsure)
    rms = float(np.sqrt(np.mean(errors**2))) if errors.size else 0.0
    told = float(np.quantile(np.abs(errors) / unsure, 0.95)) if errors.size else 0.0
    by_itself = ""
    if alone:
        by_itself = f"{np.mean(np.abs(alone) <= 2):8.3f}{np.mean(np.abs(told_off) <= 0.5):9.3f}"
    return (
        f"{name:14}{program:>8}{score.present:8}{score.within(0.5):7.3f}{score.within(2):7.3f}"
        f"{rms:7.3f}{told:6.1f}{score.lost:6}{score.missing:8}{score.ghosts:7}{score.pairs:6}"
        f"{score.split:6}{each_ms:5.0f}{by_itself}"
    )


if __name__ == "__main__":
    main()
