"""From which moment on a note that has ended counts: since it settled.

That is the first moment with which nothing later disagrees (Hausman 1978, "Specification tests in
econometrics": of two estimates, one of them from part of the other's data, the difference has
the difference of their variances). What wanders for longer than that and then comes to rest, as
where two polarisations beat until one of them has died, counts from there.
"""

from __future__ import annotations

import math

from station.measure.fit import Fit, apart_cents, fit_heard
from station.measure.wander import wander_of
from station.measure.windows import Heard

GLIDE_S = 0.25
STROKE_S = 0.01  # of pick, finger and hammer
STARTS_S = (0.0, 0.05, 0.11, GLIDE_S - STROKE_S, 0.39, 0.59)  # after the stroke; from each a fit
LATER_STARTS_S = (0.88, 1.3)  # each half as late again, as those before
VAGUE_CENTS = 2.0  # so unsure a pitch helps nobody tune: what is heard later can only be better
SURER_BY_FAR = 0.5  # than what heard twice as much
LEAST_WINDOWS = 6
DISAGREE_SIGMAS = 3.0  # once in 370 by chance
SAME_CENTS = 0.003  # differences nobody can hear are none


def since_it_settled(heard: Heard, whole: Fit) -> Fit:
    """The fit from the first moment on with which no later one disagrees."""
    windows = heard.power.shape[0]
    starts = {min(round(s / heard.step_s), windows - LEAST_WINDOWS) for s in STARTS_S}
    fits = [
        (start, fit)
        for start in sorted(starts)
        if start >= 0 and (fit := fit_heard(heard.since(start))) is not None
    ]
    for number, (start, fit) in enumerate(fits):
        if all(_agrees(fit, later) for _, later in fits[number + 1 :]):
            return _at_rest(heard, start, with_wander(heard, start, fit))
    return whole


def _at_rest(heard: Heard, start: int, settled: Fit) -> Fit:
    """`settled`, from window `start` on, or where a note too vague came to rest later.

    One that wanders and then holds still is surer there by far, though less of it is heard.
    """
    if settled.uncertainty_cents < VAGUE_CENTS:
        return settled
    for begin in (round(s / heard.step_s) for s in LATER_STARTS_S):
        if begin <= start or begin > heard.power.shape[0] - LEAST_WINDOWS:
            continue
        late = fit_heard(heard.since(begin))
        if late is None:
            continue
        late = with_wander(heard, begin, late)
        if late.uncertainty_cents < SURER_BY_FAR * settled.uncertainty_cents:
            settled = late
    return settled


def _agrees(fit: Fit, later: Fit) -> bool:
    variance = later.uncertainty_cents**2 - fit.uncertainty_cents**2
    return apart_cents(fit.hz, later.hz) <= SAME_CENTS + DISAGREE_SIGMAS * math.sqrt(
        max(0.0, variance)
    )


def with_wander(heard: Heard, start: int, fit: Fit) -> Fit:
    """`fit` of what was heard from window `start` on, less sure by how much its pitch wanders."""
    wander = wander_of(heard, start, fit.hz)
    return fit._replace(uncertainty_cents=wander.unsure_cents(fit.uncertainty_cents))
