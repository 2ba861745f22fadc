"""Which tunings the notes leave possible, and how probable each is.

A *component* is one fully stated model: a shape and its reading, or free per-note offsets; a
scatter sigma; stretched octaves or not; how many reeds are bad. Their evidence is exact
(``evidence.py``); probabilities follow from Bayes' theorem, and anything asked of them is an
average over all components (Hoeting, Madigan, Raftery & Volinsky, Statistical Science 14, 1999).

Priors, with their reasons:

- *sigma*, the reeds' own scatter, from 0.2 to 6 cents, log-normal about 1.2 by a factor of 2.5:
  an electronic keyboard is exact, free reeds are filed to a cent or two, an instrument that
  scatters by 6 cents is out of tune and seldom taken for a reference (common practice, no source).
  As likely as Gaussian is an error that is even within a width of sqrt(12) sigma
  (``bounded.py``), where notes are measured surely enough to see it.
- *per-note offsets*, Gaussian, as large as the named temperaments are: their twelve notes
  scatter by 3.5 (Vallotti) to 12 cents (meantone). Smaller ones cannot be told from equal.
- *stretch*, in cents at x octaves above A4: b1 x + b3 x**3, b1 = 1.5 +- 1.5, b3 = 0.4 +- 0.3, so
  that A0 lies about 30 cents low and C8 about 20 high, as on the pianos of O. L. Railsback (JASA
  10, 1938; figure in Fletcher & Rossing, The Physics of Musical Instruments, 12.8; numbers from
  memory). Its cause is the strings' stiffness (Schuck & Young, JASA 15, 1943): notes whose
  partials are stretched (B over 5e-5; piano strings: 1e-4 and more) make it likely, others rare.
- *A4* uniform within the semitone about 440 Hz, half as likely in that about 415, at which
  instruments in the old temperaments stand as often as at 440; other names that fit from 390 to
  470 Hz have a thirtieth (common practice, no source). All are taken only where they give a known
  temperament: of two names that are as good the one nearest to 440 Hz wins.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from station.measure.fixed.bounded import Widths, weigh_bounded
from station.measure.fixed.evidence import Floats, Integers, Settings, Weighed, weigh
from station.measure.fixed.offsets import Sounded, median_inharmonicity
from station.measure.fixed.shapes import FAMILIES, Shapes, shapes
from station.music.pitch import A4_MAX_HZ, A4_MIDI, A4_MIN_HZ, A4_STANDARD_HZ, cents_between

SIGMAS = np.geomspace(0.2, 6.0, 12)
SIGMA_MIDDLE, SIGMA_FACTOR = 1.2, 2.5
BOUNDED_SHARE = 0.5
"""Of instruments without stretch, where it can be seen: errors with an end beside Gaussian ones."""
SURER = 6.0
OFFSET_CENTS = (4.0, 7.0, 12.0)
STRETCH_MEAN = (1.5, 0.4)
STRETCH_SD = (1.5, 0.3)
STRING_INHARMONICITY = 5e-5
STRETCH_CHANCE_STRINGS, STRETCH_CHANCE_REEDS = 0.8, 0.02
OLD_PITCH, OTHER_NAME = 0.5, 1.0 / 30.0
OLD_CENTS = -100.0
NEAREST_CENTS = 50.0
LOWEST_CENTS = cents_between(A4_MIN_HZ, A4_STANDARD_HZ)
HIGHEST_CENTS = cents_between(A4_MAX_HZ, A4_STANDARD_HZ)

NEVER = 1e12  # a prior as narrow as this is no parameter
PRUNE_SIGMA = 3.0
PRUNE_NATS = 10.0
NEGLIGIBLE = 1e-7

Booleans = NDArray[np.bool_]


@dataclass(frozen=True)
class Posterior:
    """C components, probabilities summing to 1.

    ``shape`` is a row of ``shapes.cents`` and ``naming`` a place in ``NAMINGS``. ``a`` is A4 in
    cents from 440 Hz, ``own`` the same counted from the shape's own nought, ``variance`` of
    both. ``bad`` (C, n) marks the notes declared bad.
    """

    shapes: Shapes
    probability: Floats
    a: Floats
    own: Floats
    variance: Floats
    sigma: Floats
    stretched: Booleans
    shape: Integers
    naming: Integers
    bad: Booleans

    @property
    def family(self) -> Integers:
        """Place of each component's temperament in ``FAMILIES``."""
        family: Integers = self.shapes.family[self.shape]
        return family

    def at_any_pitch(self) -> Posterior:
        """The same as if no A4 were likelier than another."""
        return self.weighted(np.exp(-_log_chance_of_name(self.a)))

    def weighted(self, weight: Floats) -> Posterior:
        """The same, each component so many times as probable as before; without those of nought."""
        share = self.probability * weight
        return replace(self, probability=share / share.sum()).where(weight > 0.0)

    def where(self, chosen: Booleans) -> Posterior:
        """Only the chosen components, as probable among themselves as before."""
        share = self.probability[chosen]
        return Posterior(
            self.shapes,
            share / share.sum(),
            self.a[chosen],
            self.own[chosen],
            self.variance[chosen],
            self.sigma[chosen],
            self.stretched[chosen],
            self.shape[chosen],
            self.naming[chosen],
            self.bad[chosen],
        )


