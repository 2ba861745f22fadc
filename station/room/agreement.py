"""How a band agrees on a reference: proposals, answers, and whose phone is here. Pure.

The rules:

- *Present* is whose phone's event stream is open, or was within the last
  ``AWAY_S``. Who proposes says yes by that.
- A proposal is adopted when everyone present has said yes; whoever says the
  last yes counts as present. Where the leader decides, it is adopted when the
  leader says yes, and only then.
- Every proposer has one proposal open: a new one replaces it. The pitch of an
  open one (`proposal.same_pitch`) counts as a yes to that. A player's yes belongs to one
  proposal at a time. Adopting one closes all. They lapse after ``LAPSES_S``.
- An answer names its proposal. To one that is gone it is refused, with what
  became of it.
- A phone that vanishes counts for ``AWAY_S`` more, then neither blocks nor
  hurries: `tick` adopts what all who are left have said yes to, and the log says who
  was away. A yes that was said stays.
- Nobody present decides nothing: with every phone gone no proposal is adopted
  by the mere passing of time. When the first is back (a network that failed),
  those who were asked count for ``AWAY_S`` again, for their phones come back too.
- After a restart proposals and answers are as they were at their last change,
  and who was present then counts for ``AWAY_S`` from the first time anything
  is asked or told, so that nothing is adopted while phones reconnect.

Times are seconds of the caller's monotonic clock; wall-clock text is for people.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any, Literal, get_args

from station.errors import NotAllowedError, NotNowError, ProposalGoneError, UsageError
from station.room.model import SOURCE_LIMIT, clean_text
from station.room.proposal import Offer, Proposal, same_pitch, stored_proposal

Decides = Literal["everyone", "leader"]

AWAY_S = 30.0
LAPSES_S = 1800.0
OPEN_MAX = 16
FATES_KEPT = 50


@dataclass(frozen=True, slots=True)
class Adopted:
    """What was just agreed on; ``away`` are players who were asked, left, and had not said yes."""

    proposal: Proposal
    away: tuple[str, ...]


class Agreement:
    """The open proposals of one band.

    ``players`` are the ids of all its members. ``changes`` counts what has to
    be on storage: proposals and answers, not phones that come and go. Raises
    UsageError when a leader decides who is none of them.
    """

    def __init__(
        self, players: Iterable[str], decides: Decides = "everyone", leader: str | None = None
    ) -> None:
        self._players = tuple(players)
        if decides not in get_args(Decides):
            raise UsageError(f"who decides, {decides!r:.40}, must be 'everyone' or 'leader'")
        if decides == "leader" and leader not in self._players:
            known = ", ".join(self._players) or "none"
            raise UsageError(f"the leader {leader!r:.40} is no player: the players are {known}")
        self.decides: Decides = decides
        self.leader = leader or None
        self.changes = 0
        self._open: dict[int, Proposal] = {}
        self._fates: dict[int, str] = {}
        self._next_id = 1
        self._here: frozenset[str] = frozenset()
        self._left_at_s: dict[str, float] = {}
        self._waiting_for_clock: tuple[str, ...] | None = None
        self._stored = self._as_stored(0.0)
        self._told: object = None

    # -- who is here ---------------------------------------------------------

    def set_present(self, players: Iterable[str], now_s: float) -> None:
        """Say whose phones have a stream open now; strangers are ignored."""
        self._begin(now_s)
        here = frozenset(players) & frozenset(self._players)
        if here and not self.present(now_s):
            for proposal in self._open.values():
                self._left_at_s.update(dict.fromkeys(proposal.asked, now_s))
        self._left_at_s.update(dict.fromkeys(self._here - here, now_s))
        self._here = here
        asked = frozenset(self.present(now_s))
        for number, proposal in self._open.items():
            self._open[number] = replace(proposal, asked=proposal.asked | asked)

    def present(self, now_s: float) -> tuple[str, ...]:
        """Ids of the players whose phone is here or left less than ``AWAY_S`` ago."""
        return tuple(player for player in self._players if self._is_present(player, now_s))

    def _is_present(self, player: str, now_s: float) -> bool:
        if player in self._here or player in (self._waiting_for_clock or ()):
            return True
        left_at_s = self._left_at_s.get(player)
        return left_at_s is not None and now_s - left_at_s < AWAY_S

    # -- what people do ------------------------------------------------------

    def propose(
        self, offer: Offer, by: str | None, by_name: str, at: str, now_s: float
    ) -> tuple[int, Adopted | None]:
        """Put a pitch forward; the proposal's number, and it as adopted if that is so at once.

        Raises NotNowError when ``OPEN_MAX`` are open.
        """
        self._begin(now_s)
        there = self.proposals()
        same = next((p for p in there if same_pitch(p.offer.a4_hz, offer.a4_hz)), None)
        earlier = [p for p in there if p is not same and p.is_by(by, by_name)]
        if same is None and len(self._open) - len(earlier) >= OPEN_MAX:
            raise NotNowError(f"{OPEN_MAX} proposals are open: answer or withdraw one first")
        for proposal in earlier:
            self._close(proposal.id, f"{by_name} proposed {hz_text(offer.a4_hz)} instead")
        number = same.id if same else self._add(offer, by, by_name, at, now_s)
        if by is not None:
            self._enter(number, by, yes=True)
        return number, self._changed(now_s, by)

    def answer(self, number: int, player: str, yes: bool, now_s: float) -> Adopted | None:
        """A player says yes, or not yet; what was adopted by that.

        Raises ProposalGoneError with what became of a proposal that is not open.
        """
        self._begin(now_s)
        self.get(number)
        self._enter(number, player, yes)
        return self._changed(now_s, player if yes else None)

    def withdraw(self, number: int, by: str | None, by_name: str, now_s: float) -> None:
        """Take a proposal back: its proposer may, and the leader where the leader decides.

        Raises ProposalGoneError and NotAllowedError.
        """
        self._begin(now_s)
        proposal = self.get(number)
        leads = self.decides == "leader" and by == self.leader
        if not (leads or proposal.is_by(by, by_name)):
            raise NotAllowedError(
                f"proposal {number} is {proposal.by_name}'s: only they can withdraw it,"
                " but you can answer 'not yet'"
            )
        self._close(number, f"{by_name} withdrew it")
        self._keep(now_s)

    def close_all(self, fate: str, now_s: float) -> None:
        """The reference was decided otherwise."""
        self._begin(now_s)
        if self._open:
            for number in list(self._open):
                self._close(number, fate)
            self._keep(now_s)

    def tick(self, now_s: float) -> Adopted | None:
        """Let time pass; what is adopted because a phone has been gone for ``AWAY_S``."""
        self._begin(now_s)
        return self._settled(now_s, None)

    # -- what is shown and kept ------------------------------------------------

    def get(self, number: int) -> Proposal:
        """An open proposal; raises ProposalGoneError for any other."""
        if number in self._open:
            return self._open[number]
        fate = self._fates.get(number)
        if fate is None and not 1 <= number < self._next_id:
            raise ProposalGoneError(f"there is no proposal {number}")
        raise ProposalGoneError(f"proposal {number} is no longer open: {fate or 'it is long gone'}")

    def proposals(self) -> list[Proposal]:
        """The open ones, oldest first."""
        return list(self._open.values())

    def as_json(self, reference_hz: float, now_s: float) -> dict[str, Any]:
        """What the page shows; cents from the present reference."""
        return {
            "decides": self.decides,
            "leader": self.leader,
            "present": list(self.present(now_s)),
            "proposals": [
                proposal.as_json(reference_hz, self.waiting_for(proposal, now_s))
                for proposal in self._open.values()
            ],
        }

    def waiting_for(self, proposal: Proposal, now_s: float) -> list[str]:
        """Whose yes it still needs."""
        asked = (self.leader,) if self.decides == "leader" else self.present(now_s)
        return [player for player in asked if player and player not in proposal.yes]

    def has_news(self, now_s: float) -> bool:
        """Whether proposals, answers or who is present are others than when last asked."""
        now = (self.present(now_s), tuple(self._open.values()))
        before, self._told = self._told, now
        return now != before

    def state(self) -> dict[str, Any]:
        """What outlives a restart, as of the last proposal or answer."""
        return self._stored

    def restore(self, stored: Any) -> list[str]:
        """Take back what `state` gave; one line for each part that cannot be used."""
        if not isinstance(stored, Mapping):
            return [f"the proposals that were open are lost: {stored!r:.40} is none"]
        dropped: list[str] = []
        for row in _listed(stored.get("proposals")):
            try:
                self._take_back(stored_proposal(row, self._players))
            except UsageError as error:
                dropped.append(f"a proposal that was open is lost: {error}")
        for number, fate in _fates(stored.get("fates")):
            self._fates.setdefault(number, fate)
        given = stored.get("next_id")
        highest = max([0, *self._open, *self._fates])
        self._next_id = max(highest + 1, given if type(given) is int else 1)
        there = [each for each in _listed(stored.get("present")) if each in self._players]
        self._waiting_for_clock = tuple(there)
        self._stored = {
            "next_id": self._next_id,
            "present": [player for player in self._players if player in there],
            "proposals": [p.as_stored(0.0) for p in self._open.values()],
            "fates": {str(key): fate for key, fate in self._fates.items()},
        }
        return dropped

    def _take_back(self, proposal: Proposal) -> None:
        """Raises UsageError where it does not go with those taken back before it."""
        for other in self._open.values():
            if other.id == proposal.id or other.is_by(proposal.by, proposal.by_name):
                raise UsageError(f"{proposal.by_name!r} has another, or its number is taken")
            if set(other.yes) & set(proposal.yes):
                raise UsageError(f"somebody's yes to it belongs to proposal {other.id}")
        self._open[proposal.id] = proposal

    # -- inside ------------------------------------------------------------------

    def _begin(self, now_s: float) -> None:
        """Start the clock after a restart, and drop what has lapsed."""
        if self._waiting_for_clock is not None:
            self._left_at_s.update(dict.fromkeys(self._waiting_for_clock, now_s))
            self._waiting_for_clock = None
            for number, proposal in self._open.items():
                self._open[number] = replace(proposal, made_at_s=now_s + proposal.made_at_s)
        lapsed = [p.id for p in self._open.values() if now_s - p.made_at_s >= LAPSES_S]
        for number in lapsed:
            self._close(number, f"it lapsed, undecided for {LAPSES_S / 60:.0f} minutes")
        if lapsed:
            self._keep(now_s)

    def _add(self, offer: Offer, by: str | None, by_name: str, at: str, now_s: float) -> int:
        number = self._next_id
        self._next_id += 1
        asked = frozenset(self.present(now_s))
        self._open[number] = Proposal(number, offer, by, by_name, at, now_s, asked=asked)
        return number

    def _enter(self, number: int, player: str, yes: bool) -> None:
        """Note an answer; a yes leaves whatever it belonged to before."""
        for other in self._open.values():
            here = other.id == number
            if not here and not yes:
                continue
            self._open[other.id] = replace(
                other,
                yes=_with(other.yes, player, here and yes),
                not_yet=_with(other.not_yet, player, not yes) if here else other.not_yet,
            )

    def _changed(self, now_s: float, acting: str | None) -> Adopted | None:
        self._keep(now_s)
        return self._settled(now_s, acting)

    def _settled(self, now_s: float, acting: str | None) -> Adopted | None:
        """What is agreed on now, every proposal closed; ``acting`` has just said yes."""
        deciding = set(self.present(now_s))
        if self.decides == "leader":
            deciding = {self.leader} if self.leader and acting == self.leader else set()
        elif acting is not None:
            deciding.add(acting)
        agreed = [p for p in self._open.values() if deciding and deciding <= set(p.yes)]
        if not agreed:
            return None
        (proposal,) = agreed  # a yes belongs to one proposal, so there are not two
        away = proposal.asked - set(self.present(now_s)) - set(proposal.yes)
        for number in list(self._open):
            itself = "it was adopted" if number == proposal.id else ""
            self._close(number, itself or f"{hz_text(proposal.offer.a4_hz)} was adopted instead")
        self._keep(now_s)
        return Adopted(proposal, tuple(p for p in self._players if p in away))

    def _close(self, number: int, fate: str) -> None:
        del self._open[number]
        self._fates[number] = fate
        for old in sorted(self._fates)[:-FATES_KEPT]:
            del self._fates[old]

    def _keep(self, now_s: float) -> None:
        self.changes += 1
        self._stored = self._as_stored(now_s)

    def _as_stored(self, now_s: float) -> dict[str, Any]:
        return {
            "next_id": self._next_id,
            "present": list(self.present(now_s)),
            "proposals": [proposal.as_stored(now_s) for proposal in self._open.values()],
            "fates": {str(number): fate for number, fate in self._fates.items()},
        }


def hz_text(hz: float) -> str:
    """A reference as people read it: 440 Hz, 441.25 Hz."""
    return f"{hz:.6g} Hz"


def _with(players: tuple[str, ...], player: str, wanted: bool) -> tuple[str, ...]:
    if (player in players) == wanted:
        return players
    return (*players, player) if wanted else tuple(p for p in players if p != player)


def _listed(value: Any) -> list[Any]:
    return value if isinstance(value, list) else []


def _fates(value: Any) -> list[tuple[int, str]]:
    """What became of closed proposals, as far as it can be read."""
    if not isinstance(value, Mapping):
        return []
    found = []
    for key, fate in value.items():
        try:
            found.append((int(key), clean_text(fate, "fate", SOURCE_LIMIT)))
        except (TypeError, ValueError):
            continue  # a sentence for somebody who comes late: nothing hangs on it
    return sorted(found)[-FATES_KEPT:]
