"""Can aubio be trusted on this machine? Asked in a process of its own.

An aubio built against another numpy may end the process that imports it, so
it is tried where that harms nobody. The station then listens with aubio or,
where that is missing, crashes or gives a wrong answer, with its own numpy
stand-in, and says so.
"""

from __future__ import annotations

import subprocess
import sys
from dataclasses import dataclass

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
    try:
        done = subprocess.run(
            [python, "-c", _TRIAL],
            capture_output=True,
            text=True,
            timeout=PROBE_LIMIT_S,
            check=False,
        )
    except subprocess.TimeoutExpired:
        return Probe("numpy", f"aubio gave no answer within {PROBE_LIMIT_S:g} s")
    except OSError as error:
        return Probe("numpy", f"aubio could not be tried: {error.strerror}")
    return _judge(done)


def _judge(done: subprocess.CompletedProcess[str]) -> Probe:
    if done.returncode < 0:
        return Probe("numpy", f"aubio crashes here (signal {-done.returncode})")
    if done.returncode > 0:
        words = done.stderr.strip().splitlines()
        return Probe("numpy", f"aubio cannot be used: {words[-1] if words else 'no reason given'}")
    try:
        heard_hz = float(done.stdout)
    except ValueError:
        heard_hz = 0.0
    # Put this way round, an answer of nan is wrong as well.
    if not abs(heard_hz - EXPECTED_HZ) <= 0.02 * EXPECTED_HZ:
        return Probe("numpy", f"aubio hears {heard_hz:.1f} Hz in a tone of {EXPECTED_HZ:g} Hz")
    return Probe("aubio")
