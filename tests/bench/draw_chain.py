"""Draw how a pitch is measured, from one plucked string to its settled pitch.

    .venv/bin/python -m tests.bench.draw_chain [FILE]

The string is synthetic and the same each time. Its onset, its partials' phases, F and
B, the readings and the settled pitch are what the station's own code made of it; the
spectrum is a plain one. Without FILE the picture of DEVELOPERS.md is drawn anew,
`tests/bench/pictures/chain.png`.
"""

from __future__ import annotations

import sys
from io import BytesIO
from pathlib import Path
from typing import NamedTuple

import matplotlib as mpl
import numpy as np

mpl.use("agg")
import matplotlib.pyplot as plt
from matplotlib.axes import Axes
from PIL import Image

from station.measure.decimate import Decimator
from station.measure.fit import Guess, listen_and_fit
from station.measure.types import Note, Reading
from tests.bench.bench_latency import gliding, sharp_by
from tests.support.strings import Floats, cents, hear_all, noise

PICTURE = Path(__file__).with_name("pictures") / "chain.png"
RATE_HZ = 48000
HZ, INHARMONICITY, SEED = 82.6, 2.5e-4, 3  # near E2, stiff enough for eyes to see it
PLUCK_S, SNR_DB = 0.5, 26
STEADY_S = (0.25, 1.75)  # after the pluck
SHOWN_S = 1.5
SHOWN_PARTIALS = (1, 6, 9, 12)
# Okabe and Ito's colours, told apart by all kinds of colour vision.
BLUE, ORANGE, GREEN, PURPLE = "#0072B2", "#D55E00", "#009E73", "#882255"
COLOURS = (BLUE, ORANGE, GREEN, PURPLE)
COLOURS_KEPT = 160
INK, PALE = "#222222", "#999999"
STYLE = {
    "font.size": 8,
    "axes.titlesize": 8.5,
    "axes.titlelocation": "left",
    "axes.titleweight": "bold",
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.edgecolor": INK,
    "text.color": INK,
    "legend.frameon": False,
    "lines.linewidth": 1.2,
}


class Partials(NamedTuple):
    """What was measured of the steady part: partials by number, phases by window and partial."""

    numbers: Floats
    hz: Floats
    at_s: Floats
    turns: Floats
    pitch_hz: float
    inharmonicity: float


