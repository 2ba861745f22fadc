"""What is known of a head as plain data, and back: what a store or a file can keep.

Floats are kept to SIGNIFICANT digits, far below anything measured. Whatever is read back is
checked as if a stranger had written it: DrumError says in one line what cannot be.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any, get_args

import numpy as np
from numpy.typing import NDArray

from station.errors import DrumError
from station.measure.drums.farthest import Found
from station.measure.drums.turning import SUREST_ODDS, RimState
from station.measure.drums.types import Mode, Stroke, Tap, TapKind
from station.music.lugs import check_lugs

SIGNIFICANT = 9
MODES_MAX = 24  # of a stroke; the loudest
HZ_LIMITS = (1.0, 20_000.0)
LARGEST = 1e12
UNSOUND = -1e-6  # an eigenvalue of a covariance may be below nought by rounding alone
RESTORED_LINE = 0
"""The line of a stroke that was kept: none that is still to be told can be the same."""

Data = dict[str, Any]
Floats = NDArray[np.floating[Any]]


def number(value: object, what: str, least: float = -LARGEST, most: float = LARGEST) -> float:
    """A finite number within the limits; raises DrumError."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise DrumError(f"{what} {value!r:.40} is no number")
    if not least <= value <= most:  # NaN is in no range
        raise DrumError(f"{what} {float(value):g} is not from {least:g} to {most:g}")
    return float(value)


def whole(value: object, what: str, least: int, most: int) -> int:
    """A whole number within the limits; raises DrumError."""
    if type(value) is not int or not least <= value <= most:
        raise DrumError(f"{what} {value!r:.40} is no whole number from {least} to {most}")
    return value


def numbers(values: object, what: str, count: int) -> Floats:
    """So many finite numbers, shape (count,); raises DrumError."""
    if not isinstance(values, list) or len(values) != count:
        raise DrumError(f"{what}: {count} numbers were expected")
    return np.array([number(each, what) for each in values], np.float64)


def short(value: float) -> float:
    """The same to SIGNIFICANT digits."""
    return float(f"{value:.{SIGNIFICANT}g}")


def triangle(covariance: Floats) -> list[float]:
    """The lower triangle of a symmetric matrix, row by row."""
    return [short(float(each)) for each in covariance[np.tril_indices(len(covariance))]]


def full(values: object, size: int, what: str) -> Floats:
    """The covariance, shape (size, size), of which `values` is the lower triangle.

    Raises DrumError where it can be none.
    """
    rows, columns = np.tril_indices(size)
    found: Floats = np.zeros((size, size))
    found[rows, columns] = numbers(values, what, rows.size)
    found = found + np.tril(found, -1).T
    lowest, *_, highest = np.linalg.eigvalsh(found)
    if lowest < UNSOUND * max(float(highest), 1e-12):
        raise DrumError(f"{what} is no covariance")
    return found


def rim_as_data(rim: RimState) -> Data:
    """A rim's tensions, responses and their covariance."""
    return {
        "lugs": rim.lugs,
        "mean": [short(float(each)) for each in rim.mean],
        "covariance": triangle(rim.covariance),
        "learned": rim.learned,
        "turned": rim.turned,
        "still": short(rim.still),
        "found": None if rim.found is None else _found_as_data(rim.found),
    }


def _found_as_data(first: Found) -> Data:
    return {
        "precision": triangle(first.precision),
        "pull": [short(float(each)) for each in first.pull],
        "turned": first.turned,
    }


def rim_from_data(data: object) -> RimState:
    """Raises DrumError for what no rim can be."""
    if not isinstance(data, dict):
        raise DrumError("what was kept of a rim is no table")
    lugs = check_lugs(whole(data.get("lugs"), "lugs", 1, 64))
    mean = numbers(data.get("mean"), "a rim's tensions", 2 * lugs)
    if (mean <= 0.0).any():
        raise DrumError("a rim's tension or response is not above nought")
    covariance = full(data.get("covariance"), 2 * lugs, "a rim's covariance")
    learned = whole(data.get("learned"), "passes that were learned from", 0, 10**6)
    still = number(data.get("still", 0.0), "odds of a microphone", -SUREST_ODDS, SUREST_ODDS)
    first = None if data.get("found") is None else _found_from_data(data["found"], lugs)
    return RimState(mean, covariance, learned, data.get("turned") is True, still, first)


def _found_from_data(data: object, lugs: int) -> Found:
    if not isinstance(data, dict):
        raise DrumError("what a first round told is no table")
    what = "what a first round told"
    precision = full(data.get("precision"), lugs, what)
    return Found(precision, numbers(data.get("pull"), what, lugs), data.get("turned") is True)


def taps_as_data(taps: Sequence[tuple[int, Stroke]]) -> list[Data]:
    """Taps with the lug of each: what a head pass uses of them."""
    return [
        {
            "lug": lug,
            "at_s": short(stroke.at_s),
            "verdict": stroke.verdict,
            "modes": [_mode_as_list(mode) for mode in _loudest(stroke.modes)],
        }
        for lug, stroke in taps
    ]


