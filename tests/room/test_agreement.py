"""Proposals, answers, phones that vanish, and restarts: the rules at the head of the module."""

from __future__ import annotations

import json
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from station.errors import NotAllowedError, NotNowError, ProposalGoneError, UsageError
from station.room.agreement import AWAY_S, LAPSES_S, OPEN_MAX, Adopted, Agreement
from station.room.proposal import Offer

BAND = ("oda", "bram", "pia")
AT = "2031-05-06T18:00:00Z"


def band(*present: str, **who: Any) -> Agreement:
    agreement = Agreement(BAND, **who)
    agreement.set_present(present, 0.0)
    return agreement


def typed(a4_hz: float) -> Offer:
    return Offer(a4_hz, "typed", "typed in")


def put(agreement: Agreement, by: str, a4_hz: float, now_s: float = 1.0) -> int:
    """Propose a pitch that is not adopted by that alone."""
    number, adopted = agreement.propose(typed(a4_hz), by, by.title(), AT, now_s)
    assert adopted is None
    return number


def restarted(agreement: Agreement, **who: Any) -> Agreement:
    """A fresh one that took back what the other kept."""
    again = Agreement(BAND, **who)
    assert again.restore(json.loads(json.dumps(agreement.state()))) == []
    return again


def pitch_of(adopted: Adopted | None) -> float | None:
    return None if adopted is None else adopted.proposal.offer.a4_hz


def test_a_proposal_is_adopted_with_the_last_yes_of_those_present():
    agreement = band("oda", "bram", "pia")
    number = put(agreement, "oda", 442.0)

    first = agreement.answer(number, "bram", True, 2.0)
    waiting = agreement.waiting_for(agreement.get(number), 2.0)
    last = agreement.answer(number, "pia", True, 3.0)

    assert (first, waiting) == (None, ["pia"])
    assert pitch_of(last) == 442.0
    assert last.proposal.yes == ("oda", "bram", "pia")
    assert last.away == ()
    assert agreement.proposals() == []


def test_who_proposes_with_nobody_else_there_has_the_reference_at_once():
    agreement = band("oda")

    _, adopted = agreement.propose(typed(442.0), "oda", "Oda", AT, 1.0)

    assert pitch_of(adopted) == 442.0


def test_without_a_single_phone_whoever_acts_is_there_and_a_stranger_is_not():
    agreement = band()

    number, strangers = agreement.propose(typed(441.0), None, "a guest", AT, 1.0)
    adopted = agreement.answer(number, "oda", True, 2.0)

    assert strangers is None
    assert pitch_of(adopted) == 441.0


def test_not_yet_holds_a_proposal_open_until_it_becomes_a_yes():
    agreement = band("oda", "bram")
    number = put(agreement, "oda", 442.0)

    agreement.answer(number, "bram", False, 2.0)
    held = agreement.get(number)
    adopted = agreement.answer(number, "bram", True, 3.0)

    assert (held.yes, held.not_yet) == (("oda",), ("bram",))
    assert adopted.proposal.not_yet == ()


def test_a_yes_can_be_taken_back_while_it_is_open():
    agreement = band("oda", "bram", "pia")
    number = put(agreement, "oda", 442.0)
    agreement.answer(number, "bram", True, 2.0)

    agreement.answer(number, "bram", False, 3.0)

    assert agreement.answer(number, "pia", True, 4.0) is None
    assert agreement.waiting_for(agreement.get(number), 4.0) == ["bram"]


def test_of_two_proposals_at_once_a_yes_belongs_to_one_and_adopting_one_closes_both():
    agreement = band("oda", "bram", "pia")
    low, high = put(agreement, "oda", 440.0), put(agreement, "bram", 443.0)

    agreement.answer(low, "pia", True, 2.0)
    agreement.answer(high, "pia", True, 3.0)
    answers = {p.id: p.yes for p in agreement.proposals()}
    adopted = agreement.answer(high, "oda", True, 4.0)

    assert answers == {low: ("oda",), high: ("bram", "pia")}
    assert pitch_of(adopted) == 443.0
    assert agreement.proposals() == []
    with pytest.raises(ProposalGoneError, match="443 Hz was adopted instead"):
        agreement.answer(low, "oda", True, 5.0)
    with pytest.raises(ProposalGoneError, match=f"proposal {high} .*it was adopted"):
        agreement.answer(high, "pia", True, 5.0)


