"""How often the lug farthest out is named, and how even heads get by following the advice.

    .venv/bin/python -m tests.bench.bench_heads [HEADS] [--from SEED]

Simulated heads (tests/support/membrane.py) of 6, 8 and 10 lugs: one lug 5 to 20 % slack and the
others within 1 %; the same with the others within 5 %; all within 5 %. Two taps a lug, each read
to half a cent, struck within 3 degrees and 3 % of the radius, the key set to a degree (standard
deviations); the microphone over the stick, or standing still.

`named`: the lug farthest from the mean, or the one opposite, is the one the station names.
`bound`: how often that holds for somebody who knows the mean of each two opposite lugs exactly
and names the two whose mean is farthest out: no steady mode tells more. `pair named`: those two are
named. `held`: the lug farthest out is among those that are told to be possible; `pairs`: how many
pairs of opposite lugs these are; `one`: heads, in percent, of which only one pair is told.
`even`: in percent, heads under 10 cents from the lowest lug to the highest after at most three
rounds of turning (opposite lugs averaged; the truth, not what the station said). `keen`: those made
even by who follows the same advice with the same hands and hears exactly how each family is
split. `sounds`: as `even`, of the head with opposite lugs alike whose families are split as these
are: how even it is to be heard. `turned`: rounds of turning until the station called the head
even, or three. `left`: what is left between a lug and the mean by lug itself, opposite not
averaged, rms cents: what nobody hears.

First what somebody could do who hears each two opposite lugs and each lug's response exactly, and
has the same hands: no advice makes more heads even. And what a turn of half the way at one lug
alone tells of whether that lug or the one opposite was slack: how far apart (1,1), (2,1) and (3,1)
stand by it, in cents, from lowest to highest, what all have in common taken off.
"""

from __future__ import annotations

import argparse
import time
from dataclasses import replace

import numpy as np

from station.measure.drums.types import Head
from tests.support.head_taps import Drummer, Hand, Kind, as_it_sounds, random_drummer
from tests.support.membrane import SimulatedHead

KINDS: tuple[Kind, ...] = ("one slack", "one slack, others random", "random")
LUGS = (6, 8, 10)
ROUNDS = 3
ORDERS = (1, 2, 3)
EVEN_CENTS = 10.0
COLUMNS = (
    "named", "bound", "pair named", "held", "one", "even", "keen", "sounds",
    "pairs", "turned", "before", "after", "left",
)  # fmt: skip
SHARES = 8  # of the columns, the first, are in percent


def one_head(drummer: Drummer, keen: Drummer) -> tuple[float, ...]:
    """The columns for one head; `keen` has the same one."""
    own, heard = drummer.head.pitch_cents(), drummer.truly()
    half = own.size // 2
    far = int(np.abs(own).argmax()) % half
    said = drummer.tap_round()
    named = (said.worst - 1) % half
    loudest = int(np.abs(heard).argmax()) % half
    maybe = [group[0] - 1 for group in said.farthest.candidates]
    before, turned = np.ptp(heard), follow(drummer, said)
    follow(keen, keen.tap_round())
    left = np.sqrt(np.mean(drummer.head.pitch_cents() ** 2))
    after = np.ptp(drummer.truly())
    even, keenly, sounds = (
        np.ptp(cents) < EVEN_CENTS
        for cents in (drummer.truly(), keen.truly(), as_it_sounds(drummer.head))
    )
    right = (named == far, loudest == far, named == loudest, far in maybe, len(maybe) == 1, even)
    return (*right, keenly, sounds, len(maybe), turned, before, after, left)


def follow(drummer: Drummer, said: Head) -> int:
    """Rounds of turning as advised and tapping, after `said`, until it is even; how many."""
    for turned in range(ROUNDS):
        if said.even:
            return turned
        drummer.follow(said)
        said = drummer.tap_round()
    return ROUNDS


def ideal(kind: Kind, lugs: int, seeds: range) -> float:
    """Heads made even by whoever hears all and knows each lug's response, in percent."""
    even = 0
    for seed in seeds:
        drummer = random_drummer(kind, lugs, seed)
        for _ in range(ROUNDS):
            if np.ptp(drummer.truly()) < EVEN_CENTS:
                break
            tensions = np.array(drummer.head.tensions)
            heard = (tensions + np.roll(tensions, lugs // 2)) / 2.0
            beside = np.roll(np.eye(lugs), 1, axis=0) + np.roll(np.eye(lugs), -1, axis=0)
            share = np.eye(lugs) + drummer.response.neighbours * beside
            turns = np.linalg.solve(share, tensions.mean() - heard)
            for lug, turn in enumerate(turns / np.array(drummer.response.per_turn), start=1):
                slip = drummer.rng.normal(0.0, drummer.hand.key_deg) / 360.0
                drummer.head = drummer.head.turned(lug, turn + slip, drummer.response)
        even += np.ptp(drummer.truly()) < EVEN_CENTS
    return 100.0 * even / len(seeds)


def told_apart_cents(lugs: int, slack: float) -> float:
    """By how much families differ if a slack lug was turned half the way, or its opposite was."""
    families = []
    for turned in (0, lugs // 2):
        tensions = np.full(lugs, 1000.0)
        tensions[0] *= 1.0 - slack
        tensions[turned] += 500.0 * slack
        modes = SimulatedHead(tuple(tensions)).modes()
        pairs = [
            [m.hz for m in modes if (m.diameters, m.circles) == (order, 1)] for order in ORDERS
        ]
        families.append(np.array([np.log2(pair[:2]).mean() for pair in pairs]))
    return float(1200.0 * np.ptp(families[0] - families[1]))


def row(kind: Kind, lugs: int, hand: Hand, seeds: range) -> list[float]:
    """The columns' means; shares in percent."""
    rows = [
        one_head(*(random_drummer(kind, lugs, seed, hand, keen) for keen in (False, True)))
        for seed in seeds
    ]
    means = np.array(rows, dtype=float).mean(axis=0)
    means[:SHARES] *= 100.0
    return [float(each) for each in means]


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("heads", type=int, nargs="?", default=67)
    parser.add_argument("--from", type=int, default=0, dest="first", help="the first seed")
    asked = parser.parse_args()
    heads, seeds = asked.heads, range(asked.first, asked.first + asked.heads)
    print("even by whoever hears all: ", end="")
    print(", ".join(f"{k} {n}: {ideal(k, n, seeds):.0f} %" for k in KINDS for n in LUGS))
    print("a lug and its opposite apart after a turn of one: ", end="")
    shown = ((n, s, told_apart_cents(n, s)) for n in LUGS for s in (0.05, 0.1, 0.2))
    print(", ".join(f"{n} lugs {s:.0%}: {c:.2f}" for n, s, c in shown))
    began = time.perf_counter()
    for follows in (True, False):
        hand = replace(Hand(), follows=follows)
        print(
            f"\nmicrophone {'over the stick' if follows else 'standing still'}, {heads} heads a row"
        )
        print(f"{'':26}{'lugs':>5}" + "".join(f"{each:>11}" for each in COLUMNS))
        for kind in KINDS:
            for lugs in LUGS:
                cells = "".join(f"{each:11.1f}" for each in row(kind, lugs, hand, seeds))
                print(f"{kind:26}{lugs:5}{cells}", flush=True)
    count = 2 * heads * len(KINDS) * len(LUGS)
    print(f"\n{(time.perf_counter() - began) / count:.2f} s a head, the simulator included")


if __name__ == "__main__":
    main()
