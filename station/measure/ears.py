"""Where a note begins, and roughly how high it is: aubio's part, and a stand-in for it.

Both ears hear the same hops of decimated samples and give the same two
answers; the exact pitch never comes from here, only a first guess that the
fit refines. `ears_for` chooses between them by name; whether aubio can be
trusted on this machine is found out beforehand, in a process of its own.
"""

from __future__ import annotations

from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from station.errors import SignalError

Floats = NDArray[np.floating[Any]]

FRAME = 512  # samples an onset frame looks at: 35 ms at 14.7 kHz
COARSE_FRAME = 2048  # samples the coarse tracker looks at: four periods of 29 Hz
FLUX_MEMORY = 40  # hops the fallback compares a rise with


class Ears(Protocol):
    """What the note tracker asks of an onset detector and coarse tracker."""

    name: str

    def onset(self, hop: Floats) -> bool:
        """Whether a note seems to begin in this hop, shape (hop_size,); a hint, often given."""

    def coarse_hz(self, x: Floats) -> float:
        """A first guess of the pitch of the newest samples of `x`; 0.0 for none."""

    def reset(self) -> None:
        """Forget what was heard: the line was interrupted."""


class AubioEars:
    """aubio's spectral-flux onset detector and its YIN-in-the-spectrum tracker (Brossier 2006)."""

    name = "aubio"

    def __init__(self, rate_hz: float, hop_size: int) -> None:
        import aubio

        self._aubio = aubio
        self._rate = round(rate_hz)
        self._hop_size = hop_size
        self._pitch = aubio.pitch("yinfft", COARSE_FRAME, COARSE_FRAME, self._rate)
        self._pitch.set_unit("Hz")
        self.reset()

    def reset(self) -> None:
        self._onset = self._aubio.onset("specflux", FRAME, self._hop_size, self._rate)
        self._onset.set_silence(-80.0)
        self._onset.set_minioi_ms(30.0)

    def onset(self, hop: Floats) -> bool:
        return bool(self._onset(np.asarray(hop, np.float32))[0] > 0)

    def coarse_hz(self, x: Floats) -> float:
        frame = np.zeros(COARSE_FRAME, np.float32)
        newest = x[-COARSE_FRAME:]
        frame[COARSE_FRAME - newest.size :] = newest
        return float(self._pitch(frame)[0])


class NumpyEars:
    """The same two answers without aubio.

    Onset: half-wave rectified spectral flux over a running median (Bello et
    al. 2005). Pitch: highest peak of the normalised autocorrelation.
    """

    name = "numpy"

    def __init__(self, rate_hz: float, hop_size: int) -> None:
        self._rate_hz = rate_hz
        self._hop_size = hop_size
        self._window = np.hanning(FRAME)
        self.reset()

    def reset(self) -> None:
        self._frame: Floats = np.zeros(FRAME)
        self._magnitude: Floats = np.zeros(FRAME // 2 + 1)
        self._flux: Floats = np.zeros(FLUX_MEMORY)

    def onset(self, hop: Floats) -> bool:
        self._frame = np.concatenate((self._frame[hop.size :], hop))
        magnitude = np.abs(np.fft.rfft(self._frame * self._window))
        flux = float(np.maximum(0.0, magnitude - self._magnitude).sum())
        usual = float(np.median(self._flux)) + 0.5 * float(magnitude.mean())
        self._magnitude = magnitude
        rising = flux > 1.5 * float(self._flux[-1])
        self._flux = np.concatenate((self._flux[1:], [flux]))
        return rising and flux > 2.0 * usual and flux > 1e-3

    def coarse_hz(self, x: Floats) -> float:
        frame = x[-COARSE_FRAME:] - x[-COARSE_FRAME:].mean()
        spectrum = np.fft.rfft(frame, 2 * COARSE_FRAME)
        correlation = np.fft.irfft(np.abs(spectrum) ** 2)[: frame.size // 2]
        shortest = max(2, int(self._rate_hz / 5000))
        if correlation.size <= shortest + 2 or correlation[0] <= 0:
            return 0.0
        dips = np.flatnonzero(correlation[shortest:] < 0)
        if dips.size == 0:
            return 0.0
        first = shortest + int(dips[0])
        lag = first + int(np.argmax(correlation[first:]))
        return self._rate_hz / lag if correlation[lag] > 0.3 * correlation[0] else 0.0


def ears_for(tracker: str, rate_hz: float, hop_size: int) -> Ears:
    """The ears called `tracker`, "aubio" or "numpy"; raises SignalError for another name."""
    if tracker == "aubio":
        return AubioEars(rate_hz, hop_size)
    if tracker == "numpy":
        return NumpyEars(rate_hz, hop_size)
    raise SignalError(f"tracker {tracker!r} is unknown: it is 'aubio' or 'numpy'")
