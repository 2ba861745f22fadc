"""The wiring guide: pictures and tables as the script makes them now, legible, true to the pins."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import pytest

from hw.draw import GUIDE, PICTURES, lamps, ohms, pictures
from hw.tables import MARK, TABLES, with_tables
from station.lamps.pins import (
    BAND,
    COLUMN,
    GROUND_OF_BUTTONS,
    GROUND_OF_LAMPS,
    HEADER,
    QUIET_BUTTON,
    REFERENCE_BUTTON,
)
from tests.support.phones import chromium

SVG = "{http://www.w3.org/2000/svg}"
A4_MM = (210.0, 297.0)
MARGIN_MM = 15.0
LEAST_TEXT_MM = 2.8  # 8 point: what is printed and read at a bench (common practice, no source)
NAMES = sorted(pictures())


def drawing(name: str) -> ElementTree.Element:
    return ElementTree.fromstring(pictures()[name])


def texts(name: str) -> list[str]:
    return [each.text or "" for each in drawing(name).iter(f"{SVG}text")]


@pytest.mark.parametrize("name", NAMES)
def test_every_picture_is_what_the_script_draws_now(name):
    assert (PICTURES / name).read_text(encoding="utf-8") == pictures()[name]


def test_no_other_drawing_lies_there():
    assert sorted(path.name for path in PICTURES.glob("*.svg")) == NAMES


def test_the_guides_tables_are_what_the_script_writes_now():
    guide = GUIDE.read_text(encoding="utf-8")

    assert with_tables(guide) == guide
    assert sorted(name for _, name, _ in MARK.findall(guide)) == sorted(TABLES)


def test_a_table_that_was_changed_by_hand_is_made_anew():
    guide = GUIDE.read_text(encoding="utf-8")

    assert with_tables(guide.replace("| 330 Ω |", "| 33 Ω |")) == guide


def test_the_guide_shows_every_picture_and_names_every_recipe_there_is():
    guide = GUIDE.read_text(encoding="utf-8")

    assert sorted(re.findall(r"pictures/([\w-]+\.svg)", guide)) == NAMES
    recipes = sorted(path.name for path in (GUIDE.parent / "recipes").glob("*.*"))
    assert sorted(set(re.findall(r"\(recipes/(\w+\.\w+)\)", guide))) == recipes


@pytest.mark.parametrize("part", [*COLUMN, BAND, QUIET_BUTTON, REFERENCE_BUTTON])
def test_every_part_is_on_circuit_and_header_with_its_own_pin(part):
    circuit, header = texts("lamps.svg"), texts("header.svg")

    at = circuit.index(f"GPIO {part.bcm}")
    place = header.index(str(part.header))

    assert circuit[at + 1] == f"pin {part.header}"
    assert f"(GPIO {part.bcm})" in header[place + 1]
    assert part.name in header[place + 1]


def test_every_row_of_the_circuit_has_pin_resistor_and_lamp_in_line():
    sheet = ElementTree.fromstring(lamps().svg())
    placed = [
        (round(float(each.get("y", "0"))), each.text or "") for each in sheet.iter(f"{SVG}text")
    ]

    for lamp in (*COLUMN, BAND):
        y = next(y for y, text in placed if text == f"GPIO {lamp.bcm}")
        row = {text for at, text in placed if abs(at - y) <= 5}
        assert {ohms(lamp.resistor_ohm), f"{lamp.name}, {lamp.colour}"} <= row


def test_both_grounds_are_grounds():
    assert HEADER[GROUND_OF_LAMPS - 1] == HEADER[GROUND_OF_BUTTONS - 1] == "ground"


def test_the_headers_other_pins_carry_their_published_names():
    drawn = texts("header.svg")
    used = {part.header for part in (*COLUMN, BAND, QUIET_BUTTON, REFERENCE_BUTTON)}
    for number, what in enumerate(HEADER, start=1):
        if number in used | {GROUND_OF_LAMPS, GROUND_OF_BUTTONS}:
            continue
        named = f"GPIO {what}" if isinstance(what, int) else what
        assert drawn[drawn.index(str(number)) + 1] == named


@pytest.mark.parametrize(
    ("value", "said"), [(150, "150 Ω"), (1_200, "1.2 kΩ"), (10_000, "10 kΩ"), (1e6, "1 MΩ")]
)
def test_resistances_are_written_as_on_parts_lists(value, said):
    assert ohms(value) == said


@pytest.mark.parametrize("name", NAMES)
def test_every_picture_fits_a4_and_is_black_on_white(name):
    root = drawing(name)

    width, height = (float(root.get(key, "").removesuffix("mm")) for key in ("width", "height"))
    colours = {each.get(key) for each in root.iter() for key in ("fill", "stroke") if each.get(key)}
    sizes = [float(each.get("font-size", "0")) for each in root.iter(f"{SVG}text")]
    assert width <= A4_MM[0] - 2 * MARGIN_MM
    assert height <= A4_MM[1] - 2 * MARGIN_MM
    assert colours <= {"#000", "#fff", "none"}
    assert min(sizes) >= LEAST_TEXT_MM


# Boxes of all that is drawn, in millimetres, texts and drawn parts apart.
BOXES = """() => {
    const root = document.documentElement, unit = root.viewBox.baseVal;
    const box = (each) => {
        const { x, y, width, height } = each.getBBox();
        return { x, y, width, height, what: each.textContent };
    };
    const parts = [...root.querySelectorAll("polyline, circle, path, rect")];
    return {
        width: unit.width, height: unit.height,
        texts: [...root.querySelectorAll("text")].map(box),
        parts: parts.slice(1).map((each) => {
            if (each.tagName === "circle" || each.tagName === "path") return [box(each)];
            let points = [...(each.points || [])];
            if (each.tagName === "rect") {
                const { x, y, width, height } = each.getBBox();
                const right = x + width, below = y + height;
                points = [[x, y], [right, y], [right, below], [x, below], [x, y]]
                    .map(([x, y]) => ({ x, y }));
            }
            return points.slice(1).map((end, at) => ({
                x: Math.min(points[at].x, end.x), y: Math.min(points[at].y, end.y),
                width: Math.abs(points[at].x - end.x), height: Math.abs(points[at].y - end.y),
            }));
        }).flat(),
    };
}"""


def overlap(one: dict, other: dict) -> bool:
    return all(
        one[at] < other[at] + other[size] and other[at] < one[at] + one[size]
        for at, size in (("x", "width"), ("y", "height"))
    )


def shrunk(text: dict) -> dict:
    """A text's box is as high as its font; letters fill about its middle seven tenths."""
    cut = 0.18 * text["height"]
    return text | {"y": text["y"] + cut, "height": text["height"] - 2 * cut}


