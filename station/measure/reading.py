"""What the newest tenth of a second of a sounding note says of its pitch."""

from __future__ import annotations

import math

from station.measure.bank import PartialBank
from station.measure.fit import Care, Fit, Guess, apart_cents, listen_and_fit, window_size
from station.measure.history import History
from station.measure.moving import less_sure, pitch_now, swing_cents
from station.measure.sounding import Sounding
from station.measure.turning import WINDOWS, Turn, turn_of
from station.measure.windows import Heard

SKIP_S = 0.006  # of a stroke's own noise
READING_S = 0.12
READING_PERIODS = 9
READING_WINDOW_S = 0.025
READING_PARTIALS = 12  # in a short sound the higher ones add little
READING_CARE = Care(READING_PARTIALS, READING_WINDOW_S)
KNOWN_STIFFNESS = 2e-5  # how far one reading's B may be from the next's


def measured(
    history: History, rate_hz: float, note: Sounding, now: int, length: int
) -> tuple[Heard, Fit] | None:
    """The pitch of the last `length` samples, by the note's bank where it still suits."""
    start = now - length
    bank = note.bank
    if bank is not None and bank.suits(note.fit.hz):
        fit = bank.fit(history, start, now)
        if fit is not None and bank.suits(fit.hz):
            return bank.heard(), fit
    guess = Guess(note.fit.hz, note.fit.inharmonicity, stiffness=KNOWN_STIFFNESS)
    found = listen_and_fit(history.between(start, now), rate_hz, guess, READING_CARE)
    if found is not None and _may_keep_windows(rate_hz, note, length, found[1]):
        note.bank = PartialBank(
            found[1], rate_hz, length, start, READING_PARTIALS, READING_WINDOW_S
        )
    return found


def brought_to_now(history: History, rate_hz: float, note: Sounding, now: int, length: int) -> Fit:
    """The pitch at sample `now`, when the note's newest fit is of the last `length` samples.

    Where a low string takes more than READING_S, what its peg did meanwhile is looked for.
    """
    fit = pitch_now(note.track, length)
    before, note.turn = note.turn, None
    bank = note.bank
    if bank is None or length <= round(READING_S * rate_hz) or not bank.suits(note.fit.hz):
        return fit
    if before is None and not fit.moving and not bank.stirs():
        return fit
    if swing_cents(note.track) > 0.0:
        return fit
    heard = bank.until(history, now, WINDOWS, note.onset + round(SKIP_S * rate_hz))
    note.turn = None if heard is None else turn_of(heard)
    return fit if note.turn is None else _following(note.turn, before, fit)


def _following(turn: Turn, before: Turn | None, fit: Fit) -> Fit:
    """The pitch now, where `turn` is what the peg does, `before` what it did a reading earlier.

    `fit` is the newest reading as those before it brought it to the present.
    """
    if fit.swaying:
        return fit
    if turn.sudden:
        # Readings too long to follow a sway may lie in a line all the same.
        return less_sure(turn.whole, turn.cents) if fit.moving else fit
    turned = turn.pitch()
    if before is None or turn.cents * before.cents <= 0:
        # Not twice in a row: it may be noise or a drum, and is half believed.
        half_way = fit._replace(hz=math.sqrt(fit.hz * turned.hz), moving=True)
        return less_sure(half_way, apart_cents(half_way.hz, fit.hz))
    return turned


def reading_length(rate_hz: float, note: Sounding, now: int) -> int:
    """How many samples back a reading listens: not into the stroke."""
    so_far = now - note.onset - round(SKIP_S * rate_hz)
    return min(_longest(rate_hz, note), so_far)


def longest_s(hz: float) -> float:
    """How many seconds back a reading of a note at `hz` listens, once it sounds so long."""
    return max(READING_S, READING_PERIODS / hz)


def _longest(rate_hz: float, note: Sounding) -> int:
    return round(longest_s(note.fit.hz) * rate_hz)


def _may_keep_windows(rate_hz: float, note: Sounding, length: int, fit: Fit) -> bool:
    """Whether windows tuned to `fit` will serve the readings to come as well."""
    whole = _longest(rate_hz, note)
    sizes = [window_size(n, rate_hz, fit.hz, READING_WINDOW_S) for n in (length, whole)]
    return sizes[0] == sizes[1] and fit.inharmonicity_sd < KNOWN_STIFFNESS
