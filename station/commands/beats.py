"""`station beats`: two strings of a file sounding together, their beat and what to do about it.

Of a file with several channels the loudest is heard. Every stroke after which two strings ring
is told once, as it was known best.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np

from station.commands.beats_said import beat_lines, beats_json
from station.commands.loudest import Told, hear_loudest
from station.commands.printed import complain, json_line, print_lines
from station.errors import PairError, StationError
from station.measure.beats.ear import BeatEar
from station.measure.beats.near_lines import likeliest
from station.measure.beats.types import BeatReading
from station.measure.decimate import PASS_SHARE, Decimator, Samples
from station.music.names import NamingSystem
from station.music.pairs import StringPair, Way, pair_by_way, strings_named, ways_of
from station.music.pairs_tour import candidates
from station.music.pitch import check_a4
from station.music.tunings import Tuning, find_tuning_by_name
from station.plain_text import path_text

EVERY_S = 0.75
LOOK_S = 1.5  # of the loudest sound: which strings it is
KEPT_S = 120.0
DIGITS = 6


@dataclass(frozen=True, slots=True)
class BeatOptions:
    """Which strings: a pair's name, a tuning, how they are sounded, which one is in its place."""

    pair: str | None = None
    tuning: str | None = None
    way: Way | None = None
    hold: str | None = None
    a4_hz: float = 440.0


class _Keeper:
    """An ear that keeps what it hears, at the working rate."""

    def __init__(self, rate_hz: float, _line: int) -> None:
        self._decimator = Decimator(rate_hz)
        self.rate_hz = self._decimator.rate_hz
        self._most = round(KEPT_S * self.rate_hz)
        self._kept: list[Samples] = []
        self._size = 0

    def push(self, block: Samples) -> list[Samples]:
        if self._size < self._most:
            self._kept.append(self._decimator.push(block))
            self._size += self._kept[-1].size
        return []

    def finish(self) -> list[Samples]:
        return [np.concatenate(self._kept)] if self._kept else []


def run_beats(
    paths: Sequence[str], options: BeatOptions, as_json: bool, names: NamingSystem = "english"
) -> int:
    """Print the beats in each file; faults go to standard error, a line each.

    Exit code 1 when a file gave no beat or had a fault. Raises PairError, TuningError,
    NoteNameError and ReferenceRangeError for what cannot be meant.
    """
    check_a4(options.a4_hz)
    tuning = find_tuning_by_name(options.tuning) if options.tuning is not None else None
    possible = possible_pairs(options, tuning)
    worst = 0
    for path in paths:
        try:
            worst = max(worst, _file(path, options, possible, as_json, names))
        except StationError as error:
            worst = max(worst, complain(str(error), error.exit_code))
    return worst


def possible_pairs(options: BeatOptions, tuning: Tuning | None) -> list[StringPair]:
    """Every pair the options allow; none where they name neither pair nor tuning.

    Raises PairError for strings that never beat in the way asked for.
    """
    if options.pair is None:
        found = candidates(tuning) if tuning is not None else []
        chosen = [each for each in found if options.way in (None, each.way)]
        if tuning is not None and not chosen:
            raise PairError(f"no pair of {tuning.name} is sounded {options.way}: leave --way out")
        return chosen
    one, other = strings_named(options.pair, tuning)
    if options.way is None:
        pairs = ways_of(one, other)
    else:
        pair = pair_by_way(one, other, options.way)
        pairs = [] if pair is None else [pair]
    if not pairs:
        how = f" {options.way}" if options.way is not None else ""
        raise PairError(
            f"pair {options.pair}: sounded{how} its partials do not meet:"
            " take a unison, octave, fourth, fifth or third, or another --way"
        )
    return pairs


def _file(
    path: str,
    options: BeatOptions,
    possible: Sequence[StringPair],
    as_json: bool,
    names: NamingSystem,
) -> int:
    pairs = choose(path, possible, options.a4_hz)
    pair = pairs[0] if pairs else None
    hold = held_side(pair, options.hold)
    told = hear_beats(path, pair, options.a4_hz, hold)
    for reading in best_of_each(told.heard):
        if as_json:
            said = beats_json(path, reading, pair, pairs[1:], options.a4_hz, hold)
            print_lines([json_line(said, DIGITS)])
        else:
            print_lines(beat_lines(path, reading, pair, pairs[1:], options.a4_hz, hold, names))
    if told.fault is not None:
        return complain(str(told.fault), told.fault.exit_code)
    if not told.heard:
        why = "silence, noise, or less than a second of sound after a stroke"
        return complain(f"{path_text(path)}: no beat: {why}", 1)
    return 0


def choose(path: str, possible: Sequence[StringPair], a4_hz: float) -> list[StringPair]:
    """Those of the pairs that the file's loudest sound fits best; raises SoundFileError.

    Where it fits none, the first: then at least what was asked for is listened for.
    """
    if len(possible) < 2:
        return list(possible)
    keepers: list[_Keeper] = []

    def keep(rate_hz: float, line: int) -> _Keeper:
        keepers.append(_Keeper(rate_hz, line))
        return keepers[-1]

    heard = hear_loudest(path, keep).heard
    if not heard:
        return [possible[0]]
    rate_hz = keepers[-1].rate_hz
    x = _loudest_part(heard[0], round(LOOK_S * rate_hz))
    return likeliest(x, rate_hz, possible, a4_hz, PASS_SHARE * rate_hz) or [possible[0]]


def _loudest_part(x: Samples, size: int) -> Samples:
    """The loudest stretch of `size` samples, the very first of it left out: that is the stroke."""
    if x.size <= size:
        return x
    step = max(1, size // 8)
    energy = np.cumsum(np.square(x, dtype=np.float64))
    starts = np.arange(0, x.size - size, step)
    first = int(starts[int((energy[starts + size - 1] - energy[starts]).argmax())])
    return x[first : first + size]


def held_side(pair: StringPair | None, hold: str | None) -> int | None:
    """0 or 1 for the string said to be in its place; raises PairError if it is neither."""
    if hold is None:
        return None
    if pair is None:
        raise PairError(f"--hold {hold}: it needs the pair: add --pair")
    sides = (pair.first.string, pair.second.string)
    for place, string in enumerate(sides):
        if hold.strip() in (string.note, str(string.number or "")):
            return place
    raise PairError(f"--hold {hold}: not a string of {pair.name}: name one of its two")


def hear_beats(
    path: str, pair: StringPair | None, a4_hz: float, hold: int | None
) -> Told[BeatReading]:
    """Every reading of the loudest channel of a file; raises SoundFileError."""
    make = partial(_ear, pair, a4_hz, hold)
    return hear_loudest(path, make)


def _ear(
    pair: StringPair | None, a4_hz: float, hold: int | None, rate_hz: float, line: int
) -> BeatEar:
    return BeatEar(rate_hz, pair, line, a4_hz, hold, thorough=True, every_s=EVERY_S)


def best_of_each(readings: Sequence[BeatReading]) -> list[BeatReading]:
    """Of each stroke's readings the surest; a stroke with one string alone only if all are so."""
    best: dict[float, BeatReading] = {}
    for reading in readings:
        known = best.get(reading.onset_s)
        if known is None or _worth(reading) > _worth(known):
            best[reading.onset_s] = reading
    whole = [each for each in best.values() if each.missing is None]
    return sorted(whole or best.values(), key=lambda each: each.at_s)


def _worth(reading: BeatReading) -> tuple[bool, bool, float]:
    unsure = reading.uncertainty_hz if reading.bound_hz is None else reading.bound_hz
    return reading.missing is None, reading.resolved, -unsure
