"""One proposed reference with its answers, and its form on storage. Immutable; pure."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Any, Literal, get_args

from station.errors import UsageError
from station.music.pitch import cents_between, check_a4
from station.room.model import SOURCE_LIMIT, clean_text

ProposalKind = Literal["standard", "typed", "measured", "compromise"]
KINDS: tuple[ProposalKind, ...] = get_args(ProposalKind)

SAME_HZ = 0.01
_ROUNDING_HZ = 1e-9  # 441.00 and 441.01, as typed, are two pitches


@dataclass(frozen=True, slots=True)
class Offer:
    """A pitch somebody puts forward, and what speaks for it.

    ``reason`` is one line; ``evidence`` the JSON data of what it was taken from,
    None for a pitch that was only named.
    """

    a4_hz: float
    kind: ProposalKind
    reason: str
    evidence: dict[str, Any] | None = None


@dataclass(frozen=True, slots=True)
class Proposal:
    """An offer that waits for answers.

    ``by`` is a player's id, None for somebody who is no player. ``asked`` are
    the players whose phone was here at any time while it was open. ``made_at``
    is wall-clock text for people; ``made_at_s`` counts, on the caller's clock.
    """

    id: int
    offer: Offer
    by: str | None
    by_name: str
    made_at: str
    made_at_s: float
    yes: tuple[str, ...] = ()
    not_yet: tuple[str, ...] = ()
    asked: frozenset[str] = frozenset()

    def is_by(self, by: str | None, by_name: str) -> bool:
        """Whether this proposer made it; those who are no players are told by their name."""
        return self.by == by and (by is not None or self.by_name == by_name)

    def as_json(self, reference_hz: float, waiting_for: list[str]) -> dict[str, Any]:
        """As the page receives it; its evidence is in the log once it is adopted."""
        return {
            "id": self.id,
            "a4_hz": self.offer.a4_hz,
            "cents": cents_between(self.offer.a4_hz, reference_hz),
            "by": self.by,
            "by_name": self.by_name,
            "kind": self.offer.kind,
            "reason": self.offer.reason,
            "made_at": self.made_at,
            "yes": list(self.yes),
            "not_yet": list(self.not_yet),
            "waiting_for": waiting_for,
        }

    def as_stored(self, now_s: float) -> dict[str, Any]:
        """Plain data for the store; the clock means nothing after a restart, the age does."""
        return {
            "id": self.id,
            "a4_hz": self.offer.a4_hz,
            "kind": self.offer.kind,
            "reason": self.offer.reason,
            "evidence": self.offer.evidence,
            "by": self.by,
            "by_name": self.by_name,
            "made_at": self.made_at,
            "age_s": now_s - self.made_at_s,
            "yes": list(self.yes),
            "not_yet": list(self.not_yet),
            "asked": sorted(self.asked),
        }


def same_pitch(a_hz: float, b_hz: float) -> bool:
    """Whether two references are one to 0.01 Hz (0.04 cents), the last place people type."""
    return abs(a_hz - b_hz) < SAME_HZ - _ROUNDING_HZ


def stored_proposal(row: Any, players: Collection[str]) -> Proposal:
    """A proposal from the store, made ``age_s`` before second 0.

    Answers of players who are no longer in the band are left out. Raises
    UsageError for anything a station could not have stored.
    """
    if not isinstance(row, Mapping):
        raise UsageError(f"{row!r:.40} is no proposal")
    try:
        return _from_row(row, players)
    except (KeyError, TypeError, ValueError, OverflowError) as error:
        raise UsageError(" ".join(f"{type(error).__name__}: {error}".split())[:120]) from error


def _from_row(row: Mapping[str, Any], players: Collection[str]) -> Proposal:
    number, kind, age_s, evidence = row["id"], row["kind"], row["age_s"], row["evidence"]
    if isinstance(number, bool) or not isinstance(number, int) or number < 1:
        raise ValueError(f"id {number!r:.40}")
    if kind not in KINDS:
        raise ValueError(f"kind {kind!r:.40}")
    if isinstance(age_s, bool) or not math.isfinite(age_s) or age_s < 0.0:
        raise ValueError(f"age {age_s!r:.40}")
    if evidence is not None and not isinstance(evidence, dict):
        raise ValueError(f"evidence {evidence!r:.40}")
    by, yes = row["by"], _ids(row["yes"], players)
    not_yet = _ids(row["not_yet"], players)
    if set(yes) & set(not_yet):
        raise ValueError("one answer is both yes and not yet")
    if by is not None and not isinstance(by, str):
        raise ValueError(f"by {by!r:.40}")
    offer = Offer(
        check_a4(row["a4_hz"]), kind, clean_text(row["reason"], "reason", SOURCE_LIMIT), evidence
    )
    return Proposal(
        number,
        offer,
        by if by in players else None,
        clean_text(row["by_name"], "by"),
        clean_text(row["made_at"], "made_at"),
        -float(age_s),
        yes,
        not_yet,
        frozenset(_ids(row["asked"], players)),
    )


def _ids(value: Any, players: Collection[str]) -> tuple[str, ...]:
    if not isinstance(value, list) or not all(isinstance(each, str) for each in value):
        raise ValueError(f"players {value!r:.40}")
    return tuple(dict.fromkeys(each for each in value if each in players))
