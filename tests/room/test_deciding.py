"""How the room's reference changes: proposed, agreed on, set, undone; what that does to the roll
call, to the log and to what is stored."""

from __future__ import annotations

import json
from typing import Any

import pytest

from station.errors import (
    NotAllowedError,
    NotNowError,
    ProposalGoneError,
    ReferenceRangeError,
    UnknownMeasurementError,
    UnknownPlayerError,
    UsageError,
)
from station.measure.fixed.types import FixedNote, Reed
from station.measure.types import Note, Reading
from station.music.pitch import cents_between, midi_to_hz
from station.room.agreement import AWAY_S
from station.room.deciding import STEPS_MAX
from station.room.lines import TONE_TAIL_S
from station.room.model import Clock, Tone
from station.room.room import Decision, Player, Reference, Room

AT = "2031-05-06T18:00:00Z"
BAND = (
    Player("oda", "Oda", "guitar", line=1),
    Player("bram", "Bram", "bass", line=2),
    Player("pia", "Pia", "piano", line=3),
)
SCALE = (60, 62, 64, 65, 67, 69, 71, 72)


def band(*present: str, players: tuple[Player, ...] = BAND, **who: Any) -> Room:
    room = Room(players, Reference(440.0), lines=4, **who)
    room.set_present(present, 0.0)
    return room


def typed(room: Room, by: str, a4_hz: float, now_s: float = 1.0) -> Decision:
    return room.propose(by, "typed", AT, now_s, a4_hz=a4_hz)


def string_of(room: Room, player: str, string: int) -> dict[str, Any]:
    players = {p["id"]: p for p in room.snapshot(10.0)["players"]}
    return {s["string"]: s for s in players[player]["strings"]}[string]


def rolls(room: Room, player: str = "bram") -> list[str]:
    players = {p["id"]: p for p in room.snapshot(10.0)["players"]}
    return [string["roll"] for string in players[player]["strings"]]


def pluck(room: Room, player: str, string: int, cents: float = 0.0, onset_s: float = 0.1) -> None:
    line = next(p.line for p in BAND if p.id == player)
    hz = string_of(room, player, string)["target_hz"] * 2.0 ** (cents / 1200.0)
    room.hear(Note(line, onset_s, onset_s + 1.0, hz, 0.1, 1e-4, 12), 2.0)


def bring_in(room: Room, player: str = "bram") -> None:
    for string in range(1, len(rolls(room, player)) + 1):
        pluck(room, player, string)


def measure(room: Room, line: int, a4_hz: float, player: str | None = None, name: str = "") -> None:
    where = {"line": line, "name": name} if player is None else {"player": player}
    room.begin_measuring(AT, 1.0, **where)
    for midi in SCALE:
        hz = midi_to_hz(midi, a4_hz)
        reed = (Reed(hz, 0.1, 0.0),)
        note = FixedNote(line, midi, midi + 1.0, hz, 0.1, 0.0, 8, reed, None)
        room.measure(line, [note], False, 1.0)
    room.finish_measuring("oda", AT, 1.0)


def restarted(room: Room, **who: Any) -> Room:
    again = Room(BAND, Reference(440.0), lines=4, **who)
    assert again.restore(json.loads(json.dumps(room.state()))) == []
    return again


# -- proposals ------------------------------------------------------------------


def test_a_proposal_is_told_with_its_reason_and_whom_it_waits_for():
    room = band("oda", "bram")

    decision = typed(room, "oda", 442.0)

    proposal = {
        "id": 1,
        "a4_hz": 442.0,
        "cents": pytest.approx(cents_between(442.0, 440.0)),
        "by": "oda",
        "by_name": "Oda",
        "kind": "typed",
        "reason": "typed in",
        "made_at": AT,
        "yes": ["oda"],
        "not_yet": [],
        "waiting_for": ["bram"],
    }
    assert decision.reply["proposal"] == proposal
    assert decision.reply["adopted"] is False
    assert decision.reply["reference"]["a4_hz"] == 440.0
    assert decision.events[0].payload["agreement"] == {
        "decides": "everyone",
        "leader": None,
        "present": ["oda", "bram"],
        "proposals": [proposal],
    }


