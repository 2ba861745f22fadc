"""Names and signs that cannot be shown as they are."""

from __future__ import annotations

import json

import pytest

from station.plain_text import path_text, valid_text


@pytest.mark.parametrize(
    ("name", "shown"),
    [
        ("d1/take 2.wav", "d1/take 2.wav"),
        ("Zoë ♯.wav", "Zoë ♯.wav"),
        ("two\nlines.wav", r"two\nlines.wav"),
        ("line\u2028separator\x85", r"line\u2028separator\x85"),
        ("b\udcff.wav", r"b\xff.wav"),
        ("\x1b[31mred", r"\x1b[31mred"),
        (".", "."),
        ("", '""'),
    ],
)
def test_a_name_is_shown_on_one_line_as_it_was_given(name, shown):
    assert path_text(name) == shown
    assert path_text(shown) == (shown if name else '""')


def test_a_name_that_is_no_utf8_becomes_text_that_any_encoding_of_unicode_takes():
    # PEP 383: the byte 0xff arrives from the command line as U+DCFF.
    name = valid_text("b\udcff\n.wav")

    assert name == "b\\xff\n.wav"
    assert json.loads(json.dumps(name)).encode("utf-8")
