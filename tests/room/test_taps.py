"""A drummer's taps in the room: which strokes count, when another drum begins, what is told."""

from __future__ import annotations

import json
from collections.abc import Iterable
from typing import Any

import pytest

from station.errors import UnknownPlayerError, UsageError
from station.measure.drums.types import Mode, Stroke, StrokeVerdict
from station.music.pitch import shift_cents
from station.room.parts import WantedEar
from station.room.room import Player, Reference, Room
from station.room.taps import LEFT_OUT_MAX, WANTED, Taps

G2_HZ = 97.9989  # equal temperament at A4 = 440 Hz (from memory)
OTHER_HZ = shift_cents(G2_HZ, 500.0)


def mode(hz: float, ring_s: float | None = 0.9) -> Mode:
    return Mode(hz, 0.5, 0.0, ring_s)


def stroke(
    at_s: float,
    cents: float = 0.0,
    *,
    hz: float = G2_HZ,
    verdict: StrokeVerdict = "good",
    line: int = 2,
    final: bool = True,
) -> Stroke:
    """A stroke whose overtone stands at 1.5 of its fundamental."""
    own, over = mode(shift_cents(hz, cents)), mode(1.5 * shift_cents(hz, cents), 0.4)
    return Stroke(line, at_s, own, over, None, (own, over), None, verdict, None, False, final=final)


def rim(at_s: float) -> Stroke:
    return Stroke(2, at_s, None, None, None, (), None, "rim", None, False)


def taps_of(*strokes: Stroke) -> Taps:
    taps = Taps()
    for each in strokes:
        taps.hear(each)
    return taps


def told(taps: Taps, a4_hz: float = 440.0) -> dict[str, Any]:
    return json.loads(json.dumps(taps.as_json(a4_hz), allow_nan=False))


def counted(taps: Taps) -> list[float]:
    """When the strokes that count were struck."""
    return [each["at_s"] for each in told(taps)["strokes"] if each["why"] is None]


def test_nothing_is_told_before_the_first_stroke() -> None:
    nothing = told(Taps())

    assert (nothing["tap"], nothing["last"], nothing["strokes"]) == (None, None, [])
    assert nothing["wanted"] == WANTED == 5


def test_five_strokes_make_one_tap_with_its_note_against_the_reference() -> None:
    taps = taps_of(*(stroke(at, cents) for at, cents in enumerate((-4.0, 2.0, 0.0, 3.0, -1.0))))

    tap = told(taps)["tap"]
    at_442 = told(taps, 442.0)["tap"]

    assert (tap["used"], tap["note"], tap["dropped"]) == (5, "G2", [])
    assert tap["cents"] == pytest.approx(0.0, abs=0.01)
    assert tap["overtone_hz"] == pytest.approx(1.5 * G2_HZ)
    assert (tap["ring_s"], tap["overtone_ring_s"]) == (0.9, 0.4)
    assert tap["spread_cents"] > 1.0
    # 442 Hz is 7.85 cents above 440 Hz: 1200 log2(442/440).
    assert at_442["cents"] == pytest.approx(-7.85, abs=0.02)


def test_the_newest_five_count() -> None:
    taps = taps_of(*(stroke(at, cents=3.0 * at) for at in range(8)))

    assert counted(taps) == [3, 4, 5, 6, 7]
    assert told(taps)["tap"]["used"] == WANTED
    assert told(taps)["tap"]["cents"] == pytest.approx(15.0, abs=0.01)


def test_a_stroke_told_again_takes_its_own_place() -> None:
    taps = taps_of(stroke(1.0), stroke(2.0, 40.0, final=False))

    taps.hear(stroke(2.0, 4.0))

    assert counted(taps) == [1.0, 2.0]
    assert told(taps)["tap"]["cents"] == pytest.approx(2.0, abs=0.01)
    assert told(taps)["last"]["cents"] == pytest.approx(4.0, abs=0.01)


def test_an_earlier_stroke_told_again_is_not_the_last_one() -> None:
    taps = taps_of(stroke(1.0, final=False), stroke(2.0, 10.0), stroke(1.0, 2.0))

    assert counted(taps) == [1.0, 2.0]
    assert told(taps)["last"]["at_s"] == 2.0


def test_a_stroke_that_counts_no_more_does_not_come_back_when_told_again() -> None:
    taps = taps_of(*(stroke(at) for at in range(7)))

    taps.hear(stroke(0, 90.0))

    assert counted(taps) == [2, 3, 4, 5, 6]