def test_the_last_yes_adopts_it_with_everyones_name_and_resets_the_roll_call():
    room = band("oda", "bram")
    bring_in(room)
    typed(room, "oda", 442.0)

    decision = room.answer(1, "bram", "yes", AT, 2.0)

    assert decision.reply["proposal"] is None
    assert decision.reply["adopted"] is True
    assert decision.reply["reference"] == {
        "a4_hz": 442.0,
        "set_at": AT,
        "by": "Oda",
        "source": "typed in",
        "agreed": ["Oda", "Bram"],
        "undo_hz": 440.0,
    }
    assert decision.events[0].payload["reference"] == decision.reply["reference"]
    assert set(rolls(room)) == {"not heard"}
    assert [(e.kind, e.a4_hz, e.agreed) for e in room.log()] == [
        ("adopted", 442.0, ("Oda", "Bram"))
    ]


def test_agreeing_on_the_present_frequency_keeps_the_roll_call_and_says_who_agreed():
    room = band("oda")
    bring_in(room)

    room.propose("oda", "standard", AT, 1.0)

    assert room.reference.agreed == ("Oda",)
    assert set(rolls(room)) == {"in"}
    assert room.snapshot(1.0)["reference"]["undo_hz"] is None


def test_a_measured_proposal_is_told_with_the_instrument_and_how_sure_it_is():
    room = band("oda", "bram")
    measure(room, 3, 441.5, player="pia")

    decision = room.propose("oda", "measured", AT, 2.0, instrument="pia")
    room.forget_measured("pia", 2.0)
    room.answer(1, "bram", "yes", AT, 3.0)

    reason = decision.reply["proposal"]["reason"]
    assert reason.startswith("measured from Pia's piano, ±")
    assert reason.endswith(" cents")
    assert room.reference.a4_hz == pytest.approx(441.5, abs=0.05)
    assert room.reference.source == reason
    assert room.log()[-1].evidence["instruments"][0]["notes"]


@pytest.mark.parametrize(("rule", "expected_hz"), [("worst", 442.5), ("mean", 441.83)])
def test_a_compromise_keeps_its_rule_and_its_instruments_as_evidence(rule, expected_hz):
    room = band("oda")
    for line, a4_hz in ((1, 440.5), (2, 440.5), (3, 444.5)):
        measure(room, line, a4_hz)

    room.propose("oda", "compromise", AT, 2.0, rule=rule)

    entry = room.log()[-1]
    assert entry.a4_hz == pytest.approx(expected_hz, abs=0.1)
    assert entry.source.startswith("compromise of 3 instruments")
    assert (entry.evidence["rule"], len(entry.evidence["instruments"])) == (rule, 3)
    assert entry.evidence["compromise"]["a4_hz"] == entry.a4_hz


def test_a_compromise_of_two_names_them():
    room = band("oda")
    measure(room, 3, 441.0, player="pia")
    measure(room, 4, 443.0, name="the organ")

    room.propose("oda", "compromise", AT, 2.0)

    assert room.reference.source.startswith(
        "compromise of the organ and Pia's piano, smallest worst"
    )


@pytest.mark.parametrize(
    ("what", "error", "says"),
    [
        ({"kind": "typed", "a4_hz": 4400.0}, ReferenceRangeError, "ten times"),
        ({"kind": "typed"}, ReferenceRangeError, "not a number"),
        ({"kind": "measured"}, UsageError, "which instrument"),
        ({"kind": "measured", "instrument": "organ"}, UnknownMeasurementError, "organ"),
        ({"kind": "compromise"}, NotNowError, "two measured instruments"),
        ({"kind": "compromise", "rule": "best"}, UsageError, "'worst' or by 'mean'"),
        ({"kind": "mesured"}, UsageError, "'measured'"),
        ({"kind": "standard", "by": "a\x1b[2J"}, UsageError, "control characters"),
        ({"kind": "standard", "by": None}, UsageError, "not text"),
    ],
)
def test_a_proposal_that_cannot_be_meant_is_refused_in_one_line_and_changes_nothing(
    what, error, says
):
    room = band("oda", "bram")
    before = room.snapshot(1.0)

    with pytest.raises(error, match=says) as refused:
        room.propose(**{"by": "oda", "at": AT, "now_s": 1.0} | what)

    assert "\n" not in str(refused.value)
    assert room.snapshot(1.0) == before


