"""Is a string dull, or false? Its partials today against its own first day.

**Dull.** What damps an old string (dirt in the winding, fatigue) damps the upper partials most
(losses within a string grow with frequency: Fletcher & Rossing, The Physics of Musical
Instruments, section 2.11). How loud the partials are tells where it was plucked; how fast each dies
away does not. So the logarithm of every upper partial's fall is taken, less that of the first
day, its mean over the partials is one number for each pluck, and both days' plucks are
compared (Student's t). It is dull where that says `DULL_TIMES` or more, and surely `SURELY_TIMES`
more (99.5 %) than whatever became of the lower partials: a hand on the strings damps all.

**False.** A string of uneven mass has two pitches: its partials are split, k times as far at
partial k, and stand off the law of stiff strings, k F sqrt(1 + B k^2) (Fletcher 1964). One
partial may be split by the bridge, and a single pluck by chance: several partials have to be, by
the same, in most plucks, and more than on the first day.

At least three plucks on either day, or nothing is said.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from statistics import fmean, median, stdev

import numpy as np

from station.errors import SignalError, StringStateError
from station.measure.beats.bands import Sound, envelopes, look
from station.measure.beats.meeting import meeting
from station.measure.beats.poles import Envelope, Floats, one_line, one_line_sure
from station.measure.decimate import HIGHEST_RATE_HZ, LOWEST_RATE_HZ
from station.measure.fit import CENTS, Row, partial_frequencies, solve
from station.measure.hypothesis import most_stretched
from station.measure.string_health_types import (
    Evidence,
    Health,
    Judged,
    PartialHeard,
    Pluck,
    StringState,
)

LEAST_PLUCKS = 3
LEAST_S = 0.6  # after that
SKIP_S = 0.3  # the stroke, and its glide: upper partials that glide pass for two lines
LONGEST_S = 3.0
MOST_PARTIALS = 12
TOP_SHARE = 0.33  # of the rate
WINDOW_PERIODS = 8.0
SHORTEST_WINDOW_S, LONGEST_WINDOW_S = 0.03, 0.2
LEAST_OVER_NOISE = 100.0
FALL_SURE = 0.25  # a fall less sure than this share is not counted
LOWER, UPPER = 3, 5  # partials up to, and from
LEAST_UPPER = 3
DULL_TIMES = 1.3
SURELY_TIMES = 1.1
LEAST_SCATTER = 0.05  # of a fall's logarithm: plucks that agree better do so by chance
SPLIT_CENTS = 1.0  # strings beat with themselves by less (common practice, no source)
SPLIT_TIMES = 2.0  # of the first day's
SPLIT_ALIKE = 0.3  # splits over their partial's number scatter by less than this share
LEAST_SPLIT_PARTIALS = 3
MOST_PLUCKS_SHARE = 2 / 3
OFF_CENTS = 3.0
OFF_TIMES = 2.0
PLAIN_SHARE = 1e-3  # of a partial's power: one line that leaves no more is one
LEAST_SPLIT_CENTS = 0.5  # less is what is left of a glide
# Student's t, 99.5 % one-sided, by degrees of freedom (computed from the distribution).
T_SURE = {
    4: 4.604,
    5: 4.032,
    6: 3.707,
    7: 3.499,
    8: 3.355,
    9: 3.250,
    10: 3.169,
    12: 3.055,
    16: 2.921,
}
T_MANY = 2.8


def hear_pluck(x: Sound, rate_hz: float, near_hz: float) -> Pluck | None:
    """One pluck, `x` of shape (n,) from its stroke to its end; None where it says too little.

    `near_hz`: its first partial within half a semitone, as a note's reading tells. Raises
    SignalError for a rate or samples that cannot be.
    """
    if not LOWEST_RATE_HZ <= rate_hz <= HIGHEST_RATE_HZ:
        raise SignalError(
            f"sample rate {rate_hz:g} Hz is outside {LOWEST_RATE_HZ} to {HIGHEST_RATE_HZ} Hz"
        )
    if x.ndim != 1 or not np.all(np.isfinite(x)):
        raise SignalError(f"a pluck takes finite samples of shape (n,), not {x.shape}")
    if not 16.0 <= near_hz <= TOP_SHARE * rate_hz:
        raise SignalError(f"a string at {near_hz:g} Hz: from 16 to {TOP_SHARE * rate_hz:g} Hz")
    part = np.asarray(x[round(SKIP_S * rate_hz) : round(LONGEST_S * rate_hz)], np.float64)
    if part.size < LEAST_S * rate_hz:
        return None
    seen = look(part, rate_hz)
    window_s = min(max(WINDOW_PERIODS / near_hz, SHORTEST_WINDOW_S), LONGEST_WINDOW_S)
    found: list[tuple[int, float]] = []
    base_hz, bend = near_hz, 0.0
    bends: list[float] = []
    for k in range(1, MOST_PARTIALS + 1):
        at = k * base_hz * (1 + bend * (k * k - 1))
        if at > TOP_SHARE * rate_hz:
            break
        hz, _, over = seen.peak(at, max(2.0, (0.03 if k == 1 else 0.006) * at))
        if over < LEAST_OVER_NOISE:
            continue
        found.append((k, hz))
        if k == 1:
            base_hz = hz
        else:
            bends.append((hz / (k * base_hz) - 1) / (k * k - 1))
            bend = min(max(0.0, median(bends)), most_stretched(near_hz) / 2)
    if len(found) < LEAST_UPPER:
        return None
    return _measured(part, rate_hz, found, window_s)


def _measured(
    x: Floats, rate_hz: float, found: Sequence[tuple[int, float]], window_s: float
) -> Pluck | None:
    centres: Floats = np.array([hz for _, hz in found])
    rows: list[Row] = []
    falls: dict[int, float] = {}
    splits: dict[int, float | None] = {}
    for (k, centre), band in zip(found, envelopes(x, rate_hz, centres, window_s), strict=True):
        heard = _partial(band, centre)
        if heard is None:
            continue
        off_hz, sd_hz, falls[k], splits[k] = heard
        rows.append((float(k), centre + off_hz, sd_hz))
    if len(rows) < LEAST_UPPER:
        return None
    fit = solve(list(rows), 1.0)
    if fit is None:
        return None
    heard_at = partial_frequencies(fit.hz, fit.inharmonicity, np.array([k for k, _, _ in rows]))
    partials = tuple(
        PartialHeard(int(k), falls[int(k)], CENTS * math.log(hz / float(at)), splits[int(k)])
        for (k, hz, _), at in zip(rows, heard_at, strict=True)
    )
    return Pluck(fit.hz, fit.inharmonicity, partials)


def _partial(band: Envelope, centre_hz: float) -> tuple[float, float, float, float | None] | None:
    """A partial beside its carrier: Hz, one standard deviation, fall, split where it has one."""
    _, left = one_line(band)
    power = float(np.square(np.abs(band.y)).sum())
    two = meeting(band, slow=False) if left > PLAIN_SHARE * power else None
    if two is not None and two.resolved:
        fall, wide = fmean(two.falls), CENTS * two.split_hz > LEAST_SPLIT_CENTS * centre_hz
        if fall > 0 and wide:
            return two.middle_hz, math.hypot(two.sd_hz, two.split_hz / 4), fall, two.split_hz
    line, sd = one_line_sure(band)
    fall = -line.real
    if fall <= 0 or sd > FALL_SURE * fall:
        return None
    return line.imag / (2 * math.pi), sd / (2 * math.pi), fall, None


def state_of(plucks: Sequence[Pluck | None]) -> StringState:
    """One day's plucks; raises StringStateError for fewer than three that say anything."""
    good = tuple(pluck for pluck in plucks if pluck is not None)
    if len(good) < LEAST_PLUCKS:
        raise StringStateError(
            f"{len(good)} plucks that ring long enough: at least {LEAST_PLUCKS} are needed"
            " (let each ring for a second or more)"
        )
    return StringState(good)


