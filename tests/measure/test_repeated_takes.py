"""Takes of one recorded note differ by no more and no less than their uncertainty says."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile

from tests.support.soundfont import Strike, render
from tests.support.strings import Floats, hear_all, noise

RATE_HZ = 48000
SNR_DB = 25.0
EVERY_S, HELD_S, TAKE_S = 2.4, 2.0, 1.2
TAKES = 6
CUTS_S = (0.0, 0.08, 0.25, 0.33, 0.5, 0.6)
# General MIDI programs, counted from 0, and open strings.
INSTRUMENTS = {
    "nylon guitar": (24, (40, 45, 50, 55, 59, 64)),
    "steel guitar": (25, (40,)),  # whose stroke told a stiffness that was not the string's
    "clean guitar": (27, (40, 45, 50, 55, 59, 64)),
    "double bass": (32, (28, 33, 38, 43)),
    "picked bass": (34, (28, 33, 38, 43)),
    "fretless bass": (35, (28, 33, 38, 43)),
    "slapped bass": (36, (28, 33, 38, 43)),
    "banjo": (105, (50, 55, 59, 62)),
    "violin": (40, (55, 69)),  # with vibrato
}
OF_ONE_STRETCH = [name for name in INSTRUMENTS if name != "violin"]  # whose bow begins unsteadily


def recorded(name: str, folder: Path) -> list[Floats]:
    """Each open string by itself, from its pluck."""
    program, strings = INSTRUMENTS[name]
    strikes = [
        Strike(program, midi, 0.3 + place * EVERY_S, HELD_S) for place, midi in enumerate(strings)
    ]
    samples, _ = soundfile.read(render(folder / "strings.wav", strikes, RATE_HZ, gain=0.6))
    starts = [round((0.3 + place * EVERY_S) * RATE_HZ) for place in range(len(strings))]
    return [samples[start : start + round(HELD_S * RATE_HZ), 0] for start in starts]


def settled(string: Floats, cut_s: float, seed: int) -> tuple[float, float]:
    """Settled pitch and its uncertainty, in cents, of a stretch in fresh hiss."""
    start = round(cut_s * RATE_HZ)
    x = string[start : start + round(TAKE_S * RATE_HZ)].copy()
    if start:
        x[:96] *= np.linspace(0, 1, 96)
    x[-1440:] *= np.linspace(1, 0, 1440)
    hiss_db = 10 * np.log10(np.mean(x[: RATE_HZ // 2] ** 2)) - SNR_DB
    x = np.concatenate((np.zeros(RATE_HZ // 2), x, np.zeros(RATE_HZ // 4)))
    _, notes, _ = hear_all(x + noise(x.size, float(hiss_db), seed), RATE_HZ)
    longest = max(notes, key=lambda note: note.end_s - note.onset_s)
    return 1200 * float(np.log2(longest.hz)), longest.uncertainty_cents


def over_claim(strings: list[Floats], cuts_s: tuple[float, ...]) -> float:
    """Rms of what takes are off their mean, over what they say they may be."""
    ratios: list[float] = []
    for place, string in enumerate(strings):
        takes = [settled(string, cut_s, 100 * place + i) for i, cut_s in enumerate(cuts_s)]
        mean_cents = np.mean([at_cents for at_cents, _ in takes])
        ratios += [(at_cents - mean_cents) / unsure for at_cents, unsure in takes]
    # The mean is the takes' own, which brings them nearer to it.
    return float(np.sqrt(np.mean(np.square(ratios)) * len(cuts_s) / (len(cuts_s) - 1)))


@pytest.mark.parametrize("name", OF_ONE_STRETCH)
def test_a_recorded_string_in_fresh_hiss_differs_by_what_its_uncertainty_says(
    name: str, tmp_path: Path
) -> None:
    assert 0.4 < over_claim(recorded(name, tmp_path), (0.0,) * TAKES) < 2


@pytest.mark.parametrize(
    "name", ["nylon guitar", "double bass", "fretless bass", "slapped bass", "violin"]
)
def test_stretches_of_one_recorded_note_differ_by_what_their_uncertainty_says(
    name: str, tmp_path: Path
) -> None:
    assert 0.4 < over_claim(recorded(name, tmp_path), CUTS_S) < 2
