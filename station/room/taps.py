"""What a drummer has tapped: the last strokes of one drum, and what they say together. Pure.

The drum is whatever was tapped since the drummer started over. The newest ``WANTED`` strokes that
count make the answer, so whoever turns a key and goes on tapping sees what the drum has become.
Another drum begins anew by itself once two strokes in a row agree on it: a single one may be a
stroke gone astray. A stroke told again, with the same line and time, takes its own place.
Before a change of damping what was tapped can be remembered; what is tapped from then on is held
against it, partial by partial, until it is forgotten.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable
from typing import Any

from station.errors import NotNowError
from station.measure.drums.damping import Change, compare
from station.measure.drums.tap import WHY, cents, tap
from station.measure.drums.types import Stroke, Tap
from station.music.names import note_name
from station.music.pitch import nearest_note
from station.room.model import Event

DRUMS = "drums"
"""The kind of an instrument whose strokes are heard, in the instruments' data files."""
WANTED = 5
LEFT_OUT_MAX = 2  # what does not count is shown for a while, and never pushes out what does
OTHER_CENTS = 200.0
AGREE_CENTS = 100.0
GONE_MAX = 8  # a stroke is told for the last time before eight others have been struck
SAME_STROKE_S = 0.005  # far less than any two strokes are apart
ANOTHER_DRUM = "another drum"
PARTIALS_SHOWN = 6

Data = dict[str, Any]


class Taps:
    """The strokes of one drummer on one line.

    ``changes`` grows with everything that changes here: of two tellings the one with more is newer.
    ``began`` says why it began anew by itself, in words, and is empty where it did not.
    """

    def __init__(self, changes: int = 0) -> None:
        self.changes = changes
        self.began = ""
        self.last: Stroke | None = None
        self.tap: Tap | None = None
        self.before: Tap | None = None
        self._strokes: tuple[Stroke, ...] = ()
        self._gone: deque[Stroke] = deque(maxlen=GONE_MAX)

    def start_over(self) -> None:
        """Forget every stroke, and whatever is still to be told of them."""
        self._gone.extend(self._strokes)
        self.began, self.last, self.tap, self._strokes = "", None, None, ()
        self.changes += 1

    def remember(self) -> None:
        """What was tapped is before the change of damping; raises NotNowError without a tap."""
        if self.tap is None:
            raise NotNowError("nothing tapped yet: tap the drum as it is, then change its damping")
        before = self.tap
        self.start_over()
        self.before = before

    def held_against(self, before: Tap) -> None:
        """What was remembered when the station was last up is still before the change."""
        self.before = before
        self.changes += 1

    def forget(self) -> None:
        """No damping is compared any more."""
        self.before = None
        self.changes += 1

    def elsewhere(self) -> Taps:
        """Nothing heard yet, on another line or another kit."""
        return Taps(self.changes + 1)

    def hear(self, stroke: Stroke) -> None:
        """Take a stroke in, or what is told of an earlier one again."""
        self.changes += 1
        if any(_is_same(each, stroke) for each in self._gone):
            return
        strokes = list(self._strokes)
        place = next((i for i, each in enumerate(strokes) if _is_same(each, stroke)), None)
        if place is None:
            strokes.append(stroke)
        else:
            strokes[place] = stroke
        if place is None or (self.last is not None and _is_same(self.last, stroke)):
            self.last = stroke
        self._settle(strokes)

    def _settle(self, strokes: list[Stroke]) -> None:
        another = _another_drum(strokes)
        if another is not None:
            self.began = ANOTHER_DRUM
        kept, self.tap = _newest(strokes if another is None else strokes[another:])
        self._gone.extend(each for each in strokes if each not in kept)
        self._strokes = kept

    def as_json(self, a4_hz: float) -> Data:
        """As the page gets it; notes and cents against the reference ``a4_hz``."""
        told = {} if self.tap is None else {each.at_s: each for each in self.tap.strokes}
        why = {} if self.tap is None else dict(self.tap.dropped)
        return {
            "tap": None if self.tap is None else _tap_as_json(self.tap, a4_hz),
            "last": None if self.last is None else _last_as_json(self.last, a4_hz),
            "wanted": WANTED,
            "strokes": [
                _stroke_as_json(told.get(each.at_s, each), why.get(each.at_s))
                for each in self._strokes
            ],
            "began": self.began,
            "damping": self._damping_as_json(a4_hz),
            "changes": self.changes,
        }

    def _damping_as_json(self, a4_hz: float) -> Data | None:
        if self.before is None:
            return None
        hz = self.before.fundamental_hz
        other = self.tap is not None and abs(cents(self.tap.fundamental_hz, hz)) > OTHER_CENTS
        changed = None if self.tap is None or other else compare(self.before, self.tap)
        return {
            "before_hz": hz,
            **_against(hz, a4_hz),
            "before_ring_s": self.before.ring_s,
            "other_drum": other,
            "moved_cents": None if changed is None else changed.cents,
            "partials": []
            if changed is None
            else [_change_as_json(each) for each in changed.changes[:PARTIALS_SHOWN]],
        }