@pytest.mark.browser
def test_no_text_in_any_picture_lies_on_another_on_a_line_or_off_the_sheet():
    with chromium() as browser:
        page = browser.new_page()
        for name in NAMES:
            page.goto((PICTURES / name).as_uri())
            found = page.evaluate(BOXES)
            letters = [shrunk(each) for each in found["texts"]]
            for number, text in enumerate(letters):
                assert text["x"] >= 2 and text["x"] + text["width"] <= found["width"] - 2, text
                assert text["y"] >= 2 and text["y"] + text["height"] <= found["height"] - 1, text
                assert not [o["what"] for o in letters[number + 1 :] if overlap(text, o)], text
                hit = [each for each in found["parts"] if overlap(text, each)]
                assert not hit, (name, text, hit)
        page.close()


def test_parts_list_and_recipe_ask_for_the_resistors_of_the_table():
    amber, other = COLUMN[0].resistor_ohm, BAND.resistor_ohm
    recipe = (GUIDE.parent / "recipes" / "three_lamps.py").read_text(encoding="utf-8")

    assert f"{amber} Ω for amber / {other} Ω for white and blue" in GUIDE.read_text(
        encoding="utf-8"
    )
    assert f"resistor ({amber} ohms for\namber, {other} for the others)" in recipe
