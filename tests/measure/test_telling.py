"""What is told of a note: not while it is in doubt, nor what a drum makes of it."""

from __future__ import annotations

import pytest

from station.measure.fit import Fit
from station.measure.history import History
from station.measure.sounding import Sounding
from station.measure.telling import in_doubt, told_of

RATE_HZ = 15_000.0
LENGTH = 1_800  # samples of a reading
EVERY = 300  # samples from one reading to the next
QUIET, DRUMMED = 1e-9, 1e-6
STRING = Fit(233.0, 2e-4, 0.02, 6, 0.999, 1e-6, QUIET)


def a_note(seconds: float, fit: Fit = STRING) -> Sounding:
    """One that has been read as `fit` for so long, and told."""
    note = Sounding(0, fit, 0, -20.0)
    for now in range(EVERY, round(seconds * RATE_HZ), EVERY):
        tell(note, fit, now)
    return note


def tell(note: Sounding, fit: Fit, now: int) -> Fit | None:
    """What is told when `fit` is the newest one, which ends at sample `now`."""
    note.fit = fit
    note.track.append((now, fit))
    told = told_of(History(1), RATE_HZ, note, now, LENGTH)
    return None if told is None else told.fit


def test_a_string_at_rest_is_told_as_it_is() -> None:
    note = a_note(1.0)

    assert note.told
    assert tell(note, STRING, 15_000) == STRING


@pytest.mark.parametrize("beside", [QUIET, DRUMMED])
def test_a_stiffness_that_is_not_the_strings_is_a_drums_where_noise_has_risen(
    beside: float,
) -> None:
    note = a_note(1.0)
    another = STRING._replace(inharmonicity=9e-4, inharmonicity_sd=1e-4, beside=beside)
    as_known = STRING._replace(inharmonicity=3e-4, inharmonicity_sd=1e-4, beside=beside)

    assert (tell(note, another, 15_000) is None) == (beside == DRUMMED)
    assert tell(note, as_known, 15_300) is not None


def test_a_vague_reading_is_told_in_hiss_and_not_where_noise_has_risen() -> None:
    vague = STRING._replace(uncertainty_cents=0.6, partials=12)
    note = a_note(1.0, STRING._replace(partials=12))

    assert tell(note, vague, 15_000) is not None
    assert tell(note, vague._replace(beside=DRUMMED), 15_300) is None


def test_nothing_is_told_while_the_note_was_last_taken_for_another() -> None:
    note = a_note(1.0)
    note.votes.append(116.5)

    assert in_doubt(note)
    assert tell(note, STRING, 15_000) is None

    note.votes.append(233.1)
    assert tell(note, STRING, 15_300) is not None


def test_a_note_first_sure_after_long_is_told_once_it_is_so_twice() -> None:
    note = a_note(0.6, STRING._replace(uncertainty_cents=4.0))
    assert not note.told

    assert tell(note, STRING, 9_000) is None
    assert tell(note, STRING, 9_300) is not None
