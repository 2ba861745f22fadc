"""Which temperament is named, and with what right.

All that might explain the notes has been weighed (``posterior.py``). Of ten notes and more the
likeliest is named together with its odds against the runner-up, so that the claim carries exactly
what the notes carry, if

- it is likelier than all others together (``LIKELY``),
- the reeds scatter about it no more than badly tuned ones do (``FITS_CENTS``),
- it outweighs free per-note offsets, with their small prior, as strong evidence would
  (``AGAINST_OFFSETS``: Kass & Raftery, Journal of the American Statistical Association 90, 1995,
  call 20 to 1 strong), for a tuning that is none of these is often near to one of them; for the
  equal one ``EQUAL_AGAINST_OFFSETS`` is enough: nearly every instrument is meant to be equal,
  however badly it is in tune (common practice, no source); or else
- it outweighs free offsets by far (``FAR_OUTWEIGHS``), as where octaves agree on what it asks.

Vallotti at 415 Hz would have a band tune a semitone lower where the equal scale has the same notes
at 440: a name that goes with other names of notes must be ``SURE_OF_NAMES`` of these, too.

Free offsets are named where they are likelier than all named temperaments. Odds of 49 to 1 and
more (``SURE``) are believed however the reeds scatter: then nothing more is asked to be played for
the temperament's sake. Of fewer than ten notes only what is overwhelming is named: how far they
scatter is itself hardly known, and tunings that are not among the models look alike.

tests/bench/bench_harps.py has how often each is right.
"""

from __future__ import annotations

from collections import defaultdict
from typing import NamedTuple

import numpy as np

from station.measure.fixed.posterior import NEAREST_CENTS, Posterior
from station.measure.fixed.shapes import FAMILIES, OFFSETS
from station.measure.windows import plain
from station.music.temperaments import TEMPERAMENTS, roots_of

SURE = 0.98
"""At 24 to 1, 0.96, one of seventy well-tempered instruments whose reeds scatter by a Gaussian 2
cents was named wrongly for sure, of who had played what was asked for and then stopped."""
LIKELY = 0.5
FITS_CENTS = 3.1
"""Of Gaussian 2 cents, one set of ten in a hundred scatters by more (chi-squared, from memory)."""
AGAINST_OFFSETS, EQUAL_AGAINST_OFFSETS, FAR_OUTWEIGHS = 20.0, 5.0, 1000.0
SURE_OF_NAMES = 0.9
LEAST_CLASSES = 5
"""Pitch classes a claim needs at least: a name speaks of twelve."""
FEW_NOTES, FEW_CLASSES, SURE_OF_FEW = 10, 6, 0.999

_OFFSETS, _EQUAL = FAMILIES.index(OFFSETS), FAMILIES.index("equal")


class Claim(NamedTuple):
    """A temperament's place in ``FAMILIES``, and whether its odds are those of ``SURE``."""

    family: int
    sure: bool


def claim_of(models: Posterior, notes: int, classes: int) -> Claim | None:
    """What may be named of so many distinct notes and pitch classes; None: cannot tell."""
    shares = by_family(models)
    best, probability = max(shares.items(), key=lambda item: item[1])
    if notes < FEW_NOTES:
        overwhelming = classes >= FEW_CLASSES and probability >= SURE_OF_FEW
        return Claim(best, True) if overwhelming else None
    if classes < LEAST_CLASSES:
        return None
    if probability >= SURE:
        return Claim(best, True)
    likely = probability > LIKELY and (best == _OFFSETS or _fits(models, best, shares))
    return Claim(best, False) if likely and _names_are_sure(models, best) else None


def claimed_root(named: Posterior, family: int | None) -> str | None:
    """The root of what is named, where that is sure, or all there is."""
    if family is None:
        return None
    if family != _OFFSETS and len(known := roots_of(TEMPERAMENTS[family])) == 1:
        return known[0]
    (best, root), probability = max(by_root(named).items(), key=lambda item: item[1])
    return root if best == family and probability >= SURE else None


def by_family(models: Posterior) -> dict[int, float]:
    """How probable each temperament is, by its place in ``FAMILIES``."""
    sums = np.bincount(models.family, models.probability, len(FAMILIES))
    return {family: min(float(each), 1.0) for family, each in enumerate(sums)}


def by_root(models: Posterior) -> dict[tuple[int, str | None], float]:
    """How probable each temperament is on each root, of models of one naming."""
    sums: dict[tuple[int, str | None], float] = defaultdict(float)
    shapes, inverse = np.unique(models.shape, return_inverse=True)
    naming = int(models.naming[0])
    shares = np.bincount(inverse, models.probability)
    for shape, share in zip(plain(shapes), plain(shares), strict=True):
        family = int(models.shapes.family[shape])
        sums[family, models.shapes.roots[shape][naming]] += share
    return sums


def _names_are_sure(models: Posterior, family: int) -> bool:
    of_it = models.family == family
    naming = int(np.bincount(models.naming, models.probability * of_it).argmax())
    called = models.naming == naming
    is_near = bool(np.any(np.abs(models.a[called & of_it]) <= NEAREST_CENTS))
    return is_near or float(models.probability[called].sum()) >= SURE_OF_NAMES


def _fits(models: Posterior, family: int, shares: dict[int, float]) -> bool:
    of_it = models.where(models.family == family)
    scatter = float(of_it.probability @ of_it.sigma)
    least = EQUAL_AGAINST_OFFSETS if family == _EQUAL else AGAINST_OFFSETS
    if scatter > FITS_CENTS:
        least = FAR_OUTWEIGHS
    return shares[family] >= least * shares[_OFFSETS]
