"""Whole drums as they are played: two heads and the air between, a glide, a beater, wires.

The truth for bass drums, snares with their wires on and timbales, of which few free recordings say
what they are. Each pair of (0,1) modes is two masses on springs with the enclosed air as a
third spring between them (Rossing, Bork, Zhao & Fystrom 1992, "Acoustics of snare drums", J.
Acoust. Soc. Am. 92, 84, has that model): the heads move together, the lower mode, or
against each other, the higher one. (m, 1) of higher m change no volume, and stand where the
membrane's Bessel zeros put them (Abramowitz & Stegun, table 9.5), less what the air's mass
takes. Tension, and with it every mode, rises with the power of all of them (Fletcher & Rossing,
The Physics of Musical Instruments, on nonlinear membranes).

The wires lie on the resonant head and leave it where it swings: each return is a blow that is heard
by itself, as noise about their own resonances, and pushes the head's modes at a moment
nobody foresees. So the pitch of a snare with its wires on is itself a little random.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from tests.support.drum_strokes import NEPERS_RT60, RATE_HZ, Floats

STEPS_HZ = 8000
WIRES_ABOVE_HZ = 700.0


@dataclass(frozen=True)
class PlayedDrum:
    """A drum and how it is struck.

    `batter_hz`, `resonant_hz`: (0,1) of each head with the other damped; 0 for no
    resonant head. `air_hz`: the frequency the enclosed air alone would give one head. `ring_s`:
    RT60 of the lower (0,1), `overtones` (ratio to it, level, share of its ring). `glide`: share by
    which the pitch is higher at the stroke. `click`: the beater's or stick's. `wires`: how hard
    they strike. `shell`: (Hz, level, RT60) of a metal shell.
    """

    batter_hz: float
    resonant_hz: float
    air_hz: float
    ring_s: float
    overtones: tuple[tuple[float, float, float], ...]
    glide: float = 0.05
    click: float = 0.1
    wires: float = 0.0
    shell: tuple[tuple[float, float, float], ...] = ()
    seed: int = 0

    def first_modes(self) -> tuple[tuple[float, float], ...]:
        """(Hz, share of the stroke) of the modes in which both heads move as a whole."""
        if not self.resonant_hz:
            return ((self.batter_hz, 1.0),)
        air = self.air_hz**2
        square = np.array([[self.batter_hz**2 + air, -air], [-air, self.resonant_hz**2 + air]])
        values, vectors = np.linalg.eigh(square)
        # The batter is struck, and what is heard is what both heads move: their sum in size.
        return tuple(
            (math.sqrt(value), float(vectors[0, k] * (vectors[0, k] + vectors[1, k])))
            for k, value in enumerate(values)
        )

    @property
    def settled_hz(self) -> float:
        """The fundamental once nothing swings wide: the lower of the two (0,1)."""
        return self.first_modes()[0][0]

    def _modes(self) -> tuple[Floats, Floats, Floats]:
        """Hz, level and decay in nepers a second."""
        (hz, level), *second = self.first_modes()
        rows = [(hz, level, self.ring_s)]
        # Air squeezed between the heads is lossy (common practice, no source): it rings shorter.
        rows += [(other, share, 0.5 * self.ring_s) for other, share in second]
        rows += [(ratio * hz, size, share * self.ring_s) for ratio, size, share in self.overtones]
        at, size, ring = np.array(rows).T
        return at, size, NEPERS_RT60 / ring

    def sound(self, length_s: float, rate_hz: int = RATE_HZ) -> Floats:
        """One stroke from its first sample on, shape (n,)."""
        rng = np.random.default_rng(self.seed)
        hz, level, decay = self._modes()
        start = level * np.exp(1j * rng.uniform(-0.6, 0.6, level.size))
        count = round(length_s * STEPS_HZ)
        step = np.exp(-decay / STEPS_HZ)
        turn = 2j * np.pi * hz / STEPS_HZ
        bend = self.glide / float(np.sum(level**2))
        now = start.copy()
        heard, blows = np.empty(count), np.zeros(count)
        chance = rng.random(count)
        push = rng.normal(size=(count, level.size))
        for at in range(count):
            power = float(np.sum(now.real**2 + now.imag**2))
            now *= step * np.exp(turn * (1 + bend * power))
            if self.wires:
                # Wires lift off where the head swings fast and fall back a few hundred times a
                # second.
                size = math.sqrt(power)
                if chance[at] < min(0.12, 0.3 * size):
                    # However wide the head swings, wires come back no faster than they can.
                    blows[at] = self.wires * size / (1 + 4 * size)
                    now += 0.15 * blows[at] * push[at]
                    now *= 1 - 0.02 * self.wires  # a blow takes more than it gives
            heard[at] = float(now.imag.sum())
        t = np.arange(round(length_s * rate_hz)) / rate_hz
        x = np.interp(t, np.arange(count) / STEPS_HZ, heard)
        x += self.click * rng.normal(size=t.size) * np.exp(-t / 0.002)
        for shell_hz, size, ring_s in self.shell:
            x += size * np.exp(-NEPERS_RT60 * t / ring_s) * np.sin(2 * np.pi * shell_hz * t)
        if self.wires:
            x += self._rattle(blows, t, rng)
        return np.asarray(0.5 * x)

    def _rattle(self, blows: Floats, t: Floats, rng: np.random.Generator) -> Floats:
        """Each blow is a burst of noise, some of it low."""
        rate_hz = 1 / t[1]
        places = (np.flatnonzero(blows) * rate_hz / STEPS_HZ).astype(int)
        drive = np.zeros(t.size)
        keep = places < t.size
        drive[places[keep]] = blows[blows > 0][keep]
        burst_s = np.arange(round(0.02 * rate_hz)) / rate_hz
        size = 1 << (t.size + burst_s.size).bit_length()
        noise = np.fft.rfft(rng.normal(size=burst_s.size) * np.exp(-burst_s / 0.004), size)
        hz = np.fft.rfftfreq(size, 1 / rate_hz)
        noise *= 0.3 + 0.7 / (1 + (WIRES_ABOVE_HZ / np.maximum(hz, 1.0)) ** 4)
        return np.asarray(0.4 * np.fft.irfft(np.fft.rfft(drive, size) * noise, size)[: t.size])


def bass_drum(seed: int) -> PlayedDrum:
    """18 to 24 inches, more or less muffled, played with a beater."""
    rng = np.random.default_rng([seed, 1])
    batter_hz = rng.uniform(42.0, 68.0)
    return PlayedDrum(
        batter_hz,
        batter_hz * rng.uniform(0.9, 1.25),
        batter_hz * rng.uniform(0.6, 1.2),
        rng.uniform(0.3, 1.2),
        ((rng.uniform(1.5, 1.8), 0.25, 0.7), (rng.uniform(2.0, 2.4), 0.12, 0.6)),
        glide=rng.uniform(0.02, 0.2),
        click=rng.uniform(0.05, 0.4),
        seed=seed,
    )


def snare_drum(seed: int, wires: float = 1.0) -> PlayedDrum:
    """14 inches, its wires on (0: off), about as loud as in recordings of kits."""
    rng = np.random.default_rng([seed, 2])
    batter_hz = rng.uniform(170.0, 240.0)
    return PlayedDrum(
        batter_hz,
        batter_hz * rng.uniform(1.2, 1.7),
        batter_hz * rng.uniform(0.7, 1.2),
        rng.uniform(0.25, 0.7),
        ((rng.uniform(1.5, 1.75), 0.3, 0.8), (rng.uniform(2.05, 2.4), 0.2, 0.7)),
        glide=rng.uniform(0.005, 0.04),
        click=rng.uniform(0.05, 0.2),
        wires=wires * rng.uniform(1.4, 3.0) if wires else 0.0,
        seed=seed,
    )


def timbale(seed: int) -> PlayedDrum:
    """One thin head, tight, on a metal shell: 13 to 15 inches (ranges: common practice)."""
    rng = np.random.default_rng([seed, 3])
    hz = rng.uniform(200.0, 400.0)
    return PlayedDrum(
        hz,
        0.0,
        0.0,
        rng.uniform(0.4, 1.2),
        ((rng.uniform(1.62, 1.8), 0.5, 0.9), (rng.uniform(2.2, 2.45), 0.3, 0.7)),
        glide=rng.uniform(0.002, 0.03),
        click=0.1,
        shell=((rng.uniform(900.0, 1200.0), 0.06, 0.3), (rng.uniform(1900.0, 2500.0), 0.04, 0.25)),
        seed=seed,
    )