def test_an_answer_that_cannot_be_meant_is_refused():
    room = band("oda", "bram")
    typed(room, "oda", 442.0)

    with pytest.raises(UnknownPlayerError, match="oda, bram, pia"):
        room.answer(1, "nobody", "yes", AT, 2.0)
    with pytest.raises(UsageError, match="'yes' or 'not yet'"):
        room.answer(1, "bram", "no", AT, 2.0)
    with pytest.raises(ProposalGoneError, match="no proposal 9"):
        room.answer(9, "bram", "yes", AT, 2.0)


def test_a_guests_proposal_waits_for_the_band():
    room = band("oda")

    decision = typed(room, "the sound engineer", 442.0)
    room.answer(1, "oda", "yes", AT, 2.0)

    assert (decision.reply["proposal"]["by"], decision.reply["proposal"]["yes"]) == (None, [])
    assert (room.reference.by, room.reference.agreed) == ("the sound engineer", ("Oda",))


def test_a_withdrawn_proposal_is_off_the_page():
    room = band("oda", "bram")
    typed(room, "oda", 442.0)

    decision = room.withdraw(1, "oda", 2.0)

    assert decision.reply["proposal"] is None
    assert decision.reply["adopted"] is False
    assert decision.events[0].payload["agreement"]["proposals"] == []


def test_a_phone_that_vanishes_lets_the_others_agree_as_time_passes():
    room = band("oda", "bram", "pia")
    typed(room, "oda", 442.0)
    room.answer(1, "bram", "yes", AT, 2.0)

    room.set_present({"oda", "bram"}, 10.0)
    early = room.tick(AT, 10.0 + AWAY_S - 1.0)
    (event,) = room.tick(AT, 10.0 + AWAY_S)

    assert early == []
    assert event.payload["reference"]["a4_hz"] == 442.0
    assert event.payload["agreement"]["present"] == ["oda", "bram"]
    assert room.log()[-1].away == ("Pia",)
    assert room.tick(AT, 100.0) == []


def test_phones_that_come_and_go_are_told_and_not_stored():
    room = band("oda", "bram")
    typed(room, "oda", 442.0)
    before, mark = json.dumps(room.state()), room.save_mark

    (came,) = room.set_present({"oda", "bram", "pia"}, 2.0)
    same = room.set_present({"oda", "bram", "pia"}, 3.0)
    room.set_present({"oda", "bram"}, 4.0)
    (left,) = room.tick(AT, 4.0 + AWAY_S)

    assert came.payload["agreement"]["present"] == ["oda", "bram", "pia"]
    assert came.payload["agreement"]["proposals"][0]["waiting_for"] == ["bram", "pia"]
    assert same == []
    assert left.payload["agreement"]["present"] == ["oda", "bram"]
    assert (json.dumps(room.state()), room.save_mark) == (before, mark)


def test_whatever_has_to_be_on_storage_at_once_moves_the_mark():
    room = band("oda", "bram")
    marks = [room.save_mark]

    typed(room, "oda", 442.0)
    marks.append(room.save_mark)
    room.answer(1, "bram", "not yet", AT, 2.0)
    marks.append(room.save_mark)
    measure(room, 3, 441.0)
    marks.append(room.save_mark)
    room.answer(1, "bram", "yes", AT, 3.0)
    marks.append(room.save_mark)
    room.undo("oda", AT, 4.0)
    marks.append(room.save_mark)

    assert marks == sorted(set(marks))


# -- set outright -----------------------------------------------------------------


def test_a_reference_is_not_set_over_the_heads_of_others():
    room = band("oda", "bram", "pia")

    with pytest.raises(NotAllowedError, match=r"Bram, Pia.*propose"):
        room.set_reference(442.0, "oda", "", AT, 1.0)
    with pytest.raises(NotAllowedError):
        room.set_reference(442.0, "a guest", "", AT, 1.0)

    assert room.reference.a4_hz == 440.0