def stroke_events(
    drummers: Iterable[tuple[str, Taps]], strokes: Iterable[Stroke], a4_hz: float
) -> list[Event]:
    """The drummers of a line, each by id with their taps, hear its strokes; an event for each.

    It tells all of the drummer's taps, so that only the latest one matters.
    """
    events = []
    drummers = list(drummers)
    for stroke in strokes:
        for player, taps in drummers:
            taps.hear(stroke)
            payload = {"player": player, "line": stroke.line, "taps": taps.as_json(a4_hz)}
            events.append(Event("stroke", player, payload))
    return events


def _is_same(one: Stroke, other: Stroke) -> bool:
    return one.line == other.line and abs(one.at_s - other.at_s) < SAME_STROKE_S


def _hz(stroke: Stroke) -> float:
    return stroke.fundamental.hz if stroke.fundamental is not None else 0.0


def _another_drum(strokes: list[Stroke]) -> int | None:
    """Where the last two good strokes begin, if both are of another drum than those before.

    Not so where an overtone was taken for the fundamental and the strokes before put it right.
    """
    good = [each for each in strokes if each.verdict == "good" and each.fundamental is not None]
    was = tap(good[:-2])
    if was is None or abs(cents(_hz(good[-1]), _hz(good[-2]))) > AGREE_CENTS:
        return None
    if abs(cents(_hz(good[-1]), was.fundamental_hz)) <= OTHER_CENTS:
        return None
    now = tap(good)
    if now is not None and abs(cents(now.fundamental_hz, was.fundamental_hz)) <= OTHER_CENTS:
        counted = {each.at_s for each in now.strokes}
        if good[-1].at_s in counted and good[-2].at_s in counted:
            return None
    return strokes.index(good[-2])


def _newest(strokes: list[Stroke]) -> tuple[tuple[Stroke, ...], Tap | None]:
    """The newest strokes, as many as count and as may be left out, and what they say."""
    told = tap(strokes)
    used = set() if told is None else {each.at_s for each in told.strokes}
    places = [place for place, each in enumerate(strokes) if each.at_s in used]
    if len(places) > WANTED:
        return _newest(strokes[places[-WANTED] :])
    left_out = [place for place in range(len(strokes)) if place not in places][-LEFT_OUT_MAX:]
    kept = tuple(strokes[place] for place in sorted(places + left_out))
    return kept, tap(kept)


def _against(hz: float | None, a4_hz: float) -> Data:
    """Nearest note and cents from it, both None where there is no frequency."""
    if hz is None:
        return {"note": None, "cents": None}
    nearest = nearest_note(hz, a4_hz)
    return {"note": note_name(nearest.midi), "cents": nearest.cents}


def _change_as_json(change: Change) -> Data:
    """One partial before and after; what is not known of both is None."""
    one = change.before or change.after
    heard = "before" if change.after is None else "after" if change.before is None else "both"
    return {
        "hz": None if one is None else one.hz,
        "heard": heard,
        "ring_s": None if change.before is None else change.before.ring_s,
        "level_db": change.level_db,
        "level_sd_db": change.level_sd_db,
        "ring_ms": change.ring_ms,
        "ring_sd_ms": change.ring_sd_ms,
        "sound_db": change.sound_db,
    }


def _tap_as_json(told: Tap, a4_hz: float) -> Data:
    return {
        "fundamental_hz": told.fundamental_hz,
        "uncertainty_cents": told.uncertainty_cents,
        **_against(told.fundamental_hz, a4_hz),
        "overtone_hz": told.overtone_hz,
        "ring_s": told.ring_s,
        "overtone_ring_s": told.overtone_ring_s,
        "beat_hz": told.beat_hz,
        "spread_cents": told.spread_cents,
        "kind": told.kind,
        "sure": told.sure,
        "used": len(told.strokes),
        "dropped": [{"at_s": at_s, "why": why} for at_s, why in told.dropped],
    }


def _last_as_json(stroke: Stroke, a4_hz: float) -> Data:
    hz = None if stroke.fundamental is None else stroke.fundamental.hz
    return {
        "at_s": stroke.at_s,
        "verdict": stroke.verdict,
        "fundamental_hz": hz,
        **_against(hz, a4_hz),
    }


def _stroke_as_json(stroke: Stroke, why: str | None) -> Data:
    """``why`` it was left out of the tap; ``verdict`` says the same in a word."""
    verdict = stroke.verdict
    if verdict == "good" and why is not None:
        verdict = "other drum"
    return {
        "at_s": stroke.at_s,
        "verdict": verdict,
        "why": WHY.get(verdict) if why is None else why,
        "fundamental_hz": None if stroke.fundamental is None else stroke.fundamental.hz,
        "overtone_hz": None if stroke.overtone is None else stroke.overtone.hz,
    }
