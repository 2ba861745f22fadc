"""Turns of pegs: when a player is asked, what is learned of it, what is forgotten and kept."""

from __future__ import annotations

import json

import pytest

from station.errors import NotNowError, UnknownPlayerError, UsageError
from station.room.pegs import ASK_S, IGNORED_MAX, KNOWN_REPORTS, REPORTS_KEPT
from station.room.room import Room
from tests.support.order_band import band, play, told

E2, D2, C2 = 40, 38, 36


@pytest.fixture
def room() -> Room:
    """Tove's phone is here; her string 6 has been heard."""
    made = band(songs=False)
    made.set_present(["tove"], 0.0)
    play(made, 1, E2, 1.0)
    return made


def retune(room: Room, now_s: float, tuning: str = "drop-d") -> None:
    """Tove turns string 6 to another tuning's note, and plays it once it is in."""
    room.change_player("tove", tuning=tuning, now_s=now_s)
    play(room, 1, {"drop-d": D2, "standard": E2}[tuning], now_s + 5.0)


def learn(room: Room, *quarters: int, begin_s: float = 10.0) -> float:
    """Down and up again, and what is answered each time; when it was over."""
    now_s = begin_s
    for place, each in enumerate(quarters):
        retune(room, now_s, "standard" if place % 2 else "drop-d")
        room.pegs.answer("tove", 6, each)
        now_s += 10.0
    return now_s


def test_a_string_that_came_in_is_asked_about_and_the_answer_ends_it(room: Room) -> None:
    retune(room, 10.0)

    assert room.snapshot(15.0)["pegs"] == {
        "tove": {"string": 6, "from": "E2", "to": "D2", "word": "slacken"}
    }
    room.pegs.answer("tove", 6, 4)
    assert room.snapshot(16.0)["pegs"] == {}
    with pytest.raises(NotNowError):
        room.pegs.answer("tove", 6, 4)


def test_a_forecast_is_told_once_three_answers_agree_and_for_every_tuning(room: Room) -> None:
    learn(room, 4, 4)
    room.change_player("tove", tuning="drop-d", now_s=40.0)
    assert "peg" not in told(room)["players"]["tove"]["strings"][0]
    room.change_player("tove", tuning="standard", now_s=41.0)

    learn(room, 4, begin_s=50.0)
    room.change_player("tove", tuning="standard", now_s=70.0)

    (string,) = told(room)["players"]["tove"]["strings"]
    assert string["peg"]["turns"] == pytest.approx(1.0, abs=1e-3)
    assert (string["peg"]["word"], string["peg"]["reports"]) == ("tighten", 3)
    # D2 to E2 is one turn, so a semitone down from E2 is (1 - 2^(-1/6)) / (1 - 2^(-1/3)) of it.
    (known,) = room.pegs.told("tove")["strings"]
    assert known["semitone"]["turns"] == pytest.approx(0.529, abs=1e-3)
    assert known["semitone"]["word"] == "slacken"


def test_what_the_string_was_heard_at_counts_and_not_what_it_should_have_been(room: Room) -> None:
    play(room, 1, E2, 2.0, cents=-50.0)
    retune(room, 10.0)
    room.pegs.answer("tove", 6, 4)

    (report,) = room.pegs.state()["told"][0]["reports"]

    # 440^2 * (2^((39.5 - 69) / 6) - 2^((38 - 69) / 6)): from E2 - 50 cents
    assert report[0] == pytest.approx(440**2 * (2 ** (-29.5 / 6) - 2 ** (-31 / 6)))


@pytest.mark.parametrize("why", ["not heard before", "phone is elsewhere", "four cents"])
def test_nobody_is_asked_what_would_tell_nothing(why: str) -> None:
    room = band(songs=False)
    if why != "phone is elsewhere":
        room.set_present(["tove"], 0.0)
    if why != "not heard before":
        play(room, 1, E2, 1.0)
    if why == "four cents":
        room.change_player("tove", offsets_cents={"6": -4.0}, now_s=10.0)
        play(room, 1, E2, 12.0, cents=-4.0)
    else:
        retune(room, 10.0)

    assert room.snapshot(16.0)["pegs"] == {}


def test_a_string_with_another_target_before_it_got_there_is_not_asked_about(room: Room) -> None:
    room.change_player("tove", tuning="drop-d", now_s=10.0)
    room.change_player("tove", tuning="drop-c", now_s=11.0)
    play(room, 1, C2, 15.0)

    assert room.snapshot(16.0)["pegs"] == {}


