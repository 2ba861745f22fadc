"""What requests may hold: each key is what its model says, or is refused in one line."""

from __future__ import annotations

import sys
from typing import Annotated, Any, Literal

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import Field

from station.errors import PageRequestError
from station.web.models.bench import GaugeQuery
from station.web.models.measuring import PlayTone
from station.web.models.plain import Must
from station.web.models.reference import ProposalAddress
from station.web.models.room import ChangePlayer
from station.web.models.words import Body, MaybeText, Number, ShortText, YesOrNo


class Asks(Body):
    """One key of each kind."""

    number: Number = 0.0
    level: Annotated[float, Field(ge=-60, le=-20), Must("be a number")] = -60
    name: ShortText = "nobody"
    place: MaybeText = ""
    answer: Literal["yes", "not yet"] = "yes"
    quiet: YesOrNo = False


@pytest.mark.parametrize("value", [True, None, "440", [], 1e400, -1e400, float("nan")])
def test_a_number_is_a_finite_json_number(value: Any) -> None:
    with pytest.raises(PageRequestError, match="number must be a number"):
        Asks.model_validate({"number": value})


@pytest.mark.parametrize("value", ["", "  ", "x" * 41, "a\x00b", "a\u202eb", "\ud800", 7, None])
def test_a_name_is_one_short_printable_line(value: Any) -> None:
    with pytest.raises(PageRequestError, match="name must be 1 to 40 printable characters"):
        Asks.model_validate({"name": value})


def test_white_space_in_a_name_is_tidied() -> None:
    assert Asks.model_validate({"name": " Tove\n the\tTall "}).name == "Tove the Tall"


@given(st.characters())
def test_a_sign_is_taken_where_python_would_print_it_or_tidy_it_away(sign: str) -> None:
    text = f"a{sign}b"

    if " ".join(text.split()).isprintable():
        assert Asks.model_validate({"name": text}).name == " ".join(text.split())
    else:
        with pytest.raises(PageRequestError, match="printable"):
            Asks.model_validate({"name": text})


def test_the_pattern_refuses_nothing_that_python_prints() -> None:
    signs = [chr(code) for code in range(sys.maxunicode + 1)]
    printed = [sign for sign in signs if sign.isprintable()]

    for first in range(0, len(printed), 38):
        text = "a" + "".join(printed[first : first + 38]) + "b"
        assert Asks.model_validate({"name": text}).name == " ".join(text.split())


@pytest.mark.parametrize(("value", "told"), [(-61, "the least is -60"), (-19.5, "the most is -20")])
def test_a_number_beyond_its_limits_is_told_with_value_and_limit(value: float, told: str) -> None:
    with pytest.raises(PageRequestError, match=f"level is {value:g}: {told}"):
        Asks.model_validate({"level": value})


def test_the_limits_themselves_are_within() -> None:
    assert Asks.model_validate({"level": -60}).level == -60
    assert Asks.model_validate({"level": -20}).level == -20


@pytest.mark.parametrize("value", ["Yes", "", 1, True, None, ["yes"], {"yes": 1}, "x" * 9000])
def test_only_the_words_that_are_known_are_taken(value: Any) -> None:
    with pytest.raises(PageRequestError, match="answer must be one of yes, not yet") as refused:
        Asks.model_validate({"answer": value})

    assert len(str(refused.value)) < 120


@pytest.mark.parametrize("value", [0, 1, "true", None, []])
def test_yes_or_no_is_a_json_boolean(value: Any) -> None:
    with pytest.raises(PageRequestError, match="quiet must be true or false"):
        Asks.model_validate({"quiet": value})


def test_what_is_not_known_is_told_before_what_is_wrong() -> None:
    with pytest.raises(PageRequestError, match="'shoe_size' cannot be set here; known: note, voi"):
        PlayTone.model_validate({"note": 7, "shoe_size": 44})


@pytest.mark.parametrize("value", [{}, {"4": -5.865, "12": 0}, "pure fifths", "none"])
def test_offsets_are_a_table_by_string_or_a_word(value: Any) -> None:
    asked = ChangePlayer.model_validate({"offsets_cents": value})

    assert asked.changes() == {"offsets_cents": value}


@pytest.mark.parametrize(
    "value",
    [
        "perfect",
        [],
        None,
        7,
        {"": 1},
        {"4.0": 1},
        {"-4": 1},
        {"04": 1},
        {"٤": 1},
        {"9" * 5000: 1},
        {"4": "1"},
        {"4": True},
        {"4": 1e400},
        {"4": {}},
        {str(number): 1 for number in range(1, 66)},
    ],
    ids=lambda value: repr(value)[:20],
)
def test_offsets_that_cannot_be_meant_are_refused_in_one_line(value: Any) -> None:
    with pytest.raises(PageRequestError, match="offsets_cents") as refused:
        ChangePlayer.model_validate({"offsets_cents": value})

    assert "\n" not in str(refused.value) and len(str(refused.value)) < 120


@given(st.text())
def test_an_id_in_an_address_is_a_number_or_nobodys(written: str) -> None:
    try:
        number = ProposalAddress.model_validate({"proposal_id": written}).proposal_id
    except PageRequestError as refused:
        assert refused.status == 404
        assert len(str(refused).splitlines()) == 1
    else:
        assert written.lstrip("0") in (str(number), "")


@pytest.mark.parametrize("written", ["", "-1", "1.0", "²", "1" * 10, "9" * 5000, "one"])
def test_an_id_that_is_no_number_is_nobodys(written: str) -> None:
    with pytest.raises(PageRequestError, match="there is no proposal") as refused:
        ProposalAddress.model_validate({"proposal_id": written})

    assert refused.value.status == 404


@pytest.mark.parametrize("text", ["a\tb", "a\x00b", "x" * 201, "a\u00a0b", "a\u202eb"])
def test_what_stands_in_an_address_is_printable_and_not_too_long(text: str) -> None:
    with pytest.raises(PageRequestError, match="to must be at most 200 printable characters"):
        GaugeQuery.model_validate({"to": text})