def judge(first_day: StringState, today: StringState) -> Judged:
    """A string today against its own first day; "cannot be told" for too few plucks."""
    evidence = _evidence(first_day, today)
    if min(evidence.plucks, evidence.first_plucks) < LEAST_PLUCKS:
        short = f"fewer than {LEAST_PLUCKS} plucks on one of the two days"
        return Judged("cannot be told", (short,), evidence)
    false = _false_words(evidence)
    if evidence.faster is None:
        few = f"fewer than {LEAST_UPPER} upper partials ring on both days"
        return Judged("false" if false else "cannot be told", (*false, few), evidence)
    dull = _dull_words(evidence)
    health: Health = "as on its first day"
    if dull or false:
        health = "dull and false" if dull and false else "dull" if dull else "false"
    return Judged(health, (*dull, *false), evidence)


def _evidence(first_day: StringState, today: StringState) -> Evidence:
    common = _common(first_day) & _common(today)
    upper = tuple(sorted(k for k in common if k >= UPPER))
    faster = faster_sd = lower_faster = None
    if len(upper) >= LEAST_UPPER:
        faster, faster_sd = _faster(first_day, today, upper)
    lower = tuple(sorted(k for k in common if k <= LOWER))
    if lower:
        lower_faster, lower_sd = _faster(first_day, today, lower)
        faster_sd = None if faster_sd is None else math.hypot(faster_sd, lower_sd)
    split, split_partials = _split(today)
    first_split, _ = _split(first_day)
    stiffness = [
        fmean(p.inharmonicity for p in day.plucks) for day in (first_day, today) if day.plucks
    ]
    times = stiffness[1] / stiffness[0] if len(stiffness) == 2 and stiffness[0] > 0 else None
    return Evidence(
        len(today.plucks),
        len(first_day.plucks),
        upper,
        faster,
        faster_sd,
        lower_faster,
        split,
        split_partials,
        first_split,
        _off(today),
        _off(first_day),
        times,
    )


