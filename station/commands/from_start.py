"""Strokes of a file that may begin right at a stroke, as cut samples do.

An ear takes what sounds when it begins to listen for something struck earlier. So a file that
begins loudly and only gets weaker is heard after a moment of silence, which is taken off the
times again.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from station.measure.drums.ear import DrumEar
from station.measure.drums.types import Stroke

LEAD_S = 0.3
BEGINNING_S = 0.02
LOUD_SHARE = 0.5  # of the loudest sample of the first block
LEAST = 1e-3  # -60 dBFS


class FromStart:
    """A `DrumEar` for files; raises what it raises."""

    def __init__(self, rate_hz: float, line: int = 1) -> None:
        self._ear = DrumEar(rate_hz, line)
        self._rate_hz = rate_hz
        self._lead_s: float | None = None

    def push(self, block: NDArray[np.float32]) -> list[Stroke]:
        """Take the next samples, shape (n,)."""
        if self._lead_s is None and block.size:
            self._lead_s = 0.0
            if self._begins_at_a_stroke(block):
                lead = round(LEAD_S * self._rate_hz)
                self._lead_s = lead / self._rate_hz
                self._ear.push(np.zeros(lead, np.float32))
        return self._in_the_file(self._ear.push(block))

    def finish(self) -> list[Stroke]:
        """The file has ended."""
        return self._in_the_file(self._ear.finish())

    def _begins_at_a_stroke(self, block: NDArray[np.float32]) -> bool:
        size = np.abs(np.nan_to_num(block))
        first = float(size[: max(1, round(BEGINNING_S * self._rate_hz))].max())
        return first > LEAST and first >= LOUD_SHARE * float(size.max())

    def _in_the_file(self, strokes: list[Stroke]) -> list[Stroke]:
        lead_s = self._lead_s or 0.0
        return [replace(each, at_s=max(0.0, each.at_s - lead_s)) for each in strokes]
