"""When does the sound hold still? Stretches in which the same notes sound.

Frames of a quarter second, every twentieth, are compared with those before them. A
stretch ends when lines appear where there were none, when lines that were there are cut
off (a released key, not a dying string), or when the sound falls silent. What beats,
sways or dies away stays in the lines it has and ends nothing.
"""

from __future__ import annotations

from collections import deque
from typing import NamedTuple

import numpy as np

from station.measure.windows import Floats

FRAME_S = 0.25
HOP_S = 0.05
CLEAR_FRAMES = 4  # after so many hops a Hann window hardly hears what it began with
WHOLE_FRAMES = 5  # after so many nothing at all
YOUNG_FRAMES = 6  # reeds that begin in step, or out of it, have beaten a little by then
NEW_RATIO = 2.5  # 8 dB: a line that grows by less within CLEAR_FRAMES swells or beats
NEW_SHARE = 0.22
STRUCK_RATIO = 1.5  # 3.5 dB, but most lines at once: a key struck anew
STRUCK_SHARE = 0.75
STRUCK_LINES = 4  # reeds' partials beat each in its time; one or two lines may do so at once
STRUCK_FRAMES = 12
GONE_RATIO = 0.15  # 16 dB within CLEAR_FRAMES: no free string above silence dies as fast
GONE_SHARE = 0.35
LOUD_SHARE = 0.03  # of the loudest bin: what is below is not asked
SILENT_AMPLITUDE = 10 ** (-70 / 20)
SILENT_RATIO = 10 ** (-34 / 20)  # of the stretch's loudest frame


class Stretch(NamedTuple):
    """From frame `first` to and with frame `last` the same notes sound; `over`: it has ended."""

    first: int
    last: int
    over: bool


class Stretches:
    """Frame spectra in, stretches out; frames are numbered from the reset on."""

    def __init__(self) -> None:
        self.reset(0)

    def reset(self, frame: int) -> None:
        """Forget everything; the next frame is number `frame`."""
        self._frame = frame
        self._first = frame
        self._forget()

    def _forget(self) -> None:
        self._recent: deque[Floats] = deque(maxlen=STRUCK_FRAMES)
        self._known: Floats | None = None  # the greatest of all but the CLEAR_FRAMES last frames
        self._count = 0
        self._loudest = 0.0

    def push(self, magnitude: Floats) -> Stretch | None:
        """One frame's magnitudes, shape (bins,): the stretch that ended before it, or goes on."""
        now = self._frame
        self._frame += 1
        loud = float(magnitude.max())
        if loud < max(SILENT_AMPLITUDE, SILENT_RATIO * self._loudest):
            return self._begin_anew(now - WHOLE_FRAMES, now + WHOLE_FRAMES + 1)
        if now < self._first:
            return None
        if self._count >= CLEAR_FRAMES:
            asked = np.where(magnitude > LOUD_SHARE * loud, magnitude, 0.0)
            if self._has_new(asked) or self._is_struck(asked):
                return self._begin_anew(now - CLEAR_FRAMES + 1, now + CLEAR_FRAMES - 1)
            if self._has_gone(magnitude):
                return self._begin_anew(now - CLEAR_FRAMES, now + CLEAR_FRAMES)
        self._keep(magnitude, loud)
        return Stretch(self._first, now, False)

    def finish(self) -> Stretch | None:
        """The stretch that still goes on, as ended."""
        return self._begin_anew(self._frame - 1, self._frame)

    def _begin_anew(self, last: int, first: int) -> Stretch | None:
        """End the stretch with frame `last`; the next begins with `first`."""
        ended = Stretch(self._first, last, True) if self._count and last >= self._first else None
        self._first = first
        self._forget()
        return ended

    def _keep(self, magnitude: Floats, loud: float) -> None:
        self._count += 1
        self._recent.append(_spread(magnitude))
        if self._count >= CLEAR_FRAMES:
            clear = self._recent[-CLEAR_FRAMES]
            self._known = clear if self._known is None else np.maximum(self._known, clear)
        self._loudest = max(self._loudest, loud)

    def _has_new(self, asked: Floats) -> bool:
        """Whether lines sound where none did since the stretch began."""
        if self._known is None or self._count < YOUNG_FRAMES:
            return False
        new = float(asked[asked > NEW_RATIO * self._known].sum())
        return new > NEW_SHARE * float(asked.sum())

    def _is_struck(self, asked: Floats) -> bool:
        """Whether most lines have grown at once over what they lately were."""
        lately = list(self._recent)[: 1 - CLEAR_FRAMES]
        grown = asked > STRUCK_RATIO * np.maximum.reduce(lately)
        grown &= asked > 0
        if float(asked[grown].sum()) <= STRUCK_SHARE * float(asked.sum()):
            return False
        lines = np.count_nonzero(grown[1:] & ~grown[:-1]) + int(grown[0])
        return lines >= STRUCK_LINES

    def _has_gone(self, magnitude: Floats) -> bool:
        """Whether lines that sounded CLEAR_FRAMES ago have been cut off."""
        then = self._recent[-CLEAR_FRAMES]
        known = np.where(then > LOUD_SHARE * float(then.max()), then, 0.0)
        gone = float(known[_spread(magnitude) < GONE_RATIO * known].sum())
        return gone > GONE_SHARE * float(known.sum())


def _spread(magnitude: Floats) -> Floats:
    """The greatest of each bin and its neighbours: a line may lean to either side."""
    wide = magnitude.copy()
    np.maximum(wide[1:], magnitude[:-1], out=wide[1:])
    np.maximum(wide[:-1], magnitude[1:], out=wide[:-1])
    return wide
