"""Sound files with known tones, and how to tell a tone's frequency from its samples."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import soundfile
from numpy.typing import NDArray


def write_tone(path: Path, hz: float, seconds: float, rate_hz: int = 48_000) -> Path:
    """A sine at half of full scale, the same on two channels, as 32-bit float WAV."""
    t = np.arange(int(seconds * rate_hz)) / rate_hz
    wave = 0.5 * np.sin(2.0 * np.pi * hz * t)
    soundfile.write(path, np.column_stack([wave, wave]), rate_hz, subtype="FLOAT")
    return path


def tone_hz(samples: NDArray[np.float32], rate_hz: float) -> float:
    """Frequency of a lone sine, from the phase advance between two windowed halves.

    The coarse frequency is the peak of the spectrum, refined by the phase
    difference of the same bin half a window later (the phase vocoder's formula;
    Flanagan & Golden, 1966).
    """
    half = len(samples) // 2
    window = np.hanning(half)
    first, second = (np.fft.rfft(window * part) for part in (samples[:half], samples[half:]))
    peak = int(np.argmax(np.abs(first)))
    expected = 2.0 * np.pi * peak
    advance = np.angle(second[peak]) - np.angle(first[peak])
    wrapped = (advance - expected + np.pi) % (2.0 * np.pi) - np.pi
    return float((peak + wrapped / (2.0 * np.pi)) * rate_hz / half)
