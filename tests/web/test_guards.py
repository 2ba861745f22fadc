import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.errors import PageRequestError, RoomCodeError
from station.web import guards

ADDRESSES = ["http://stage.example.org:8080/"]


@pytest.mark.parametrize(
    "host",
    [
        "192.168.7.20:8080",
        "10.0.0.4",
        "[fe80::1]:8080",
        "localhost:8080",
        "station",
        "station.local",
        "Station.LOCAL.:8080",
        "box.home.arpa",
        "stage.example.org:8080",
    ],
)
def test_a_host_of_the_room_is_accepted(host):
    guards.check_host(host, ADDRESSES)


@pytest.mark.parametrize(
    ("host", "status"),
    [
        ("elsewhere.example.com", 403),
        ("192.168.7.20.example.com", 403),
        ("station.local.example.com", 403),
        ("", 400),
        ("a b", 400),
        ("user@station", 400),
        ("station/path", 400),
        ("station:port", 400),
        ("[::1", 400),
    ],
)
def test_any_other_host_is_refused(host, status):
    with pytest.raises(PageRequestError) as refused:
        guards.check_host(host, ADDRESSES)

    assert refused.value.status == status


@given(st.text(max_size=60))
def test_no_host_header_whatever_it_holds_breaks_the_check(host):
    try:
        guards.check_host(host, ADDRESSES)
    except PageRequestError as refused:
        assert "\n" not in str(refused)


@pytest.mark.parametrize("origin", [None, "http://station.local:8080", "http://STATION.local:8080"])
def test_the_pages_own_origin_or_none_may_change_things(origin):
    guards.check_origin(origin, "station.local:8080")


@pytest.mark.parametrize(
    "origin", ["null", "", "http://station.local", "http://elsewhere.example.com", "https://[::1"]
)
def test_another_origin_may_not(origin):
    with pytest.raises(PageRequestError):
        guards.check_origin(origin, "station.local:8080")


def test_the_room_code_is_accepted_as_sent_and_percent_encoded():
    check = guards.CodeCheck()

    check.check("oak-47", "oak-47", "192.0.2.1")
    check.check("%C3%A9t%C3%A9", "été", "192.0.2.1")
    check.check("100%", "100%", "192.0.2.1")


@pytest.mark.parametrize("given_code", ["OAK-47", "Oak-47 ", " oak - 47", "oak-%2047", "OAK%2D47"])
def test_capitals_and_spaces_of_a_phones_keyboard_do_not_matter(given_code):
    guards.CodeCheck().check(given_code, "oak-47", "192.0.2.1")
    guards.CodeCheck().check("oak-47", "Oak - 47", "192.0.2.1")


@pytest.mark.parametrize("given_code", [None, "", "  "])
def test_no_code_is_asked_for_and_is_no_guess(given_code):
    check = guards.CodeCheck()

    for _ in range(guards.WRONG_CODES + 1):
        with pytest.raises(RoomCodeError, match="type the room code"):
            check.check(given_code, "oak-47", "192.0.2.1")
    check.check("oak-47", "oak-47", "192.0.2.1")


@pytest.mark.parametrize("room_code", ["", " "])
def test_a_blank_code_opens_nothing(room_code):
    with pytest.raises(RoomCodeError, match="no room code"):
        guards.CodeCheck().check(" ", room_code, "192.0.2.1")


@pytest.mark.parametrize("given_code", [None, "", "oak-4", "oak-477", "oak47", "\xff"])
def test_anything_else_is_not_the_room_code(given_code):
    with pytest.raises(RoomCodeError):
        guards.CodeCheck().check(given_code, "oak-47", "192.0.2.1")


def test_a_station_without_a_code_takes_no_change_not_even_an_empty_code():
    with pytest.raises(RoomCodeError, match="no room code"):
        guards.CodeCheck().check("", "", "192.0.2.1")


def test_an_address_that_guesses_has_to_wait_and_others_do_not():
    now_s = 0.0
    check = guards.CodeCheck(clock=lambda: now_s)
    for _ in range(guards.WRONG_CODES):
        with pytest.raises(RoomCodeError):
            check.check("guess", "oak-47", "192.0.2.1")

    with pytest.raises(PageRequestError) as refused:
        check.check("oak-47", "oak-47", "192.0.2.1")
    check.check("oak-47", "oak-47", "192.0.2.2")
    now_s = guards.WRONG_CODES_WINDOW_S + 1
    check.check("oak-47", "oak-47", "192.0.2.1")

    assert refused.value.status == 429
    assert 0 < refused.value.retry_after_s <= guards.WRONG_CODES_WINDOW_S + 1


def test_the_memory_of_guessing_addresses_is_bounded():
    check = guards.CodeCheck()

    for number in range(guards.REMEMBERED_ADDRESSES + 50):
        with pytest.raises(RoomCodeError):
            check.check("guess", "oak-47", f"address {number}")

    assert len(check._wrong) == guards.REMEMBERED_ADDRESSES
