"""Notes and frequencies in equal temperament, for any reference the band may agree on.

Conventions: frequencies in hertz, intervals in cents (1200 to the octave, 100
to the equal-tempered semitone), notes as MIDI note numbers (MIDI 1.0: 60 is
middle C, so A4 is 69), fractions of a semitone allowed. The reference is the
frequency of A4; ISO 16:1975 sets it at 440 Hz. A positive number of cents is
sharp, a negative one flat.

Formulas: f = A4 * 2**((m - 69) / 12), m = 69 + 12 log2(f / A4), and
1200 log2(f / g) cents from g to f (equal temperament; A. J. Ellis's cent).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from numbers import Real

from station.errors import FrequencyError, ReferenceRangeError
from station.music._text import shown

A4_MIDI = 69
A4_STANDARD_HZ = 440.0  # ISO 16:1975
A4_MIN_HZ = 390.0
A4_MAX_HZ = 470.0
CENTS_PER_OCTAVE = 1200.0

_LIKELY_MISTAKES = (
    (0.1, "ten times too big"),
    (10.0, "ten times too small"),
    (1000.0, "given in kHz"),
    (2.0, "that is A3; A4 is an octave higher"),
    (0.5, "that is A5; A4 is an octave lower"),
)


@dataclass(frozen=True, slots=True)
class NearestNote:
    """The equal-tempered note nearest to a pitch.

    ``midi`` is its number, ``hz`` its own frequency, and ``cents`` how far the
    pitch lies from it: at least -50 and below 50, up to rounding.
    """

    midi: int
    hz: float
    cents: float


def check_a4(a4_hz: object) -> float:
    """Return a reference in hertz as a float.

    Raises ReferenceRangeError when it is not a number from 390 to 470 Hz.
    """
    limit = f"A4 must be a number from {A4_MIN_HZ:g} to {A4_MAX_HZ:g} Hz"
    if not isinstance(a4_hz, Real) or isinstance(a4_hz, bool):
        raise ReferenceRangeError(f"reference {shown(a4_hz)} is not a number: {limit}")
    value_hz: float = float(a4_hz)
    if not A4_MIN_HZ <= value_hz <= A4_MAX_HZ:
        raise ReferenceRangeError(f"reference {value_hz:g} Hz: {limit}{_likely_a4(value_hz)}")
    return value_hz


def midi_to_hz(midi: float, a4_hz: float = A4_STANDARD_HZ) -> float:
    """Frequency in hertz of a MIDI note number, which may be fractional.

    Raises ReferenceRangeError for the reference and FrequencyError for a
    number so far out that no frequency can stand for it.
    """
    reference_hz = check_a4(a4_hz)
    try:
        hz = reference_hz * math.pow(2.0, (midi - A4_MIDI) / 12.0)
    except OverflowError:
        hz = math.inf
    if not (math.isfinite(hz) and hz > 0.0):
        raise FrequencyError(
            f"note number {midi:g} has no frequency: MIDI note numbers run from 0 to 127"
        )
    return hz


def hz_to_midi(hz: float, a4_hz: float = A4_STANDARD_HZ) -> float:
    """MIDI note number, with its fraction, of a frequency in hertz.

    Raises ReferenceRangeError and FrequencyError.
    """
    return A4_MIDI + 12.0 * math.log2(_check_hz(hz) / check_a4(a4_hz))


def cents_between(hz: float, target_hz: float) -> float:
    """Cents from ``target_hz`` to ``hz``: positive when ``hz`` is sharp of the target.

    Raises FrequencyError.
    """
    return CENTS_PER_OCTAVE * math.log2(_check_hz(hz) / _check_hz(target_hz))


def shift_cents(hz: float, cents: float) -> float:
    """The frequency in hertz that lies ``cents`` above ``hz`` (below when negative).

    Raises FrequencyError.
    """
    start_hz = _check_hz(hz)
    try:
        shifted_hz = start_hz * math.pow(2.0, cents / CENTS_PER_OCTAVE)
    except OverflowError:
        shifted_hz = math.inf
    return _check_hz(shifted_hz)


def nearest_note(hz: float, a4_hz: float = A4_STANDARD_HZ) -> NearestNote:
    """The equal-tempered note nearest to ``hz``; halfway between two, the upper one.

    Raises ReferenceRangeError and FrequencyError.
    """
    midi = math.floor(hz_to_midi(hz, a4_hz) + 0.5)
    target_hz = midi_to_hz(midi, a4_hz)
    return NearestNote(midi=midi, hz=target_hz, cents=cents_between(hz, target_hz))


def _check_hz(hz: float) -> float:
    if math.isfinite(hz) and hz > 0.0:
        return float(hz)
    raise FrequencyError(f"frequency {hz:g} Hz: it must be a positive, finite number of hertz")


def _likely_a4(value_hz: float) -> str:
    for factor, mistake in _LIKELY_MISTAKES:
        meant_hz = value_hz * factor
        if A4_MIN_HZ <= meant_hz <= A4_MAX_HZ:
            return f" ({mistake}: did you mean {meant_hz:g} Hz?)"
    return ""
