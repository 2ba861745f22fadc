"""The notes of one stretch of sound: which, how high, with what reeds, and how sure."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from station.measure.fit import CENTS, apart_cents, partial_frequencies
from station.measure.fixed.chords import SAME_CENTS, Series, find_peaks, find_series
from station.measure.fixed.partials import Tone, expected_hz, measure_tone, place_tone
from station.measure.fixed.reeds import CENTRE_WORTH, Voice, find_reeds
from station.measure.fixed.spectrum import REACH, Spectrum, spectrum_of
from station.measure.fixed.types import Reed
from station.measure.hum import MAINS_HZ, find_hum
from station.measure.windows import Floats

LEAST_PERIODS = 7.0  # a line reaches REACH bins: partials must stand further apart
LEAST_TONAL = 0.6  # of all power, in the notes' lines
MOST_UNEXPLAINED = 0.45
LEAST_LEVEL_DB = -30.0  # under the loudest note of the stretch
MOST_DRIFT_CENTS = 15.0  # from one half to the other; a swell makes a reed a few cents flatter
DRIFT_SIGMAS = 2.5
HALVES_PARTIALS = 8
DRIFT_WORTH = 0.3  # a steady drift moves a half's middle by half of it; its sd is 1 / sqrt(12)
BET_CENTS = 5.0  # less sure than that says nothing of a reference
CLOSE_WORTH = (
    0.05  # of two lines too near to each other for reeds: their middle is unsure by so much
)
SHORT_S = 0.6  # shorter stretches may hold a drum, another note's end or a beginning
SHORT_BET_CENTS = 0.5
SHORT_PARTIALS = 3
MOST_NOTES = 3
FIRST_MULTIPLES = 8
RANKS = (2, 4)  # an accordion's or an organ's 4' and 2' beside the 8'
RANK_CENTS = 70.0  # the farthest met: an accordion whose 4' reeds are 62 cents flat
OWN_LEVEL = 0.5  # of the lower note's: what is as loud as that is a note
HUM_CENTS = 4.0  # grids keep within 0.1 Hz of 50 but for faults (common practice, no source)
HUM_MULTIPLES = 6
HUM_ALONE = 2  # a transformer hums at the mains, a rectifier at twice that
HUM_ONE_NOTE = 0.99
HUM_LOOK_S = 1.0
LEAST_SD_CENTS = 0.003  # the sound card's clock within a note; nothing here is surer


class Found(NamedTuple):
    """A note found: the fields of `FixedNote` that do not depend on when."""

    hz: float
    uncertainty_cents: float
    inharmonicity: float
    partials: int
    reeds: tuple[Reed, ...]
    beat_hz: float | None
    level: float


def notes_in(x: NDArray[np.float32], rate_hz: float, top_hz: float) -> list[Found]:
    """The notes that sound all through `x`, shape (n,), the lowest first."""
    series, unexplained = find_series(find_peaks(x, rate_hz, top_hz), top_hz)
    if not series or unexplained > MOST_UNEXPLAINED:
        return []
    spectrum = spectrum_of(x, rate_hz)
    partials = [expected_hz(one, top_hz)[1] for one in series]
    if _tonal(spectrum, np.concatenate(partials), top_hz) < LEAST_TONAL:
        return []
    found = []
    for place, one in enumerate(series):
        others = [hz for other, hz in enumerate(partials) if other != place]
        others_hz = np.concatenate(others) if others else np.empty(0)
        note = _note(x, rate_hz, spectrum, one, others_hz, top_hz)
        if note is not None:
            found.append(note)
    if x.size < SHORT_S * rate_hz:
        found = [note for note in found if _sure_though_short(note, top_hz)]
    return _worth_saying(found, x, rate_hz)


def _tonal(spectrum: Spectrum, lines_hz: Floats, top_hz: float) -> float:
    """The share of all power that lies about the notes' partials."""
    last = min(spectrum.power.size, int(top_hz * spectrum.seconds))
    first = int(20.0 * spectrum.seconds)
    near = np.zeros(spectrum.power.size + 1)
    reach = REACH / spectrum.seconds + lines_hz * (35.0 / CENTS)
    np.add.at(near, np.clip((lines_hz - reach) * spectrum.seconds, 0, last).astype(int), 1.0)
    np.add.at(near, np.clip((lines_hz + reach) * spectrum.seconds, 0, last).astype(int), -1.0)
    inside = np.cumsum(near)[first:last] > 0
    power = spectrum.power[first:last]
    return float(power[inside].sum() / power.sum())


