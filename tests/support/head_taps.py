"""Rounds of taps on simulated heads, as lists of modes, and a drummer who follows the advice."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from station.measure.drums.families import Split
from station.measure.drums.head_pass import taps_a_lug
from station.measure.drums.lugs import describe, splits
from station.measure.drums.rim import families, family_rows, pushed_apart
from station.measure.drums.turning import RimState, Turn
from station.measure.drums.types import Head, Mode, Stroke
from tests.support.membrane import (
    INCH_M,
    Floats,
    MembraneMode,
    Response,
    SimulatedHead,
    amplitudes,
    mean_tension,
)
from tests.support.membrane import Stroke as Strike

Kind = Literal["one slack", "one slack, others random", "random"]
FAINTEST_DB = -35.0


@dataclass(frozen=True)
class Hand:
    """How well a drummer taps and turns, and what is heard; standard deviations.

    `taps` at every lug, None for as many as a pass asks for. `radius` as a share of the head's,
    `angle_deg` and `key_deg` in degrees. `follows`: the microphone hears the head under the
    stick; otherwise it stands still, and hears each mode with a gain of its own, `room_db`.
    """

    taps: int | None = None
    radius: float = 0.03
    angle_deg: float = 3.0
    key_deg: float = 1.0
    hz_cents: float = 0.5
    level_db: float = 1.0
    follows: bool = True
    room_db: float = 4.0


@dataclass
class Drummer:
    """A head, its lugs' response, a hand, and what is known after each round."""

    head: SimulatedHead
    response: Response
    hand: Hand
    rng: np.random.Generator
    known: RimState | None = None
    rounds: int = 0

    def __post_init__(self) -> None:
        db = self.rng.normal(0.0, self.hand.room_db, 16)
        self.gains: Floats | None = None if self.hand.follows else 10 ** (db / 20)

    def tap_round(self) -> Head:
        """Tap every lug; what the station says."""
        still = 0.0 if self.known is None else self.known.still
        found = splits(self.head.lugs, self.taps(), still=still)
        assert found, "no (1,1) pair heard"
        before = self.known or RimState.first(self.head.lugs, found[0].centre_hz)
        self.known = before.heard(found)
        self.rounds += 1
        return describe(self.known, self.head.modes()[0].hz)

    def taps(self) -> list[tuple[int, tuple[Mode, ...]]]:
        """Every lug in turn, the modes of each tap."""
        lugs = range(1, self.head.lugs + 1)
        taps = self.hand.taps or taps_a_lug(self.head.lugs, self.rounds)
        return [(lug, self.modes(lug)) for lug in lugs for _ in range(taps)]

    def modes(self, lug: int) -> tuple[Mode, ...]:
        """The modes of one tap, those too close to be two heard as one between."""
        strike = Strike(
            0.71 + self.rng.normal(0.0, self.hand.radius),
            self.head.angle(lug) + np.radians(self.rng.normal(0.0, self.hand.angle_deg)),
        )
        heard = np.abs(amplitudes(self.head, strike, self.gains)) + 1e-9
        merged = [_merged(group) for group in _groups(self.head.modes(), heard)]
        top = max(amplitude for _, amplitude, _ in merged)
        found = []
        for hz, amplitude, ring_s in merged:
            level = 20 * np.log10(amplitude / top) + self.rng.normal(0.0, self.hand.level_db)
            if level > FAINTEST_DB:
                off = self.rng.normal(0.0, self.hand.hz_cents)
                sure = self.hand.hz_cents
                found.append(Mode(hz * 2 ** (off / 1200), sure, min(level, 0.0), ring_s))
        return tuple(found)

    def follow(self, said: Head) -> None:
        """Turn as advised, as exactly as the hand can."""
        made = advised(said)
        for lug, turns in made:
            slip = self.rng.normal(0.0, self.hand.key_deg) / 360
            self.head = self.head.turned(lug, turns + slip, self.response)
        assert self.known is not None
        self.known = self.known.after(made)

    def truly(self) -> Floats:
        """What can be heard of the lugs' pitches in cents: each averaged with its opposite."""
        cents = self.head.pitch_cents()
        half = cents.size // 2
        return cents if cents.size % 2 else (cents + np.roll(cents, half)) / 2


@dataclass
class KeenDrummer(Drummer):
    """Hears how far each family is split, and along what, exactly."""

    def tap_round(self) -> Head:
        """What the station says of what is exactly so."""
        found = []
        for order in families(self.head.lugs):
            low, high = pair_modes(self.head, order)
            centre_hz = float(np.sqrt(low.hz * high.hz))
            z = true_split(self.head, order)
            found.append(Split(order, z, np.eye(2) * 1e-4, centre_hz, 0.1))
        before = self.known or RimState.first(self.head.lugs, found[0].centre_hz)
        self.known = before.heard(found)
        self.rounds += 1
        return describe(self.known, self.head.modes()[0].hz)


