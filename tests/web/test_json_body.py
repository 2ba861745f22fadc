"""Bodies and addresses that nobody means: each gets one line of JSON and changes nothing."""

from __future__ import annotations

from typing import Any

import pytest
from flask.testing import FlaskClient
from hypothesis import given
from hypothesis import strategies as st

from station.errors import PageRequestError
from station.web.json_body import strict_json
from tests.support.fake_station import FakeStation
from tests.support.page_client import one_line
from tests.support.page_server import CODE

BODIES: list[tuple[bytes, str]] = [
    (b"", "not JSON"),
    (b"nul", "not JSON"),
    (b'{"by": "tove"', "not JSON"),
    (b'{"by": NaN}', "not JSON"),
    (b'{"by": -Infinity}', "not JSON"),
    (b'{"by": ' + b"9" * 5000 + b"}", "not JSON"),
    (b'{"by": ' + b"9" * 4000 + b"}", "by must be 1 to 40"),
    (b'{"by": "tove", "by": "ilse"}', "'by' twice"),
    (b'{"by": "\\ud800"}', "surrogate"),
    (b'{"by": {"\\udfff": 1}}', "surrogate"),
    (b'{"by": "\xed\xa0\x80"}', "not JSON"),
    ('{"by": "tove"}'.encode("utf-16"), "not JSON"),
    (b'\xef\xbb\xbf{"by": "tove"}', "not JSON"),
    (b'{"by": ' + b"[" * 8000 + b"]" * 8000 + b"}", ""),
    (b'{"by": ' * 2000 + b"1" + b"}" * 2000, ""),
    (b'"{\\"by\\": \\"tove\\"}"', "JSON object with by"),
    (b'[{"by": "tove"}]', "JSON object with by"),
    (b"0", "JSON object with by"),
    (b'{"": "tove"}', "cannot be set here"),
    (b'{"by\\nset": "tove"}', "cannot be set here"),
    (b'{"by": "a\\u2028\\u0000b"}', "printable"),
]


@pytest.mark.parametrize(("body", "words"), BODIES, ids=[repr(body[:20]) for body, _ in BODIES])
def test_a_body_nobody_means_is_refused_in_one_line(
    client: FlaskClient, station: FakeStation, body: bytes, words: str
) -> None:
    before = station.snapshot()

    answer = client.post(
        "/api/v1/reference/undo", data=body, content_type="application/json", headers=CODE
    )

    assert answer.status_code == 400
    assert words in one_line(answer.get_json())
    assert station.snapshot() == before


@pytest.mark.parametrize(
    ("path", "body"),
    [
        ("tone", {"note": "A4", "voice": "sine", "level_dbfs": 10**400, "seconds": 1}),
        ("tone", {"note": "A4", "voice": "sine", "level_dbfs": -30, "seconds": 10**300}),
        ("measuring", {"line": 10**400}),
        ("measuring", {"line": 1e300}),
        ("players/yorick/head", {"lugs": -(10**400), "phase": "fine"}),
        ("songs/1/move", {"by": "tove", "to": 10**18}),
        ("songs", {"by": "tove", "song": {"title": ["x"]}}),
        ("songs", {"by": "tove", "song": {"title": "x", "tempo": 120}}),
        ("songs", {"by": "tove", "song": {"title": "x", "bass": [{}]}}),
        ("songs", {"by": "tove", "song": {"title": "x", "drums": {"tom": 7}}}),
    ],
)
def test_a_value_beyond_all_bounds_is_refused_in_one_line(
    client: FlaskClient, path: str, body: dict[str, Any]
) -> None:
    answer = client.post(f"/api/v1/{path}", json=body, headers=CODE)

    assert answer.status_code == 400
    assert len(one_line(answer.get_json())) < 200


@pytest.mark.parametrize(
    "kind", ["", "text/plain", "application/json-patch+json", "multipart/form-data; boundary=x"]
)
def test_a_body_of_another_type_is_not_read(client: FlaskClient, kind: str) -> None:
    answer = client.put("/api/v1/quiet", data=b'{"quiet": true}', content_type=kind, headers=CODE)

    assert answer.status_code == 415
    one_line(answer.get_json())


@pytest.mark.parametrize("part", ["x" * 4000, "%00", "%F0%9F%92%A9", "%FF%FE", "..%2F..", "%0A"])
def test_whoever_an_address_names_is_found_or_not_but_breaks_nothing(
    client: FlaskClient, part: str
) -> None:
    for path, body in (
        (f"players/{part}/taps/again", {"by": "tove"}),
        (f"measured/{part}/forget", {"by": "tove"}),
        (f"songs/{part}/remove", {"by": "tove"}),
        (f"proposals/{part}/withdraw", {"by": "tove"}),
    ):
        answer = client.post(f"/api/v1/{path}", json=body, headers=CODE)

        assert answer.status_code in (404, 405), path
        assert len(one_line(answer.get_json())) < 200


@given(st.binary(max_size=60) | st.text(max_size=60).map(str.encode))
def test_any_bytes_are_json_that_can_be_told_again_or_are_refused(raw: bytes) -> None:
    try:
        told = strict_json(raw)
    except PageRequestError as refused:
        assert refused.status == 400
        assert len(str(refused).splitlines()) == 1
    else:
        assert repr(told).encode()
