"""A reference is proposed, answered, agreed and undone on several phones."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page, Route, expect

from tests.support.fake_station import sounding
from tests.support.page_client import wait_until
from tests.support.phones import boxes_of, phone, shoot
from tests.support.reference_page import (
    cards,
    know_code,
    news,
    open_reference,
    present,
)

pytestmark = pytest.mark.browser


@pytest.fixture
def reference(page: Page) -> Page:
    """Tove's phone at the reference; it knows the room code."""
    return open_reference(know_code(page))


def test_a_measured_pitch_reaches_a_player_at_the_strings_is_agreed_and_undone(
    browser, station, server, reference
):
    station.measure_whole("ilse", "equal keyboard")
    with phone(browser, server, who="Brannock") as other:
        know_code(other)
        present(station, "tove", "brannock")
        reference.get_by_role("button", name="Ilse's keyboard").click()
        reference.get_by_role("button", name="propose this pitch").click()
        with sounding(station, "brannock", 3, -14.0):
            card = cards(other)
            expect(other.locator("#word")).to_have_text("tighten")
            expect(card.locator(".ask-by")).to_have_text("Tove proposes")
            expect(card.locator(".ask-what")).to_have_text("A4 = 441.3 (+5.1 cents)")
            expect(card.locator(".ask-why")).to_contain_text("measured from Ilse's keyboard")
            expect(card.locator(".ask-who")).to_have_text("yes: Tove · awaited: you")
            shoot(other, "proposal-at-the-strings")
        mine = cards(reference)
        expect(mine.locator(".ask-by")).to_have_text("you propose")
        expect(mine.locator(".ask-who")).to_have_text("yes: you · awaited: Brannock")
        expect(mine.get_by_role("button")).to_have_text(["withdraw"])
        shoot(reference, "proposal-mine")

        card.get_by_role("button", name="yes").click()

        for page in (reference, other):
            expect(news(page)).to_have_text("agreed: 441.3 Hz, the roll call starts again")
            expect(page.locator("#strip-hz")).to_have_text("441.3")
            expect(cards(page)).to_have_count(0)
        shoot(other, "agreed")
        past = reference.locator(".past-words")
        expect(past).to_contain_text("agreed by Tove and Brannock: measured from Ilse's keyboard")

        reference.get_by_role("button", name="undo (back to 440.0)").click()

        for page in (reference, other):
            expect(news(page)).to_have_text("back to 440.0 Hz")
            expect(page.locator("#strip-hz")).to_have_text("440.0")


def test_not_yet_is_told_by_name_and_can_become_a_yes(browser, station, server, reference):
    with phone(browser, server, who="Brannock") as other:
        present(station, "tove", "brannock")
        station.propose("tove", "typed", 442.0)
        know_code(other)
        cards(other).get_by_role("button", name="not yet").click()
        expect(cards(other)).to_have_attribute("data-answer", "not yet")
        expect(cards(other).get_by_role("button")).to_have_text(["yes"])
        expect(cards(reference).locator(".ask-who")).to_have_text("yes: you · not yet: Brannock")
        shoot(other, "proposal-not-yet")

        cards(other).get_by_role("button", name="yes").click()

        expect(other.locator("#strip-hz")).to_have_text("442.0")


def test_several_proposals_stack_and_one_is_withdrawn(browser, station, server, reference):
    with phone(browser, server, who="Brannock") as other, phone(browser, server, who="Ilse") as key:
        present(station, "tove", "brannock", "ilse")
        reference.locator("#a4").fill("442")
        reference.get_by_role("button", name="propose it").click()
        expect(reference.locator("form .told")).to_have_text(
            "proposed: waiting for Brannock and Ilse"
        )
        station.propose("brannock", "typed", 438.5)
        for page in (reference, other, key):
            expect(cards(page)).to_have_count(2)
        shoot(reference, "proposals-stacked")
        boxes = boxes_of(cards(reference))
        tabs = reference.locator(".tabs").bounding_box()
        assert boxes[0]["y"] + boxes[0]["height"] <= boxes[1]["y"]
        assert boxes[1]["y"] + boxes[1]["height"] <= tabs["y"] + 1

        reference.get_by_role("button", name="withdraw").click()

        for page in (reference, other, key):
            expect(cards(page)).to_have_count(1)
        expect(reference.locator("form .told")).to_be_empty()  # it would be untrue now


def test_a_screen_of_nobodys_sees_the_proposal_without_buttons(browser, station, server, reference):
    with phone(browser, server, who="Brannock"), phone(browser, server, who=None) as screen:
        present(station, "tove", "brannock")  # and the screen is nobody
        station.propose("tove", "typed", 442.0)

        expect(cards(screen).locator(".ask-who")).to_have_text("yes: Tove · awaited: Brannock")
        expect(cards(screen).get_by_role("button")).to_have_count(0)
        shoot(screen, "proposal-screen")