def pair_modes(head: SimulatedHead, order: int) -> tuple[MembraneMode, MembraneMode]:
    """The two modes (order, 1), the lower first."""
    low, high, *_ = (m for m in head.modes() if (m.diameters, m.circles) == (order, 1))
    return low, high


def true_split(head: SimulatedHead, order: int) -> Floats:
    """Z of the pair (order, 1) in cents, (2,), as `families.Split` has it."""
    low, high = pair_modes(head, order)
    half_cents = 600.0 * np.log2(high.hz / low.hz)
    phase = 2.0 * np.angle(low.around())
    return -half_cents * np.array([np.cos(phase), -np.sin(phase)])


def as_it_sounds(head: SimulatedHead) -> Floats:
    """The lugs' pitches in cents, opposite ones alike, of the head whose pairs are split as these.

    To the first order, and with what (0,2) does taken off: what is left is what is heard.
    """
    rows, heard = [], []
    for order in families(head.lugs):
        z = true_split(head, order)
        rows.append(family_rows(order, head.lugs))
        heard.append(z - pushed_apart(heard[0]) if order == 2 else z)
    found = np.linalg.lstsq(np.vstack(rows), np.concatenate(heard), rcond=1e-6)[0]
    return np.asarray(found - found.mean())


def advised(said: Head) -> list[Turn]:
    """The turns a head's lugs ask for."""
    sign = {"tighten": 1.0, "slacken": -1.0, "in": 0.0}
    return [
        Turn(each.lug, sign[each.verdict] * each.turns)
        for each in said.lugs
        if each.turns is not None
    ]


def _groups(modes: list[MembraneMode], heard: Floats) -> list[list[tuple[MembraneMode, float]]]:
    """Modes of one pair that are nearer than a line width, together; farther ones the ear tells."""
    groups: list[list[tuple[MembraneMode, float]]] = []
    for mode, amplitude in zip(modes, heard, strict=True):
        last = groups[-1][-1][0] if groups else None
        if last is not None and (last.diameters, last.circles) == (mode.diameters, mode.circles):
            width_hz = min(mode.decay_per_s, last.decay_per_s) / np.pi
            if mode.hz - last.hz < max(1.2, width_hz):
                groups[-1].append((mode, float(amplitude)))
                continue
        groups.append([(mode, float(amplitude))])
    return groups


def _merged(group: list[tuple[MembraneMode, float]]) -> tuple[float, float, float]:
    """Where one pitch is heard, how loud over its ring, and how long."""
    hz = np.array([mode.hz for mode, _ in group])
    heard = np.array([amplitude for _, amplitude in group])
    ring_s = float(group[0][0].ring_s)
    return float(hz @ heard / heard.sum()), float(np.hypot.reduce(heard) * ring_s**0.5), ring_s


def random_drummer(
    kind: Kind, lugs: int, seed: int, hand: Hand | None = None, keen: bool = False
) -> Drummer:
    """A head of 12 inches: one lug 5 to 20 % slack, the others within 1 or 5 %, or all within 5 %.

    A turn does between 0.6 and 2.4 times the head's tension, lugs 20 % apart. `keen`: the
    drummer hears exactly.
    """
    rng = np.random.default_rng([seed, lugs])
    tension = mean_tension(rng.uniform(90.0, 220.0), 6 * INCH_M, 0.26)
    within = 0.01 if kind == "one slack" else 0.05
    shares = 1.0 + rng.uniform(-within, within, lugs)
    if kind != "random":
        shares[rng.integers(lugs)] = 1.0 - rng.uniform(0.05, 0.20)
    turn = tension * np.exp(rng.normal(np.log(1.2), 0.35)) * rng.uniform(0.8, 1.2, lugs)
    response = Response(tuple(turn), neighbours=rng.uniform(0.03, 0.15))
    made = KeenDrummer if keen else Drummer
    return made(SimulatedHead(tuple(tension * shares)), response, hand or Hand(), rng)


def stroke_of(modes: tuple[Mode, ...], at_s: float = 0.0, verdict: str = "good") -> Stroke:
    """A stroke as the ear would tell it, with the modes given."""
    return Stroke(1, at_s, None, None, None, modes, None, verdict, None, False)  # type: ignore[arg-type]