def test_a_bad_stroke_is_left_out_and_said_why() -> None:
    taps = taps_of(stroke(1.0), rim(2.0), stroke(3.0))

    said = told(taps)

    assert said["tap"]["used"] == 2
    assert [each["at_s"] for each in said["tap"]["dropped"]] == [2.0]
    assert [each["verdict"] for each in said["strokes"]] == ["good", "rim", "good"]
    assert "rim" in said["strokes"][1]["why"]
    assert said["strokes"][1]["fundamental_hz"] is None


def test_bad_strokes_alone_make_no_tap_but_are_said() -> None:
    said = told(taps_of(rim(1.0)))

    assert said["tap"] is None
    assert said["last"] == {
        "at_s": 1.0,
        "verdict": "rim",
        "fundamental_hz": None,
        "note": None,
        "cents": None,
    }
    assert said["strokes"][0]["why"]


def test_many_bad_strokes_push_out_no_good_one() -> None:
    taps = taps_of(*(stroke(at) for at in range(4)), *(rim(at) for at in range(10, 30)))

    assert counted(taps) == [0, 1, 2, 3]
    assert [each["at_s"] for each in told(taps)["strokes"][4:]] == [28, 29]
    assert len(told(taps)["tap"]["dropped"]) == LEFT_OUT_MAX


def test_one_stroke_on_another_drum_is_left_out() -> None:
    taps = taps_of(stroke(1.0), stroke(2.0), stroke(3.0, hz=OTHER_HZ), stroke(4.0))

    assert counted(taps) == [1.0, 2.0, 4.0]
    assert told(taps)["strokes"][2]["verdict"] == "other drum"
    assert (told(taps)["began"], told(taps)["last"]["note"]) == ("", "G2")


@pytest.mark.parametrize("before", [1, 2, 3, 5])
def test_two_strokes_in_a_row_on_another_drum_begin_anew_and_it_is_said(before: int) -> None:
    taps = taps_of(*(stroke(at) for at in range(before)))

    taps.hear(stroke(10.0, hz=OTHER_HZ))
    taps.hear(stroke(11.0, 6.0, hz=OTHER_HZ))

    assert counted(taps) == [10.0, 11.0]
    assert told(taps)["began"] == "another drum"
    assert told(taps)["tap"]["note"] == "C3"


def test_two_astray_that_do_not_agree_do_not_begin_anew() -> None:
    taps = taps_of(*(stroke(at) for at in range(3)))

    taps.hear(stroke(10.0, 500.0))
    taps.hear(stroke(11.0, 900.0))

    assert counted(taps) == [0, 1, 2]
    assert told(taps)["began"] == ""


def test_a_key_turned_by_a_semitone_is_the_same_drum() -> None:
    taps = taps_of(*(stroke(at) for at in range(3)), stroke(10.0, 100.0), stroke(11.0, 104.0))

    assert told(taps)["began"] == ""
    assert counted(taps) == [0, 1, 2, 10.0, 11.0]


def test_overtones_taken_for_the_fundamental_are_put_right_and_do_not_begin_anew() -> None:
    mistaken = [
        Stroke(
            2, at, mode(1.5 * G2_HZ), None, None, (mode(G2_HZ), mode(1.5 * G2_HZ)), None, "good",
            None, False, sure=False,
        )
        for at in (10.0, 11.0)
    ]  # fmt: skip

    taps = taps_of(*(stroke(at) for at in range(3)), *mistaken)

    assert counted(taps) == [0, 1, 2, 10.0, 11.0]
    assert told(taps)["began"] == ""
    assert told(taps)["strokes"][-1]["fundamental_hz"] == pytest.approx(G2_HZ)


def test_what_is_told_of_a_stroke_after_starting_over_does_not_bring_it_back() -> None:
    taps = taps_of(stroke(1.0), stroke(2.0, final=False))

    taps.start_over()
    taps.hear(stroke(2.0))

    assert told(taps)["strokes"] == []
    assert told(taps)["last"] is None


def test_a_line_that_counts_its_time_anew_is_heard_in_the_order_it_plays() -> None:
    taps = taps_of(*(stroke(100.0 + at) for at in range(5)), *(stroke(at) for at in range(3)))

    assert counted(taps) == [103.0, 104.0, 0, 1, 2]
    assert told(taps)["last"]["at_s"] == 2


