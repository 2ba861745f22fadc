"""A tone output that makes no sound, and says so: for the demo and for tests alone."""

from __future__ import annotations

import threading
import time
from collections import deque

from station.sound.tone import USUAL_DBFS, USUAL_S, ToneAsk, check_tone
from station.sound.tone_out import OnTone, OutputState, Sounding

SIMULATED = "simulated: no sound"
KEPT = 100


class MutedToneOut:
    """Like ToneOut, with nothing behind it; ``played`` keeps the last hundred tones asked for."""

    def __init__(self, on_tone: OnTone | None = None) -> None:
        self.state = OutputState("ready", SIMULATED)
        self.played: deque[ToneAsk] = deque(maxlen=KEPT)
        self._on_tone = on_tone
        self._sounding: Sounding | None = None
        self._end: threading.Timer | None = None
        self._lock = threading.Lock()

    @property
    def sounding(self) -> Sounding | None:
        """The tone that would sound now."""
        return self._sounding

    def play(
        self,
        hz: float,
        voice: str = "sine",
        level_dbfs: float = USUAL_DBFS,
        seconds: float = USUAL_S,
        rate_ppm: float = 0.0,  # noqa: ARG002 - no card, no rate to correct
    ) -> ToneAsk:
        """Note the tone and let its time pass. Raises ToneRefusedError."""
        ask = check_tone(hz, voice, level_dbfs, seconds)
        self.played.append(ask)
        self._set(Sounding(ask, time.monotonic() + ask.seconds))
        return ask

    def stop(self) -> None:
        """Nothing would sound any more."""
        self._set(None)

    def close(self) -> None:
        """As ``stop``."""
        self.stop()

    def _set(self, sounding: Sounding | None, ended: Sounding | None = None) -> None:
        with self._lock:
            if ended is not None and self._sounding is not ended:
                return  # another tone has begun meanwhile
            if self._end is not None:
                self._end.cancel()
                self._end = None
            was, self._sounding = self._sounding, sounding
            if sounding is not None:
                self._end = threading.Timer(
                    sounding.ask.seconds, self._set, (None,), {"ended": sounding}
                )
                self._end.daemon = True
                self._end.start()
        if was != sounding and self._on_tone is not None:
            self._on_tone(sounding)
