"""A set as plain data, and what is advised."""

from __future__ import annotations

import json
import math
from typing import Any

import pytest

from station.music.gauge_set import set_on_instrument, strings_alone, targets_in
from station.music.gauge_view import Wishes, gauge_view
from station.music.tunings import find_tuning

GUITAR = find_tuning("guitar")
TENS = set_on_instrument(GUITAR, ".010,.013,.017,.026w,.036w,.046w", 0.6477)


def to(name: str, **other: Any) -> Wishes:
    full, targets = targets_in(GUITAR, name)
    return Wishes(targets, full, **other)


def test_a_set_that_is_well_needs_no_advice() -> None:
    view = gauge_view(TENS)

    assert view["advice"] == []
    assert view["target"] is None
    assert view["load"]["verdict"] == "within"
    assert view["load"]["total_n"] == pytest.approx(sum(r["tension_n"] for r in view["strings"]))
    assert view["load"]["count"] == 6
    assert len(view["cautions"]) == 3


def test_every_number_can_be_sent_as_json() -> None:
    wishes = to("drop-c", bending=True, degrees=-8.0, measured={6: 6e-5, 1: 1e-5})

    text = json.dumps(gauge_view(TENS, wishes), allow_nan=False)

    assert json.loads(text)["strings"][5]["keep"]["note"] == "C2"


def test_a_row_tells_both_units_alike() -> None:
    for row in gauge_view(TENS)["strings"]:
        assert row["tension_n"] / row["tension_lb"] == pytest.approx(4.4482216152605)
        assert row["gauge_mm"] / row["gauge_in"] == pytest.approx(25.4)
        assert row["core_mm"] / row["core_in"] == pytest.approx(25.4)
        assert row["unit_kg_m"] / row["unit_lb_in"] == pytest.approx(17.857967323)
        assert row["margin_percent"] == pytest.approx(100 * (1 - row["load"]))
        assert row["cents_per_degree"] < 0 < row["cents_per_degree_uncertainty"]


def test_drop_d_slackens_one_string_and_another_gauge_brings_its_pull_back() -> None:
    view = gauge_view(TENS, to("drop-d"))

    *others, low = [row["keep"] for row in view["strings"]]
    assert all(not keep["other"]["changed"] for keep in others)
    assert low["same"]["percent"] == pytest.approx(100 * (2 ** (-1 / 3) - 1))  # two semitones
    assert low["other"]["gauge"] == ".052w"
    assert abs(low["other"]["percent"]) < 2
    assert abs(view["target"]["percent"]) < 0.5 < abs(view["target"]["same_percent"])


def test_too_tight_a_string_is_advised_against_first() -> None:
    strings = set_on_instrument(find_tuning("guitar-12"), "10,10,14,14,23,9,30,12,39,18,47,27")

    view = gauge_view(strings)

    # common practice: the octave G of a 12-string guitar is the one that breaks
    assert [row["verdict"] for row in view["strings"]].count("near the limit") == 1
    assert view["advice"][0].startswith("String 5, G3") or view["advice"][0].startswith(
        "String 6, G4"
    )
    assert view["load"]["verdict"] == "near the limit"


def test_a_tuning_that_would_break_the_same_strings_is_said() -> None:
    strings = strings_alone(["E4:.010", "B3:.013", "G3:.017"], 0.6477)

    view = gauge_view(strings, Wishes([("A4", 440.0), ("B3", 246.94), ("G3", 196.0)], "raised"))

    assert view["advice"][0].startswith("String 1 as it is, tuned to A4: too tight")


def test_a_gauge_out_of_line_is_asked_about() -> None:
    view = gauge_view(set_on_instrument(GUITAR, "10,13,17,26,36,80"))

    [said] = view["advice"]
    assert said.startswith("String 6, E2, pulls 2.9 times")


def test_a_heavier_set_may_want_a_repairer() -> None:
    view = gauge_view(TENS, Wishes(pull_n=90.0))

    assert "a repairer does that" in view["advice"][-1]
    assert view["target"]["wished_n"] == 90.0


def test_the_cold_alone_may_take_a_string_past_its_limit() -> None:
    [string] = strings_alone(["G4:.010"], 0.6477)  # half a semitone from its limit
    assert 0 < string.room_cents < 50

    view = gauge_view([string], Wishes(degrees=-60.0))

    assert any("the cold alone" in line for line in view["advice"])
    assert not any("the cold alone" in line for line in gauge_view([string])["advice"])


def test_measured_inharmonicity_stands_beside_the_predicted() -> None:
    predicted = [row["inharmonicity"] for row in gauge_view(TENS)["strings"]]

    measured = {1: predicted[0], 2: 3 * predicted[1], 3: predicted[2] / 3, 6: 1.5 * predicted[5]}
    rows = gauge_view(TENS, Wishes(measured=measured))["strings"]

    assert [None if r["measured"] is None else round(r["measured"]["ratio"], 6) for r in rows] == [
        1.0, 3.0, 0.333333, None, None, 1.5,
    ]  # fmt: skip
    words = [r["measured"]["says"] for r in (rows[0], rows[1], rows[2], rows[5])]
    assert words[0] == words[3] == "as its wire predicts"
    assert words[1].startswith("stiffer than predicted")
    assert words[2].startswith("less stiff than predicted")
    core = rows[5]["measured"]["core_in"] / rows[5]["core_in"]
    assert core == pytest.approx(1.5**0.25)


def test_degrees_are_told_in_three_ways() -> None:
    rows = gauge_view(TENS, Wishes(degrees=-8.0))["strings"]

    for row in rows:
        drift = row["drift"]
        assert drift["first_cents"] > drift["cents"] > 5 > abs(drift["free_cents"])
        assert drift["cents"] == pytest.approx(-8 * row["cents_per_degree"], rel=0.02)


def test_what_is_not_known_is_none_and_said() -> None:
    strings = strings_alone(["E4:.028:nylon", "A2:unit=3.4g/m"], 0.65)

    view = gauge_view(strings, Wishes([("D4", 293.66), ("G2", 98.0)], "down", degrees=-5.0))

    nylon, weight = view["strings"]
    assert nylon["cents_per_degree"] is None and nylon["drift"] is None
    assert "moisture" in view["heat"]["why_not"]
    assert weight["load"] is None and weight["inharmonicity"] is None
    assert weight["keep"]["other"] is None
    assert weight["keep"]["same"]["percent"] == pytest.approx(100 * ((98 / 110) ** 2 - 1))
    assert view["load"]["unknown"] == 1
    assert math.isfinite(view["target"]["total_n"])