def plucked() -> Floats:
    """The string after half a second of nothing but noise."""
    x = gliding(HZ, INHARMONICITY, SEED)
    noise_db = 10 * np.log10(np.mean(x[: RATE_HZ // 2] ** 2)) - SNR_DB
    x = np.concatenate((np.zeros(round(PLUCK_S * RATE_HZ)), x))
    return x + noise(x.size, float(noise_db), SEED)


def measure_partials(x: Floats, hz: float) -> Partials:
    """The steady part's partials; phases count turns beyond those of the first's multiples."""
    decimator = Decimator(RATE_HZ)
    slow, rate_hz = decimator.push(x.astype(np.float32)), decimator.rate_hz
    start, stop = (round((PLUCK_S + after_s) * rate_hz) for after_s in STEADY_S)
    found = listen_and_fit(slow[start:stop], rate_hz, Guess(hz))
    assert found is not None
    heard, fit = found
    at_s = np.arange(len(heard.power)) * heard.step_s
    turned = heard.phase / (2 * np.pi)
    beyond = turned + at_s[:, None] * (heard.frequencies_hz - heard.numbers * fit.hz)
    slopes = [
        np.polyfit(at_s, turns, 1, w=np.sqrt(power))[0]
        for turns, power in zip(beyond.T, heard.power.T, strict=True)
    ]
    numbers = np.asarray(heard.numbers)
    return Partials(numbers, numbers * fit.hz + slopes, at_s, beyond, fit.hz, fit.inharmonicity)


def draw_sound(axes: Axes, x: Floats, note: Note) -> None:
    t = np.arange(x.size) / RATE_HZ
    shown = (t > PLUCK_S - 0.1) & (t < PLUCK_S + 0.4)
    axes.plot(t[shown] - PLUCK_S, x[shown], color=BLUE, linewidth=0.5)
    axes.axvline(note.onset_s - PLUCK_S, color=ORANGE)
    top = 1.25 * float(np.abs(x).max())
    axes.set_ylim(-top, top)
    axes.annotate(
        "the onset\nfound", (note.onset_s - PLUCK_S, 0.8 * top), (-6, 0),
        textcoords="offset points", ha="right", va="center", color=ORANGE,
    )  # fmt: skip
    axes.set(title="a  A string is plucked", xlabel="s after the pluck", ylabel="sound")
    axes.set_yticks([0])


def draw_spectrum(axes: Axes, x: Floats, partials: Partials) -> None:
    start, stop = (round((PLUCK_S + after_s) * RATE_HZ) for after_s in STEADY_S)
    part = x[start:stop] * np.hanning(stop - start)
    f = np.fft.rfftfreq(part.size, 1 / RATE_HZ)
    db = 20 * np.log10(np.abs(np.fft.rfft(part)) + 1e-12)
    shown, top_hz = f < 13 * HZ, 13 * HZ
    top = float(db[shown].max())
    axes.plot(f[shown], db[shown] - top, color=BLUE, linewidth=0.8)
    multiples = partials.pitch_hz * np.arange(1, 13)
    axes.vlines(multiples, -80, 3, color=PALE, linestyle=(0, (3, 2)), linewidth=0.7)
    axes.text(multiples[0], 6, "dashed: whole multiples of the first partial", va="bottom")
    twelfth = float(partials.hz[11])
    axes.annotate(
        f"12th partial: {twelfth - multiples[11]:.0f} Hz\nabove its multiple", (twelfth, -32),
        (twelfth, -4), ha="right", va="top", color=ORANGE,
        bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.5},
        arrowprops={"arrowstyle": "-", "color": ORANGE, "relpos": (1, 0)},
    )  # fmt: skip
    axes.set(
        title="b  Its partials stand above the multiples",
        xlabel="Hz", ylabel="dB", xlim=(0, top_hz), ylim=(-80, 16),
    )  # fmt: skip


def draw_phases(axes: Axes, partials: Partials) -> None:
    last_s = float(partials.at_s[-1])
    for number, colour in zip(SHOWN_PARTIALS, COLOURS, strict=True):
        place = number - 1
        sharp_hz = float(partials.hz[place]) - number * partials.pitch_hz
        axes.plot(partials.at_s, sharp_hz * partials.at_s, color=colour, linewidth=0.8)
        every_other = partials.turns[::2, place]
        axes.plot(partials.at_s[::2], every_other, "o", color=colour, markersize=2.5)
        axes.text(
            1.04 * last_s, sharp_hz * last_s, f"k = {number}: +{max(0.0, sharp_hz):.1f} Hz",
            va="center", color=colour,
        )  # fmt: skip
    axes.set(
        title="c  Phases run straight: slope is frequency",
        xlabel="s of the steady part", ylabel="turns ahead of the multiple",
        xlim=(-0.03, 1.5 * last_s), xticks=np.arange(0, 1.3, 0.2),
    )  # fmt: skip


def draw_line(axes: Axes, partials: Partials) -> None:
    squares = partials.numbers**2
    b = partials.inharmonicity
    f = partials.pitch_hz / np.sqrt(1 + b)
    along = np.array([0.0, 1.05 * squares[-1]])
    axes.plot(along, f**2 * (1 + b * along), color=ORANGE, zorder=1)
    axes.plot(squares, (partials.hz / partials.numbers) ** 2, "o", color=BLUE, markersize=4)
    axes.set(
        title="d  All partials on one line: F and B",
        xlabel="$k^2$, partial's number squared", ylabel="$(f_k/k)^2$, Hz²",
        xlim=(0, None),
    )  # fmt: skip
    axes.text(
        0.98, 0.04,
        f"meets the axis at F²: F = {f:.3f} Hz\n"
        f"rises by F²B: B = {b * 1e4:.2f}·10$^{{-4}}$\n"
        f"pitch F·√(1 + B) = {partials.pitch_hz:.3f} Hz",
        transform=axes.transAxes, ha="right", va="bottom", linespacing=1.4,
    )  # fmt: skip


def draw_readings(axes: Axes, readings: list[Reading], note: Note) -> None:
    readings = [each for each in readings if each.at_s < PLUCK_S + SHOWN_S]
    at_s = np.array([reading.at_s for reading in readings]) - PLUCK_S
    off = np.array([cents(reading.hz, note.hz) for reading in readings])
    unsure = np.array([reading.uncertainty_cents for reading in readings])
    axes.axvspan(0, STEADY_S[0], color="#eeeeee", linewidth=0)
    axes.text(0.01, -0.65, "left out as far\nas it glides", va="center", color="#555555")
    t = np.linspace(0, at_s[-1], 400)
    axes.plot(t, 1200 * np.log2(sharp_by(t)), color=PALE, label="the string's true glide")
    axes.errorbar(
        at_s, off, 2 * unsure, fmt="o", color=BLUE, markersize=2.5, elinewidth=0.9, zorder=3,
        label="readings, ± twice their uncertainty",
    )  # fmt: skip
    settled = f"settled pitch: {note.hz:.3f} Hz ± {note.uncertainty_cents:.3f} cents"
    axes.axhline(0, color=ORANGE, label=settled, zorder=2)
    axes.set(
        title="e  Readings follow the string as it settles", xlabel="s after the pluck",
        ylabel="cents above settled", xlim=(0, SHOWN_S), ylim=(-1.2, 4.6),
    )  # fmt: skip
    axes.legend(loc="upper right")


def draw(path: Path) -> None:
    """Measure the string and draw the figure into `path`."""
    x = plucked()
    readings, notes, _ = hear_all(x, RATE_HZ)
    (note,) = notes
    partials = measure_partials(x, note.hz)
    with plt.rc_context(STYLE):
        figure = plt.figure(figsize=(7.4, 7.6), layout="constrained")
        figure.get_layout_engine().set(h_pad=0.08, w_pad=0.08)
        places = figure.subplot_mosaic([["a", "b"], ["c", "d"], ["e", "e"]])
        draw_sound(places["a"], x, note)
        draw_spectrum(places["b"], x, partials)
        draw_phases(places["c"], partials)
        draw_line(places["d"], partials)
        draw_readings(places["e"], readings, note)
        drawn = BytesIO()
        figure.savefig(drawn, dpi=150, facecolor="white")
    # Few colours: a quarter of the size, and nothing is lost.
    Image.open(drawn).convert("RGB").quantize(COLOURS_KEPT).save(path, optimize=True)
    print(f"{path.name}: true pitch {HZ} Hz, settled {cents(note.hz, HZ):+.4f} cents from it")


if __name__ == "__main__":
    draw(Path(sys.argv[1]) if len(sys.argv) > 1 else PICTURE)