def test_a_yes_to_one_leaves_the_proposers_own_open_without_it():
    agreement = band("oda", "bram", "pia")
    low, high = put(agreement, "oda", 440.0), put(agreement, "bram", 443.0)

    agreement.answer(high, "oda", True, 2.0)

    assert agreement.get(low).yes == ()
    assert agreement.answer(low, "pia", True, 3.0) is None


def test_a_new_proposal_of_the_same_player_takes_the_place_of_the_earlier():
    agreement = band("oda", "bram")
    first = put(agreement, "oda", 441.0)

    second = put(agreement, "oda", 442.0)

    assert [p.id for p in agreement.proposals()] == [second]
    with pytest.raises(ProposalGoneError, match="Oda proposed 442 Hz instead"):
        agreement.answer(first, "bram", True, 2.0)


@pytest.mark.parametrize(("pitch_hz", "is_same"), [(442.0, True), (442.004, True), (442.01, False)])
def test_the_pitch_of_an_open_proposal_counts_as_a_yes_to_that(pitch_hz, is_same):
    agreement = band("oda", "bram", "pia")
    own, first = put(agreement, "bram", 440.0), put(agreement, "oda", 442.0)

    second = put(agreement, "bram", pitch_hz)

    assert (second == first) == is_same
    assert ("bram" in agreement.get(first).yes) == is_same
    with pytest.raises(ProposalGoneError):
        agreement.get(own)  # either way bram has one proposal, or none


def test_the_same_pitch_from_the_last_one_missing_adopts_it():
    agreement = band("oda", "bram")
    put(agreement, "oda", 442.0)

    _, adopted = agreement.propose(typed(442.0), "bram", "Bram", AT, 2.0)

    assert pitch_of(adopted) == 442.0
    assert adopted.proposal.by == "oda"


def test_a_proposal_nobody_decides_lapses_after_half_an_hour():
    agreement = band("oda", "bram")
    number = put(agreement, "oda", 442.0, now_s=10.0)

    agreement.tick(10.0 + LAPSES_S - 0.1)
    before = len(agreement.proposals())

    with pytest.raises(ProposalGoneError, match="lapsed, undecided for 30 minutes"):
        agreement.answer(number, "bram", True, 10.0 + LAPSES_S)
    assert (before, agreement.proposals()) == (1, [])


def test_only_the_proposer_withdraws_a_proposal():
    agreement = band("oda", "bram")
    number = put(agreement, "oda", 442.0)

    with pytest.raises(NotAllowedError, match="Oda's"):
        agreement.withdraw(number, "bram", "Bram", 2.0)
    agreement.withdraw(number, "oda", "Oda", 3.0)

    with pytest.raises(ProposalGoneError, match="Oda withdrew it"):
        agreement.answer(number, "bram", True, 4.0)


def test_a_stranger_withdraws_by_the_name_it_was_proposed_with():
    agreement = band("oda")
    number, _ = agreement.propose(typed(442.0), None, "the cook", AT, 1.0)

    with pytest.raises(NotAllowedError):
        agreement.withdraw(number, None, "the waiter", 2.0)
    agreement.withdraw(number, None, "the cook", 2.0)

    assert agreement.proposals() == []


@pytest.mark.parametrize("number", [0, -1, 7])
def test_a_number_that_never_was_is_said_to_be_none(number):
    agreement = band("oda", "bram")
    put(agreement, "oda", 442.0)

    with pytest.raises(ProposalGoneError, match=f"there is no proposal {number}"):
        agreement.answer(number, "bram", True, 2.0)


def test_strangers_cannot_fill_the_room_with_proposals():
    agreement = band("oda")
    for each in range(OPEN_MAX):
        agreement.propose(typed(420.0 + each), None, f"guest {each}", AT, 1.0)

    with pytest.raises(NotNowError, match="16 proposals are open"):
        agreement.propose(typed(460.0), None, "one more", AT, 2.0)
    number, _ = agreement.propose(typed(461.0), None, "guest 3", AT, 2.0)

    assert len(agreement.proposals()) == OPEN_MAX
    assert agreement.get(number).by_name == "guest 3"


# -- phones that vanish ---------------------------------------------------------


