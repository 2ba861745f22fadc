import csv
import io

import pytest

from station.web.openapi import describe_api
from tests.support.page_client import change, event_stream, one_line, wait_until
from tests.support.page_server import CODE
from tests.support.schema import faults

API = describe_api()


def as_described(told, name):
    return faults(told, API["components"]["schemas"][name], API)


def test_a_proposal_waits_for_everyone_present_and_is_then_the_reference(post, put, station):
    station.on_presence(["tove", "brannock"])

    proposed = post("proposals", by="tove", kind="typed", a4_hz=441.5)
    waiting = proposed.get_json()
    number = waiting["proposal"]["id"]
    answered = put(f"proposals/{number}/answers/brannock", answer="yes").get_json()

    assert proposed.status_code == 201
    assert (waiting["adopted"], waiting["reference"]["a4_hz"]) == (False, 440.0)
    assert waiting["proposal"]["waiting_for"] == ["brannock"]
    assert (answered["adopted"], answered["proposal"]) == (True, None)
    assert answered["reference"]["a4_hz"] == 441.5
    assert answered["reference"]["agreed"] == ["Tove", "Brannock"]
    assert as_described(waiting, "Decision") == as_described(answered, "Decision") == []


def test_a_proposal_of_somebody_alone_is_adopted_at_once(post, station):
    station.on_presence(["tove"])

    told = post("proposals", by="tove", kind="typed", a4_hz=442).get_json()

    assert (told["adopted"], told["reference"]["a4_hz"]) == (True, 442.0)


def test_not_yet_is_an_answer_that_can_become_a_yes(post, put, station):
    station.on_presence(["tove", "ilse"])
    number = post("proposals", by="tove", kind="typed", a4_hz=442).get_json()["proposal"]["id"]

    reluctant = put(f"proposals/{number}/answers/ilse", answer="not yet").get_json()
    willing = put(f"proposals/{number}/answers/ilse", answer="yes").get_json()

    assert reluctant["proposal"]["not_yet"] == ["ilse"]
    assert willing["adopted"] is True


def test_what_was_measured_and_a_compromise_are_proposed_by_name(post, station):
    station.on_presence(["tove", "brannock"])
    station.measure_whole("ilse", "equal keyboard")
    station.measure_whole("tove", "just harp")

    measured = post("proposals", by="tove", kind="measured", instrument="ilse").get_json()
    worst = post("proposals", by="tove", kind="compromise").get_json()
    mean = post("proposals", by="tove", kind="compromise", rule="mean").get_json()

    assert measured["proposal"]["a4_hz"] == 441.3
    assert "Ilse's keyboard" in measured["proposal"]["reason"]
    # Half-way in cents between 441.3 and 442.6 Hz: their geometric mean.
    assert worst["proposal"]["a4_hz"] == pytest.approx((441.3 * 442.6) ** 0.5)
    assert mean["proposal"]["kind"] == "compromise"


def test_a_proposal_that_is_gone_is_told_with_what_became_of_it(post, put, station):
    station.on_presence(["tove", "brannock"])
    number = post("proposals", by="tove", kind="typed", a4_hz=442).get_json()["proposal"]["id"]
    withdrawn = post(f"proposals/{number}/withdraw", by="tove")

    late = put(f"proposals/{number}/answers/brannock", answer="yes")

    assert withdrawn.get_json()["proposal"] is None
    assert as_described(withdrawn.get_json(), "Decision") == []
    assert late.status_code == 409
    assert "Tove withdrew it" in one_line(late.get_json())
    assert station.snapshot()["reference"]["a4_hz"] == 440.0


def test_nobody_withdraws_what_another_proposed(post, station):
    station.on_presence(["tove", "brannock"])
    number = post("proposals", by="tove", kind="typed", a4_hz=442).get_json()["proposal"]["id"]

    refused = post(f"proposals/{number}/withdraw", by="brannock")

    assert refused.status_code == 409
    assert "Tove" in one_line(refused.get_json())
    assert len(station.snapshot()["agreement"]["proposals"]) == 1