def taps_from_data(rows: object, lugs: int, most: int) -> list[tuple[int, Stroke]]:
    """At most `most` taps; raises DrumError for what no tap can be."""
    if not isinstance(rows, list) or len(rows) > most:
        raise DrumError(f"taps that were kept: a list of at most {most} was expected")
    return [_tap_from_data(row, lugs) for row in rows]


def _tap_from_data(row: object, lugs: int) -> tuple[int, Stroke]:
    if not isinstance(row, dict) or row.get("verdict") not in ("good", "weak"):
        raise DrumError("a tap that was kept cannot be read")
    lug = whole(row.get("lug"), "lug", 1, lugs)
    found = _modes_from(row.get("modes"))
    at_s = number(row.get("at_s"), "a tap's time")
    verdict = row["verdict"]
    return lug, Stroke(RESTORED_LINE, at_s, None, None, None, found, None, verdict, None, False)


def tap_as_data(tap: Tap) -> Data:
    """A tap with its strokes' modes: what a later one is compared with."""
    return {
        "fundamental_hz": short(tap.fundamental_hz),
        "uncertainty_cents": short(tap.uncertainty_cents),
        "overtone_hz": _maybe_short(tap.overtone_hz),
        "ring_s": _maybe_short(tap.ring_s),
        "overtone_ring_s": _maybe_short(tap.overtone_ring_s),
        "beat_hz": _maybe_short(tap.beat_hz),
        "spread_cents": short(tap.spread_cents),
        "drum": tap.kind,
        "sure": tap.sure,
        "strokes": [
            {
                "at_s": short(stroke.at_s),
                "fundamental": _mode_as_list(stroke.fundamental),
                "modes": [_mode_as_list(mode) for mode in _loudest(stroke.modes)],
            }
            for stroke in tap.strokes
            if stroke.fundamental is not None
        ],
    }


def tap_from_data(data: object, most: int) -> Tap:
    """A tap of at most `most` strokes; raises DrumError for what no tap can be."""
    if not isinstance(data, dict) or data.get("drum") not in get_args(TapKind):
        raise DrumError("a tap that was kept cannot be read")
    rows = data.get("strokes")
    if not isinstance(rows, list) or not 1 <= len(rows) <= most:
        raise DrumError(f"a tap's strokes: a list of 1 to {most} was expected")

    def maybe(key: str, least: float, largest: float) -> float | None:
        value = data.get(key)
        return None if value is None else number(value, key, least, largest)

    ring = math.ulp(0.0), 1e3
    return Tap(
        number(data.get("fundamental_hz"), "fundamental", *HZ_LIMITS),
        number(data.get("uncertainty_cents"), "uncertainty", 0.0, 1e4),
        maybe("overtone_hz", *HZ_LIMITS),
        maybe("ring_s", *ring),
        maybe("overtone_ring_s", *ring),
        maybe("beat_hz", 0.0, HZ_LIMITS[1]),
        tuple(_stroke_from_data(row) for row in rows),
        (),
        number(data.get("spread_cents"), "spread", 0.0, 1e4),
        data["drum"],
        data.get("sure") is True,
    )


def _stroke_from_data(row: object) -> Stroke:
    if not isinstance(row, dict):
        raise DrumError("a stroke that was kept cannot be read")
    own = _mode_from_list(row.get("fundamental"))
    at_s = number(row.get("at_s"), "a stroke's time")
    modes = _modes_from(row.get("modes"))
    return Stroke(RESTORED_LINE, at_s, own, None, None, modes, None, "good", None, False)


def _modes_from(rows: object) -> tuple[Mode, ...]:
    if not isinstance(rows, list) or not 1 <= len(rows) <= MODES_MAX:
        raise DrumError(f"a tap's modes: a list of 1 to {MODES_MAX} was expected")
    return tuple(_mode_from_list(each) for each in rows)


def _maybe_short(value: float | None) -> float | None:
    return None if value is None else short(value)


def _loudest(modes: Sequence[Mode]) -> list[Mode]:
    loud = sorted(modes, key=lambda mode: -mode.level_db)[:MODES_MAX]
    return sorted(loud, key=lambda mode: mode.hz)


def _mode_as_list(mode: Mode) -> list[float | None]:
    ring_s = _maybe_short(mode.ring_s)
    return [short(mode.hz), short(mode.uncertainty_cents), short(mode.level_db), ring_s]


def _mode_from_list(values: object) -> Mode:
    if not isinstance(values, list) or len(values) != 4:
        raise DrumError("a mode that was kept cannot be read")
    ring = values[3]
    return Mode(
        number(values[0], "a mode's frequency", *HZ_LIMITS),
        number(values[1], "a mode's uncertainty", 0.0, 1e4),
        number(values[2], "a mode's level", -300.0, 0.0),
        None if ring is None else number(ring, "a mode's ring", math.ulp(0.0), 1e3),
    )