def test_a_phone_that_vanished_before_its_answer_is_waited_for_and_then_not():
    agreement = band("oda", "bram", "pia")
    number = put(agreement, "oda", 442.0)
    agreement.answer(number, "bram", True, 2.0)
    agreement.set_present({"oda", "bram"}, 100.0)

    early = agreement.tick(100.0 + AWAY_S - 0.1)
    late = agreement.tick(100.0 + AWAY_S)

    assert early is None
    assert pitch_of(late) == 442.0
    assert late.away == ("pia",)
    assert late.proposal.yes == ("oda", "bram")


def test_a_yes_said_before_the_phone_vanished_stays():
    agreement = band("oda", "bram", "pia")
    number = put(agreement, "oda", 442.0)
    agreement.answer(number, "pia", True, 2.0)
    agreement.set_present({"oda", "bram"}, 3.0)
    agreement.tick(60.0)

    adopted = agreement.answer(number, "bram", True, 61.0)

    assert adopted.proposal.yes == ("oda", "pia", "bram")
    assert adopted.away == ()


def test_a_phone_that_is_back_in_time_is_asked_again():
    agreement = band("oda", "bram")
    put(agreement, "oda", 442.0)
    agreement.set_present({"oda"}, 10.0)
    agreement.set_present({"oda", "bram"}, 20.0)

    assert agreement.tick(10.0 + 2 * AWAY_S) is None


def test_who_comes_late_is_asked_as_well():
    agreement = band("oda", "bram")
    number = put(agreement, "oda", 442.0)

    agreement.set_present(BAND, 5.0)

    assert agreement.answer(number, "bram", True, 6.0) is None
    assert agreement.waiting_for(agreement.get(number), 6.0) == ["pia"]


def test_a_proposer_whose_phone_is_gone_does_not_decide_alone_for_those_present():
    agreement = band("bram")
    number = put(agreement, "oda", 442.0)

    adopted = agreement.answer(number, "bram", True, 2.0)

    assert adopted.proposal.yes == ("oda", "bram")


def test_nothing_is_adopted_while_every_phone_is_gone():
    agreement = band("oda", "bram")
    number = put(agreement, "oda", 442.0)
    agreement.set_present((), 10.0)

    for now_s in (10.0 + AWAY_S, 200.0, 1000.0):
        assert agreement.tick(now_s) is None

    assert agreement.get(number).yes == ("oda",)


def test_when_a_network_that_failed_is_back_the_first_phone_does_not_decide_for_the_others():
    agreement = band("oda", "bram")
    put(agreement, "oda", 442.0)
    agreement.set_present((), 10.0)
    agreement.tick(300.0)

    agreement.set_present({"oda"}, 301.0)
    adopted = agreement.tick(302.0), agreement.tick(301.0 + AWAY_S)

    assert adopted[0] is None  # bram's phone may be a second later
    assert adopted[1].away == ("bram",)


def test_a_phone_of_somebody_unknown_is_no_voter():
    agreement = band("oda", "nobody")

    _, adopted = agreement.propose(typed(442.0), "oda", "Oda", AT, 1.0)

    assert agreement.present(1.0) == ("oda",)
    assert adopted is not None


def test_phones_that_come_and_go_leave_nothing_to_be_stored():
    agreement = band("oda", "bram")
    put(agreement, "oda", 442.0)
    before, changes = json.dumps(agreement.state()), agreement.changes

    agreement.set_present(BAND, 2.0)
    agreement.set_present({"oda", "bram"}, 3.0)
    agreement.tick(3.0 + AWAY_S)

    assert (json.dumps(agreement.state()), agreement.changes) == (before, changes)


def test_there_is_news_when_an_answer_or_presence_has_changed_and_then_no_more():
    agreement = band("oda", "bram")
    agreement.has_news(0.0)

    quiet = agreement.has_news(1.0)
    number = put(agreement, "oda", 442.0)
    proposed = agreement.has_news(1.0), agreement.has_news(1.5)
    agreement.answer(number, "bram", False, 2.0)
    answered = agreement.has_news(2.0)
    agreement.set_present({"oda"}, 3.0)
    left = agreement.has_news(3.0), agreement.has_news(3.0 + AWAY_S)

    assert (quiet, proposed, answered) == (False, (True, False), True)
    assert left == (False, True)  # a phone counts for half a minute more