def _note(
    x: NDArray[np.float32],
    rate_hz: float,
    spectrum: Spectrum,
    series: Series,
    others_hz: Floats,
    top_hz: float,
) -> Found | None:
    if series.base_hz * spectrum.seconds < LEAST_PERIODS:
        return None
    tone = measure_tone(spectrum, series, others_hz, top_hz)
    if tone is None:
        return None
    kind, voices = find_reeds(spectrum, tone, others_hz)
    if kind in ("two", "three"):
        return _several(tone, voices)
    hz, uncertainty = tone.hz, tone.uncertainty_cents
    if voices and (kind == "one" or tone.stiffness > 0):
        # A stiff string's strings of one note may beat as they like: its partials tell its pitch.
        middle = sum(voice.ratio for voice in voices) / len(voices)
        uncertainty = math.hypot(uncertainty, CENTRE_WORTH * apart_cents(middle, 1.0))
    elif kind == "close":
        hz, uncertainty = _amid(tone, voices)
    elif voices:
        hz, uncertainty = _between(tone, voices[0])
    if kind not in ("sway", "close"):
        drift = _drift_cents(x, rate_hz, tone)
        if drift > MOST_DRIFT_CENTS:
            return None
        sure = DRIFT_SIGMAS * 4 * uncertainty  # halves are each 2^1.5 times less sure
        if kind == "unclear":
            # Each half of what beats may be nearer to another of its lines, as far as those lie.
            sure = max(sure, 2 * CENTS * voices[0].sd / CENTRE_WORTH)
        uncertainty = math.hypot(uncertainty, DRIFT_WORTH * math.sqrt(max(0, drift**2 - sure**2)))
    uncertainty = math.hypot(uncertainty, LEAST_SD_CENTS)
    level = float(np.sqrt(np.square(np.abs(tone.lines.amplitude)).sum()))
    reed = Reed(hz, uncertainty, 0.0)
    return Found(hz, uncertainty, tone.stiffness, tone.numbers.size, (reed,), None, level)


def _between(tone: Tone, voice: Voice) -> tuple[float, float]:
    """Pitch and uncertainty of what sways or is unclear: of all partials' lines, and the middle.

    The middle of the loudest partials goes with what the sound did just then (a loudspeaker
    that turns, a loop's seam, reeds out of step); lines of many partials hardly do. Each counts
    as it is sure; where they are apart the note is as unsure as that.
    """
    cents = CENTS * (voice.ratio - 1.0)
    own, other = 1.0 / tone.uncertainty_cents**2, 1.0 / max(CENTS * voice.sd, 1e-6) ** 2
    share = other / (own + other)
    apart = CENTRE_WORTH * (1.0 - share) * abs(cents)
    return tone.hz * (1.0 + share * cents / CENTS), math.hypot(math.sqrt(1 / (own + other)), apart)


def _amid(tone: Tone, voices: list[Voice]) -> tuple[float, float]:
    """Pitch and uncertainty half-way between two lines that nearly are one.

    Were it one sound that sways, it would be heard at the centre of their power: the pitch may be
    anywhere between the two, evenly, as far as this can tell.
    """
    middle = sum(voice.ratio for voice in voices) / len(voices)
    power = [voice.level**2 for voice in voices]
    centre = sum(p * voice.ratio for p, voice in zip(power, voices, strict=True)) / sum(power)
    sd = CENTS * 0.5 * math.hypot(*(voice.sd for voice in voices))
    unsure = math.hypot(
        apart_cents(middle, centre) / math.sqrt(12.0),
        CLOSE_WORTH * apart_cents(voices[0].ratio, voices[-1].ratio),
    )
    return tone.hz * middle, math.hypot(sd, unsure)


def _drift_cents(x: NDArray[np.float32], rate_hz: float, tone: Tone) -> float:
    """How far the pitch is apart in the two halves of `x`; 0 where halves are too short to tell."""
    half = x.size // 2
    seconds = half / rate_hz
    if tone.hz * seconds < LEAST_PERIODS:
        return 0.0
    numbers = tone.numbers[:HALVES_PARTIALS]
    hz = partial_frequencies(tone.hz, tone.stiffness, numbers)
    within = hz * (MOST_DRIFT_CENTS / CENTS) + 1 / seconds
    first, second = (
        place_tone(spectrum_of(part, rate_hz), numbers, hz, within) for part in (x[:half], x[half:])
    )
    return apart_cents(first.hz, second.hz) if first is not None and second is not None else 0.0


