"""The API held against its own description by a reference tool, with whatever it makes up.

schemathesis (a fuzzer for OpenAPI, from the package registry) sends what the description allows
and what it forbids, each value at its limits and beyond, and checks that each answer is one that
is described: its status, its type, its shape, its headers; that what is allowed is taken and what
is forbidden is refused; and that nothing ends in a fault of ours.
"""

from __future__ import annotations

import schemathesis
from hypothesis import HealthCheck, settings
from schemathesis import Case
from schemathesis.specs.openapi.checks import (
    allow_header_conformance,
    positive_data_acceptance,
    unsupported_method,
)

from station.web.app import create_app
from station.web.events import StreamTimes
from tests.support.fake_station import FakeStation
from tests.support.page_server import CODE

EXAMPLES = 4
# What is sent here may be as described and still make no sense to the room. A refusal in one
# line with status 400 is right then, so that one check is left out, and no other.
THE_ROOM_KNOWS_MORE = {
    "PUT /api/v1/players/{player_id}": "which instruments, tunings and strings there are",
    "POST /api/v1/proposals": "which key goes with which kind, as its model says in words",
    "POST /api/v1/measuring": "a player or a line but not both; which lines there are",
    "POST /api/v1/tone": "what a note is called, and which ones the line output can play",
    "PUT /api/v1/drums": "what a note is called; that no drum of that size is so low",
    "PUT /api/v1/drums/songs": "what keys and notes are called",
    "POST /api/v1/drums/forget": "which drums are kept",
    "GET /api/v1/drums/back": "which drums are kept",
}
# PUT to it is a change of the song whose id is "undo", and there is none.
ALSO_A_SONGS_ADDRESS = {"POST /api/v1/songs/undo", "POST /api/v1/songs/next"}

# The stream of events ends at once: a fuzzer waits for the end.
described = schemathesis.openapi.from_wsgi(
    "/api/v1/openapi.json", create_app(FakeStation(), StreamTimes(lease_s=0.0))
)
# Signs that Unicode has not assigned are no pattern's business; `test_models` tries every sign.
described.config.generation.update(codec="latin-1")


@described.parametrize()
@settings(
    max_examples=EXAMPLES,
    derandomize=True,
    deadline=None,
    database=None,
    suppress_health_check=list(HealthCheck),
)
def test_every_answer_is_one_that_is_described(case: Case) -> None:
    if (case.headers or {}).get("X-Room-Code", "").strip():
        # Ten wrong guesses, and the station listens to no more: tested in test_guards.
        case.headers = {**case.headers, **CODE}
    operation = f"{case.operation.method.upper()} {case.operation.path}"
    left_out = [positive_data_acceptance] if operation in THE_ROOM_KNOWS_MORE else []
    if operation in ALSO_A_SONGS_ADDRESS:
        left_out += [unsupported_method, allow_header_conformance]

    answer = case.call()

    case.validate_response(answer, excluded_checks=left_out)
