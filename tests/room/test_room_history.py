"""The log's entries as JSON and as a table that no spreadsheet runs."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.room.history import COLUMNS, LogEntry, measured_words, merged, to_csv, to_json

HARP = {
    "name": "Sanna's harmonica",
    "a4_hz": 441.234,
    "uncertainty_cents": 0.21,
    "temperament": "just",
    "root": "C",
}
PIANO = HARP | {"name": "Pia's piano", "a4_hz": 440.5, "temperament": None, "root": None}
ADOPTED = LogEntry(
    7,
    "2031-05-06T18:00:00Z",
    441.234,
    "adopted",
    "Sanna",
    "measured from Sanna's harmonica, ±0.21 cents",
    ("Sanna", "Bram"),
    ("Ivo",),
    {"instruments": [HARP]},
)
SET = LogEntry(6, "2031-05-06T17:00:00Z", 440.0, "set", "Ivo", "set on the page")


def table(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text, newline="")))


def test_an_entry_as_json_has_what_the_page_is_promised():
    (entry,) = json.loads(json.dumps(to_json([ADOPTED])))

    assert entry == {
        "serial": 7,
        "at": "2031-05-06T18:00:00Z",
        "a4_hz": 441.234,
        "kind": "adopted",
        "by": "Sanna",
        "source": "measured from Sanna's harmonica, ±0.21 cents",
        "agreed": ["Sanna", "Bram"],
        "away": ["Ivo"],
        "evidence": {"instruments": [HARP]},
    }


def test_the_table_has_a_header_and_a_row_an_entry():
    first, second = table(to_csv([ADOPTED, SET]))

    assert tuple(first) == COLUMNS
    assert first["a4_hz"] == "441.2340"
    assert first["agreed"] == "Sanna; Bram"
    assert first["away"] == "Ivo"
    assert first["measured"] == "Sanna's harmonica 441.23 Hz ± 0.21 cents, just in C"
    assert json.loads(first["evidence"]) == {"instruments": [HARP]}
    assert (second["measured"], second["evidence"]) == ("", "")


def test_the_table_of_nothing_is_its_header():
    assert to_csv([]) == ",".join(COLUMNS) + "\r\n"


# What spreadsheets take for a formula: OWASP, "CSV Injection" (from memory).
@pytest.mark.parametrize("name", ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1"])
def test_a_name_that_looks_like_a_formula_is_text_in_the_table(name):
    (row,) = table(to_csv([replace(SET, by=name, agreed=(name, "Bram"))]))

    assert row["by"] == f"'{name}"
    assert row["agreed"] == f"'{name}; Bram"


@given(st.text(max_size=20), st.text(max_size=20))
def test_whatever_people_are_called_no_cell_is_a_formula_and_no_row_is_broken(by, source):
    entry = replace(SET, by=by, source=source)

    (row,) = table(to_csv([entry]))

    assert not row["by"].startswith(("=", "+", "-", "@", "\t", "\r"))
    assert (row["by"].removeprefix("'"), row["source"].removeprefix("'")) == (
        by.removeprefix("'"),
        source.removeprefix("'"),
    )


def test_stored_and_recent_entries_come_together_newest_first_and_once():
    newer = replace(SET, serial=8)

    assert merged([ADOPTED, SET], [ADOPTED, newer]) == [newer, ADOPTED, SET]


@pytest.mark.parametrize(
    ("evidence", "words"),
    [
        (None, []),
        ({}, []),
        ({"instruments": 3}, []),
        ({"instruments": [None, {"name": "x"}, HARP | {"a4_hz": "440"}]}, []),
        (
            {"instruments": [HARP, PIANO]},
            [
                "Sanna's harmonica 441.23 Hz ± 0.21 cents, just in C",
                "Pia's piano 440.50 Hz ± 0.21 cents",
            ],
        ),
    ],
)
def test_evidence_is_told_in_words_as_far_as_it_can_be_read(evidence, words):
    assert measured_words(evidence) == words


def test_a_temperament_is_told_with_its_odds_against_the_runner_up():
    shares = [("Werckmeister III", 0.86), ("Vallotti", 0.1426), ("Young", 0.001)]
    rows = [{"temperament": name, "root": "C", "probability": each} for name, each in shares]
    keyboard = HARP | {"temperament": "Werckmeister III", "root": "C", "evidence": rows}

    (words,) = measured_words({"instruments": [keyboard]})

    assert words.endswith(", Werckmeister III in C (86 %, 6 to 1 against Vallotti)")


@pytest.mark.parametrize(
    "evidence", [None, 7, [], [{}], [{"probability": "much"}], [{"probability": 0.0}] * 2]
)
def test_odd_evidence_of_a_temperament_costs_its_odds_alone(evidence):
    (words,) = measured_words({"instruments": [HARP | {"evidence": evidence}]})

    assert "just" in words
    assert "against" not in words
