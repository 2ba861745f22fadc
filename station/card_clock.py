"""The sound card's rate against the system's clock, put together for the daemon."""

from __future__ import annotations

import math
import threading
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from statistics import median
from typing import Any

from station.measure.card_rate import MAX_PPM, CardRate, CardRateMeter, card_rate
from station.measure.correction import HeardT, corrected
from station.measure.error_budget import USUAL_CARD_PPM, cents_of_ppm, error_budget
from station.measure.types import Reading
from station.sound.blocks import Block
from station.system_clock import ClockState, ask_system

ASK_EVERY_S = 60.0
ENOUGH_PPM = 11.0
"""Less than 0.02 cents."""
LEAST_HEARD_S = 480.0
"""In less, a latency that sways slowly cannot be told from a card that is off."""
CLOCK_ERROR_S = 0.005
"""What a clock kept over the internet may be off where it says nothing itself: "a few
milliseconds" (chrony's README). More than that on its way is no clock to measure against."""
HELD_PPM = 3.0
"""How far a crystal may go in a room that gets 10 K warmer, with nobody to tell (from memory:
a third of a ppm per kelvin)."""
SIMULATED = "simulated band"
READINGS = 64


@dataclass(frozen=True, slots=True)
class _Found:
    """A rate that is sure enough: both figures in ppm, and when it was last confirmed."""

    ppm: float
    uncertainty_ppm: float
    at_s: float

    def uncertainty_at(self, now_s: float) -> float:
        """Its uncertainty; more where nothing has confirmed it since."""
        drift_ppm = 0.0 if now_s <= self.at_s else HELD_PPM
        return math.hypot(self.uncertainty_ppm, drift_ppm)


