"""Stable names: the same box under any number, and never another."""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from station.errors import LineInputError, LineInputRefusedError
from station.sound.devices import (
    Device,
    capture_names,
    check_wanted,
    describe,
    find_device,
    read_cards,
    stable_name,
)

BOXES = {"Headphones": 0, "Line8": 8, "Stage": 2, "Stage_1": 2}
"""Card id to number of inputs."""


def shuffled_machine(
    rng: random.Random, without: str = ""
) -> tuple[list[Device], dict[int, str], dict[int, str]]:
    """Devices, cards, and whose card each PortAudio number truly is."""
    ids = [card for card in BOXES if card != without]
    rng.shuffle(ids)
    cards = dict(enumerate(ids))
    named = [
        (f"USB Audio: Audio (hw:{number},0)", card, BOXES[card]) for number, card in cards.items()
    ]
    named += [("pulse", "pulse", 32), ("default", "default", 32)]
    rng.shuffle(named)
    devices = [Device(i, name, inputs, 48000.0) for i, (name, _, inputs) in enumerate(named)]
    return devices, cards, {i: card for i, (_, card, _) in enumerate(named)}


def test_a_name_finds_its_own_box_however_the_numbers_are_dealt() -> None:
    rng = random.Random(20)
    for _ in range(50):
        devices, cards, owner = shuffled_machine(rng)
        for card in ("Line8", "Stage", "Stage_1"):
            found = find_device(devices, cards, f"hw:CARD={card},DEV=0")
            assert owner[found.number] == card
        assert owner[find_device(devices, cards, "pulse").number] == "pulse"


def test_a_missing_box_is_never_replaced_by_another() -> None:
    rng = random.Random(21)
    for _ in range(50):
        devices, cards, _ = shuffled_machine(rng, without="Stage")
        with pytest.raises(LineInputError) as caught:
            find_device(devices, cards, "hw:CARD=Stage,DEV=0")
        message = str(caught.value)
        assert "\n" not in message
        assert message.startswith("no input device hw:CARD=Stage,DEV=0")
        for there in ("hw:CARD=Line8,DEV=0 (8 channels)", "hw:CARD=Stage_1,DEV=0", "pulse"):
            assert there in message
        assert "Headphones" not in message  # it has no inputs


def test_a_card_without_a_known_id_is_not_opened() -> None:
    devices = [Device(0, "USB Audio: Audio (hw:3,0)", 2, 48000.0)]

    with pytest.raises(LineInputError, match="there is no input device at all"):
        find_device(devices, {0: "Stage"}, "hw:CARD=Stage,DEV=0")


def test_two_inputs_of_one_name_are_not_guessed_between() -> None:
    devices = [Device(0, "desk", 2, 48000.0), Device(1, "desk", 4, 48000.0)]

    with pytest.raises(LineInputError, match="2 inputs are called desk"):
        find_device(devices, {}, "desk")


@pytest.mark.parametrize("index", ["0", "3", "hw:1", "hw:1,0", "plughw:2,0"])
def test_a_number_is_no_name(index: str) -> None:
    with pytest.raises(LineInputRefusedError, match="another device after a restart"):
        check_wanted(index)


def test_no_name_at_all_is_refused() -> None:
    with pytest.raises(LineInputRefusedError, match="no input device named"):
        check_wanted("  ")


def test_the_first_device_of_a_card_needs_no_number() -> None:
    assert check_wanted("hw:CARD=Stage") == "hw:CARD=Stage,DEV=0"
    assert check_wanted("hw:CARD=Stage,DEV=1") == "hw:CARD=Stage,DEV=1"
    assert check_wanted("dsnoop_line") == "dsnoop_line"


def test_devices_of_one_card_are_told_apart() -> None:
    assert stable_name("Box: A (hw:4,0)", {4: "Box"}) == "hw:CARD=Box,DEV=0"
    assert stable_name("Box: B (hw:4,12)", {4: "Box"}) == "hw:CARD=Box,DEV=12"


def test_one_channel_is_singular() -> None:
    assert describe([Device(0, "mic", 1, 48000.0)], {}) == "is mic (1 channel)"


def test_card_ids_are_read_from_the_kernels_links(tmp_path: Path) -> None:
    for number, card in ((0, "Headphones"), (11, "Stage")):
        (tmp_path / f"card{number}").mkdir()
        (tmp_path / card).symlink_to(f"card{number}")
    (tmp_path / "version").write_text("Advanced Linux Sound Architecture")
    (tmp_path / "oddity").symlink_to("seq")

    assert read_cards(tmp_path) == {0: "Headphones", 11: "Stage"}


def test_inputs_are_named_without_opening_them(tmp_path: Path) -> None:
    for number, card, streams in (
        (2, "Stage", ["pcm1c", "pcm0c", "pcm0p", "pcm10c", "pcmc"]),
        (0, "Headphones", ["pcm0p"]),
    ):
        for stream in streams:
            (tmp_path / f"card{number}" / stream).mkdir(parents=True)
        (tmp_path / card).symlink_to(f"card{number}")

    assert capture_names(tmp_path) == [
        "hw:CARD=Stage,DEV=0",
        "hw:CARD=Stage,DEV=1",
        "hw:CARD=Stage,DEV=10",
    ]


def test_a_machine_without_sound_has_no_cards(tmp_path: Path) -> None:
    assert read_cards(tmp_path / "asound") == {}
    assert capture_names(tmp_path / "asound") == []