def test_who_is_alone_sets_the_reference_and_closes_what_was_proposed():
    room = band("oda")
    typed(room, "a guest", 445.0)

    (event,) = room.set_reference(442.0, "oda", "fork", AT, 1.0)

    assert event.payload["reference"]["by"] == "Oda"
    assert event.payload["agreement"]["proposals"] == []
    with pytest.raises(ProposalGoneError, match="442 Hz was set by Oda"):
        room.answer(1, "oda", "yes", AT, 2.0)


def test_where_the_leader_decides_the_leader_sets_it_and_nobody_else():
    room = band("oda", "bram", decides="leader", leader="bram")

    with pytest.raises(NotAllowedError):
        room.set_reference(442.0, "oda", "", AT, 1.0)
    room.set_reference(443.0, "bram", "", AT, 1.0)

    assert room.reference.a4_hz == 443.0


def test_where_the_leader_decides_the_leaders_yes_is_enough():
    room = band("oda", "bram", "pia", decides="leader", leader="bram")
    typed(room, "oda", 442.0)

    decision = room.answer(1, "bram", "yes", AT, 2.0)

    assert decision.reply["adopted"]
    assert room.reference.agreed == ("Oda", "Bram")
    assert room.snapshot(2.0)["agreement"]["leader"] == "bram"


# -- undo --------------------------------------------------------------------------


def test_undo_goes_back_with_the_roll_call_of_every_string_not_heard_since():
    room = band("oda")
    bring_in(room)
    pluck(room, "bram", 4, cents=20.0)
    before, was = rolls(room), room.reference
    typed(room, "oda", 442.0)
    pluck(room, "bram", 1)
    pluck(room, "bram", 2, cents=-30.0)

    (event,) = room.undo("bram", AT, 5.0)

    assert before == ["out", "in", "in", "in"]
    assert rolls(room) == ["out", "in", "not heard", "not heard"]
    assert string_of(room, "bram", 4)["cents"] == pytest.approx(20.0)
    assert string_of(room, "bram", 1)["verdict"] is None
    assert room.reference == was
    assert event.payload["reference"]["undo_hz"] is None
    entry = room.log()[-1]
    assert (entry.kind, entry.by, entry.a4_hz) == ("undone", "Bram", 440.0)
    assert entry.source == "back from 442 Hz: settings"


def test_each_step_is_undone_once():
    room = band("oda")
    for a4_hz in (441.0, 442.0, 443.0):
        typed(room, "oda", a4_hz)

    undone = []
    for _ in range(3):
        undone.append(room.snapshot(1.0)["reference"]["undo_hz"])
        room.undo("oda", AT, 2.0)
        assert room.reference.a4_hz == undone[-1]

    assert undone == [442.0, 441.0, 440.0]
    with pytest.raises(NotNowError, match="no reference before"):
        room.undo("oda", AT, 3.0)


def test_no_more_steps_are_kept_than_anyone_would_go_back():
    room = band("oda")

    for number in range(STEPS_MAX + 3):
        typed(room, "oda", 441.0 + number)

    assert len(room.state()["steps"]) == STEPS_MAX


def test_a_string_tuned_to_another_note_meanwhile_gets_nothing_back():
    room = band("oda")
    bring_in(room, "oda")
    typed(room, "oda", 442.0)
    room.change_player("oda", tuning="drop-d")

    room.undo("oda", AT, 5.0)

    assert rolls(room, "oda") == ["not heard", *["in"] * 5]


def test_a_reading_from_before_the_undo_does_not_pair_with_one_after():
    room = band("oda")
    typed(room, "oda", 442.0)
    a2_hz = 110.0
    room.hear(Reading(1, 0.5, a2_hz, 0.1, 1e-4, 12, 0.1), 1.0)
    room.undo("oda", AT, 1.0)

    room.hear(Reading(1, 0.6, a2_hz, 0.1, 1e-4, 12, 0.1), 1.1)

    assert string_of(room, "oda", 5)["roll"] == "not heard"