class CardClock:
    """What the card's rate is off, as measured while the station runs.

    Measured against CLOCK_MONOTONIC: a time service slews it, so while synchronised
    its seconds are right, and setting the wall clock does not touch it (clock_gettime(2)). Two
    accounts are kept, of when blocks arrived and of when PortAudio says they were
    converted; the surer one counts. Straight from ALSA both do; a sound server passes
    blocks on in bursts but knows how late it is.

    Once found, a correction stays until a surer one is there: the crystal is the same when
    the network has gone. `hear_block` may be called on one thread, `look` on another and the
    rest on any; only `look` takes time, and never holds up the others.
    """

    def __init__(
        self,
        rate_hz: float,
        *,
        simulated: bool = False,
        ask: Callable[[], ClockState] = ask_system,
    ) -> None:
        self._simulated = simulated
        self._ask = ask
        self._lock = threading.Lock()
        self._arrived = CardRateMeter(rate_hz)
        self._converted = CardRateMeter(rate_hz)
        self._system = ClockState(False, reason="not looked at yet")
        self._asked_at_s: float | None = None
        self._looked_at_s: float | None = None
        self._right = False
        self._right_at_s: float | None = None
        self._rate: CardRate | None = None
        self._found: _Found | None = None
        self._usual: deque[float] = deque(maxlen=READINGS)

    # -- in -----------------------------------------------------------------

    def hear_block(self, block: Block) -> None:
        """Take a block's times; on the input's own thread."""
        if self._simulated:
            return
        unbroken = block.lost_frames_before == 0
        with self._lock:
            stop = block.first_frame + len(block.samples)
            self._arrived.hear(stop, block.captured_at_s, unbroken=unbroken)
            if block.adc_delay_s > 0.0:
                converted_s = block.captured_at_s - block.adc_delay_s
                self._converted.hear(block.first_frame, converted_s, unbroken=unbroken)

    def look(self, now_s: float) -> bool:
        """Ask the system and measure, if that is due; whether `state` may have changed.

        `now_s` is monotonic. May take seconds: not for a thread that anybody waits for.
        """
        last_s = self._asked_at_s
        if self._simulated or (last_s is not None and now_s - last_s < ASK_EVERY_S):
            return False
        self._asked_at_s = now_s  # before anything can fail: a fault is not repeated at once
        system = self._ask()
        right = system.synchronised and system.correcting_s <= CLOCK_ERROR_S
        with self._lock:
            if not (right and self._right):
                # Until now the clock was wrong or being put right: so is what was held against it.
                self._arrived.begin_anew()
                self._converted.begin_anew()
            kept = self._arrived.arrivals(), self._converted.arrivals()
        rates = [rate for rate in map(card_rate, kept) if rate is not None]
        rate = min(rates, key=lambda each: each.uncertainty_ppm, default=None)
        with self._lock:
            self._system, self._right, self._looked_at_s = system, right, now_s
            self._right_at_s = now_s if right else self._right_at_s
            self._rate = rate
            self._found = self._sure_enough(rate, now_s) or self._found
        return True

    def _sure_enough(self, rate: CardRate | None, now_s: float) -> _Found | None:
        """The rate, where it is to replace what was found before."""
        if rate is None or rate.fault or abs(rate.ppm) > MAX_PPM or rate.heard_s < LEAST_HEARD_S:
            return None
        new = _Found(rate.ppm, self._with_clock(rate), now_s)
        if new.uncertainty_ppm > ENOUGH_PPM:
            return None
        old = self._found
        if old is None:
            return new
        old_ppm = old.uncertainty_at(now_s)
        # An earlier, longer measurement stands, unless another card seems to have taken over.
        apart = abs(new.ppm - old.ppm) > 3.0 * math.hypot(new.uncertainty_ppm, old_ppm)
        return new if apart or new.uncertainty_ppm <= old_ppm else None

    def _with_clock(self, rate: CardRate) -> float:
        """The rate's uncertainty in ppm with the clock's own, which may be off at either end."""
        known_s = self._system.error_s
        # Where only limits are known: a rectangular distribution (JCGM 100:2008, 4.3.7).
        error_s = CLOCK_ERROR_S / math.sqrt(3.0) if known_s is None else known_s
        return math.hypot(rate.uncertainty_ppm, 1e6 * math.sqrt(2.0) * error_s / rate.heard_s)

    # -- out ----------------------------------------------------------------

    @property
    def correction(self) -> float:
        """What a measured frequency is to be multiplied by; exactly 1.0 unless calibrated."""
        found = self._found
        return 1.0 if found is None else 1.0 + 1e-6 * found.ppm

    @property
    def uncertainty_cents(self) -> float:
        """What is left of the card's error: a standard deviation, or what is usual at most."""
        with self._lock:
            return self._card_cents()

    def corrected(self, heard: Sequence[HeardT]) -> list[HeardT]:
        """All that was heard, put right; the same values unless calibrated."""
        with self._lock:
            self._usual += [each.uncertainty_cents for each in heard if isinstance(each, Reading)]
            found, factor, left_cents = self._found, self.correction, self._card_cents()
        if found is None:
            # The error is common to all that is heard here: between two players it is none.
            return list(heard)
        return [corrected(each, factor, left_cents) for each in heard]

    def state(self, a4_hz: float = 440.0) -> dict[str, Any]:
        """As JSON data for the page (`station.clock`), with the error budget at `a4_hz`."""
        with self._lock:
            name, reason = self._name_and_reason()
            ppm, uncertainty_ppm = self._figures()
            left_cents = self._card_cents()
            usual_cents = round(median(self._usual), 4) if self._usual else None
            system = self._system
        return {
            "state": name,
            "ppm": ppm,
            "uncertainty_ppm": uncertainty_ppm,
            "synchronised": system.synchronised and not self._simulated,
            "source": system.source,
            "reason": reason,
            "card_cents": round(left_cents, 4),
            "budget": error_budget(
                round(left_cents, 4), self._card_from(name, system), usual_cents, a4_hz
            ),
        }

    def _card_cents(self) -> float:
        if self._simulated:
            return 0.0
        found = self._found
        if found is None:
            return cents_of_ppm(USUAL_CARD_PPM)
        return cents_of_ppm(found.uncertainty_at(self._looked_at_s or found.at_s))

    def _figures(self) -> tuple[float | None, float | None]:
        found, rate = self._found, self._rate
        if found is not None:
            sure_ppm = found.uncertainty_at(self._looked_at_s or found.at_s)
            return round(found.ppm, 2), round(sure_ppm, 2)
        if rate is not None and rate.fault is None:
            return round(rate.ppm, 2), round(self._with_clock(rate), 2)
        return None, None

    def _name_and_reason(self) -> tuple[str, str | None]:
        system, rate = self._system, self._rate
        if self._simulated:
            return "not calibrated", SIMULATED
        fault = None if rate is None else rate.fault
        if self._found is not None:
            return "calibrated", fault or self._why_held()
        if fault is not None or not system.synchronised:
            return "not calibrated", fault or system.reason
        return "measuring", self._why_unsure()

    def _why_held(self) -> str | None:
        """Why the correction is an earlier one; None while synchronised."""
        if self._system.synchronised:
            return None
        kept = "the correction found before is kept"
        away_s = (self._looked_at_s or 0.0) - (self._right_at_s or 0.0)
        return f"not synchronised for {_minutes(away_s)} ({self._system.reason}); {kept}"

    def _why_unsure(self) -> str:
        rate = self._rate
        if not self._right:
            return f"the clock is being put right, by {self._system.correcting_s * 1e3:.0f} ms"
        if rate is None or rate.heard_s < LEAST_HEARD_S:
            heard_s = 0.0 if rate is None else rate.heard_s
            return f"heard for {_minutes(heard_s)} of at least {_minutes(LEAST_HEARD_S)}"
        sure_ppm = self._with_clock(rate)
        return f"known to {sure_ppm:.0f} ppm so far, {ENOUGH_PPM:g} ppm are needed"

    def _card_from(self, name: str, system: ClockState) -> str:
        if self._simulated:
            return SIMULATED
        if name == "calibrated":
            return f"measured against the clock kept by {system.source or 'a time service'}"
        return f"not measured: what a card's crystal is off at most, {USUAL_CARD_PPM:g} ppm"


def _minutes(seconds: float) -> str:
    whole = int(seconds // 60)
    return f"{whole} minute{'' if whole == 1 else 's'}"