def test_nobody_sets_the_reference_over_the_heads_of_those_present(put, station):
    station.on_presence(["tove", "brannock"])

    refused = put("reference", a4_hz=442, by="tove")
    station.decide_by("tove")
    by_another = put("reference", a4_hz=442, by="brannock")
    by_the_leader = put("reference", a4_hz=442, by="tove")

    assert (refused.status_code, by_another.status_code) == (409, 409)
    assert "Brannock" in one_line(refused.get_json())
    assert by_the_leader.get_json()["a4_hz"] == 442.0


def test_undo_goes_back_one_step_and_no_further_than_there_is(post, put):
    set_first = put("reference", a4_hz=441, by="tove").get_json()

    undone = post("reference/undo", by="tove")
    again = post("reference/undo", by="tove")

    assert set_first["undo_hz"] == 440.0
    assert (undone.get_json()["a4_hz"], undone.get_json()["undo_hz"]) == (440.0, None)
    assert as_described(undone.get_json(), "Reference") == []
    assert again.status_code == 409
    one_line(again.get_json())


def test_every_reference_is_told_newest_first_and_as_a_table(client, post, put):
    put("reference", a4_hz=441, by="tove")
    put("reference", a4_hz=442, by="=HYPERLINK(1)")
    post("reference/undo", by="tove")

    told = client.get("/api/v1/references").get_json()
    answer = client.get("/api/v1/references.csv")
    table = list(csv.DictReader(io.StringIO(answer.get_data(as_text=True))))

    assert [each["kind"] for each in told["references"]] == ["undone", "set", "set"]
    assert [each["a4_hz"] for each in told["references"]] == [441.0, 442.0, 441.0]
    assert as_described(told, "References") == []
    assert [float(row["a4_hz"]) for row in table] == [441.0, 442.0, 441.0]
    # A spreadsheet must not take a name for a formula.
    assert table[1]["by"] == "'=HYPERLINK(1)"


def test_the_table_is_a_file_to_keep(client):
    answer = client.get("/api/v1/references.csv")

    assert answer.mimetype == "text/csv"
    assert answer.headers["Content-Disposition"] == 'attachment; filename="references.csv"'
    assert answer.headers["X-Content-Type-Options"] == "nosniff"
    assert answer.headers["Cache-Control"] == "no-store"


JUNK = [
    ("POST", "proposals", {"kind": "typed", "a4_hz": 441}, "by must be"),
    ("POST", "proposals", {"by": "tove"}, "kind must be one of standard, typed"),
    ("POST", "proposals", {"by": "tove", "kind": "loud"}, "kind must be one of"),
    ("POST", "proposals", {"by": "tove", "kind": ["typed"]}, "kind must be one of"),
    ("POST", "proposals", {"by": "x" * 41, "kind": "standard"}, "by must be 1 to 40"),
    ("POST", "proposals", {"by": {"id": 1}, "kind": "standard"}, "by must be 1 to 40"),
    ("POST", "proposals", {"by": "tove", "kind": "typed"}, "a4_hz must be a number"),
    ("POST", "proposals", {"by": "tove", "kind": "typed", "a4_hz": "441"}, "must be a number"),
    ("POST", "proposals", {"by": "tove", "kind": "typed", "a4_hz": 44.1}, "390 to 470"),
    ("POST", "proposals", {"by": "tove", "kind": "standard", "a4_hz": 441}, "'typed'"),
    ("POST", "proposals", {"by": "tove", "kind": "measured"}, "instrument must be"),
    ("POST", "proposals", {"by": "tove", "kind": "typed", "a4_hz": 441, "rule": "mean"}, "rule"),
    ("POST", "proposals", {"by": "tove", "kind": "compromise", "rule": "best"}, "worst, mean"),
    ("POST", "proposals", {"by": "tove", "kind": "standard", "reason": "so"}, "cannot be set"),
    ("PUT", "proposals/1/answers/tove", {"answer": "no"}, "yes, not yet"),
    ("PUT", "proposals/1/answers/tove", {"answer": True}, "yes, not yet"),
    ("PUT", "proposals/1/answers/tove", {"yes": True}, "cannot be set"),
    ("POST", "proposals/1/withdraw", {}, "JSON object with by"),
    ("POST", "reference/undo", {"by": ""}, "by must be 1 to 40"),
    ("POST", "reference/undo", {"by": 7}, "by must be 1 to 40"),
]