def test_it_is_said_that_the_leader_decides(browser, station, server, reference):
    with phone(browser, server, who="Brannock") as other:
        present(station, "tove", "brannock")
        station.decide_by("brannock")
        station.propose("tove", "typed", 442.0)
        expect(cards(reference).locator(".ask-who")).to_have_text("Brannock decides · yes: you")
        expect(cards(other).locator(".ask-who")).to_have_text("you decide · yes: Tove")
        shoot(other, "proposal-leader")

        know_code(other)
        cards(other).get_by_role("button", name="yes").click()

        expect(reference.locator("#strip-hz")).to_have_text("442.0")


def test_a_player_whose_phone_vanished_holds_nobody_up_for_long(
    browser, station, server, reference
):
    with phone(browser, server, who="Brannock") as other:
        with phone(browser, server, who="Ilse"):
            present(station, "tove", "brannock", "ilse")
            reference.locator("#a4").fill("442")
            reference.get_by_role("button", name="propose it").click()
            know_code(other)
            cards(other).get_by_role("button", name="yes").click()
            expect(cards(other).locator(".ask-who")).to_have_text(
                "yes: Tove and you · awaited: Ilse"
            )
        expect(other.locator("#strip-hz")).to_have_text("440.0")

        wait_until(lambda: "ilse" not in station.here())
        station.let_time_pass(31.0)

        expect(other.locator("#strip-hz")).to_have_text("442.0")


def test_an_answer_to_a_proposal_that_is_gone_is_told_what_became_of_it(
    browser, station, server, reference
):
    with phone(browser, server, who="Brannock") as other:
        present(station, "tove", "brannock")
        told = station.propose("tove", "typed", 442.0)["proposal"]
        know_code(other)

        def withdraw_first(route: Route) -> None:
            station.withdraw(told["id"], "tove")
            route.continue_()

        other.route("**/answers/**", withdraw_first)
        cards(other).get_by_role("button", name="yes").click()

        expect(other.locator(".ask-fault")).to_contain_text("withdrew it")
        expect(cards(other)).to_have_count(0)


def test_the_standard_is_proposed_as_such(reference, station):
    present(station, "tove")
    station.agree_on(442.0, "Ilse")
    expect(reference.locator("#strip-hz")).to_have_text("442.0")
    reference.get_by_role("button", name="440 · ISO 16").click()
    expect(reference.locator("#a4")).to_have_value("440.0")
    reference.get_by_role("button", name="propose it").click()

    expect(reference.locator("#strip-hz")).to_have_text("440.0")
    assert station.references()[0]["kind"] == "adopted"
    assert "standard" in station.references()[0]["source"]


def test_a_screen_alone_in_the_room_sets_the_reference_outright(browser, station, server):
    with phone(browser, server, who=None) as screen:
        know_code(screen)
        open_reference(screen)
        screen.locator("#a4").fill("441")
        screen.get_by_role("button", name="propose it").click()

        expect(screen.locator("#strip-hz")).to_have_text("441.0")
        expect(news(screen)).to_have_text("A4 = 441.0 Hz: the roll call starts again")
    assert station.references()[0]["kind"] == "set"


# -- the room code ---------------------------------------------------------


def test_the_code_is_asked_for_once_refused_in_words_and_then_remembered(page, station):
    open_reference(page)
    page.get_by_role("button", name="hear an instrument").click()
    page.get_by_role("button", name="Ilse").last.click()
    sheet = page.get_by_role("dialog", name="Room code")
    shoot(page, "room-code")
    sheet.get_by_label("room code").fill("guess")
    sheet.get_by_role("button", name="go on").click()
    expect(sheet.get_by_role("alert")).to_have_text("that is not the room code")
    assert station.snapshot()["measuring"] is None

    sheet.get_by_label("room code").fill("OAK-47 ")
    sheet.get_by_role("button", name="go on").click()
    expect(page.locator(".measuring")).to_be_visible()

    page.get_by_role("button", name="cancel").click()
    expect(page.locator(".measuring")).to_be_hidden()
    expect(sheet).to_be_hidden()


def test_whoever_gives_no_code_changes_nothing(page, station):
    open_reference(page)
    page.locator("#a4").fill("441")
    page.get_by_role("button", name="propose it").click()
    page.get_by_role("dialog", name="Room code").get_by_role("button", name="back").click()

    expect(page.get_by_role("button", name="propose it")).to_be_enabled()
    expect(page.locator("#a4")).to_have_value("441")
    assert station.references() == []


# -- whose phone it is -----------------------------------------------------


def test_the_stream_says_whose_phone_it_is_and_is_opened_anew_for_another(page, station):
    present(station, "tove")
    page.get_by_role("button", name="change").click()
    page.get_by_role("button", name="I am someone else").click()
    wait_until(lambda: station.hub.presence.players() == [])
    page.get_by_role("button", name="Brannock").click()

    wait_until(lambda: station.hub.presence.players() == ["brannock"])
    wait_until(lambda: station.hub.streams == 1)
