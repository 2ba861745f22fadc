"""The settled pitch of one played note, from all of its sound.

A plucked string starts sharp and glides flat within its first third of a
second (its tension falls with its swing); what players tune is where it
settles (`rest.py`). A string that is tuned while it rings is where the peg left it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from station.measure.decimate import PASS_SHARE, Samples, lowered
from station.measure.election import SAME_NOTE_CENTS, elected
from station.measure.fit import (
    CENTS,
    MOST_PARTIALS,
    TOP_SHARE,
    Care,
    Fit,
    Guess,
    apart_cents,
    fit_heard,
    fit_segment,
    listen_and_fit,
    partial_frequencies,
    width_cents,
)
from station.measure.leakage import without_leakage
from station.measure.moving import less_sure
from station.measure.rest import GLIDE_S, STROKE_S, since_it_settled, with_wander
from station.measure.stayed import STAYED_CENTS, moved_as_one, stayed_since
from station.measure.windows import TINY_POWER, Floats, Heard, plain

GLIDE_SHARE = 0.35
WINDOWS_A_LENGTH = 4  # in a note shorter than a second; half as many do in a longer one
LONGEST_S = 2.0
ENDING_S = 3.5  # with what was heard a second before a peg left it there
MOST_LOWERED = 4  # by more, windows would be far from whole periods, and little is gained
ENOUGH_S = 0.5  # of a clipped note's end, at least
ENOUGH_SHARE = 0.3
# In windows of more a neighbour lies 13 bins off, where a Hann window's side lobes are 76 dB down
# (-32, and -18 an octave: Harris 1978, table I).
LEAKY_PERIODS = 13.0
# In power, over one window: a string of 0.6 s heard in a tenth of a second. At 1 s strings are well
# within their bound without.
LEAKY_FADE = 0.25
RELEASE_S = 0.03  # before its end a note is being damped
OUTLASTS_S = 0.15  # the last readings may listen back to a sound that has ended
LEVEL_S = 0.01
DAMPED = 0.25  # of the power just before: no string falls by 6 dB within a period or 10 ms
# Nor faster later than before: what is a sum of fading partials only fades more slowly as those
# that fade fast are gone. (Two polarisations that beat may fall by a few decibels more, and rise.)
LET_GO_DB = 20.0
LETTING_GO_S = 0.4  # so long before its end it is looked for
LEAST_TONAL = 0.6
SCATTERED_CENTS = 0.1  # partials of a whole note that disagree by so much may be heard amiss
FOLLOWED_CENTS = 20.0
FOLLOWED_STIFFNESS = 3e-6  # how far the surest reading's B may be off at least
FOLLOWED_GLIDE_CENTS = 2.0  # and the last one's pitch at most
LEAST_READINGS = 8
IN_TUNE_CENTS = 2.0  # the room's, unless told otherwise: a note less sure helps nobody
# A hand turns a peg within a second or little more; what goes less far in that is a drift.
TURNS_S = 1.0
TURNED_CENTS = 1.0
BEFORE_S = 0.25  # some 20 periods of a low E
SWAY_READINGS = 9  # readings come every 20 ms, a vibrato's sways every 150 to 200
SWAYS_APART = 4 * SWAY_READINGS  # then each half holds two sways or so, which a taper takes out
SWAY_CENTS = 3.0  # a vibrato; a string's last glide after its first quarter second is less
SWAY_SIGMAS = 3.0
ADRIFT_CENTS = 5.0
ADRIFT_FACTOR = 3.0  # a drift is so many times larger than what remains beside it


class Fine(NamedTuple):
    """The same note at a higher rate, for the partials of high notes.

    `x`, shape (n,), from the stroke; partials are heard up to `top_share` of `rate_hz`.
    """

    x: Samples
    rate_hz: float
    top_share: float


class Played(NamedTuple):
    """A note that has ended.

    `x`: its first seconds from the stroke, shape (n,). `ending`: its last
    seconds, shape (m,), the whole of it where it was short. `length`: its
    samples in all. `guess`: the last reading; `track`: every reading with the
    sample, counted from the stroke, it ends at; `votes`: what it was taken
    for while it sounded, in Hz; `fine`: the same at a higher rate, where that helps.
    """

    x: Samples
    ending: Samples
    length: int
    guess: Fit
    track: Sequence[tuple[int, Fit]] = ()
    votes: Sequence[float] = ()
    fine: Fine | None = None


def settled(played: Played, rate_hz: float) -> Fit | None:
    """Settled pitch of a note; None if unfit.

    Where the pitch was moved and then stayed, as by a peg, it is where it
    stayed. Where the readings sway, the note has no one frequency: its pitch
    is their centre.
    """
    played = _without_silence(played, rate_hz)
    start, stop = _steady_part(played.x.size, rate_hz)
    stayed = stayed_since(played.track, start, stop, rate_hz)
    turned = None if stayed is None else _left_by_a_peg(played, stayed.since, rate_hz)
    if turned is not None:
        return turned
    part = played.x[start:stop]
    hz, inharmonicity = elected(part, rate_hz, played.guess, played.votes)
    swaying = centre_of([fit for end, fit in played.track if end >= start], hz)
    fit = swaying or _fit_whole(played, rate_hz, hz, inharmonicity)
    if fit is None or stayed is None:
        return fit
    away_cents = apart_cents(fit.hz, stayed.hz)
    if away_cents <= STAYED_CENTS:
        return fit
    # A drift as it died, or a peg after all: it may be in either place.
    return less_sure(fit, min(away_cents / 2, IN_TUNE_CENTS))


def _left_by_a_peg(played: Played, since: int, rate_hz: float) -> Fit | None:
    """The pitch from sample `since` on, where it stayed; None if no peg has moved it there."""
    length = min(played.length - since, played.ending.size, round(LONGEST_S * rate_hz))
    found = listen_and_fit(played.ending[-length:], rate_hz, _guess_at(played, played.length))
    if found is None or found[1].tonal < LEAST_TONAL:
        return None
    before = _heard_before(played, since, rate_hz)
    if before is None:
        return None
    moved = moved_as_one(before, found[0])
    if moved is None or abs(moved.cents) < TURNED_CENTS:
        return None
    return less_sure(with_wander(found[0], 0, found[1]), moved.beside_cents)


def _heard_before(played: Played, since: int, rate_hz: float) -> Heard | None:
    """What was heard a second before sample `since`, or where something before that is kept."""
    size = round(BEFORE_S * rate_hz)
    stop = max(since - round(TURNS_S * rate_hz), 0) + size
    ending_at = played.length - played.ending.size
    if stop - size >= ending_at:
        x = played.ending[stop - size - ending_at : stop - ending_at]
    else:
        stop = min(stop, played.x.size)
        x = played.x[max(0, stop - size) : stop]
    found = listen_and_fit(x, rate_hz, _guess_at(played, stop))
    return None if found is None else found[0]


def _guess_at(played: Played, sample: int) -> Guess:
    """What the reading that ends nearest to a sample says."""
    _, fit = min(played.track, key=lambda each: abs(each[0] - sample))
    return Guess(fit.hz, fit.inharmonicity)


def _without_silence(played: Played, rate_hz: float) -> Played:
    """The same without what follows the moment the string was damped or let go."""
    for end in (_damped_at, _let_go_at):
        silent = played.ending.size - end(played.ending, rate_hz, played.guess.hz)
        if 0 < silent < played.length:
            played = _part(played, 0, played.length - silent, rate_hz)
    return played


def _part(played: Played, first: int, stop: int, rate_hz: float) -> Played:
    """The same from sample `first` to before `stop`, counted from the stroke."""
    fine = played.fine
    if fine is not None:
        begin, end = (round(at / rate_hz * fine.rate_hz) for at in (first, stop))
        fine = fine._replace(x=fine.x[begin:end])
    ending = played.ending[: played.ending.size - (played.length - stop)][-(stop - first) :]
    track = [(end - first, fit) for end, fit in played.track if end <= stop]
    return played._replace(
        x=played.x[first:stop], ending=ending, length=stop - first, track=track, fine=fine
    )


def least_clipped(played: Played, clear_from: int, rate_hz: float) -> Played:
    """`played`, which clips until sample `clear_from`, without most of what clips.

    What clipping mixes into a stiff string's partials lies a little beside them and moves them
    however long one listens; what is heard later is worth more, though it is less.
    """
    size = played.x.size
    enough = max(round(ENOUGH_S * rate_hz), round(ENOUGH_SHARE * size))
    first = min(clear_from, size - enough)
    return played if first <= 0 else _part(played, first, played.length, rate_hz)


def _damped_at(x: Floats, rate_hz: float, hz: float) -> int:
    """Where in the last moments of `x` its level falls as of no string; else its size."""
    each = round(max(LEVEL_S, 1 / hz) * rate_hz)
    count = min(x.size // each, round(OUTLASTS_S * rate_hz / each) + 3)
    power = _last_powers(x, count, each)
    for place in range(2, count):
        if max(power[place:]) < DAMPED * (power[place - 1] + power[place - 2]) / 2:
            return x.size - (count - place) * each
    return x.size


def _let_go_at(x: Floats, rate_hz: float, hz: float) -> int:
    """Where in the last moments of `x` it begins to fade as no string rings on; else its size."""
    each = round(max(2 * LEVEL_S, 2 / hz) * rate_hz)
    count = x.size // each
    level = [10 * math.log10(power + TINY_POWER) for power in _last_powers(x, count, each)]
    most, begin = LET_GO_DB, count
    longest = min((count - 1) // 2, round(LETTING_GO_S * rate_hz / each))
    for left in range(1, longest + 1):
        place = count - 1 - left
        fell_before = max(0.0, level[place - left] - level[place])
        faster = level[place] - level[-1] - fell_before
        if faster > most:
            most, begin = faster, place + 1
    return x.size - (count - begin) * each


def _last_powers(x: Floats, count: int, each: int) -> list[float]:
    """The powers of the last `count` stretches of `x`, `each` samples long."""
    parts = x[x.size - count * each :].reshape(count, each)
    return plain(np.einsum("ij,ij->i", parts, parts))


def _steady_part(size: int, rate_hz: float) -> tuple[int, int]:
    length_s = size / rate_hz
    start_s = min(GLIDE_S, GLIDE_SHARE * length_s)
    stop_s = min(length_s - min(RELEASE_S, 0.1 * length_s), start_s + LONGEST_S)
    return round(start_s * rate_hz), round(stop_s * rate_hz)


def _fit_whole(played: Played, rate_hz: float, hz: float, inharmonicity: float) -> Fit | None:
    fine = played.fine or Fine(played.x, rate_hz, TOP_SHARE)
    begin = round(min(STROKE_S * fine.rate_hz, 0.1 * fine.x.size))
    _, stop = _steady_part(fine.x.size, fine.rate_hz)
    windows = WINDOWS_A_LENGTH if stop - begin < fine.rate_hz else WINDOWS_A_LENGTH // 2
    guess = _as_followed(played, hz) or Guess(hz, inharmonicity)
    part = _no_finer_than_needed(fine._replace(x=fine.x[begin:stop]), guess)
    care = Care(top_share=part.top_share, windows_a_length=windows)
    found = listen_and_fit(part.x, part.rate_hz, guess, care)
    if found is None or found[1].uncertainty_cents > SCATTERED_CENTS:
        # Readings within a stroke may be sure of a stiffness that is not the string's.
        found = _surer(found, listen_and_fit(part.x, part.rate_hz, Guess(hz), care))
    if found is None or found[1].tonal < LEAST_TONAL:
        return fit_segment(played.x, rate_hz, Guess(hz, inharmonicity))
    return since_it_settled(*_relieved(part, *found))


def _relieved(part: Fine, heard: Heard, fit: Fit) -> tuple[Heard, Fit]:
    """The same as of a whole note, without what a low string's partials hear of each other.

    That only where it is surer.
    """
    heard = heard._replace(whole=True)
    fit = fit_heard(heard) or fit
    if heard.window_s * fit.hz > LEAKY_PERIODS or not _dies_soon(heard):
        return heard, fit
    clean = without_leakage(part.x - part.x.mean(), part.rate_hz, heard)
    better = fit_heard(clean)
    if better is None or better.uncertainty_cents > fit.uncertainty_cents:
        return heard, fit
    return clean, better


def _dies_soon(heard: Heard) -> bool:
    """Whether partials fade so fast that a window hears it: of what holds still nothing leaks."""
    power = heard.power.sum(axis=1)
    middle = power.size // 2
    windows = middle * heard.step_s / heard.window_s
    return bool(power[0] > power[middle] * math.exp(LEAKY_FADE * windows))


def _surer(*listened: tuple[Heard, Fit] | None) -> tuple[Heard, Fit] | None:
    """Whichever fit is surer."""
    found = [known for known in listened if known is not None]
    return min(found, key=lambda known: known[1].uncertainty_cents, default=None)


def _no_finer_than_needed(fine: Fine, guess: Guess) -> Fine:
    """`fine` at the lowest rate at which as many partials of `guess` are heard as in it."""
    highest = MOST_PARTIALS + 1.0
    top_hz = float(partial_frequencies(guess.hz, guess.inharmonicity, np.array([highest]))[0])
    factor = min(MOST_LOWERED, int(PASS_SHARE * fine.rate_hz / top_hz))
    if factor < 2:
        return fine
    return Fine(lowered(fine.x, factor), fine.rate_hz / factor, PASS_SHARE)


def _as_followed(played: Played, hz: float) -> Guess | None:
    """What the readings say of the note, if they are near `hz`.

    The last one heard little of the higher partials; the surest one heard them best. The pitch
    may be as far off as they strayed.
    """
    if apart_cents(played.guess.hz, hz) >= FOLLOWED_CENTS:
        return None
    near = [fit for _, fit in played.track if apart_cents(fit.hz, hz) < FOLLOWED_CENTS]
    surest = min(near, key=lambda fit: fit.inharmonicity_sd, default=played.guess)
    unsure = max(FOLLOWED_STIFFNESS, 4 * surest.inharmonicity_sd)
    strayed_cents = max((apart_cents(fit.hz, hz) for fit in near), default=FOLLOWED_GLIDE_CENTS)
    strayed_cents = max(strayed_cents, 4 * played.guess.uncertainty_cents)
    return Guess(hz, surest.inharmonicity, min(strayed_cents, FOLLOWED_GLIDE_CENTS), unsure)


def centre_of(readings: Sequence[Fit], hz: float) -> Fit | None:
    """The mean pitch of the readings of the note near `hz`, if they sway; else None.

    The uncertainty comes from how much the centres of the halves differ, in a short note the means
    over a sway or so (the method of batch means), since a sway itself averages out.
    """
    # `hz` may be anywhere within a wide vibrato: what counts is what lies around their middle.
    near = [fit for fit in readings if apart_cents(fit.hz, hz) < 2 * SAME_NOTE_CENTS]
    if len(near) < LEAST_READINGS:
        return None
    every_hz = [fit.hz for fit in near]
    if width_cents(every_hz) < SWAY_CENTS:
        return None  # nor can they spread by it
    hz = float(np.median(every_hz))
    own = [fit for fit in near if apart_cents(fit.hz, hz) < 1.5 * SAME_NOTE_CENTS]
    if len(own) < LEAST_READINGS:
        return None
    cents = CENTS * np.log(np.array([fit.hz for fit in own]) / hz)
    spread = float(cents.std())
    sure = float(np.median([fit.uncertainty_cents for fit in own]))
    if spread < SWAY_CENTS or spread < SWAY_SIGMAS * sure:
        return None
    batches = np.array_split(cents, max(2, len(own) // SWAY_READINGS))
    means = np.array([batch.mean() for batch in batches])
    # Weighted towards the middle, so that a sway cut off at either end does not count.
    centre = float(np.average(cents, weights=np.hanning(cents.size + 2)[1:-1]))
    doubt = float(means.std(ddof=1)) / math.sqrt(means.size)
    if cents.size >= SWAYS_APART:
        doubt = _halves_apart(cents) / math.sqrt(2)
    if _adrift(means, float(np.mean([batch.std() for batch in batches]))):
        # It did not come back to where it was: a peg was turned. Where it ended counts.
        centre, doubt = float(batches[-1].mean()), float(batches[-1].std())
    return own[-1]._replace(
        hz=hz * math.exp(centre / CENTS),
        uncertainty_cents=max(doubt, sure / math.sqrt(means.size)),
    )


def _halves_apart(cents: Floats) -> float:
    """How much the centres of a sway's halves differ, the middle one too: a standard deviation."""
    half = cents.size // 2
    parts = [cents[first : first + half] for first in (0, half // 2, cents.size - half)]
    taper = np.hanning(half + 2)[1:-1]
    return float(np.std([np.average(part, weights=taper) for part in parts], ddof=1))


def _adrift(means: Floats, sway: float) -> bool:
    """Whether the means of successive stretches, in cents, go one way rather than to and fro.

    `sway` is how much the pitch moves within a stretch.
    """
    if means.size < 3:
        return abs(float(means[-1] - means[0])) > max(ADRIFT_CENTS, ADRIFT_FACTOR * sway)
    steps = np.arange(means.size) - (means.size - 1) / 2
    slope = float(steps @ means) / float(steps @ steps)
    left = float((means - means.mean() - slope * steps).std())
    change = abs(slope) * (means.size - 1)
    return change > max(ADRIFT_CENTS, ADRIFT_FACTOR * left, ADRIFT_FACTOR * sway)