@pytest.mark.parametrize(("method", "path", "body", "told"), JUNK)
def test_what_cannot_be_meant_gets_one_line_and_changes_nothing(
    client, station, method, path, body, told
):
    before = station.snapshot()

    answer = client.open(f"/api/v1/{path}", method=method, json=body, headers=CODE)

    assert answer.status_code == 400
    assert told in one_line(answer.get_json())
    assert station.snapshot() == before


@pytest.mark.parametrize(
    ("method", "path", "body", "status"),
    [
        ("PUT", "proposals/one/answers/tove", {"answer": "yes"}, 404),
        ("PUT", "proposals/99/answers/tove", {"answer": "yes"}, 409),
        ("PUT", "proposals/99999999999999999999/answers/tove", {"answer": "yes"}, 404),
        ("POST", "proposals/-1/withdraw", {"by": "tove"}, 404),
        ("POST", "proposals", {"by": "tove", "kind": "measured", "instrument": "none"}, 404),
        ("POST", "proposals", {"by": "tove", "kind": "compromise"}, 409),
        ("GET", "proposals", None, 405),
        ("DELETE", "proposals/1/answers/tove", {"answer": "yes"}, 405),
    ],
)
def test_who_or_what_the_room_does_not_know_is_said(client, method, path, body, status):
    answer = client.open(f"/api/v1/{path}", method=method, json=body, headers=CODE)

    assert answer.status_code == status
    one_line(answer.get_json())


def test_nobody_answers_for_a_player_the_room_does_not_know(post, put, station):
    station.on_presence(["tove", "brannock"])
    number = post("proposals", by="tove", kind="typed", a4_hz=442).get_json()["proposal"]["id"]

    refused = put(f"proposals/{number}/answers/nobody", answer="yes")

    assert refused.status_code == 404
    assert "nobody" in one_line(refused.get_json())


def test_a_store_that_fails_is_said_and_nothing_is_adopted(post, station):
    station.storage_fails = True

    answer = post("proposals", by="tove", kind="standard")

    assert answer.status_code == 503
    assert "read-only" in one_line(answer.get_json())


def test_two_phones_agree_over_the_network(station, server):
    with (
        event_stream(server.port, player="tove") as tove,
        event_stream(server.port, player="brannock") as brannock,
    ):
        tove.until("room")
        brannock.until("room")
        wait_until(lambda: len(station.snapshot()["agreement"]["present"]) == 2)
        body = {"by": "tove", "kind": "typed", "a4_hz": 441.5}
        proposed = change(server.port, "/api/v1/proposals", body)
        seen = next(
            room["agreement"]["proposals"][0]
            for kind, room in brannock
            if kind == "room" and room["agreement"]["proposals"]
        )
        path = f"/api/v1/proposals/{seen['id']}/answers/brannock"
        answered = change(server.port, path, {"answer": "yes"}, method="PUT")
        agreed = next(
            room["reference"]
            for kind, room in tove
            if kind == "room" and room["reference"]["agreed"]
        )

    assert (proposed.status, answered.status) == (201, 200)
    assert (seen["by_name"], seen["waiting_for"]) == ("Tove", ["brannock"])
    assert (agreed["a4_hz"], agreed["agreed"]) == (441.5, ["Tove", "Brannock"])


def test_a_phone_that_vanishes_no_longer_holds_the_others_up(post, station):
    station.on_presence(["tove", "brannock"])
    post("proposals", by="tove", kind="typed", a4_hz=441.5)

    station.on_presence(["tove"])
    at_once = station.snapshot()
    station.let_time_pass(31.0)
    later = station.snapshot()

    assert at_once["agreement"]["present"] == ["tove", "brannock"]
    assert (at_once["reference"]["a4_hz"], later["reference"]["a4_hz"]) == (440.0, 441.5)
    assert station.references()[0]["away"] == ["Brannock"]
