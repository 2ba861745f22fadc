"""The reference tone: what may be asked for, and its samples. Pure.

A tone is a sine, or "string": partials whose amplitudes fall as 1 / k, as those
of a bowed string do (Helmholtz motion: Fletcher & Rossing, The Physics of
Musical Instruments). Its partials are exact multiples. A real string's are
stretched by its stiffness, each string's in its own way; were the tone
stretched too, two partials that nearly meet would beat by the difference of
two stiffnesses. So every partial of the string in hand beats against a
whole multiple of the reference, the first of them at the rate that counts.

Loudness is a hazard to ears and loudspeakers: a line output at nominal level
has about 20 dB of head-room above it, so no sample of a tone exceeds -20 dBFS
(common practice, no source), and the usual level is 10 dB below that. Tones
swell and fade with a raised cosine, so that nothing clicks; a change of note
goes through silence.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from numbers import Real
from typing import Literal, get_args

import numpy as np
from numpy.typing import NDArray

from station.errors import ToneInQuietError, ToneRefusedError

Voice = Literal["sine", "string"]
Floats = NDArray[np.float64]

LOWEST_HZ, HIGHEST_HZ = 20.0, 5000.0
"""From the lowest a human hears to above a piano's C8 at the highest reference, 4471 Hz."""
LOUDEST_DBFS, USUAL_DBFS, SOFTEST_DBFS = -20.0, -30.0, -60.0
SHORTEST_S, USUAL_S, LONGEST_S = 0.2, 10.0, 60.0
"""A tone ends by itself: nobody should have to hunt for what is humming."""
SWELL_S, FADE_S = 0.05, 0.1
STRING_PARTIALS = 12
TOP_SHARE = 0.45
"""Partials above this share of the sample rate are left out: an output's filter is not ideal."""


@dataclass(frozen=True, slots=True)
class ToneAsk:
    """A tone that may be played. ``level_dbfs`` is its peak; ``seconds`` holds swell and fade.

    Raises ToneRefusedError for anything out of range.
    """

    hz: float
    voice: Voice = "sine"
    level_dbfs: float = USUAL_DBFS
    seconds: float = USUAL_S

    def __post_init__(self) -> None:
        if self.voice not in get_args(Voice):
            raise ToneRefusedError(f"voice {self.voice!r:.40} unknown: take sine or string")
        limits = (
            ("hz", "tone", "Hz", LOWEST_HZ, HIGHEST_HZ),
            ("level_dbfs", "level", "dBFS", SOFTEST_DBFS, LOUDEST_DBFS),
            ("seconds", "length", "s", SHORTEST_S, LONGEST_S),
        )
        for name, what, unit, least, most in limits:
            value = getattr(self, name)
            limit = f"take {least:g} to {most:g} {unit}"
            if not isinstance(value, Real) or isinstance(value, bool):
                raise ToneRefusedError(f"{what} {value!r:.40} is not a number: {limit}")
            number = float(value)
            if not least <= number <= most:
                hint = _likely_mistake(name, number)
                raise ToneRefusedError(f"{what} of {number:g} {unit}: {limit}{hint}")
            object.__setattr__(self, name, number)


def check_tone(
    hz: float,
    voice: str = "sine",
    level_dbfs: float = USUAL_DBFS,
    seconds: float = USUAL_S,
    quiet: bool = False,
) -> ToneAsk:
    """The tone, if it may be played now.

    Raises ToneRefusedError, with the value, the limit and the likely mistake;
    in quiet ToneInQuietError, which is both that and a NotNowError.
    """
    ask = ToneAsk(hz, voice, level_dbfs, seconds)  # type: ignore[arg-type]  # it checks the voice
    if quiet:
        raise ToneInQuietError(
            f"no tone of {ask.hz:.2f} Hz while the room is quiet: end quiet first,"
            " on the page or with the box's button"
        )
    return ask


def _likely_mistake(name: str, value: float) -> str:
    if name == "hz" and LOWEST_HZ <= 1000.0 * value <= HIGHEST_HZ:
        return f" (given in kHz: did you mean {1000.0 * value:g} Hz?)"
    if name == "seconds" and SHORTEST_S <= value / 1000.0 <= LONGEST_S:
        return f" (given in milliseconds: did you mean {value / 1000.0:g} s?)"
    if name == "level_dbfs" and SOFTEST_DBFS <= -value <= LOUDEST_DBFS:
        return f" (the minus sign is missing: did you mean {-value:g} dBFS?)"
    if name == "level_dbfs" and 0.0 <= value <= 1.0:
        return " (a share of full scale? levels are in dB below it)"
    if name == "level_dbfs" and value > LOUDEST_DBFS:
        return " (too loud for ears and loudspeakers: turn up the amplifier instead)"
    return ""