# -- a leader -----------------------------------------------------------------


def test_where_the_leader_decides_a_leaders_proposal_is_adopted_at_once():
    agreement = band(*BAND, decides="leader", leader="pia")

    _, adopted = agreement.propose(typed(442.0), "pia", "Pia", AT, 1.0)

    assert pitch_of(adopted) == 442.0


def test_where_the_leader_decides_the_others_cannot_but_are_heard():
    agreement = band("oda", "bram", decides="leader", leader="pia")
    number = put(agreement, "oda", 442.0)

    everyone = agreement.answer(number, "bram", True, 2.0)
    later = agreement.tick(500.0)
    waiting = agreement.waiting_for(agreement.get(number), 500.0)
    leader = agreement.answer(number, "pia", True, 501.0)

    assert (everyone, later, waiting) == (None, None, ["pia"])
    assert leader.proposal.yes == ("oda", "bram", "pia")


def test_a_leader_says_not_yet_and_may_withdraw_what_others_proposed():
    agreement = band(*BAND, decides="leader", leader="pia")
    number = put(agreement, "oda", 442.0)

    assert agreement.answer(number, "pia", False, 2.0) is None
    agreement.withdraw(number, "pia", "Pia", 3.0)

    with pytest.raises(ProposalGoneError, match="Pia withdrew it"):
        agreement.get(number)


@pytest.mark.parametrize(
    ("who", "says"),
    [
        ({"decides": "leader"}, "leader None"),
        ({"decides": "leader", "leader": "nobody"}, "oda, bram, pia"),
        ({"decides": "majority"}, "'everyone' or 'leader'"),
    ],
)
def test_a_leader_who_is_no_player_is_refused_in_one_line(who, says):
    with pytest.raises(UsageError, match=says) as refused:
        Agreement(BAND, **who)

    assert "\n" not in str(refused.value)


# -- restarts -------------------------------------------------------------------

SCENARIO = (
    lambda a, now_s: a.set_present(BAND, now_s),
    lambda a, now_s: a.propose(typed(441.0), "oda", "Oda", AT, now_s),
    lambda a, now_s: a.propose(typed(443.0), "bram", "Bram", AT, now_s),
    lambda a, now_s: a.answer(1, "pia", False, now_s),
    lambda a, now_s: a.set_present({"oda", "bram"}, now_s),
    lambda a, now_s: a.answer(2, "oda", True, now_s),
    lambda a, now_s: a.answer(2, "pia", True, now_s),
)


@pytest.mark.parametrize("killed_after", range(len(SCENARIO)))
def test_a_restart_at_any_point_of_an_agreement_changes_nothing_about_its_end(killed_after):
    agreement, now_s = Agreement(BAND), 100.0
    outcome = None
    for step, act in enumerate(SCENARIO):
        outcome = act(agreement, now_s)
        if step == killed_after:
            seen = [(p.id, p.offer, p.yes, p.not_yet) for p in agreement.proposals()]
            agreement, now_s = restarted(agreement), 5.0  # the clock, too, begins anew
            assert [(p.id, p.offer, p.yes, p.not_yet) for p in agreement.proposals()] == seen
            agreement.set_present(BAND if step < 4 else {"oda", "bram"}, now_s + 1.0)
        now_s += 2.0

    if killed_after < len(SCENARIO) - 1:
        assert outcome.proposal.offer.a4_hz == 443.0
        assert outcome.proposal.yes == ("bram", "oda", "pia")
    assert agreement.proposals() == []


def test_after_a_restart_nothing_is_adopted_while_phones_are_still_reconnecting():
    agreement = band("oda", "bram")
    number = put(agreement, "oda", 442.0)

    again = restarted(agreement)
    first = again.tick(50.0)  # no phone is back yet
    again.set_present({"oda"}, 51.0)
    second = again.tick(52.0), again.tick(50.0 + AWAY_S - 0.1)
    third = again.tick(50.0 + AWAY_S)

    assert (first, second) == (None, (None, None))
    assert third.proposal.id == number
    assert third.away == ("bram",)


def test_after_a_restart_that_no_phone_survived_nothing_is_adopted():
    agreement = band("oda", "bram")
    put(agreement, "oda", 442.0)

    again = restarted(agreement)

    assert [again.tick(now_s) for now_s in (1.0, 1.0 + AWAY_S, 500.0)] == [None] * 3


