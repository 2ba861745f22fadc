"""Can aubio be trusted on this machine? Asked in a process of its own.

An aubio built against another numpy may end the process that imports it, so
it is tried where that harms nobody. The station then listens with aubio or,
where that is missing, crashes or gives a wrong answer, with its own numpy
stand-in, and says so.
"""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial

PROBE_LIMIT_S = 20.0
EXPECTED_HZ = 220.0
_TRIAL = """
import numpy, aubio
rate, hop = 16000, 160
tone = (0.3 * numpy.sin(2 * numpy.pi * 220.0 * numpy.arange(2048) / rate)).astype(numpy.float32)
onset = aubio.onset("specflux", 512, hop, rate)
onset(tone[:hop])
pitch = aubio.pitch("yinfft", 2048, 2048, rate)
pitch.set_unit("Hz")
print(float(pitch(tone)[0]))
"""


@dataclass(frozen=True, slots=True)
class Probe:
    """`tracker` is "aubio" or "numpy"; `reason` says why aubio is not used, else None."""

    tracker: str
    reason: str | None = None


def probe_aubio(python: str = sys.executable) -> Probe:
    """Try aubio with the interpreter `python`; never raises."""
    with aubio_on_trial(python) as answer:
        return answer()


@contextmanager
def aubio_on_trial(python: str = sys.executable) -> Iterator[Callable[[], Probe]]:
    """Try aubio while other work is done; what is given waits for the answer. Never raises."""
    try:
        trial = subprocess.Popen(
            [python, "-c", _TRIAL],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
    except OSError as error:
        failed = Probe("numpy", f"aubio could not be tried: {error.strerror}")
        yield lambda: failed
        return
    with trial:
        try:
            yield partial(_answer, trial)
        finally:
            trial.kill()  # whoever was not asked need not go on


def _answer(trial: subprocess.Popen[str]) -> Probe:
    try:
        said, complained = trial.communicate(timeout=PROBE_LIMIT_S)
    except subprocess.TimeoutExpired:
        return Probe("numpy", f"aubio gave no answer within {PROBE_LIMIT_S:g} s")
    return _judge(trial.returncode, said, complained)


def _judge(exit_code: int, said: str, complained: str) -> Probe:
    if exit_code < 0:
        return Probe("numpy", f"aubio crashes here (signal {-exit_code})")
    if exit_code > 0:
        words = complained.strip().splitlines()
        return Probe("numpy", f"aubio cannot be used: {words[-1] if words else 'no reason given'}")
    try:
        heard_hz = float(said)
    except ValueError:
        heard_hz = 0.0
    # Put this way round, an answer of nan is wrong as well.
    if not abs(heard_hz - EXPECTED_HZ) <= 0.02 * EXPECTED_HZ:
        return Probe("numpy", f"aubio hears {heard_hz:.1f} Hz in a tone of {EXPECTED_HZ:g} Hz")
    return Probe("aubio")
