"""What is read wrongly while drums sound on the line, alone or under a string.

    .venv/bin/python -m tests.bench.bench_bleed [TAKES] [FIRST SEED] [DB BELOW]

Kits with every number drawn from a seed (`tests/support/kits.py`): alone; long pure kicks alone;
under strings from B0 to E5; under strings within a semitone of the snare's body; under strings
that die away within half a second; and cymbal noise under strings. A reading or note is wrong if
it is more than 5 cents off, or if no string sounds.
"""

from __future__ import annotations

import sys

import numpy as np

from tests.support.drums import Kick, below
from tests.support.kits import Kit, band
from tests.support.strings import Floats, StiffString, cents, hear_all, noise

RATE_HZ = 48000
WRONG_CENTS = 5.0
RINGS_S = 4.0
HISS_DB = -85.0
KINDS = (
    "drums alone",
    "long kicks alone",
    "under a string",
    "snare's own pitch",
    "dying",
    "cymbal",
)


def alone(kind: str, seed: int) -> Floats:
    """Six seconds of drums at any loudness."""
    rng = np.random.default_rng([seed, KINDS.index(kind)])
    if kind == "drums alone":
        loop = Kit(RATE_HZ, seed).loop(6.0)
        return np.asarray(loop * 10 ** (-rng.uniform(0, 40) / 20) / np.abs(loop).max())
    to_hz = rng.uniform(35, 110)
    falls_s, rings_s = rng.uniform(0.01, 0.08), 10 ** rng.uniform(-1, 0.1)
    kick = 0.4 * Kick(to_hz * rng.uniform(1, 3), to_hz, falls_s, rings_s).sound(RATE_HZ)
    x = np.zeros(6 * RATE_HZ)
    for at_s in np.arange(0.4, 5.5, rng.uniform(0.4, 2.5)):
        part = x[round(at_s * RATE_HZ) :][: kick.size]
        part += kick[: part.size]
    return x


def under_a_string(kind: str, seed: int, by_db: float) -> tuple[Floats, float]:
    """A string with drums or a cymbal below it, and its pitch."""
    rng = np.random.default_rng([seed, KINDS.index(kind)])
    hz, snare_hz = 440 * 2 ** ((rng.uniform(23, 76) - 69) / 12), None
    if kind == "snare's own pitch":
        snare_hz = rng.uniform(150, 260)
        hz = snare_hz * 2 ** (rng.uniform(-1, 1) / 12)
    ring_s = rng.uniform(0.1, 0.4) if kind == "dying" else rng.uniform(0.5, 3)
    string = StiffString(hz, rng.uniform(0, 3e-4), ring_s, partials=int(rng.integers(4, 31)))
    x, lead = string.sound(RATE_HZ, RINGS_S, seed), round(rng.uniform(0.4, 1.2) * RATE_HZ)
    length_s = RINGS_S + lead / RATE_HZ
    if kind == "cymbal":
        drums = band(RATE_HZ, rng, length_s, rng.uniform(200, 8000))
        drums *= np.exp(-np.arange(drums.size) / RATE_HZ / rng.choice([0.5, 2.0, 1e9]))
    else:
        drums = Kit(RATE_HZ, seed, snare_hz).loop(length_s)
    y = below(drums, x[:RATE_HZ], by_db)
    y[lead:] += x[: y.size - lead]
    return y, hz


def main() -> None:
    """One row for each kind."""
    takes = int(sys.argv[1]) if len(sys.argv) > 1 else 40
    first = int(sys.argv[2]) if len(sys.argv) > 2 else 1000
    by_db = float(sys.argv[3]) if len(sys.argv) > 3 else 12.0
    print(f"{'':20}{'takes':>7}{'mute':>6}{'readings':>10}{'wrong':>7}{'notes':>7}{'wrong':>7}")
    for kind in KINDS:
        counts = np.zeros(5, int)
        for seed in range(first, first + takes):
            hz = None
            if kind.endswith("alone"):
                x = alone(kind, seed)
            else:
                x, hz = under_a_string(kind, seed, by_db)
            readings, notes, _ = hear_all(x + noise(x.size, HISS_DB, seed), RATE_HZ)
            wrong = [
                sum(hz is None or abs(cents(item.hz, hz)) > WRONG_CENTS for item in said)
                for said in (readings, notes)
            ]
            counts += (
                hz is not None and not readings,
                len(readings),
                wrong[0],
                len(notes),
                wrong[1],
            )
        mute, read, misread, noted, misnoted = counts
        print(f"{kind:20}{takes:7}{mute:6}{read:10}{misread:7}{noted:7}{misnoted:7}", flush=True)


if __name__ == "__main__":
    main()
