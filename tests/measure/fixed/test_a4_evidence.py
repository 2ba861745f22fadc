"""The closed form of the evidence against the same model written out as one covariance."""

from __future__ import annotations

import math

import numpy as np
import pytest

from station.measure.fixed.evidence import BAD_CENTS, BAD_CHANCE, Settings, most_bad, weigh
from station.measure.fixed.offsets import sounded
from station.measure.fixed.posterior import posterior
from station.measure.fixed.shapes import FAMILIES, NAMINGS, shapes
from tests.support.harps import fixed_note

COUNT = 10


@pytest.fixture
def case():
    rng = np.random.default_rng(1)
    y = rng.normal(0.0, 3.0, COUNT)
    y[4] += 30.0
    variance = rng.uniform(0.01, 0.5, COUNT)
    design = np.stack([np.ones(COUNT), rng.normal(size=COUNT)], axis=1)
    settings = Settings(
        np.array([2.0, 0.5]),
        np.array([[0.0, 1.0 / 4.0], [0.0, 1.0 / 9.0]]),
        np.array([[0.0, 0.5], [0.0, 1.0]]),
    )
    return y, variance, design, settings


def written_out(y, variance, design, settings, row, bad):
    """Log evidence, A4 and its variance from the covariance of all notes, A4's prior flat."""
    extra = np.zeros(COUNT)
    extra[list(bad)] = BAD_CENTS**2
    covariance = np.diag(variance + settings.sigma[row] ** 2 + extra)
    covariance += np.outer(design[:, 1], design[:, 1]) / settings.precision[row, 1]
    r = y - design[:, 1] * settings.mean[row, 1]
    inverse = np.linalg.inv(covariance)
    of_a = 1.0 / inverse.sum()
    a = of_a * (inverse @ r).sum()
    log_p = -0.5 * np.linalg.slogdet(covariance)[1] - 0.5 * (r @ inverse @ r - a**2 / of_a)
    log_p += 0.5 * math.log(of_a)
    log_p += len(bad) * math.log(BAD_CHANCE) + (COUNT - len(bad)) * math.log(1.0 - BAD_CHANCE)
    return log_p, a, of_a


@pytest.mark.parametrize("row", [0, 1])
def test_evidence_a4_and_variance_are_those_of_the_model_written_out(case, row):
    y, variance, design, settings = case

    found = weigh(y[None], variance, design, settings)

    for step in range(most_bad(COUNT) + 1):
        bad = found.worst[row, 0, :step]
        expected = written_out(*case, row, bad)
        ours = (found.log_p[row, 0, step], found.a[row, 0, step], found.variance[row, 0, step])
        assert ours == pytest.approx(expected, rel=1e-9, abs=1e-9), step


def test_the_first_reed_called_bad_is_the_one_that_explains_most(case):
    y, variance, design, settings = case

    found = weigh(y[None], variance, design, settings)

    singles = [written_out(*case, 0, [note])[0] for note in range(COUNT)]
    assert found.worst[0, 0, 0] == int(np.argmax(singles)) == 4
    assert len(set(found.worst[0, 0].tolist())) == most_bad(COUNT)


@pytest.mark.parametrize(("notes", "bad"), [(1, 0), (3, 0), (4, 1), (7, 2), (10, 3), (40, 3)])
def test_fewer_than_a_third_of_the_reeds_may_be_bad(notes, bad):
    assert most_bad(notes) == bad


def test_probabilities_of_all_models_sum_to_one():
    heard = sounded([fixed_note(midi, midi % 3) for midi in range(60, 72)])

    models = posterior(heard)

    assert models.probability.sum() == pytest.approx(1.0)
    assert np.bincount(models.family, models.probability).sum() == pytest.approx(1.0)


@pytest.mark.parametrize("heard", [{0}, {0, 4, 7}, {0, 2, 4, 5, 7, 9, 11}, set(range(12))])
def test_named_temperaments_start_alike_and_all_priors_sum_to_one(heard):
    known = shapes(frozenset(heard))

    shares = np.bincount(known.family, np.exp(known.log_prior), len(FAMILIES))

    # W III, Vallotti and Young have one root: each naming is a shape of its own with the whole
    # share, of which the prior on A4 leaves one.
    times = np.array([1, 1, 1, 1, len(NAMINGS), len(NAMINGS), len(NAMINGS), 1])
    assert (shares / times).sum() == pytest.approx(1.0)
    assert shares[:7] / times[:7] == pytest.approx([shares[0]] * 7)


def test_every_name_of_a_shape_asks_the_same_of_the_notes():
    known = shapes(frozenset(range(12)))

    for shape, family in enumerate(known.family[:-1]):
        names = [
            (NAMINGS[k], root, known.shift[shape, k])
            for k, root in enumerate(known.roots[shape])
            if not math.isnan(known.shift[shape, k])
        ]
        assert names, FAMILIES[family]
        # The A of each naming, or the key note of just, stands on that naming's own scale.
        for steps, root, shift in names:
            asked = known.cents[shape] - (shift - 100.0 * steps)
            if FAMILIES[family] == "just":
                continue
            assert asked[(9 + steps) % 12] == pytest.approx(0.0, abs=1e-9), (root, steps)