def test_a_lapse_is_counted_across_restarts_and_a_number_is_never_given_twice():
    agreement = band("oda", "bram")
    put(agreement, "bram", 443.0, now_s=10.0)
    agreement.withdraw(1, "bram", "Bram", 1000.0)
    old = put(agreement, "oda", 442.0, now_s=1000.0)
    agreement.answer(old, "bram", False, 1600.0)

    again = restarted(agreement)
    again.set_present({"oda", "bram"}, 1.0)
    again.tick(1.0 + LAPSES_S - 600.0 - 1.0)
    before = [p.id for p in again.proposals()]
    again.tick(1.0 + LAPSES_S - 600.0)
    after = again.proposals()
    new = put(again, "oda", 444.0, now_s=2000.0)

    assert (before, after, new) == ([old], [], 3)
    with pytest.raises(ProposalGoneError, match="Bram withdrew it"):
        again.answer(1, "oda", True, 2001.0)


def test_a_yes_of_the_leader_from_before_a_restart_is_not_taken_for_a_new_one():
    agreement = band("oda", "bram", "pia")
    number = put(agreement, "pia", 442.0)

    led = restarted(agreement, decides="leader", leader="pia")
    led.set_present(BAND, 1.0)

    assert led.tick(100.0) is None
    assert led.answer(number, "pia", True, 101.0) is not None


GOOD = {
    "id": 3, "a4_hz": 442.0, "kind": "typed", "reason": "typed in", "evidence": None,
    "by": "oda", "by_name": "Oda", "made_at": AT, "age_s": 5.0, "yes": ["oda"],
    "not_yet": ["bram"], "asked": ["oda", "bram"],
}  # fmt: skip


@pytest.mark.parametrize(
    "spoilt",
    [
        {"id": 0}, {"id": "3"}, {"id": True}, {"a4_hz": 4400.0}, {"a4_hz": "442"}, {"kind": "odd"},
        {"kind": []}, {"reason": "x" * 500}, {"reason": None}, {"evidence": 7}, {"by": 5},
        {"by_name": "a\x1b[2J"}, {"age_s": -1.0}, {"age_s": "new"}, {"age_s": 1e999},
        {"yes": "oda"}, {"yes": [["oda"]]}, {"not_yet": ["oda"]}, {"asked": {}}, None,
    ],
)  # fmt: skip
def test_a_stored_proposal_that_is_torn_is_left_out_with_one_line(spoilt):
    row = None if spoilt is None else GOOD | spoilt
    agreement = Agreement(BAND)

    lines = agreement.restore(
        {"next_id": 4, "present": ["oda"], "proposals": [row, GOOD | {"id": 2}]}
    )

    assert len(lines) == 1
    assert "proposal" in lines[0]
    assert "\n" not in lines[0]
    assert [p.id for p in agreement.proposals()] == [2]


@pytest.mark.parametrize("key", sorted(GOOD))
def test_a_stored_proposal_that_lacks_anything_is_left_out_with_one_line(key):
    row = {name: value for name, value in GOOD.items() if name != key}
    agreement = Agreement(BAND)

    (line,) = agreement.restore({"proposals": [row]})

    assert key in line
    assert agreement.proposals() == []


@pytest.mark.parametrize("stored", [None, 7, "{", [], {"proposals": 3, "fates": [], "present": 0}])
def test_stored_proposals_that_are_none_at_all_leave_an_agreement_that_works(stored):
    agreement = Agreement(BAND)

    lines = agreement.restore(stored)

    assert len(lines) == (0 if isinstance(stored, dict) else 1)
    agreement.set_present({"oda", "bram"}, 0.0)
    assert agreement.answer(put(agreement, "oda", 442.0), "bram", True, 2.0) is not None


def test_two_stored_proposals_with_one_players_yes_are_not_both_believed():
    agreement = Agreement(BAND)
    other = GOOD | {"id": 4, "by": "bram", "by_name": "Bram", "not_yet": []}

    (line,) = agreement.restore({"proposals": [GOOD, other]})

    assert "proposal 3" in line
    assert [p.id for p in agreement.proposals()] == [3]