def test_where_the_leader_decides_only_the_leader_undoes():
    room = band("oda", "bram", decides="leader", leader="bram")
    room.propose("bram", "typed", AT, 1.0, a4_hz=442.0)

    with pytest.raises(NotAllowedError, match="only Bram"):
        room.undo("oda", AT, 2.0)
    room.undo("bram", AT, 2.0)

    assert room.reference.a4_hz == 440.0


# -- restarts ------------------------------------------------------------------------


def test_a_restart_half_way_keeps_proposal_answers_measurements_and_the_way_back():
    room = band("oda", "bram")
    bring_in(room)
    measure(room, 3, 441.5, player="pia")
    typed(room, "oda", 441.0)
    room.answer(1, "bram", "yes", AT, 2.0)
    room.propose("bram", "measured", AT, 3.0, instrument="pia")

    again = restarted(room)
    phones = again.tick(AT, 1.0), again.set_present({"oda", "bram"}, 2.0)
    shown = again.snapshot(2.0)
    again.undo("oda", AT, 3.0)
    decision = again.answer(2, "oda", "yes", AT, 4.0)

    assert [e.payload["reference"]["a4_hz"] for events in phones for e in events] == [441.0]
    assert shown["agreement"]["proposals"] == room.snapshot(3.0)["agreement"]["proposals"]
    assert shown["measured"] == room.snapshot(3.0)["measured"]
    assert set(rolls(again)) == {"not heard"}
    assert decision.reply["adopted"]
    assert again.reference.source == shown["agreement"]["proposals"][0]["reason"]
    assert [entry.serial for entry in again.log()] == [2, 3]


def test_the_roll_call_to_go_back_to_outlives_a_restart():
    room = band("oda")
    bring_in(room)
    typed(room, "oda", 442.0)
    pluck(room, "bram", 1)

    again = restarted(room)
    again.undo("oda", AT, 1.0)

    assert rolls(again) == ["in", "in", "in", "not heard"]


@pytest.mark.parametrize("part", ["agreement", "measured", "steps"])
@pytest.mark.parametrize("torn", ["{", 7, [3], {"proposals": [3]}])
def test_a_torn_part_costs_a_line_and_nothing_else(part, torn):
    room = band("oda")
    bring_in(room)
    typed(room, "oda", 442.0)
    state = json.loads(json.dumps(room.state())) | {part: torn}

    again = Room(BAND, Reference(440.0), lines=4)
    (line,) = again.restore(state)

    assert "\n" not in line
    assert "lost" in line
    assert again.reference == room.reference
    assert again.snapshot(1.0)["roll_call"] == room.snapshot(1.0)["roll_call"]
    again.set_present({"oda"}, 1.0)
    assert typed(again, "oda", 443.0, 100.0).reply["adopted"]


@pytest.mark.parametrize(
    "torn",
    [
        None,
        {},
        {"roll": "perhaps"},
        {"cents": "sharp"},
        {"string": []},
        {"player": 3},
        {"midi": 40.5},
    ],
)
def test_a_way_back_with_torn_strings_is_no_way_back(torn):
    room = band("oda")
    bring_in(room)
    typed(room, "oda", 442.0)
    state = json.loads(json.dumps(room.state()))
    strings = state["steps"][0]["strings"]
    strings[0] = strings[0] | torn if torn else torn

    again = Room(BAND, Reference(440.0), lines=4)
    (line,) = again.restore(state)

    assert "go back to are lost" in line
    assert again.snapshot(1.0)["reference"]["undo_hz"] is None


# -- the tone, quiet, clock -------------------------------------------------------------


def tone(ends_at_s: float) -> Tone:
    return Tone("A4", 440.0, "string", -30.0, ends_at_s)


