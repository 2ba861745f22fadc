"""What the listening code's limits decide: each of them made larger, and smaller.

    .venv/bin/python -m tests.bench.bench_limits [MODULE ...]

Every plain number in capitals of the modules behind `station/measure/listener.py`, one at a time,
taken three quarters and four thirds as large, and the same minute and a half of sound heard with
it: plucks in noise, strings under drums and cymbals, drums alone, strings beside hum and hum
alone, a vibrato and pegs. Prints what came of them for each limit that changes any count: readings
told, readings and notes that are wrong (more than 5 cents off, or nothing sounds), strings told
late (4 periods and 35 ms) and strings of which no note was told. A limit that was set on one sound
has a cliff beside it; the others show what they trade. All of them take half an hour.
"""

from __future__ import annotations

import ast
import importlib
import inspect
import sys
from collections.abc import Callable, Iterator
from multiprocessing import get_context
from types import ModuleType
from typing import NamedTuple

import numpy as np

from tests.bench.bench_bleed import alone, under_a_string
from tests.bench.bench_latency import AIM_PERIODS, AIM_S, gliding, sharp_by
from tests.support.strings import Floats, StiffString, bent, cents, noise

PACKAGE = "station.measure."
RATE_HZ = 48000
BLOCK, PROMPT_BLOCK = 4096, 240  # when a reading is told shows in small ones alone
WRONG_CENTS = 5.0
FACTORS = (3 / 4, 4 / 3)
PLUCK_S = 0.5
SNR_DB = 30.0
HISS_DB = -85.0
PEG_CENTS_S = 30.0
COUNTS = ("readings", "wrong", "late", "no note", "wrong notes")

Truth = Callable[[float], float] | None  # the pitch in Hz at a second, None where nothing sounds


class Scene(NamedTuple):
    """Samples at RATE_HZ and their pitch; `prompt`: whether its first reading has to be in time."""

    x: Floats
    truth: Truth
    prompt: bool = False


class Limit(NamedTuple):
    """A number in capitals, in the module that has it."""

    module: str
    name: str
    value: float

    def moved(self, factor: float) -> float:
        """So many times the number, at least one more or less where it counts something."""
        if isinstance(self.value, int):
            step = max(1, round(abs(factor - 1) * self.value))
            return self.value + (step if factor > 1 else -step)
        return self.value * factor


def scenes() -> list[Scene]:
    """A minute and a half in twenty-odd pieces; all numbers are drawn from seeds."""
    made = [_pluck(midi, seed) for seed, midi in enumerate((23, 28, 33, 40, 45, 55, 64))]
    for seed, kind in enumerate(("under a string", "dying", "cymbal") * 2):
        x, hz = under_a_string(kind, 700 + seed, 12.0)
        made.append(Scene(_hissed(x, seed), lambda _, hz=hz: hz))
    made += [Scene(_hissed(alone("drums alone", seed), seed), None) for seed in (700, 701)]
    made += [_beside_hum(hz, seed) for seed, hz in enumerate((49.2, 61.3, 146.8, 329.6))]
    made.append(Scene(_hissed(_hum(60.06, 4.0, 9), 9), None))
    made += [_swaying(330.0), _under_a_peg(110.0), _under_a_peg(82.4)]
    return made


def _hissed(x: Floats, seed: int) -> Floats:
    return x + noise(x.size, HISS_DB, seed)


