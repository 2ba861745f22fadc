"""Takes of one recorded note, cut at several starts or in fresh hiss, beside their uncertainty."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import soundfile

from tests.support.soundfont import DEFAULT_FONT, Strike, render
from tests.support.strings import Floats, hear_all, noise

RATE_HZ = 48000
SNR_DB = 25.0
EVERY_S, HELD_S, TAKE_S = 2.4, 2.0, 1.2
TAKES = 6
CUTS_S = (0.0, 0.08, 0.25, 0.33, 0.5, 0.6)


def recorded(
    program: int, strings: tuple[int, ...], folder: Path, font: Path = DEFAULT_FONT
) -> list[Floats]:
    """Each open string of a General MIDI program (from 0) by itself, from its pluck."""
    strikes = [
        Strike(program, midi, 0.3 + place * EVERY_S, HELD_S) for place, midi in enumerate(strings)
    ]
    path = render(folder / "strings.wav", strikes, RATE_HZ, font, gain=0.6)
    samples, _ = soundfile.read(path)
    starts = [round((0.3 + place * EVERY_S) * RATE_HZ) for place in range(len(strings))]
    return [samples[start : start + round(HELD_S * RATE_HZ), 0] for start in starts]


def settled(string: Floats, cut_s: float, seed: int, snr_db: float = SNR_DB) -> tuple[float, float]:
    """Settled pitch and its uncertainty, in cents, of a stretch in fresh hiss."""
    start = round(cut_s * RATE_HZ)
    x = string[start : start + round(TAKE_S * RATE_HZ)].copy()
    if start:
        x[:96] *= np.linspace(0, 1, 96)
    x[-1440:] *= np.linspace(1, 0, 1440)
    hiss_db = 10 * np.log10(np.mean(x[: RATE_HZ // 2] ** 2)) - snr_db
    x = np.concatenate((np.zeros(RATE_HZ // 2), x, np.zeros(RATE_HZ // 4)))
    _, notes, _ = hear_all(x + noise(x.size, float(hiss_db), seed), RATE_HZ)
    longest = max(notes, key=lambda note: note.end_s - note.onset_s)
    return 1200 * float(np.log2(longest.hz)), longest.uncertainty_cents


def errors(
    strings: list[Floats], cuts_s: tuple[float, ...], snr_db: float = SNR_DB
) -> tuple[Floats, Floats]:
    """What each string's takes are off their mean, in cents, and their uncertainties.

    Both of shape (strings, takes). The mean is the takes' own, which brings them nearer to it:
    that is made good.
    """
    takes = np.array(
        [
            [settled(string, cut_s, 100 * place + i, snr_db) for i, cut_s in enumerate(cuts_s)]
            for place, string in enumerate(strings)
        ]
    )
    off = takes[..., 0] - takes[..., 0].mean(axis=1, keepdims=True)
    return off * np.sqrt(len(cuts_s) / (len(cuts_s) - 1)), takes[..., 1]


def rms(values: Floats) -> float:
    """Root mean square."""
    return float(np.sqrt(np.mean(np.square(values))))


def over_claim(strings: list[Floats], cuts_s: tuple[float, ...]) -> float:
    """Rms of what takes are off their mean, over what they say they may be."""
    off, unsure = errors(strings, cuts_s)
    return rms(off / unsure)
