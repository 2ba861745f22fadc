"""How much hearing a note is expected to tell of which temperament it is.

Under a model that is still possible a note would be heard near where the model has it, give or
take the reed's scatter. What it tells is the mutual information of what is heard, y, and the
temperament F (D. V. Lindley, Annals of Mathematical Statistics 27, 1956)

    I = sum over F of P(F) integral p(y | F) log (p(y | F) / p(y)) dy,

p(y | F) the mixture over that temperament's roots and keys; integrals are sums over a grid. A note
of a pitch class that was heard, in another octave, has a reed of its own, with an error of its own:
it tells of the temperament as well. Given one note that is going to be played the next is judged
by what it would tell on top of that, on average over what the first may turn out to be.
"""

from __future__ import annotations

import math

import numpy as np

from station.measure.fixed.evidence import Floats, Integers
from station.measure.fixed.posterior import OFFSET_CENTS, Posterior
from station.measure.fixed.shapes import FAMILIES, OFFSETS

GRID_SDS = 4.0
STEPS_PER_SD = 2.0
MOST_STEPS = 400
LIKELY_SHARE = 1e-3  # of all: what is less likely is no rival to be told apart
OUTCOMES = 6
_OFFSETS = FAMILIES.index(OFFSETS)


class Expected:
    """What each of the twelve pitch classes would tell, under ``models`` of one naming.

    ``heard_cents`` are the mean offsets of the pitch classes heard, NaN of the others.
    """

    def __init__(self, models: Posterior, heard_cents: Floats) -> None:
        kept, at = np.unique(models.shape, return_inverse=True)
        weight = np.bincount(at, models.probability)
        own = np.bincount(at, models.probability * models.own) / weight
        square = models.variance + models.sigma**2 + (models.own - own[at]) ** 2
        spread = np.bincount(at, models.probability * square) / weight
        likely = weight > LIKELY_SHARE * weight.max()
        self._weight = weight[likely] / weight[likely].sum()
        self._family: Integers = models.shapes.family[kept[likely]]
        self._mean = own[likely, None] + models.shapes.cents[kept[likely]]
        self._variance = np.repeat(spread[likely, None], 12, axis=1)
        free = self._family == _OFFSETS
        known = np.isfinite(heard_cents)
        self._mean[np.ix_(free, known)] = heard_cents[known]
        self._variance[np.ix_(free, ~known)] += float(np.mean(np.square(OFFSET_CENTS)))
        self._density = self._densities()
        self._is_family = self._family[None, :] == np.unique(self._family)[:, None]

    def _densities(self) -> Floats:
        """Of each pitch class, under each shape, at each step of a grid: (12, s, g), sums 1."""
        sd = np.sqrt(self._variance)
        low = (self._mean - GRID_SDS * sd).min(axis=0)
        high = (self._mean + GRID_SDS * sd).max(axis=0)
        steps = float(((high - low) / sd.min(axis=0)).max()) * STEPS_PER_SD
        count = max(3, min(MOST_STEPS, math.ceil(steps)))
        y = np.linspace(low, high, count, axis=1)
        off = (y[:, None, :] - self._mean.T[:, :, None]) / sd.T[:, :, None]
        density: Floats = np.exp(-0.5 * np.square(off))
        density /= density.sum(axis=2, keepdims=True)
        return density

    def information(self, weight: Floats | None = None) -> Floats:
        """What each pitch class would tell, in nats, (12,); of shapes so likely, if given."""
        weight = self._weight if weight is None else weight
        share = self._is_family * weight
        families = share @ self._density  # (12, f, g)
        whole = families.sum(axis=1)
        prior = share.sum(axis=1)
        return _entropy(families) - _entropy(whole[:, None, :]) - _entropy(prior[None, None, :])

    def information_after(self, place: int) -> Floats:
        """What each would tell once the pitch class ``place`` has been heard, (12,), on average."""
        total: Floats = np.zeros(12)
        first = np.argsort(-self._weight)[:OUTCOMES]
        shares = self._weight[first] / self._weight[first].sum()
        for shape, share in zip(first, shares, strict=True):
            mean, sd = self._mean[shape, place], math.sqrt(self._variance[shape, place])
            # Two points, one deviation either way, stand for a Gaussian (Gauss and Hermite).
            for y in (mean - sd, mean + sd):
                off = np.square(y - self._mean[:, place]) / self._variance[:, place]
                weight = self._weight * np.exp(-0.5 * off) / np.sqrt(self._variance[:, place])
                total += 0.5 * share * self.information(weight / weight.sum())
        return total


def _entropy(probability: Floats) -> Floats:
    """Sum of p log p over the last two axes; the sign as it is used above."""
    logs = np.log(np.maximum(probability, 1e-300))
    total: Floats = (probability * logs).sum(axis=(-2, -1))
    return total
