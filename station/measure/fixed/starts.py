"""Where the lines of two reeds, of three, or of one that sways may stand: what to begin a fit with.

Peaks tell where lines are clearly apart. Where they are not, Newton's steps from a peak may end
anywhere, and end elsewhere once the same sound is a little higher: so pairs of lines are also
tried on a grid over the whole band, and the steps begin with the best.
"""

from __future__ import annotations

import numpy as np

from station.measure.fit import CENTS
from station.measure.fixed.bands import WIDEST_CENTS, Bands
from station.measure.fixed.spectrum import line_shapes
from station.measure.windows import TINY_POWER, Floats

Start = tuple[str, Floats]

STARTING_PARTIALS = 2
TELLING_SHARE = 1e-3  # of all power: a partial that loud shows lines 10 dB below its loudest
GRID_BINS = 1.0  # a line is four bins wide: none falls between
GRID_POINTS = 96
GRID_PAIRS = 1
MOST_LEFT = 0.5  # of the power: what Newton's steps cannot mend
APART_BINS = 2.0  # pairs nearer to each other end at the same place


def _peaks_of(bands: Bands, row: int) -> list[float]:
    """Where the loudest lines of one partial stand, in bins, the loudest first; at most 3."""
    power = np.square(np.abs(bands.heard[row]))
    inner = power[1:-1]
    is_peak = (inner > power[:-2]) & (inner >= power[2:]) & (inner > power.max() * 3e-3)
    at = np.flatnonzero(is_peak) + 1
    order = at[np.argsort(-power[at])]
    return [float(bands.offset[row, i]) for i in order[:3]]


def _telling(bands: Bands) -> list[int]:
    """The rows to begin with: the loudest partials, and the highest that is loud enough."""
    power = bands.power
    loud = np.flatnonzero(power > TELLING_SHARE * power.sum())
    rows = [int(row) for row in np.argsort(-power)[:STARTING_PARTIALS]]
    return list(dict.fromkeys([*rows, int(loud[-1])]))


def starts_of(bands: Bands) -> list[Start]:
    """Models and where their lines may stand, from the lines of the loudest partials."""
    starts: list[Start] = []
    for row in _telling(bands):
        per_ratio = float(bands.bins_per_ratio[row])
        found = _peaks_of(bands, int(row))
        limit = WIDEST_CENTS / CENTS * per_ratio
        near = [place for place in found if abs(place) <= limit]
        if len(near) >= 2:
            starts.append(("two", np.array(near[:2]) / per_ratio))
        if len(near) >= 3:
            starts.append(("three", np.array(near[:3]) / per_ratio))
        if len(found) >= 2:
            starts.append(("sway", np.array([found[0] / per_ratio, abs(found[1] - found[0])])))
    widest = float(bands.bins_per_ratio.max())
    starts.append(("two", np.array([-0.8, 0.8]) / widest))
    starts.sort(key=lambda start: ("two", "sway", "three").index(start[0]))
    return _distinct(starts, widest)


def _distinct(starts: list[Start], per_ratio: float) -> list[Start]:
    """Each start but once: those within a bin of each other end at the same place."""
    kept: list[Start] = []
    for kind, places in starts:
        scale = np.array([per_ratio, 1.0]) if kind == "sway" else per_ratio
        bins = np.sort(places * scale)
        if not any(
            kind == other and float(np.abs(bins - np.sort(known * scale)).max()) < 1.0
            for other, known in kept
        ):
            kept.append((kind, places))
    return kept


def pairs_on_a_grid(bands: Bands) -> list[Start]:
    """The best pairs of lines on a grid, by the telling partials' least squares together.

    Of lines with shapes g_a, g_b and the bins h the explained power is c* inv(G) c, c = g h and
    G = g g: all pairs at once. A pair's worth is the sum of the logs of what it leaves of each
    partial, as in a description's length.
    """
    rows = np.array(_telling(bands))
    widest = float(bands.bins_per_ratio[rows].max())
    limit = WIDEST_CENTS / CENTS
    count = min(GRID_POINTS, int(2 * limit * widest / GRID_BINS) + 1)
    ratios = np.linspace(-limit, limit, max(count, 3))
    first = bands.offset[rows, :1] - bands.bins_per_ratio[rows, None] * ratios
    shapes = line_shapes(first, bands.offset.shape[1])[0] * bands.inside[rows][:, None, :]
    heard = (shapes @ bands.heard[rows][:, :, None])[:, :, 0]
    gram = shapes @ np.swapaxes(shapes, 1, 2)
    own = np.maximum(np.einsum("pnn->pn", gram), TINY_POWER)
    size = np.square(np.abs(heard))
    determinant = own[:, :, None] * own[:, None, :] - np.square(gram)
    cross = (np.conj(heard)[:, :, None] * heard[:, None, :]).real * gram
    both = size[:, :, None] * own[:, None, :] + size[:, None, :] * own[:, :, None] - 2.0 * cross
    explained = both / np.maximum(determinant, 1e-3 * own[:, :, None] * own[:, None, :])
    power = bands.power[rows][:, None, None]
    rest = np.maximum(power - explained, 1e-4 * power)
    left = np.log(rest).sum(axis=0)
    left[np.tril_indices(ratios.size)] = np.inf
    best = np.unravel_index(int(left.argmin()), left.shape)
    if float(rest[:, *best].sum()) > MOST_LEFT * float(power.sum()):
        return []
    return [("two", pair) for pair in _best_pairs(left, ratios, widest)]


def _best_pairs(left: Floats, ratios: Floats, widest: float) -> list[Floats]:
    """Those that leave least, each further from the better ones than a line is wide."""
    found: list[Floats] = []
    for flat in np.argsort(left, axis=None)[: 8 * GRID_PAIRS]:
        pair = ratios[list(np.unravel_index(flat, left.shape))]
        if all(float(np.abs(pair - known).max()) * widest > APART_BINS for known in found):
            found.append(pair)
        if len(found) == GRID_PAIRS:
            break
    return found