def test_a_question_goes_by_itself_and_after_three_nobody_is_asked_again(room: Room) -> None:
    for place in range(IGNORED_MAX):
        now_s = 10.0 + 100.0 * place
        retune(room, now_s, "standard" if place % 2 else "drop-d")
        assert "tove" in room.snapshot(now_s + 6.0)["pegs"]
        events = room.tick("", now_s + 5.0 + ASK_S)
        assert events[-1].payload["pegs"] == {}

    retune(room, 400.0, "standard")
    assert room.snapshot(406.0)["pegs"] == {}
    room.pegs.ask("tove", True)
    retune(room, 410.0)
    assert "tove" in room.snapshot(416.0)["pegs"]


def test_not_now_three_times_in_a_row_is_never_again(room: Room) -> None:
    for place in range(IGNORED_MAX):
        retune(room, 10.0 + 10.0 * place, "standard" if place % 2 else "drop-d")
        room.pegs.answer("tove", 6, 0)

    retune(room, 90.0, "standard")

    assert room.snapshot(95.0)["pegs"] == {}
    assert room.pegs.told("tove")["asks"] is False
    assert room.pegs.state()["told"] == []


def test_a_peg_that_is_known_is_asked_about_no_more(room: Room) -> None:
    now_s = learn(room, *[4] * KNOWN_REPORTS)

    retune(room, now_s)

    assert room.snapshot(now_s)["pegs"] == {}


def test_what_is_learned_is_forgotten_on_request(room: Room) -> None:
    learn(room, 4, 4, 4)

    room.pegs.forget("tove")

    assert room.pegs.told("tove") == {"asks": True, "strings": []}
    with pytest.raises(NotNowError, match="nothing to forget"):
        room.pegs.forget("tove", 6)


@pytest.mark.parametrize(
    ("player", "quarters", "error"),
    [("tove", 25, UsageError), ("tove", -1, UsageError), ("nobody", 1, UnknownPlayerError)],
)
def test_what_nobody_can_have_turned_is_refused(room: Room, player, quarters, error) -> None:
    retune(room, 10.0)

    with pytest.raises(error):
        room.pegs.answer(player, 6, quarters)


def test_under_a_capo_it_is_the_peg_that_counts(room: Room) -> None:
    room.change_player("tove", capo=2, now_s=5.0)
    play(room, 1, E2 + 2, 6.0)
    room.change_player("tove", tuning="drop-d", capo=2, now_s=7.0)
    play(room, 1, D2 + 2, 9.0)
    room.pegs.answer("tove", 6, 4)

    (report,) = room.pegs.state()["told"][0]["reports"]

    assert report[0] == pytest.approx(1400.96, abs=0.01)  # E2 to D2 without a capo


def test_what_is_learned_outlives_a_restart_and_another_instrument(room: Room) -> None:
    learn(room, 4, 4, 4)
    room.change_player("tove", instrument="bass", now_s=60.0)
    assert room.pegs.told("tove")["strings"] == []
    stored = json.loads(json.dumps(room.state()))
    again = band(songs=False)

    assert again.restore(stored) == []
    again.change_player("tove", instrument="guitar", tuning="drop-d", now_s=2.0)

    assert [each["reports"] for each in again.pegs.told("tove")["strings"]] == [3]


def test_only_the_newest_answers_of_a_string_are_kept(room: Room) -> None:
    row = {"player": "tove", "instrument": "guitar", "string": 6}
    odd = [[1000.0, 9.0]] * 9
    room.pegs.restore({"told": [{**row, "reports": [*odd, *[[1000.0, 1.0]] * REPORTS_KEPT]}]})

    assert {each[1] for each in room.pegs.state()["told"][0]["reports"]} == {1.0}


def test_rows_that_fit_nothing_are_left_out(room: Room) -> None:
    good = {"player": "tove", "instrument": "guitar", "string": 6, "reports": [[1400.0, 1.0]]}
    bad = [
        None,
        {**good, "player": "gone"},
        {**good, "instrument": "kazoo"},
        {**good, "string": True},
        {**good, "reports": [[float("nan"), 1.0]]},
        {**good, "reports": [[1400.0]]},
        {**good, "reports": 7},
    ]

    assert room.pegs.restore({"told": [*bad, good], "silent": ["gone", 7, "tove"]}) == []

    assert [each["string"] for each in room.pegs.state()["told"]] == [6]
    assert room.pegs.state()["silent"] == ["tove"]
