"""The sign of a box in no network: when, what, and how slowly."""

from __future__ import annotations

import itertools
import math

import pytest

from station import network
from station.lamps.animation import Animation
from station.lamps.column import LAMPS
from station.lamps.network_sign import BRIGHTEST, CLIMB_S, SHOWN_S, is_alone, searching


def test_a_box_with_no_address_but_its_own_is_alone(monkeypatch):
    monkeypatch.setattr(network, "interface_addresses", list)

    assert is_alone(network.page_addresses("0.0.0.0", 8000))


@pytest.mark.parametrize(
    "addresses",
    [
        [],
        ["http://192.0.2.7:8000", "http://localhost:8000", "http://127.0.0.1:8000"],
        ["http://169.254.3.4", "http://localhost", "http://127.0.0.1"],
        ["http://[fd00::7]:8000", "http://localhost:8000"],
        ["http://127.0.0.1:8000"],
        ["http://192.0.2.7:8000"],
    ],
    ids=["not known yet", "Wi-Fi", "a cable alone", "IPv6", "for itself as set", "one as set"],
)
def test_a_box_that_can_be_found_or_does_not_want_to_be_is_not(addresses):
    assert not is_alone(addresses)


def test_one_dim_light_climbs_the_column_once_in_four_seconds():
    brightest = [searching(lamp_s) for lamp_s in climb()]

    assert [column.index(max(column)) for column in brightest] == list(range(LAMPS))
    assert all(max(column) == pytest.approx(BRIGHTEST) for column in brightest)
    assert all(sum(light > 0.0 for light in column) <= 2 for column in brightest)


def climb() -> list[float]:
    """When the light is right on each lamp."""
    return [CLIMB_S * (lamp + 1) / (LAMPS + 1) for lamp in range(LAMPS)]


def test_between_two_climbs_the_column_is_dark_and_it_never_jumps():
    frames = [searching(frame * 0.02) for frame in range(int(2 * CLIMB_S / 0.02))]

    assert max(searching(0.0)) == max(searching(CLIMB_S)) == 0.0
    steps = [
        abs(now - before)
        for one, other in itertools.pairwise(frames)
        for before, now in zip(one, other, strict=True)
    ]
    # One lamp's height in half a second, at a quarter of the light.
    assert max(steps) <= BRIGHTEST * 0.02 * (LAMPS + 1) / CLIMB_S + 1e-9


@pytest.mark.parametrize("alone_for_s", [-1.0, SHOWN_S, SHOWN_S + 1.0, math.inf, math.nan])
def test_it_is_not_shown_for_ever_nor_before(alone_for_s):
    assert searching(alone_for_s) is None


def room(*addresses: str) -> dict:
    return {
        "station": {"addresses": list(addresses)},
        "roll_call": {"in": 0, "total": 6},
        "players": [],
    }


def lit(animation: Animation, from_s: float, to_s: float) -> bool:
    """Whether any lamp of the column is lit in between, at fifty frames a second."""
    frames = range(round(50 * from_s), round(50 * to_s))
    return any(max(animation.frame(frame / 50)[0]) > 0.02 for frame in frames)


def test_the_column_searches_while_the_box_is_alone_and_nobody_sounds():
    lamps = Animation()
    lamps.show(room("http://localhost:8000", "http://127.0.0.1:8000"), 0.0)

    alone = lit(lamps, 0.0, 5.0)
    lamps.show(room("http://192.0.2.7:8000", "http://localhost:8000"), 5.0)
    lamps.frame(6.0)

    assert alone
    assert not lit(lamps, 7.0, 12.0)


def test_the_search_ends_by_itself_and_begins_anew_when_the_network_goes_again():
    lamps = Animation()
    lamps.show(room("http://localhost:8000"), 0.0)
    lamps.frame(SHOWN_S)

    over = lit(lamps, SHOWN_S + 1, SHOWN_S + 6)
    lamps.show(room("http://192.0.2.7:8000", "http://localhost:8000"), SHOWN_S + 6)
    lamps.show(room("http://localhost:8000"), SHOWN_S + 7)

    assert not over
    assert lit(lamps, SHOWN_S + 7, SHOWN_S + 12)
