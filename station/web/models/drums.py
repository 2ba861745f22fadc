"""A drummer's taps."""

from __future__ import annotations

from typing import Literal

from station.measure.drums.types import StrokeVerdict, TapKind
from station.web.models.words import Answer, By, Count, Number


class Dropped(Answer):
    """A stroke that does not count."""

    at_s: Number
    why: str


class Tap(Answer):
    """What several strokes on one drum say together. `fundamental_hz` is the head as a whole,
    `overtone_hz` its two halves against each other; `note` and `cents` are the fundamental's
    nearest note at the room's reference. `uncertainty_cents` is one standard deviation,
    `spread_cents` that of a single stroke. `ring_s` is the time to fall by 60 dB. `beat_hz`:
    two heads nearly alike beat so often a second. `sure` is false where another mode may be
    the fundamental. `used` strokes count, `dropped` did not.
    """

    fundamental_hz: Number
    uncertainty_cents: Number
    note: str
    cents: Number
    overtone_hz: Number | None
    ring_s: Number | None
    overtone_ring_s: Number | None
    beat_hz: Number | None
    spread_cents: Number
    kind: TapKind
    sure: bool
    used: Count
    dropped: list[Dropped]


class LastStroke(Answer):
    """One stroke."""

    at_s: Number
    verdict: StrokeVerdict
    fundamental_hz: Number | None
    note: str | None
    cents: Number | None


class Stroke(Answer):
    """One stroke and whether it counts."""

    at_s: Number
    verdict: StrokeVerdict
    why: str | None
    fundamental_hz: Number | None
    overtone_hz: Number | None


class DampedPartial(Answer):
    """A partial before and after a change of damping. `heard` says where it is heard; `hz` and
    `ring_s` are before where it was heard there. `level_db` is the change of its level at the
    stroke against the fundamental's, `ring_ms` that of its ring, each with its standard deviation;
    `sound_db` of what it gives off while it rings. Null where both cannot be compared, or one
    stroke stands alone.
    """

    hz: Number
    heard: Literal["both", "before", "after"]
    ring_s: Number | None
    level_db: Number | None
    level_sd_db: Number | None
    ring_ms: Number | None
    ring_sd_ms: Number | None
    sound_db: Number | None


class Damping(Answer):
    """What was remembered before a change of damping, and what is different now, from the
    lowest partial, the fundamental. `other_drum`: what was tapped since is another drum.
    """

    before_hz: Number
    note: str
    cents: Number
    before_ring_s: Number | None
    other_drum: bool
    moved_cents: Number | None
    partials: list[DampedPartial]


class CompareDamping(By):
    """What was tapped is remembered as it was before the change, or forgotten."""

    step: Literal["remember", "forget"]


class Taps(Answer):
    """What a drummer has tapped since starting over. `last` is the last stroke heard, good or
    not. `strokes` are those of the tap and those just left out, oldest first; `why` is null
    for one that counts. `began` says why it began anew by itself, if it did. Of two tellings
    the one with more `changes` is newer.
    """

    tap: Tap | None
    last: LastStroke | None
    wanted: Count
    strokes: list[Stroke]
    began: Literal["", "another drum"]
    damping: Damping | None
    changes: Count


class TapsNow(Answer):
    """A drummer's taps."""

    taps: Taps


class StrokeEvent(Answer):
    """A stroke was heard, or heard better: what the drummer has tapped by now."""

    player: str
    line: Count
    taps: Taps