def test_the_stations_own_tone_is_shown_and_proves_nothing_of_any_string():
    room = band("oda")

    (event,) = room.set_tone(tone(11.0), 1.0)
    pluck(room, "bram", 1)

    assert event.payload["tone"] == {
        "note": "A4",
        "hz": 440.0,
        "voice": "string",
        "level_dbfs": -30.0,
        "ends_in_s": 10.0,
    }
    assert string_of(room, "bram", 1)["roll"] == "not heard"
    assert string_of(room, "bram", 1)["verdict"] == "in"


def test_a_note_that_began_under_the_tone_proves_nothing_when_it_is_told_later():
    room = band("oda")
    a1_hz = string_of(room, "bram", 3)["target_hz"]
    room.set_tone(tone(11.0), 1.0)
    room.hear(Reading(2, 5.5, a1_hz, 0.1, 1e-4, 12, 5.0), 5.5)
    room.clear_tone(6.0)

    room.hear(Note(2, 5.0, 30.0, a1_hz, 0.1, 1e-4, 12), 31.0)
    tainted = string_of(room, "bram", 3)["roll"]
    room.hear(Note(2, 31.0, 32.0, a1_hz, 0.1, 1e-4, 12), 33.0)

    assert tainted == "not heard"
    assert string_of(room, "bram", 3)["roll"] == "in"


def test_the_evening_takes_no_note_of_the_tone_for_a_string_that_drifted():
    room = band("oda")
    before = Reading(2, 0.5, 110.0, 0.1, 1e-4, 12, 0.4)
    during = Reading(2, 5.5, 110.0, 0.1, 1e-4, 12, 5.0)
    own = Reading(2, 31.2, 110.0, 0.1, 1e-4, 12, 31.0)

    told = [room.evening.proves(before, 0.5)]
    room.set_tone(tone(11.0), 1.0)
    told.append(room.evening.proves(during, 5.5))
    room.clear_tone(6.0)
    told += [room.evening.proves(during, 30.0), room.evening.proves(own, 31.2)]

    assert told == [True, False, False, True]


def test_for_a_moment_after_the_tone_a_note_may_still_be_the_tone():
    room = band("oda")
    hz = string_of(room, "bram", 3)["target_hz"]
    room.set_tone(tone(11.0), 1.0)
    room.clear_tone(6.0)

    room.hear(Note(2, 5.0, 6.0, hz, 0.1, 1e-4, 12), 6.0 + TONE_TAIL_S / 2)
    at_once = string_of(room, "bram", 3)["roll"]
    room.hear(Note(2, 7.0, 8.0, hz, 0.1, 1e-4, 12), 6.0 + TONE_TAIL_S)

    assert (at_once, string_of(room, "bram", 3)["roll"]) == ("not heard", "in")


def test_a_tone_ends_as_time_passes_and_is_told_once():
    room = band("oda")
    room.set_tone(tone(11.0), 1.0)

    early = room.tick(AT, 10.9)
    (event,) = room.tick(AT, 11.0)

    assert (early, event.payload["tone"]) == ([], None)
    assert room.clear_tone(12.0) == []


def test_quiet_ends_the_tone_and_refuses_another():
    room = band("oda")
    room.set_tone(tone(11.0), 1.0)

    (event,) = room.set_quiet(True, 2.0)
    with pytest.raises(NotNowError, match="quiet"):
        room.set_tone(tone(20.0), 3.0)
    room.set_quiet(False, 4.0)
    room.set_tone(tone(20.0), 5.0)

    assert (event.payload["tone"], event.payload["station"]["quiet"]) == (None, True)
    assert room.set_quiet(False, 6.0) == []


def test_clock_and_tone_out_are_told_when_they_change():
    room = band("oda")
    clock = Clock("calibrated", 12.5, 0.4, True, "chrony", None, 0.0007)

    before = room.snapshot(0.0)["station"]
    (event,) = room.set_clock(clock)
    room.set_tone_out("failed", "no such card")

    assert before["clock"]["state"] == "not calibrated"
    assert before["tone_out"] == {"state": "off", "reason": None}
    assert event.payload["station"]["clock"]["ppm"] == 12.5
    assert room.set_clock(clock) == []
    assert room.set_tone_out("failed", "no such card") == []
    assert room.snapshot(0.0)["station"]["tone_out"]["reason"] == "no such card"
