"""Several strokes on one drum made one answer.

A drummer's five taps differ by some cents, and one may have hit the rim or another drum. What
most of them agree on counts: the strokes of the largest group, their median, and the
median deviation as their spread (Rousseeuw & Croux 1993, J. Am. Stat. Assoc. 88, 1273). A
stroke that took the overtone for the fundamental is put right if it has the others' mode.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from statistics import median

from station.measure.drums.types import OVERTONE_RATIOS, Mode, Stroke, StrokeVerdict, Tap, TapKind

SAME_DRUM_CENTS = 120.0
SAME_MODE_CENTS = 60.0
SAME_OVERTONE_CENTS = 80.0
LEAST_TO_LEARN = 3  # strokes
LEAST_CENTS = 0.1
MISTAKEN_RATIOS = (1.25, 3.2)  # an overtone taken for the fundamental is so far above it
DULL_PERIODS = 32.0  # a dull thud falls by 60 dB in fewer
SNARE_HZ = 165.0  # without wires higher than most toms: common practice, no source
OF_NORMAL = 1.4826  # standard deviation over median deviation, for normal errors
OF_MEDIAN = math.sqrt(math.pi / 2)  # the median's standard error over the mean's
# Of few values the median deviation comes out too small by so much (Croux & Rousseeuw 1992,
# "Time-efficient algorithms for two highly robust estimators of scale"; from memory).
OF_FEW = {2: 1.196, 3: 1.495, 4: 1.363, 5: 1.206, 6: 1.200, 7: 1.140, 8: 1.129, 9: 1.107}

WHY: dict[StrokeVerdict, str] = {
    "rim": "the rim, or a stick's click louder than the drum",
    "double": "struck twice before it could be measured",
    "other drum": "another drum, or another place of this one",
    "weak": "too soft, too short, or too little pitch in it",
    "clipped": "the line clips: turn its level down",
}


def tap(strokes: Iterable[Stroke], clipped_too: bool = False) -> Tap | None:
    """What `strokes` on one drum say together; None where none of them is good.

    A stroke that was told again counts as it was told last. ``clipped_too``: those that clipped
    are as good; what rings on after the stroke did not clip, and pitch is measured there.
    """
    latest = list({(each.line, each.at_s): each for each in strokes}.values())
    fit = ("good", "clipped") if clipped_too else ("good",)
    good = [each for each in latest if each.verdict in fit and each.fundamental is not None]
    dropped = [(e.at_s, WHY[e.verdict]) for e in latest if e.verdict in WHY and e not in good]
    if not good:
        return None
    pitch_hz = _agreed_hz(good)
    used: list[Stroke] = []
    for stroke in good:
        own = _of_this_drum(stroke, pitch_hz)
        if own is None:
            dropped.append((stroke.at_s, WHY["other drum"]))
        else:
            used.append(own)
    return _together(used, tuple(sorted(dropped)), len(good))


def _fundamental(stroke: Stroke) -> Mode:
    if stroke.fundamental is None:
        raise ValueError(f"the stroke at {stroke.at_s:g} s has no fundamental")
    return stroke.fundamental


def cents(hz: float, from_hz: float) -> float:
    """Cents from `from_hz` to `hz`."""
    return 1200 * math.log2(hz / from_hz)


def _agreed_hz(good: Sequence[Stroke]) -> float:
    """The pitch most strokes have; of two groups alike the one that is surer."""

    def near(hz: float) -> list[Stroke]:
        return [e for e in good if abs(cents(_fundamental(e).hz, hz)) < SAME_DRUM_CENTS]

    def weight(stroke: Stroke) -> tuple[int, int, float]:
        group = near(_fundamental(stroke).hz)
        unsure = sum(_fundamental(each).uncertainty_cents for each in group) / len(group)
        return len(group), sum(each.sure for each in group), -unsure

    best = max(good, key=weight)
    return median(_fundamental(each).hz for each in near(_fundamental(best).hz))


def _of_this_drum(stroke: Stroke, pitch_hz: float) -> Stroke | None:
    """The stroke, its fundamental put right where need be; None if it is another drum's."""
    own = _fundamental(stroke)
    if abs(cents(own.hz, pitch_hz)) < SAME_DRUM_CENTS:
        return stroke
    there = [each for each in stroke.modes if abs(cents(each.hz, pitch_hz)) < SAME_MODE_CENTS]
    low, high = MISTAKEN_RATIOS
    mistaken = low < own.hz / pitch_hz < high or (not stroke.sure and own.hz < pitch_hz)
    if not there or not mistaken:
        return None
    right = max(there, key=lambda mode: mode.level_db)
    overtone = own if low < own.hz / right.hz < OVERTONE_RATIOS[1] else stroke.overtone
    return replace(
        stroke, fundamental=right, overtone=overtone, overtone_pair=None, beat_hz=None, sure=False
    )