def posterior(notes: Sequence[Sounded]) -> Posterior:
    """Every model the distinct notes leave possible; at least one note is needed."""
    midi = np.array([each.midi for each in notes])
    y = np.array([each.cents for each in notes])
    variance = np.array([each.variance for each in notes])
    known = shapes(frozenset((midi % 12).tolist()))
    octaves = (midi - A4_MIDI) / 12.0
    design = np.stack([np.ones(len(notes)), octaves, octaves**3], axis=1)
    is_strings = median_inharmonicity(notes) > STRING_INHARMONICITY
    chance = STRETCH_CHANCE_STRINGS if is_strings else STRETCH_CHANCE_REEDS

    residual = y - known.cents[:, midi % 12]
    named, free = np.arange(len(known.cents) - 1), np.array([len(known.cents) - 1])
    kept = named[_worth_weighing(known, residual[:-1], variance, design)]
    finest = SURER * math.sqrt(float(variance.max()))
    settings, way = _settings(chance, finest)
    tempered = weigh(residual[kept], variance, design, settings)
    widths, bounded_way = _widths(chance, finest)
    bounded = weigh_bounded(residual[kept], widths)
    free_settings, free_way = _free_settings(chance)
    free_design = np.hstack([design, np.eye(12)[midi % 12]])
    offsets = weigh(residual[free], variance, free_design, free_settings)
    weighed = [(kept, way, tempered), (free, free_way, offsets)]
    if bounded_way.sigma.size:
        weighed.append((kept, bounded_way, bounded))
    return _together(known, weighed, len(notes))


@dataclass(frozen=True)
class _Way:
    """What is the same in every row of settings: chance, sigma, whether octaves are stretched."""

    log_chance: Floats
    sigma: Floats
    stretched: Booleans


def _shares() -> Floats:
    """How probable each sigma is."""
    shares: Floats = np.exp(-0.5 * (np.log(SIGMAS / SIGMA_MIDDLE) / math.log(SIGMA_FACTOR)) ** 2)
    normed: Floats = shares / shares.sum()
    return normed


def _widths(stretch_chance: float, finest: float) -> tuple[Widths, _Way]:
    """The cells about each sigma of a bounded error, but those narrower than ``finest``."""
    ratio = math.sqrt(SIGMAS[1] / SIGMAS[0])
    wide = SIGMAS * math.sqrt(12.0)
    used = wide / ratio > finest
    chance = (1.0 - stretch_chance) * BOUNDED_SHARE * _shares()[used]
    way = _Way(np.log(chance), SIGMAS[used], np.zeros(int(used.sum()), dtype=bool))
    return Widths(wide[used] / ratio, wide[used] * ratio), way


def _settings(stretch_chance: float, finest: float = math.inf) -> tuple[Settings, _Way]:
    """Each sigma with octaves pure and stretched; less of what ``_widths`` has a share in."""
    sigma = np.tile(SIGMAS, 2)
    stretched = np.repeat([False, True], len(SIGMAS))
    precision = np.zeros((len(sigma), 3))
    precision[:, 1:] = np.where(stretched[:, None], 1.0 / np.square(STRETCH_SD), NEVER)
    mean = np.zeros((len(sigma), 3))
    mean[:, 1:] = np.where(stretched[:, None], STRETCH_MEAN, 0.0)
    chance: Floats = np.where(stretched, stretch_chance, 1.0 - stretch_chance)
    chance = chance * np.tile(_shares(), 2)
    bounded = ~stretched & np.isin(sigma, _widths(stretch_chance, finest)[1].sigma)
    chance = np.where(bounded, (1.0 - BOUNDED_SHARE) * chance, chance)
    return Settings(sigma, precision, mean), _Way(np.log(chance), sigma, stretched)


