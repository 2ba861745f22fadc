"""The label: what it says, that it fits, and that its QR code is the address's."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import pytest
import segno
from hypothesis import example, given, settings
from hypothesis import strategies as st

from station.web.join_code import QUIET_ZONE_MODULES
from station.web.label import CODE_MM, HEIGHT_MM, LEGIBLE_MM, WIDTH_MM, Label, fit, html, svg
from tests.support.phones import chromium

SVG = "{http://www.w3.org/2000/svg}"
LABEL = Label("Low tide's cellar", "http://192.0.2.7:8000", "http://cellar.local:8000", "elm-35")
LEAST_MODULE_MM = 0.4  # a phone's camera at arm's length (common practice, no source)


def texts(label: Label) -> list[str]:
    return [each.text or "" for each in ElementTree.fromstring(svg(label)).iter(f"{SVG}text")]


def test_the_label_says_name_both_addresses_and_room_code():
    said = texts(LABEL)

    assert "".join(said[:2]).replace(" ", "").startswith("Lowtide'scellar")
    assert {LABEL.address, LABEL.other_address, LABEL.room_code} <= set(said)


def test_without_a_room_code_nothing_is_said_of_one():
    assert "Room code" not in texts(Label("Cellar", "http://192.0.2.7:8000"))


def test_the_drawn_modules_are_those_of_the_addresss_code():
    path = next(ElementTree.fromstring(svg(LABEL)).iter(f"{SVG}path"))

    drawn = {
        (int(y) - QUIET_ZONE_MODULES, int(x) - QUIET_ZONE_MODULES)
        for x, y in re.findall(r"M(\d+) (\d+)h1v1h-1z", path.get("d", ""))
    }

    matrix = segno.make(LABEL.address, error="m", micro=False).matrix
    assert drawn == {(y, x) for y, row in enumerate(matrix) for x, dark in enumerate(row) if dark}


@pytest.mark.parametrize("length", [21, 60, 80])
def test_the_code_fits_with_its_quiet_zone_and_modules_a_camera_tells_apart(length):
    address = "http://192.0.2.7/".ljust(length, "a")
    path = next(ElementTree.fromstring(svg(Label("Cellar", address))).iter(f"{SVG}path"))
    found = re.fullmatch(
        r"translate\(([\d.]+) ([\d.]+)\) scale\(([\d.]+)\)", path.get("transform", "")
    )

    assert found
    x, y, module_mm = map(float, found.groups())
    assert module_mm >= LEAST_MODULE_MM
    assert x + CODE_MM < WIDTH_MM
    assert y > 0
    assert y + CODE_MM < HEIGHT_MM


@pytest.mark.parametrize("name", ["<script>x()</script>", "A & B", "\"Quoted\" 'twice'", "]]>"])
def test_whatever_a_room_is_called_it_is_text(name):
    root = ElementTree.fromstring(svg(Label(name, "http://192.0.2.7:8000", room_code=name)))

    assert {each.tag for each in root.iter()} <= {
        f"{SVG}{tag}" for tag in ("svg", "title", "rect", "text", "path")
    }
    assert root.findtext(f"{SVG}title") == name
    assert "<script" not in html(Label(name, "http://192.0.2.7:8000"))


def test_the_sheet_holds_the_same_picture():
    assert svg(LABEL) in html(LABEL)
    assert html(LABEL).startswith("<!doctype html>")


@settings(deadline=None)
@given(st.text(st.characters(codec="utf-8", categories=("L", "N", "P", "S", "Zs")), max_size=60))
@example("000000000000000000@@@@@\N{NO-BREAK SPACE}")
def test_fitting_loses_no_sign_but_spaces(text):
    size, lines = fit(text, 48.0, 6.0, 3)

    assert 0.0 < size <= 6.0
    assert 1 <= len(lines) <= 3
    assert "".join(lines).replace(" ", "") == text.strip(" ").replace(" ", "")


def test_a_long_room_code_is_broken_into_legible_lines():
    size, lines = fit("k" * 64, 48.0, 6.0, 3, mono=True)

    assert len(lines) == 3
    assert size > 0.7 * LEGIBLE_MM


def test_the_longest_address_there_may_be_is_legible():
    size, lines = fit("http://192.0.2.7/".ljust(80, "a"), 48.0, 3.4, 3, mono=True)

    assert len(lines) == 3
    assert size >= LEGIBLE_MM


BOXES = """() => {
    const root = document.documentElement;
    return [...root.querySelectorAll("text")].map((each) => {
        const { x, y, width, height } = each.getBBox();
        return [x, y + 0.18 * height, x + width, y + 0.82 * height];
    });
}"""
EXTREMES = [
    LABEL,
    Label("W" * 60, "http://192.168.100.100:65535", f"http://{'w' * 40}.local:65535", "W" * 64),
    Label("An unusually long name of a room " * 2, "http://192.0.2.7/" + "a" * 63, "", "oak"),
    Label("i", "http://a", "", "i"),
]


@pytest.mark.browser
def test_no_text_runs_into_another_into_the_code_or_off_the_label(tmp_path):
    path = tmp_path / "label.svg"
    with chromium() as browser:
        page = browser.new_page()
        for label in EXTREMES:
            path.write_text(svg(label), encoding="utf-8")
            page.goto(path.as_uri())
            boxes = page.evaluate(BOXES)
            for number, (left, top, right, bottom) in enumerate(boxes):
                assert left >= 3
                assert right < WIDTH_MM - CODE_MM, label
                assert top > 0, label
                assert bottom < HEIGHT_MM, label
                for x0, y0, x1, y1 in boxes[number + 1 :]:
                    assert not (left < x1 and x0 < right and top < y1 and y0 < bottom), label
        page.close()
