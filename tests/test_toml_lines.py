"""Where the keys stand, checked against texts whose lines are known as they are written."""

from __future__ import annotations

import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.toml_lines import key_lines, line_of


def test_values_that_look_like_keys_and_headers_are_stepped_over():
    text = '''
a = """
[not]
b = 1
\\""" still text
"""
c = \'\'\'
d = 2
\'\'\'
e = [
  "f = 3", # ] not the end
  { g = "]" },
]
h = "# no comment"
[i] # j = 4
"k.l" = { m = 1,  n = 2 }
o . p = 'q"'
[[r]]
s = 1
[[r]]
s = 2
[r.t]
u = 3
'''

    assert key_lines(text) == {
        ("a",): 2,
        ("c",): 7,
        ("e",): 10,
        ("h",): 14,
        ("i",): 15,
        ("i", "k.l"): 16,
        ("i", "o"): 17,
        ("i", "o", "p"): 17,
        ("r",): 18,
        ("r", 0): 18,
        ("r", 0, "s"): 19,
        ("r", 1): 20,
        ("r", 1, "s"): 21,
        ("r", 1, "t"): 22,
        ("r", 1, "t", "u"): 23,
    }


def test_a_key_inside_an_inline_table_is_found_at_the_key_that_holds_it():
    lines = key_lines('\ninput = { rate_hz = 1,\n device = "x" }\n'.replace(",\n", ","))

    assert line_of(lines, ("input", "rate_hz")) == 2
    assert line_of(lines, ("nowhere",)) == 1


# Values chosen to look like anything but values; all are TOML.
AWKWARD = [
    "1",
    '"[x]"',
    "'a = \"b'",
    '"""\nx = 1\n[y]\n"""',
    '""""quoted" at the start"""',
    "'''\n'' z = 2\n'''",
    '"""ends in a quote\\""""',
    '"""two at the end"""""',
    '[1, 2, # ]\n "]",\n [3]]',
    '{ a = "}", b = [1, 2] }',
    "1979-05-27T07:32:00Z",
    '"esc \\" # ["  # comment = 3',
    "[]",
]
keys = st.text("abc_-9", min_size=1, max_size=4)
quoted = st.sampled_from(['"a b"', "'c.d'", '"#"', "'[x]'", '"="'])


@st.composite
def documents(draw):
    """A TOML text with the line of each of its keys, counted while it is written."""
    text, expected = "", {}
    for table in draw(st.lists(keys, max_size=4, unique=True)):
        repeated = draw(st.booleans())
        for number in range(draw(st.integers(1, 3)) if repeated else 1):
            text += draw(st.sampled_from(["", "\n", "# a = 1\n", "  "]))
            line = text.count("\n") + 1
            path = (table, number) if repeated else (table,)
            expected[path] = line
            expected.setdefault((table,), line)
            text += f"[[ {table} ]]\n" if repeated else f"[{table}] # [z]\n"
            for key in draw(st.lists(st.one_of(keys, quoted), max_size=4, unique=True)):
                bare = key[1:-1] if key[0] in "\"'" else key
                expected[(*path, bare)] = text.count("\n") + 1
                text += f"{key} = {draw(st.sampled_from(AWKWARD))}\n"
    return text, expected


@given(documents())
def test_every_key_is_found_on_the_line_it_was_written_on(document):
    text, expected = document
    tomllib.loads(text)

    assert key_lines(text) == expected


@pytest.mark.parametrize("text", ["", "\n\n", "# only a comment", "a = 1"])
def test_short_texts_need_no_last_newline(text):
    assert set(key_lines(text)) == {(key,) for key in tomllib.loads(text)}