def test_starting_over_forgets_all_but_how_often_it_changed() -> None:
    taps = taps_of(stroke(1.0), rim(2.0))
    before = taps.changes

    taps.start_over()

    assert {**told(taps), "changes": 0} == told(Taps())
    assert taps.changes > before


# -- in the room ------------------------------------------------------------

ODA = Player("oda", "Oda", "guitar", "standard", line=1)
TRES = Player("tres", "Tres", "drum-kit", line=2)


@pytest.fixture
def room() -> Room:
    return Room((ODA, TRES), Reference(440.0), lines=3)


def player(room: Room, player_id: str) -> dict[str, Any]:
    return next(each for each in room.snapshot(9.0)["players"] if each["id"] == player_id)


def hear(room: Room, strokes: Iterable[Stroke]) -> list[Any]:
    return room.hear_ear(WantedEar("strokes", 2), strokes, 9.0)


def test_strokes_of_a_line_are_its_drummers_and_nobody_elses(room: Room) -> None:
    events = hear(room, [stroke(1.0), stroke(2.0)])

    assert [(each.kind, each.key) for each in events] == [("stroke", "tres")] * 2
    assert [each.payload["taps"]["tap"]["used"] for each in events] == [1, 2]
    assert events[-1].payload["taps"] == player(room, "tres")["taps"]
    assert events[-1].payload["player"] == "tres"
    assert player(room, "oda")["taps"] is None


def test_strokes_are_listened_to_while_the_drummers_phone_is_here(room: Room) -> None:
    before = room.drum_lines()
    room.set_present(["oda", "tres"], 1.0)

    assert before == set()
    assert room.drum_lines() == {2}


def test_a_stroke_event_is_small(room: Room) -> None:
    events = hear(room, [stroke(float(at), at / 7) for at in range(5)] + [rim(8.0), rim(9.0)])

    told_last = json.dumps(events[-1].payload)

    assert len(told_last) < 3000
    assert len(told_last) < len(json.dumps(room.snapshot(9.0)))


def test_strokes_on_a_line_without_a_drummer_are_nobodys(room: Room) -> None:
    assert room.hear_ear(WantedEar("strokes", 1), [stroke(1.0, line=1)], 9.0) == []


def test_two_drummers_on_one_line_both_hear_it() -> None:
    other = Player("vera", "Vera", "drum-kit", line=2)
    room = Room((TRES, other), Reference(440.0), lines=2)

    events = hear(room, [stroke(1.0)])

    assert [each.key for each in events] == ["tres", "vera"]


def test_the_drummer_starts_over(room: Room) -> None:
    hear(room, [stroke(1.0)])

    events = room.start_taps_again("tres", "tres", 10.0)

    assert [each.kind for each in events] == ["room"]
    assert player(room, "tres")["taps"]["strokes"] == []


def test_only_a_drummers_taps_start_over(room: Room) -> None:
    with pytest.raises(UsageError, match="only drums are tapped"):
        room.start_taps_again("oda", "tres", 10.0)
    with pytest.raises(UnknownPlayerError):
        room.start_taps_again("nobody", "tres", 10.0)


def test_a_new_reference_renames_what_was_tapped_and_forgets_nothing(room: Room) -> None:
    hear(room, [stroke(1.0)])

    room.set_reference(452.0, "tres", "typed", "2031-03-04T18:42:00Z", 10.0)
    taps = player(room, "tres")["taps"]

    # 452 Hz is 46.6 cents above 440 Hz: 1200 log2(452/440).
    assert (taps["tap"]["note"], taps["tap"]["used"]) == ("G2", 1)
    assert taps["tap"]["cents"] == pytest.approx(-46.6, abs=0.05)


def test_a_drummer_keeps_the_taps_with_a_new_name_and_loses_them_with_another_line(
    room: Room,
) -> None:
    hear(room, [stroke(1.0)])
    first = player(room, "tres")["taps"]

    room.change_player("tres", name="Tres the Second")
    renamed = player(room, "tres")["taps"]
    room.change_player("tres", line=3)
    moved = player(room, "tres")["taps"]

    assert renamed == first
    assert moved["strokes"] == []
    assert moved["changes"] > first["changes"]


def test_who_takes_up_the_drums_has_taps_and_who_leaves_them_has_none(room: Room) -> None:
    room.change_player("oda", instrument="drum-kit")
    room.change_player("tres", instrument="guitar")

    assert player(room, "oda")["taps"]["wanted"] == WANTED
    assert player(room, "tres")["taps"] is None