def test_players_who_left_the_band_are_left_out_of_what_was_stored():
    agreement = Agreement(("bram", "pia"))

    agreement.restore({"proposals": [GOOD], "present": ["oda", "bram"]})

    (proposal,) = agreement.proposals()
    assert (proposal.by, proposal.by_name, proposal.yes) == (None, "Oda", ())
    assert agreement.present(0.0) == ("bram",)


# -- whatever happens ------------------------------------------------------------


class Watched:
    """An agreement, and beside it whose phone is here, told from the acts alone."""

    def __init__(self, decides: str) -> None:
        self.who = {"decides": decides, "leader": "pia" if decides == "leader" else None}
        self.agreement = Agreement(BAND, **self.who)
        self.now_s = 0.0
        self.here: frozenset[str] = frozenset()
        self.seen_s: dict[str, float] = {}
        self.said: dict[str, int] = {}

    def must_agree(self) -> set[str]:
        """Those whose phone is here or was within ``AWAY_S``; more may be waited for."""
        recent = {who for who, at_s in self.seen_s.items() if self.now_s - at_s < AWAY_S}
        return recent | self.here

    def check(self, adopted: Adopted | None, acting: str | None) -> None:
        if adopted is None:
            return
        yes = set(adopted.proposal.yes)
        assert yes
        # Nobody's yes counts for a pitch other than the one they last said yes to.
        assert {who for who in yes if self.said.get(who) != adopted.proposal.id} == set()
        if self.who["decides"] == "leader":
            assert acting == "pia"
            assert "pia" in yes
        else:
            assert self.must_agree() <= yes
            assert acting in yes or self.must_agree()
        assert self.agreement.proposals() == []

    def check_open(self) -> None:
        answers = [who for p in self.agreement.proposals() for who in p.yes]
        assert len(answers) == len(set(answers))
        for p in self.agreement.proposals():
            assert not set(p.yes) & set(p.not_yet)
            assert len(set(p.yes)) == len(p.yes)
            assert all(self.said.get(who) == p.id for who in p.yes)

    def vanish_or_return(self, players: frozenset[str]) -> None:
        self.seen_s.update(dict.fromkeys(self.here, self.now_s))
        self.here = players
        self.agreement.set_present(players, self.now_s)

    def propose(self, by: str, a4_hz: float) -> None:
        before = self.said.get(by)
        number, adopted = self.agreement.propose(typed(a4_hz), by, by, AT, self.now_s)
        self.said[by] = number
        if adopted is not None and adopted.proposal.id != number:
            self.said[by] = before
        self.check(adopted, by)

    def answer(self, pick: int, player: str, yes: bool) -> None:
        known = [p.id for p in self.agreement.proposals()]
        number = known[pick % len(known)] if known and pick < 6 else pick
        try:
            adopted = self.agreement.answer(number, player, yes, self.now_s)
        except ProposalGoneError:
            return
        if yes:
            self.said[player] = number
        elif self.said.get(player) == number:
            del self.said[player]
        self.check(adopted, player if yes else None)

    def restart(self) -> None:
        asked = self.agreement.state()["present"]
        self.agreement = restarted(self.agreement, **self.who)
        self.now_s, self.here = 7.0, frozenset()
        self.seen_s = dict.fromkeys(asked, self.now_s)

    def tick(self, elapsed_s: float) -> None:
        self.now_s += elapsed_s
        self.check(self.agreement.tick(self.now_s), None)


players = st.sampled_from(BAND)
acts = st.one_of(
    st.tuples(st.just("propose"), players, st.sampled_from([440.0, 441.0, 442.0, 442.003])),
    st.tuples(st.just("answer"), st.integers(0, 7), players, st.booleans()),
    st.tuples(st.just("vanish_or_return"), st.frozensets(players)),
    st.tuples(st.just("tick"), st.sampled_from([0.5, 10.0, 29.9, 31.0, 1800.0])),
    st.tuples(st.just("restart")),
)


@settings(deadline=None, max_examples=300)
@given(st.sampled_from(["everyone", "leader"]), st.lists(acts, max_size=40))
def test_whatever_happens_nothing_is_adopted_over_the_head_of_anyone_present(decides, sequence):
    room = Watched(decides)

    for name, *arguments in sequence:
        getattr(room, name)(*arguments)
        room.check_open()
