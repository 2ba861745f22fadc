"""What a change of damping took away, on a drummer's phone: words first, sticks in hand."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from tests.support.fake_station import FakeStation
from tests.support.phones import phone, shoot
from tests.support.reference_page import know_code

pytestmark = pytest.mark.browser

TOM_HZ = 98.7
STICK_TARGET_PX = 64
CENTS = (0.0, 3.0, -2.0, 1.0, -4.0)


def tap(station: FakeStation, first_s: float, ring_s: float, overtone_db: float) -> None:
    for number, cents in enumerate(CENTS):
        station.strike(
            "yorick",
            first_s + number,
            TOM_HZ,
            cents=cents,
            ring_s=ring_s + 0.004 * number,
            overtone_db=overtone_db + 0.1 * number,
        )


def test_before_and_after_a_change_of_damping(browser, server, station):
    with phone(browser, server, who="Yorick") as drummer:
        know_code(drummer)
        drummer.get_by_role("button", name="drum …").click()
        drummer.get_by_role("button", name="damping").click()
        sheet = drummer.get_by_role("dialog", name="Damping")
        remember = sheet.get_by_role("button", name="remember this ring")
        expect(remember).to_be_disabled()

        tap(station, 1.0, 0.9, -6.0)
        expect(sheet.locator(".damping-now")).to_have_text("5 of 5")
        shoot(drummer, "damping-before")
        remember.click()
        expect(sheet.locator(".damping-how")).to_contain_text("Remembered: G2, rings 0.91 s")
        tap(station, 11.0, 0.5, -10.0)

        expect(sheet.locator(".damping-whole")).to_have_text("rings shorter, less overtone")
        rows = sheet.locator(".damping-list li")
        expect(rows).to_have_count(2)
        expect(rows.nth(0).locator("strong")).to_have_text("rings 0.20 s shorter, softer")
        expect(rows.nth(1).locator("strong")).to_have_text("rings 0.40 s shorter")
        expect(rows.nth(0)).to_contain_text("level −4.0 dB")
        expect(rows.nth(1)).to_contain_text("ring −400 ms")
        # By hand: rings of 0.908 and 0.508 s, 10 lg of their ratio.
        expect(rows.nth(1)).to_contain_text("sound −2.5 dB")
        shoot(drummer, "damping-after")
        for button in sheet.get_by_role("button").all():
            box = button.bounding_box()
            assert box is not None
            assert box["height"] >= STICK_TARGET_PX

        tap(station, 21.0, 0.9, -6.0)  # and the damping taken off again
        expect(sheet.locator(".damping-whole")).to_have_text("as before")
        sheet.get_by_role("button", name="end").click()
        expect(sheet).to_be_hidden()
