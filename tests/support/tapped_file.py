"""A round of taps on a simulated head as sound, and as a file."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import soundfile

from tests.support.membrane import Floats, SimulatedHead, Stroke, sound

RATE_HZ = 22_050
APART_S = 1.6
CLICK_S = 0.004


def tapped_sound(
    head: SimulatedHead, order: tuple[int, ...], taps: int = 1, seed: int = 1, still: bool = True
) -> Floats:
    """`taps` strokes in a row beside each lug of `order`, peak 0.5, shape (n,).

    Struck within 2 degrees, 2 % of the radius and 3 dB, with the stick's click and quiet noise;
    a microphone that stands `still` hears each mode with a gain of its own.
    """
    rng = np.random.default_rng(seed)
    gains = 10 ** (rng.normal(0.0, 3.0, 16) / 20) if still else None
    parts = [np.zeros(RATE_HZ // 2)]
    for lug in order:
        for _ in range(taps):
            stroke = Stroke(
                0.71 + rng.normal(0.0, 0.02),
                head.angle(lug) + np.radians(rng.normal(0.0, 2.0)),
                rng.uniform(0.7, 1.0),
            )
            x = sound(head, stroke, RATE_HZ, APART_S, gains)
            click = np.exp(-np.arange(x.size) / (CLICK_S * RATE_HZ)) * rng.normal(size=x.size)
            parts.append(x + 0.1 * np.abs(x).max() * click)
    out = np.concatenate(parts)
    return np.asarray(0.5 * out / np.abs(out).max() + rng.normal(0.0, 1e-4, out.size))


def tapped_file(path: Path, x: Floats) -> Path:
    """The sound as a file."""
    soundfile.write(path, x, RATE_HZ)
    return path