class Wave:
    """The periodic sound of a tone, unfaded, at a rate of `rate_hz` samples a second.

    `rate_ppm` is how much faster than that the card really runs: the
    frequency is corrected by it.
    """

    def __init__(self, ask: ToneAsk, rate_hz: float, rate_ppm: float = 0.0) -> None:
        self.ask = ask
        true_rate_hz = rate_hz * (1.0 + 1e-6 * rate_ppm)
        self._turns_a_sample = ask.hz / true_rate_hz
        self._turns = 0.0
        wanted = STRING_PARTIALS if ask.voice == "string" else 1
        self.partials = max(1, min(wanted, math.floor(TOP_SHARE * true_rate_hz / ask.hz)))
        self._first = 10.0 ** (ask.level_dbfs / 20.0) / peak(self.partials)

    def samples(self, frames: int) -> Floats:
        """The next samples, shape (frames,). The phase is carried as a share of a turn."""
        turns = self._turns + self._turns_a_sample * np.arange(frames + 1)
        self._turns = float(turns[-1] % 1.0)
        angle = 2.0 * np.pi * (turns[:-1] % 1.0)
        before, now = np.zeros(frames), np.sin(angle)
        twice_cos = 2.0 * np.cos(angle)
        total = now.copy()
        for k in range(2, self.partials + 1):
            # sin kx = 2 cos x sin (k - 1)x - sin (k - 2)x (addition theorem): sines are costly.
            before, now = now, twice_cos * now - before
            total += now / k
        scaled: Floats = self._first * total
        return scaled


def peak(partials: int) -> float:
    """The highest value of the sum of sin(k x) / k over k = 1 to `partials`.

    The slope, the sum of cos(k x), is sin(n x / 2) cos((n + 1) x / 2) / sin(x / 2);
    its first zero, x = pi / (n + 1), is the highest point (Gronwall 1912).
    """
    x = math.pi / (partials + 1)
    return sum(math.sin(k * x) / k for k in range(1, partials + 1))


Stage = Literal["silent", "swell", "hold", "fade"]


class ToneSynth:
    """One tone at a time, block by block; silence before and after.

    A swell that has begun is finished before the tone fades: the slope of the
    loudness never jumps.
    """

    def __init__(self, rate_hz: float) -> None:
        self.rate_hz = rate_hz
        self._swell = _half_cosine(math.ceil(SWELL_S * rate_hz))
        self._fade = _half_cosine(math.ceil(FADE_S * rate_hz))[::-1]
        self._wave: Wave | None = None
        self._next: tuple[ToneAsk, float] | None = None
        self._stage: Stage = "silent"
        self._left = 0  # frames of this stage yet to come
        self._hold = 0  # frames at full loudness yet to come

    @property
    def silent(self) -> bool:
        """Nothing sounds, and nothing is about to."""
        return self._stage == "silent"

    def play(self, ask: ToneAsk, rate_ppm: float = 0.0) -> None:
        """Begin a tone; one that sounds fades first, unless it is the same and only goes on."""
        if self._stage in ("swell", "hold") and self._wave and _alike(self._wave.ask, ask):
            self._next = None
            self._set_hold(self._holding(ask) + (0 if self._stage == "swell" else self._swell.size))
            return
        self.stop()
        self._next = ask, rate_ppm
        if self._stage == "silent":
            self._begin_next()

    def stop(self) -> None:
        """Fade out."""
        self._next = None
        self._set_hold(0)

    def block(self, frames: int) -> NDArray[np.float32]:
        """The next samples, shape (frames,), full scale 1.0."""
        out = np.zeros(frames, np.float32)
        done = 0
        while done < frames and self._wave is not None:
            count = min(frames - done, self._left)
            out[done : done + count] = self._wave.samples(count) * self._loudness(count)
            done += count
            self._left -= count
            if self._left == 0:
                self._next_stage()
        return out

    def _loudness(self, count: int) -> Floats | float:
        if self._stage == "hold":
            return 1.0
        shape = self._swell if self._stage == "swell" else self._fade
        at = shape.size - self._left
        return shape[at : at + count]

    def _next_stage(self) -> None:
        if self._stage == "swell" and self._hold:
            self._stage, self._left = "hold", self._hold
        elif self._stage in ("swell", "hold"):
            self._stage, self._left = "fade", self._fade.size
        else:
            self._stage, self._wave = "silent", None
            self._begin_next()

    def _begin_next(self) -> None:
        if self._next is None:
            return
        (ask, rate_ppm), self._next = self._next, None
        self._wave = Wave(ask, self.rate_hz, rate_ppm)
        self._stage, self._left = "swell", self._swell.size
        self._hold = self._holding(ask)

    def _holding(self, ask: ToneAsk) -> int:
        return max(0, round(ask.seconds * self.rate_hz) - self._swell.size - self._fade.size)

    def _set_hold(self, frames: int) -> None:
        self._hold = frames
        if self._stage == "hold":
            self._left = frames
            if not frames:
                self._next_stage()


def _alike(one: ToneAsk, other: ToneAsk) -> bool:
    return (one.hz, one.voice, one.level_dbfs) == (other.hz, other.voice, other.level_dbfs)


def _half_cosine(frames: int) -> Floats:
    """From 0 up to 1 in `frames` samples, level at both ends."""
    rising: Floats = 0.5 - 0.5 * np.cos(np.pi * np.arange(frames) / (frames - 1))
    return rising
