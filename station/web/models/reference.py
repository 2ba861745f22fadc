"""The reference: set outright, proposed, answered, undone; and every one there was."""

from __future__ import annotations

from typing import Any, Literal, Self

from pydantic import Field, model_validator

from station.errors import PageRequestError
from station.music.compromise import RULES
from station.room.history import ChangeKind
from station.web.models.words import (
    A4,
    Address,
    Answer,
    Body,
    Count,
    Id,
    Number,
    NumberInAddress,
    ShortText,
    left_out,
)

ProposalKind = Literal["standard", "typed", "measured", "compromise"]
Rule = Literal["worst", "mean"]
# The kinds of proposal, and the key that goes with each and with no other.
KINDS = {"standard": None, "typed": "a4_hz", "measured": "instrument", "compromise": "rule"}


class SetReference(Body):
    """A reference for the whole room, outright."""

    a4_hz: A4
    by: ShortText = "someone on the page"


class Propose(Body):
    """A reference for the band to agree on; the kind says which of the other keys goes with it."""

    by: ShortText
    kind: ProposalKind
    a4_hz: A4 = left_out()
    instrument: ShortText = left_out()
    rule: Rule = left_out()

    @model_validator(mode="after")
    def _goes_together(self) -> Self:
        for kind, key in KINDS.items():
            if key in self.model_fields_set and kind != self.kind:
                raise PageRequestError(f"{key} goes with the kind {kind!r}, not with {self.kind!r}")
        if self.kind == "typed" and "a4_hz" not in self.model_fields_set:
            raise PageRequestError("a4_hz must be a number with the kind 'typed'")
        if self.kind == "measured" and "instrument" not in self.model_fields_set:
            raise PageRequestError("instrument must be the id of a measured one")
        return self

    @property
    def chosen_rule(self) -> str | None:
        return (self.rule or RULES[0]) if self.kind == "compromise" else None


class AnswerProposal(Body):
    """What a player says to a proposal."""

    answer: Literal["yes", "not yet"]


class ProposalAddress(Address):
    """Which proposal it is."""

    proposal_id: NumberInAddress = Field(description="proposal")


class AnswerAddress(ProposalAddress):
    """Which proposal, and who answers."""

    player_id: Id = Field(description="player")


class Reference(Answer):
    """The frequency of A4 the whole room tunes to, hertz. `agreed`: the names of those who said
    yes; `undo_hz`: the reference that undo would go back to.
    """

    a4_hz: Number
    set_at: str
    by: str
    source: str
    agreed: list[str]
    undo_hz: Number | None


class Proposal(Answer):
    """A reference waiting for the band's yes. `cents` is from the present reference; `by` is
    null when somebody proposed who is no player; `yes`, `not_yet` and `waiting_for` hold
    players' ids.
    """

    id: Count
    a4_hz: Number
    cents: Number
    by: str | None
    by_name: str
    kind: ProposalKind
    reason: str
    made_at: str
    yes: list[str]
    not_yet: list[str]
    waiting_for: list[str]


class Agreement(Answer):
    """How the reference is decided and what is proposed. `leader` and `present` are players'
    ids; present are those whose phone is here, or was within the last half minute.
    """

    decides: Literal["everyone", "leader"]
    leader: str | None
    present: list[str]
    proposals: list[Proposal]


class Decision(Answer):
    """What became of a proposal: null once it is adopted or withdrawn."""

    proposal: Proposal | None
    adopted: bool
    reference: Reference


class PastReference(Answer):
    """One reference the room had. `agreed` and `away`: the names of those who said yes, and of
    those who were asked but had left; `evidence` is what it was measured from.
    """

    serial: Count
    at: str
    a4_hz: Number
    kind: ChangeKind
    by: str
    source: str
    agreed: list[str]
    away: list[str]
    evidence: dict[str, Any] | None


class References(Answer):
    """Every reference the room had, newest first."""

    references: list[PastReference]