def _pluck(midi: int, seed: int) -> Scene:
    rng = np.random.default_rng([midi, seed])
    hz = 440 * 2 ** ((midi - 69 + rng.uniform(-0.45, 0.45)) / 12)
    x = gliding(hz, rng.uniform(0, 3e-4), seed)
    level_db = 10 * np.log10(np.mean(x[: RATE_HZ // 2] ** 2)) - SNR_DB
    x = np.concatenate((np.zeros(round(PLUCK_S * RATE_HZ)), x))

    def truth(at_s: float) -> float:
        return hz * float(sharp_by(max(0.0, at_s - PLUCK_S)))

    return Scene(x + noise(x.size, float(level_db), seed), truth, prompt=True)


def _hum(hz: float, length_s: float, seed: int) -> Floats:
    """Mains hum of twelve multiples, each as weak as its number is high, an rms of 0.02."""
    rng = np.random.default_rng(seed)
    t = np.arange(round(length_s * RATE_HZ)) / RATE_HZ
    x = sum(
        (np.cos(2 * np.pi * k * hz * t + rng.uniform(0, 6.28)) / k for k in range(1, 13)),
        np.zeros(t.size),
    )
    return np.asarray(0.02 * x / np.sqrt(np.mean(x**2)))


def _beside_hum(hz: float, seed: int) -> Scene:
    x = _hum(50.0 + 0.1 * (seed % 3 - 1), 4.5, seed)
    x[RATE_HZ * 3 // 2 :] += StiffString(hz, 1e-4, 2.0).sound(RATE_HZ, 3.0, seed)
    return Scene(_hissed(x, seed), lambda _: hz)


def _bent(hz: float, cents_at: Floats) -> Floats:
    sound = bent(hz, cents_at, RATE_HZ, ring_s=3.0)
    return np.concatenate((np.zeros(round(PLUCK_S * RATE_HZ)), sound))


def _swaying(hz: float) -> Scene:
    t = np.arange(3 * RATE_HZ) / RATE_HZ
    # Its centre is what a reading is to tell, once it has swayed for a while.
    return Scene(_hissed(_bent(hz, 3.0 * np.sin(2 * np.pi * 5.5 * t)), 5), lambda _: hz)


def _under_a_peg(hz: float) -> Scene:
    turned = PEG_CENTS_S * np.clip(np.arange(3 * RATE_HZ) / RATE_HZ - 1.0, 0, 1)

    def truth(at_s: float) -> float:
        return hz * 2 ** (PEG_CENTS_S * min(max(at_s - PLUCK_S - 1.0, 0.0), 1.0) / 1200)

    return Scene(_hissed(_bent(hz, turned), 6), truth)


def hear(scene: Scene) -> list[int]:
    """What came of it, as COUNTS."""
    from station.measure.listener import Listener  # with another limit it is loaded anew

    listener = Listener(RATE_HZ)
    samples = scene.x.astype(np.float32)
    told, notes, first_s = [], [], np.inf
    block = PROMPT_BLOCK if scene.prompt else BLOCK
    for start in range(0, samples.size, block):
        said = listener.push(samples[start : start + block])
        told += [each for each in said if type(each).__name__ == "Reading"]
        notes += [each for each in said if type(each).__name__ == "Note"]
        if told and first_s == np.inf:
            first_s = (start + block) / RATE_HZ
    notes += [each for each in listener.finish() if type(each).__name__ == "Note"]
    truth = scene.truth
    if truth is None:
        return [len(told), len(told), 0, 0, len(notes)]
    wrong = sum(abs(cents(each.hz, truth(each.at_s))) > WRONG_CENTS for each in told)
    misnoted = sum(abs(cents(each.hz, truth(each.end_s))) > WRONG_CENTS for each in notes)
    aim_s = PLUCK_S + AIM_PERIODS / truth(0.0) + AIM_S
    return [len(told), wrong, int(scene.prompt and first_s > aim_s), int(not notes), misnoted]


def limits(wanted: list[str]) -> list[Limit]:
    """The plain numbers in capitals of `wanted` modules, all behind the listener if none."""
    return [
        Limit(module, name, getattr(_loaded(module), name))
        for module in _behind_the_listener()
        if not wanted or module in wanted
        for name, _ in _numbers(ast.parse(inspect.getsource(_loaded(module))))
    ]


def _loaded(module: str) -> ModuleType:
    return importlib.import_module(PACKAGE + module)


def _behind_the_listener() -> list[str]:
    _loaded("listener")
    names = (name.removeprefix(PACKAGE) for name in sys.modules if name.startswith(PACKAGE))
    return sorted(name for name in names if "." not in name and name != "types")


def _numbers(tree: ast.Module) -> Iterator[tuple[str, ast.Constant]]:
    """Names in capitals a module gives a plain number, and these numbers."""
    for each in tree.body:
        if not isinstance(each, ast.Assign):
            continue
        target, value = each.targets[0], each.value
        many = isinstance(target, ast.Tuple) and isinstance(value, ast.Tuple)
        pairs = zip(target.elts, value.elts, strict=True) if many else [(target, value)]
        for name, number in pairs:
            if not isinstance(number, ast.Constant) or type(number.value) not in (int, float):
                continue
            if isinstance(name, ast.Name) and name.id.isupper():
                yield name.id, number


def _set(limit: Limit, value: float) -> None:
    """Load the listening code anew, with another number in the limit's place in its source.

    So whatever is made of it when modules are loaded is made of that number, too.
    """
    source = inspect.getsource(_loaded(limit.module))
    tree = ast.parse(source)
    numbers = dict(_numbers(tree))
    numbers[limit.name].value = value
    for name in [each for each in sys.modules if each.startswith(PACKAGE)]:
        del sys.modules[name]
    module = ModuleType(PACKAGE + limit.module)
    sys.modules[module.__name__] = module
    exec(compile(tree, limit.module, "exec"), vars(module))


_made: list[Scene] = []  # once, before the processes part


def with_moved(limit: Limit | None, factor: float = 1.0) -> list[int] | None:
    """COUNTS of all scenes with one limit moved; None if nothing can be heard with it."""
    try:
        if limit is not None:
            _set(limit, limit.moved(factor))
        return np.sum([hear(scene) for scene in _made or scenes()], axis=0).tolist()
    except (ArithmeticError, LookupError, ValueError, TypeError):
        return None


def _row(name: str, counts: list[int] | None) -> str:
    numbers = "  cannot be" if counts is None else "".join(f"{each:12}" for each in counts)
    return f"{name:48}{numbers}"


def main() -> None:
    """Print the table."""
    every = limits(sys.argv[1:])
    tasks: list[tuple[Limit | None, float]] = [(None, 1.0)]
    tasks += [(limit, factor) for limit in every for factor in FACTORS]
    print(f"{'':48}{''.join(f'{count:>12}' for count in COUNTS)}")
    _made.extend(scenes())
    # A process for each: what is kept of earlier sounds may hang on the limit.
    with get_context("fork").Pool(2, maxtasksperchild=1) as pool:
        heard = pool.starmap(with_moved, tasks, chunksize=1)
    print(_row("as they are", heard[0]))
    changes = 0
    for (limit, factor), counts in zip(tasks[1:], heard[1:], strict=True):
        if limit is not None and counts != heard[0]:
            changes += 1
            print(_row(f"{limit.module}.{limit.name} {limit.moved(factor):g}", counts))
    print(f"{len(every)} limits, moved {len(tasks) - 1} times: {changes} times a count changed")


if __name__ == "__main__":
    main()