def _together(used: Sequence[Stroke], dropped: tuple[tuple[float, str], ...], good: int) -> Tap:
    modes = [_fundamental(each) for each in used]
    pitch_hz = median(mode.hz for mode in modes)
    apart = spread([cents(mode.hz, pitch_hz) for mode in modes])
    own = median(mode.uncertainty_cents for mode in modes)
    count = len(used)
    factor = OF_MEDIAN if count > 2 else 1.0
    above = [each.overtone for each in used if each.overtone is not None]
    low, high = OVERTONE_RATIOS
    overtones = _agreeing([each for each in above if low <= each.hz / pitch_hz <= high])
    beats = [each.beat_hz for each in used if each.beat_hz is not None]
    beat_hz = median(beats) if 2 * len(beats) >= count else None
    ring_s = _median([mode.ring_s for mode in modes])
    return Tap(
        fundamental_hz=pitch_hz,
        uncertainty_cents=factor * math.hypot(apart, own) / math.sqrt(count),
        overtone_hz=median(mode.hz for mode in overtones) if overtones else None,
        ring_s=ring_s,
        overtone_ring_s=_median([mode.ring_s for mode in overtones]),
        beat_hz=beat_hz,
        strokes=tuple(_as_sure_as_they_agree(used, pitch_hz)),
        dropped=dropped,
        spread_cents=apart,
        kind=_kind(used, pitch_hz, ring_s, beat_hz),
        # A drum that is heard at another pitch every time has none to be sure of.
        sure=2 * sum(each.sure for each in used) > good,
    )


def _as_sure_as_they_agree(used: Sequence[Stroke], pitch_hz: float) -> Iterator[Stroke]:
    """Strokes of one drum, none surer than three or more of them agree.

    What makes strokes differ that is none of their noise (where the stick fell, how hard it was,
    what the wires did) is learned from the drum itself: all uncertainties grow by one factor.
    """
    off = [
        cents(m.hz, pitch_hz) / max(m.uncertainty_cents, LEAST_CENTS)
        for m in map(_fundamental, used)
    ]
    factor = spread(off) if len(used) >= LEAST_TO_LEARN else 1.0
    for stroke in used:
        own = _fundamental(stroke)
        if factor <= 1.0:
            yield stroke
            continue
        less = replace(own, uncertainty_cents=factor * own.uncertainty_cents)
        modes = tuple(less if mode == own else mode for mode in stroke.modes)
        yield replace(stroke, fundamental=less, modes=modes)


def spread(off: Sequence[float]) -> float:
    """The standard deviation that the median deviation of `off` stands for."""
    if len(off) < 2:
        return 0.0
    middle = median(off)
    few = OF_FEW.get(len(off), len(off) / (len(off) - 0.8))
    return OF_NORMAL * few * median(abs(each - middle) for each in off)


def _agreeing(overtones: Sequence[Mode]) -> list[Mode]:
    """Those of the largest group."""
    groups = [
        [e for e in overtones if abs(cents(e.hz, each.hz)) < SAME_OVERTONE_CENTS]
        for each in overtones
    ]
    return max(groups, key=len, default=[])


def _median(rings: Sequence[float | None]) -> float | None:
    known = [each for each in rings if each is not None]
    return median(known) if known else None


def _kind(
    used: Sequence[Stroke], pitch_hz: float, ring_s: float | None, beat_hz: float | None
) -> TapKind:
    wires = [each.wires for each in used]
    if 2 * wires.count("on") > len(wires):
        return "snare, wires on"
    if beat_hz is not None:
        return "two heads beating"
    if ring_s is not None and ring_s * pitch_hz < DULL_PERIODS:
        return "dull"
    if pitch_hz >= SNARE_HZ and 2 * wires.count("off") > len(wires):
        return "snare, wires off"
    return "open"
