import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.errors import PageRequestError
from station.web import fields


@pytest.mark.parametrize("value", [True, None, "440", [], 1e400, -1e400, float("nan")])
def test_a_number_is_a_finite_json_number(value):
    with pytest.raises(PageRequestError, match="a4_hz must be a number"):
        fields.number({"a4_hz": value}, "a4_hz")


@pytest.mark.parametrize("value", ["", "  ", "x" * 41, "a\x00b", "a\u202eb", 7, None])
def test_a_name_is_one_short_printable_line(value):
    with pytest.raises(PageRequestError, match="name must be 1 to 40 printable characters"):
        fields.short_text({"name": value}, "name")


def test_white_space_in_a_name_is_tidied():
    assert fields.short_text({"name": " Tove\n the\tTall "}, "name") == "Tove the Tall"


@pytest.mark.parametrize(("value", "told"), [(-61, "the least is -60"), (-19.5, "the most is -20")])
def test_a_number_beyond_its_limits_is_told_with_value_and_limit(value, told):
    with pytest.raises(PageRequestError, match=f"level_dbfs is {value:g}: {told}"):
        fields.number({"level_dbfs": value}, "level_dbfs", -60, -20)


def test_the_limits_themselves_are_within():
    assert fields.number({"level_dbfs": -60}, "level_dbfs", -60, -20) == -60
    assert fields.number({"level_dbfs": -20}, "level_dbfs", -60, -20) == -20


@pytest.mark.parametrize("value", ["Yes", "", 1, True, None, ["yes"], {"yes": 1}, "x" * 9000])
def test_only_the_words_that_are_known_are_taken(value):
    with pytest.raises(PageRequestError, match="answer must be one of yes, not yet") as refused:
        fields.one_of({"answer": value}, "answer", ("yes", "not yet"))

    assert len(str(refused.value)) < 120


@pytest.mark.parametrize("value", [0, 1, "true", None, []])
def test_yes_or_no_is_a_json_boolean(value):
    with pytest.raises(PageRequestError, match="quiet must be true or false"):
        fields.yes_or_no({"quiet": value}, "quiet")


@pytest.mark.parametrize("value", [{}, {"4": -5.865, "12": 0}, "pure fifths", "none"])
def test_offsets_are_a_table_by_string_or_a_word(value):
    body = {"offsets_cents": value}

    assert fields.offsets_cents(body, "offsets_cents", ("pure fifths", "none")) == value


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
def test_offsets_that_cannot_be_meant_are_refused_in_one_line(value):
    with pytest.raises(PageRequestError, match="offsets_cents") as refused:
        fields.offsets_cents({"offsets_cents": value}, "offsets_cents", ("pure fifths", "none"))

    assert "\n" not in str(refused.value) and len(str(refused.value)) < 120


@given(st.text())
def test_an_id_in_an_address_is_a_number_or_nobodys(written):
    try:
        number = fields.path_id(written, "proposal")
    except PageRequestError as refused:
        assert refused.status == 404
        assert len(str(refused).splitlines()) == 1
    else:
        assert written.lstrip("0") in (str(number), "")


@pytest.mark.parametrize("written", ["", "-1", "1.0", "²", "1" * 10, "9" * 5000, "one"])
def test_an_id_that_is_no_number_is_nobodys(written):
    with pytest.raises(PageRequestError, match="there is no proposal") as refused:
        fields.path_id(written, "proposal")

    assert refused.value.status == 404
