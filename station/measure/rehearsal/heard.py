"""What was heard of one player's strings: notes of songs by the half minute, and tunings."""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(slots=True)
class Segment:
    """A while of playing. `midi`: the notes' MIDI numbers with fractions, `unsure` in cents,
    `length` and `at` in seconds.

    `gap_before`: a gap lies between it and the one before.
    """

    began_s: float
    ended_s: float
    gap_before: bool
    midi: list[float] = field(default_factory=list)
    unsure: list[float] = field(default_factory=list)
    length: list[float] = field(default_factory=list)
    at: list[float] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class Tuned:
    """A string heard while it was tuned: how far off it was left; `moved` if it was turned."""

    string: int
    at_s: float
    cents: float
    unsure: float
    moved: bool


@dataclass(frozen=True, slots=True)
class Strings:
    """The strings that can be told apart: numbers, MIDI notes, offsets from them in cents."""

    numbers: tuple[int, ...]
    midi: tuple[int, ...]
    offset_cents: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class StringDrift:
    """One string: cents from where it was when it was tuned, and from its target.

    ``uncertainty_cents`` is one standard deviation of ``cents``, ``notes`` how many of the
    newest segment speak for it, ``since_s`` when it was tuned (or first heard). ``doubt`` is
    the probability that it is something else altogether, another string having moved instead;
    ``shared_cents`` the part of the uncertainty that is one error for all strings of the player.
    ``alike`` are other strings of the same pitch, which cannot be told from it.
    """

    string: int
    cents: float
    uncertainty_cents: float
    offset_cents: float
    notes: float
    since_s: float
    doubt: float = 0.0
    shared_cents: float = 0.0
    alike: tuple[int, ...] = ()