def _several(tone: Tone, voices: list[Voice]) -> Found:
    loudest = max(voice.level for voice in voices)
    reeds = tuple(
        Reed(
            tone.hz * voice.ratio,
            math.hypot(CENTS * voice.sd, LEAST_SD_CENTS),
            20 * math.log10(voice.level / loudest),
        )
        for voice in voices
    )
    hz = sum(reed.hz for reed in reeds) / len(reeds)
    uncertainty = math.sqrt(sum(reed.uncertainty_cents**2 for reed in reeds)) / len(reeds)
    first, second = sorted(reeds, key=lambda reed: -reed.level_db)[:2]
    level = math.sqrt(sum(voice.level**2 for voice in voices))
    beat_hz = abs(first.hz - second.hz)
    return Found(hz, uncertainty, tone.stiffness, tone.numbers.size, reeds, beat_hz, level)


def _worth_saying(found: list[Found], x: NDArray[np.float32], rate_hz: float) -> list[Found]:
    """Those sure and loud enough that are not the mains; the loudest, the lowest first."""
    if not found:
        return []
    loudest = max(note.level for note in found)
    kept = [
        note
        for note in found
        if note.uncertainty_cents < BET_CENTS and note.level > loudest * 10 ** (LEAST_LEVEL_DB / 20)
    ]
    # Beside an instrument's notes a multiple of the mains is the mains.
    kept = [
        note
        for note in kept
        if not (multiple := _mains_multiple(note.hz))
        or (len(kept) == 1 and not _is_hum(x, rate_hz, multiple))
    ]
    kept = [note for note in kept if not _may_be_anothers(note, kept)]
    kept = sorted(kept, key=lambda note: -note.level)[:MOST_NOTES]
    return sorted(kept, key=lambda note: note.hz)


def _sure_though_short(note: Found, top_hz: float) -> bool:
    """Whether a note heard for so short a time is one: a drum's body has no series of partials."""
    series = min(SHORT_PARTIALS, int(top_hz / note.hz))
    return note.partials >= series and note.uncertainty_cents < SHORT_BET_CENTS


def _may_be_anothers(note: Found, others: list[Found]) -> bool:
    """Whether `note` may be a louder note's reed, a lower note's partial or its octave rank.

    Where a bass string's partials leave the series (longitudinal waves: Conklin 1999), they
    look like a weak note upon one of its first partials.
    """
    for other in others:
        if other.level > note.level and apart_cents(other.hz, note.hz) < SAME_CENTS:
            return True
        multiple = round(note.hz / other.hz)
        if multiple in RANKS and apart_cents(note.hz, multiple * other.hz) < RANK_CENTS:
            return True
        if not 2 <= multiple <= FIRST_MULTIPLES or note.level > OWN_LEVEL * other.level:
            continue
        if apart_cents(note.hz, multiple * other.hz) < SAME_CENTS:
            return True
    return False


def _mains_multiple(hz: float) -> int:
    """Which multiple of 50 or 60 Hz `hz` may be, or 0."""
    for mains_hz in MAINS_HZ:
        for multiple in range(1, HUM_MULTIPLES + 1):
            if apart_cents(hz, multiple * mains_hz) < HUM_CENTS:
                return multiple
    return 0


def _is_hum(x: NDArray[np.float32], rate_hz: float, multiple: int) -> bool:
    """Whether `x`, which sounds at a multiple of the mains, is the mains.

    Hum at three times the mains and above has other multiples beside it, a note has not.
    """
    if x.size < 0.5 * HUM_LOOK_S * rate_hz:
        return multiple <= HUM_ALONE  # too short to tell: not to be bet on
    part = x[-round(HUM_LOOK_S * rate_hz) :]
    hum = find_hum(part.astype(np.float64), rate_hz, 0)
    if hum is None or multiple <= HUM_ALONE:
        return hum is not None
    power = np.square(np.abs(hum.amplitude))
    own = power[hum.numbers % multiple == 0]
    return float(own.sum()) < HUM_ONE_NOTE * float(power.sum())