def _free_settings(stretch_chance: float) -> tuple[Settings, _Way]:
    """The same with a free offset for each pitch class, of each size."""
    base, way = _settings(stretch_chance)
    sizes = np.repeat(OFFSET_CENTS, len(base.sigma))
    times = len(OFFSET_CENTS)
    precision = np.hstack(
        [np.tile(base.precision, (times, 1)), np.repeat(1.0 / sizes[:, None] ** 2, 12, axis=1)]
    )
    mean = np.hstack([np.tile(base.mean, (times, 1)), np.zeros((len(sizes), 12))])
    sigma = np.tile(base.sigma, times)
    log_chance = np.tile(way.log_chance, times) - math.log(times)
    return Settings(sigma, precision, mean), _Way(log_chance, sigma, np.tile(way.stretched, times))


def _worth_weighing(known: Shapes, residual: Floats, variance: Floats, design: Floats) -> Integers:
    """Shapes that are not hopeless beside the best of their temperament.

    Judged with a wide scatter, which forgives most: what is out of the question here is more so
    with a smaller one.
    """
    settings = _settings(0.5)[0]
    one = Settings(np.array([PRUNE_SIGMA]), settings.precision[-1:], settings.mean[-1:])
    score = weigh(residual, variance, design, one).log_p[0].max(axis=1)
    score += known.log_prior[:-1]
    best = np.full(len(FAMILIES), -np.inf)
    family = known.family[:-1]
    np.maximum.at(best, family, score)
    return np.flatnonzero(score > best[family] - PRUNE_NATS)


def _together(
    known: Shapes, weighed: Sequence[tuple[Integers, _Way, Weighed]], notes: int
) -> Posterior:
    """All components that are not negligible, under every name that fits."""
    columns: list[list[Floats]] = []
    flags: list[list[NDArray[Any]]] = []
    most = max(float(_joint(known, *each).max()) for each in weighed)
    for rows, way, found in weighed:
        joint = _joint(known, rows, way, found)
        s, t, k = np.nonzero(joint > most + math.log(NEGLIGIBLE))
        marks = np.zeros((len(s), notes), dtype=bool)
        for step in range(found.worst.shape[2]):
            has = np.flatnonzero(k > step)
            marks[has, found.worst[s[has], t[has], step]] = True
        columns.append([joint[s, t, k], found.a[s, t, k], found.variance[s, t, k], way.sigma[s]])
        flags.append([way.stretched[s], rows[t], marks])
    log_p, own, variance, sigma = (np.concatenate(each) for each in zip(*columns, strict=True))
    stretched, shape, bad = (np.concatenate(each) for each in zip(*flags, strict=True))

    a = own[:, None] + known.shift[shape]
    named = log_p[:, None] + _log_chance_of_name(a)
    component, naming = np.nonzero(named > named.max() + math.log(NEGLIGIBLE))
    weight = np.exp(named[component, naming] - named.max())
    return Posterior(
        known,
        weight / weight.sum(),
        a[component, naming],
        own[component],
        variance[component],
        sigma[component],
        stretched[component],
        shape[component],
        naming,
        bad[component],
    )


def _joint(known: Shapes, rows: Integers, way: _Way, found: Weighed) -> Floats:
    """Log of prior times evidence, for settings, shapes and numbers of bad reeds."""
    joint: Floats = (
        found.log_p + way.log_chance[:, None, None] + known.log_prior[rows][None, :, None]
    )
    return joint


def _log_chance_of_name(a_cents: Floats) -> Floats:
    """Prior of an A4 in cents from 440 Hz; NaN, no such name, is never."""
    within = (a_cents >= LOWEST_CENTS) & (a_cents <= HIGHEST_CENTS)
    chance = np.where(within, OTHER_NAME, 0.0)
    chance[np.abs(a_cents - OLD_CENTS) <= NEAREST_CENTS] = OLD_PITCH
    chance[np.abs(a_cents) <= NEAREST_CENTS] = 1.0
    with np.errstate(divide="ignore"):
        log_chance: Floats = np.log(chance)
    return log_chance
