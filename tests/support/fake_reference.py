"""The invented station's reference: agreed by the room's own rules, with its history."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any

from station.errors import NotAllowedError, NotNowError
from station.music.pitch import check_a4
from station.room.agreement import Adopted, Agreement
from station.room.history import ChangeKind, LogEntry
from station.room.proposal import Offer


def iso_now() -> str:
    return datetime.now(UTC).isoformat(timespec="seconds").replace("+00:00", "Z")


class FakeReference:
    """The reference and the proposals; ``on_change`` is called with every new reference.

    ``names`` are the players' by their ids. Times are given by the caller.
    """

    def __init__(self, names: dict[str, str], on_change: Callable[[], None]) -> None:
        self.names = names
        self.now: dict[str, Any] = {
            "a4_hz": 440.0,
            "set_at": "2031-03-04T18:42:00Z",
            "by": "Ilse",
            "source": "settings",
            "agreed": [],
            "undo_hz": None,
        }
        self.history: list[LogEntry] = []
        self.agreement = Agreement(names)
        self._on_change = on_change
        self._before: list[dict[str, Any]] = []

    def decide_by(self, leader: str | None) -> None:
        """Begin anew, with that player deciding; everyone with None."""
        self.agreement = Agreement(self.names, "leader" if leader else "everyone", leader)

    def set(self, a4_hz: float, by: str, source: str, now_s: float) -> None:
        """Set it outright, which nobody may while others are present."""
        check_a4(a4_hz)
        leads = self.agreement.decides == "leader" and self._id_of(by) == self.agreement.leader
        present = self.agreement.present(now_s)
        others = [self.names[each] for each in present if each != self._id_of(by)]
        if others and not leads:
            raise NotAllowedError(f"{', '.join(others)} must agree: propose it instead")
        self.take(a4_hz, by, source, now_s)

    def take(self, a4_hz: float, by: str, source: str, now_s: float) -> None:
        """Set it whoever is present; what was proposed is closed."""
        self._take_new(a4_hz, by, source, "set")
        self.agreement.close_all(f"A4 = {a4_hz:g} Hz was set", now_s)

    def propose(self, offer: Offer, by: str, now_s: float) -> dict[str, Any]:
        check_a4(offer.a4_hz)
        player = self._id_of(by)
        found, adopted = self.agreement.propose(
            offer, player, self.names.get(by, by), iso_now(), now_s
        )
        return self._decision(found, adopted, now_s)

    def answer(self, proposal_id: int, player: str, answer: str, now_s: float) -> dict[str, Any]:
        adopted = self.agreement.answer(proposal_id, player, answer == "yes", now_s)
        return self._decision(proposal_id, adopted, now_s)

    def withdraw(self, proposal_id: int, by: str, now_s: float) -> dict[str, Any]:
        self.agreement.withdraw(proposal_id, self._id_of(by), self.names.get(by, by), now_s)
        return self._decision(proposal_id, None, now_s)

    def tick(self, now_s: float) -> None:
        self._adopt(self.agreement.tick(now_s))

    def undo(self, by: str) -> None:
        if self.agreement.decides == "leader" and self._id_of(by) != self.agreement.leader:
            raise NotAllowedError("only the leader can undo the reference")
        if not self._before:
            raise NotNowError("there is no earlier reference to go back to")
        before = self._before.pop()
        self._log({**before, "by": self.names.get(by, by)}, "undone", (), None)
        self.now = before
        self._on_change()

    def snapshot(self, now_s: float) -> dict[str, Any]:
        """The room's "reference" and "agreement"."""
        return {
            "reference": self.now,
            "agreement": self.agreement.as_json(self.now["a4_hz"], now_s),
        }

    def _id_of(self, by: str) -> str | None:
        """The player whose id or name that is."""
        return next((each for each, name in self.names.items() if by in (each, name)), None)

    def _decision(self, found: int, adopted: Adopted | None, now_s: float) -> dict[str, Any]:
        self._adopt(adopted)
        proposals = self.snapshot(now_s)["agreement"]["proposals"]
        return {
            "proposal": next((each for each in proposals if each["id"] == found), None),
            "adopted": adopted is not None,
            "reference": dict(self.now),
        }

    def _adopt(self, adopted: Adopted | None) -> None:
        if adopted is None:
            return
        offer, by = adopted.proposal.offer, adopted.proposal.by_name
        agreed = [self.names[each] for each in adopted.proposal.yes]
        away = tuple(self.names[each] for each in adopted.away)
        self._take_new(offer.a4_hz, by, offer.reason, "adopted", agreed, away, offer.evidence)

    def _take_new(
        self,
        a4_hz: float,
        by: str,
        source: str,
        kind: ChangeKind,
        agreed: list[str] | None = None,
        away: tuple[str, ...] = (),
        evidence: dict[str, Any] | None = None,
    ) -> None:
        self._before.append(self.now)
        self.now = {
            "a4_hz": a4_hz,
            "set_at": iso_now(),
            "by": self.names.get(by, by),
            "source": source,
            "agreed": agreed or [],
            "undo_hz": self.now["a4_hz"],
        }
        self._log(self.now, kind, away, evidence)
        self._on_change()

    def _log(
        self,
        reference: dict[str, Any],
        kind: ChangeKind,
        away: tuple[str, ...],
        evidence: dict[str, Any] | None,
    ) -> None:
        told = {key: reference[key] for key in ("a4_hz", "by", "source")}
        entry = LogEntry(
            len(self.history) + 1,
            iso_now(),
            kind=kind,
            agreed=tuple(reference["agreed"]),
            away=away,
            evidence=evidence,
            **told,
        )
        self.history.insert(0, entry)