def _common(day: StringState) -> set[int]:
    """The partials that ring in every pluck."""
    heard = [{each.number for each in pluck.partials} for pluck in day.plucks]
    return set.intersection(*heard) if heard else set()


def _faster(
    first_day: StringState, today: StringState, numbers: Sequence[int]
) -> tuple[float, float]:
    """How many times as fast the partials die away, and one standard deviation of its logarithm."""
    days = [[_fall(pluck, numbers) for pluck in day.plucks] for day in (first_day, today)]
    scatter = _pooled(days)
    sd = scatter * math.sqrt(sum(1 / len(day) for day in days))
    return math.exp(fmean(days[1]) - fmean(days[0])), sd


def _fall(pluck: Pluck, numbers: Sequence[int]) -> float:
    return fmean(math.log(each.fall_per_s) for each in pluck.partials if each.number in numbers)


def _pooled(days: Sequence[Sequence[float]]) -> float:
    """The scatter of single plucks, from both days together."""
    squares = sum((len(day) - 1) * stdev(day) ** 2 for day in days if len(day) > 1)
    freedom = sum(len(day) - 1 for day in days)
    return max(LEAST_SCATTER, math.sqrt(squares / freedom)) if freedom else LEAST_SCATTER


def _student(freedom: int) -> float:
    known = [each for each in T_SURE if each <= freedom]
    return T_SURE[max(known)] if known and freedom <= max(T_SURE) else T_MANY


def _dull_words(evidence: Evidence) -> tuple[str, ...]:
    """Why it is dull; nothing if it is not, surely."""
    times, sd = evidence.faster, evidence.faster_sd
    if times is None or sd is None or times < DULL_TIMES:
        return ()
    sure = _student(evidence.plucks + evidence.first_plucks - 2) * sd
    more = math.log(times)
    beyond = math.log(times / max(1.0, evidence.lower_faster or 1.0))
    if min(more, beyond) - sure < math.log(SURELY_TIMES):
        return ()
    low, high = math.exp(more - sd), math.exp(more + sd)
    listed = ", ".join(str(k) for k in evidence.upper)
    return (
        f"partials {listed} die away {times:.2f} times as fast as on the first day"
        f" ({low:.2f} to {high:.2f}; {evidence.plucks} plucks against {evidence.first_plucks})",
    )


def _split(day: StringState) -> tuple[float | None, tuple[int, ...]]:
    """How far two pitches are apart in cents, in which partials; None where they are not."""
    least = max(2.0, MOST_PLUCKS_SHARE * len(day.plucks))
    places: dict[int, list[float]] = {}
    for pluck in day.plucks:
        for each in pluck.partials:
            if each.split_hz is not None:
                cents = CENTS * each.split_hz / (each.number * pluck.hz)
                places.setdefault(each.number, []).append(cents)
    steady = {k: median(values) for k, values in places.items() if len(values) >= least}
    if len(steady) < LEAST_SPLIT_PARTIALS:
        return None, ()
    middle = median(steady.values())
    alike = tuple(sorted(k for k, each in steady.items() if abs(each / middle - 1) < SPLIT_ALIKE))
    if len(alike) < LEAST_SPLIT_PARTIALS:
        return None, ()
    return fmean(steady[k] for k in alike), alike


def _off(day: StringState) -> float | None:
    """How far the partials steadily stand off the law, root mean square in cents.

    Of every partial the mean over the plucks counts, less what its scatter makes of it.
    """
    by_partial: dict[int, list[float]] = {}
    for pluck in day.plucks:
        for each in pluck.partials:
            by_partial.setdefault(each.number, []).append(each.off_cents)
    squares = [
        fmean(values) ** 2 - stdev(values) ** 2 / len(values)
        for values in by_partial.values()
        if len(values) > 1
    ]
    return math.sqrt(max(0.0, fmean(squares))) if squares else None


def _false_words(evidence: Evidence) -> tuple[str, ...]:
    """Why it is false; nothing if it is not."""
    words = []
    split, first = evidence.split_cents, evidence.first_split_cents
    if split is not None and split > max(SPLIT_CENTS, SPLIT_TIMES * (first or 0.0)):
        listed = ", ".join(str(k) for k in evidence.split_partials)
        before = "none" if first is None else f"{first:.1f} cents"
        words.append(
            f"two pitches {split:.1f} cents apart in partials {listed} (on the first day {before})"
        )
    off, first_off = evidence.off_cents, evidence.first_off_cents
    if off is not None and off > max(OFF_CENTS, OFF_TIMES * (first_off or 0.0)):
        before = "not known" if first_off is None else f"{first_off:.1f}"
        words.append(
            f"partials stand {off:.1f} cents off an even string's (on the first day {before})"
        )
    return tuple(words)
