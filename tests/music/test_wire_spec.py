"""Sets and strings as players write them."""

from __future__ import annotations

import pytest

from station.errors import StationError, WireError
from station.music.gauge_set import (
    Build,
    choices_view,
    set_on_instrument,
    strings_alone,
    targets_in,
    usual_scale_m,
)
from station.music.tunings import find_tuning, load_instruments
from station.music.wire_spec import parse_set
from station.music.wire_units import INCH_M

MIL_M = 1e-3 * INCH_M
GUITAR = find_tuning("guitar")
TENS = ".010,.013,.017,.026w,.036w,.046w"


def test_a_set_is_strung_from_string_1_on() -> None:
    strings = set_on_instrument(GUITAR, TENS)

    assert [s.note for s in strings] == ["E4", "B3", "G3", "D3", "A2", "E2"]
    assert [s.number for s in strings] == [1, 2, 3, 4, 5, 6]
    assert [round(s.wire.gauge_m / MIL_M) for s in strings] == [10, 13, 17, 26, 36, 46]
    assert [s.wire.winding for s in strings] == ["plain"] * 3 + ["round"] * 3
    assert {s.length_m for s in strings} == {0.648}


@pytest.mark.parametrize(
    "written",
    ["10,13,17,26,36,46", "10 13 17 26 36 46", ".254mm,.3302mm,.4318mm,.6604mm,.9144mm,1.1684mm",
     "010,013,017p,026w,036w:round,046w:hex"],
)  # fmt: skip
def test_the_same_set_however_it_is_written(written: str) -> None:
    said, other = set_on_instrument(GUITAR, TENS), set_on_instrument(GUITAR, written)

    assert [s.tension_n for s in other] == pytest.approx([s.tension_n for s in said])


def test_a_set_takes_its_materials_and_winding() -> None:
    build = Build(wrap="phosphor bronze", winding="flat")

    strings = set_on_instrument(GUITAR, "12,16,24w,32w,42w:ground,53w", 0.645, build)

    assert [s.wire.winding for s in strings] == ["plain", "plain", "flat", "flat", "ground", "flat"]
    assert {s.wire.wrap.key for s in strings[2:]} == {"phosphor-bronze"}
    assert strings[0].length_m == 0.645


def test_strings_of_a_fanned_neck_have_lengths_of_their_own() -> None:
    strings = set_on_instrument(GUITAR, "10:length=25in,13,17,26,36,46:length=27in")

    assert strings[0].length_m == pytest.approx(0.635)
    assert strings[5].length_m == pytest.approx(0.6858)
    assert strings[2].length_m == 0.648


def test_the_banjos_fifth_string_is_short() -> None:
    strings = set_on_instrument(find_tuning("banjo"), "10,12,16,23,10")

    # it begins at the fifth fret: 2^(-5/12) = 0.7492 of the scale
    assert strings[4].length_m == pytest.approx(0.667 * 0.749154, rel=1e-6)
    assert strings[4].tension_n == pytest.approx(
        strings[0].tension_n, rel=1e-6
    )  # G4 is a fourth up


def test_a_mandolins_gauges_stand_for_pairs() -> None:
    assert [s.count for s in set_on_instrument(find_tuning("mandolin"), "10,14,24,38")] == [2] * 4


def test_a_ukulele_is_strung_with_nylon_unless_it_is_said_otherwise() -> None:
    uke = find_tuning("ukulele")

    assert {s.wire.material.key for s in set_on_instrument(uke, "24,32,40,28")} == {"nylon"}
    carbon = set_on_instrument(uke, "21,26,29,24", build=Build(string="fluorocarbon"))
    assert {s.wire.material.key for s in carbon} == {"fluorocarbon"}


def test_a4_moves_every_pull() -> None:
    low, high = (set_on_instrument(GUITAR, TENS, a4_hz=a4) for a4 in (432.0, 440.0))

    for one, other in zip(low, high, strict=True):
        assert one.tension_n / other.tension_n == pytest.approx((432 / 440) ** 2)


def test_strings_can_be_written_one_by_one() -> None:
    plain, wound, weight, other = strings_alone(
        ["E4:.010:plain", "Eb2 : 52w : pure nickel : ground : core=.017 : round-core",
         "A1:unit=9.1g/m:length=34in", "329.6Hz:.28mm"],
        0.6477,
    )  # fmt: skip

    assert (plain.number, plain.note, plain.wire.winding) == (1, "E4", "plain")
    assert (wound.note, wound.wire.winding, wound.wire.core_shape) == ("Eb2", "ground", "round")
    assert wound.wire.wrap.key == "nickel"
    assert wound.wire.core_m == pytest.approx(17 * MIL_M)
    assert weight.length_m == pytest.approx(34 * INCH_M)
    assert weight.wire.unit_kg_m == pytest.approx(9.1e-3)
    assert weight.wire.core_m is None
    assert (other.note, other.hz) == ("E4", 329.6)


def test_a_weight_with_its_core_has_a_margin() -> None:
    [string] = strings_alone(["E2:unit=6.8g/m:core=.016"], 0.6477)

    assert string.load is not None
    assert string.wire.core_shape == "hex"
    assert string.tension_n == pytest.approx(6.8e-3 * (2 * 0.6477 * 82.4069) ** 2, rel=1e-5)


@pytest.mark.parametrize(
    ("written", "said"),
    [
        ("E4", "has no gauge"),
        ("E4:plain", "has no gauge"),
        ("", "has no gauge"),
        ("E4:", "nothing between two colons"),
        (":.010", "the note is empty"),
        ("E:.010", "the octave number is missing"),
        ("H2:.010", "is not known in English"),
        ("E9:.010", "the octave number right"),
        ("1Hz:.010", "the octave number right"),
        ("E4:.010:wod", "'wod' is unknown"),
        ("E4:.010:nylon:gut", "two of material"),
        ("E4:.010:.011", "two of gauge"),
        ("E4:.010:core=.009:core=.009", "two of core"),
        ("E4:.010w:plain", "wound or plain?"),
        ("E4:.024p:round", "wound or plain?"),
        ("E4:.010:plain:nickel", "is a winding's"),
        ("E4:.010:plain:core=.009", "a plain string has no core"),
        ("E2:.046:plain", "above .030 they are wound"),
        ("E2:.046w:core=.046", "the core is the thinner"),
        ("E2:.046w:core=.039:round-core:core=3", "inches or mm?"),
        ("E2:.046w:gut", "wound strings are reckoned on steel cores only"),
        ("E2:.046w:hex:round-core", "two of core shape"),
        ("E2:.008w", "leaves no room for a winding"),
        ("E2:.046:bore=3", "there are core=, unit= and length="),
        ("E2:.046:length=25.5", "has no unit"),
    ],
)
def test_what_cannot_be_a_string_is_said_in_one_line_with_its_number(
    written: str, said: str
) -> None:
    with pytest.raises(WireError) as fault:
        strings_alone(["E4:.010", written], 0.6477)

    assert said in str(fault.value)
    assert str(fault.value).startswith("string 2")
    assert "\n" not in str(fault.value)


def test_a_string_needs_a_length() -> None:
    with pytest.raises(WireError, match=r"has no length: add --scale 25\.5in"):
        strings_alone(["E4:.010"])


@pytest.mark.parametrize(
    ("written", "said"),
    [
        ("", "the set is empty"),
        (" , ", "the set is empty"),
        ("10,13,17", "a set of 3 gauges: guitar takes 6, one for each string"),
        (",".join(["10"] * 25), "at most 24"),
        ("46,36,26,17,13,10", "write string 1 first, on guitar the E4"),
        ("10,13,x,26,36,46", "gauge 3 of the set: 'x' is unknown: write a gauge"),
        ("10,13,:,26,36,46", "gauge 3 of the set: nothing between two colons"),
        ("10,13,17,26,36,unit=3", "has no unit"),
    ],
)
def test_what_cannot_be_a_set_is_said_in_one_line(written: str, said: str) -> None:
    with pytest.raises(WireError) as fault:
        set_on_instrument(GUITAR, written)

    assert said in str(fault.value)
    assert "\n" not in str(fault.value)


def test_sets_that_only_look_turned_are_taken() -> None:
    """A re-entrant ukulele, and a set of which only the ends are odd."""
    assert len(set_on_instrument(find_tuning("ukulele"), "28,32,40,24")) == 4
    assert len(set_on_instrument(GUITAR, "11,13,17,26,36,10")) == 6


def test_another_tuning_is_one_of_the_same_instrument() -> None:
    name, targets = targets_in(GUITAR, "Drop D")

    assert name == "guitar:drop-d"
    assert [note for note, _ in targets] == ["E4", "B3", "G3", "D3", "A2", "D2"]
    assert targets_in(GUITAR, "guitar:drop-d") == (name, targets)
    with pytest.raises(WireError, match="is not one of guitar's"):
        targets_in(GUITAR, "bass:standard")
    with pytest.raises(StationError, match="did you mean"):
        targets_in(GUITAR, "dropd")


def test_where_there_is_no_usual_scale_one_is_asked_for() -> None:
    viola = find_tuning("viola")

    with pytest.raises(WireError, match="viola has no usual scale length: add --scale"):
        set_on_instrument(viola, "15p,20p,25w,30w")
    assert len(set_on_instrument(viola, "15p,20p,25w,30w", 0.375)) == 4
    lengths = ",".join(f"{mils}w:length=375mm" for mils in (22, 25, 28, 32))
    assert {s.length_m for s in set_on_instrument(viola, lengths)} == {0.375}


@pytest.mark.parametrize("key", sorted(load_instruments()))
def test_usual_scales_are_those_of_the_instruments(key: str) -> None:
    said = load_instruments()[key].scale_length_mm

    if said is None:
        with pytest.raises(WireError, match="has no usual scale length"):
            usual_scale_m(key)
    else:
        assert usual_scale_m(key) == said / 1000


def test_what_may_be_chosen_can_be_strung() -> None:
    choices = choices_view()

    assert {each["instrument"] for each in choices["instruments"]} >= {"guitar", "bass", "ukulele"}
    for each in choices["instruments"]:
        tuning = find_tuning(each["instrument"], each["tunings"][0]["tuning"])
        gauges = ",".join(["20p"] * each["gauges"])
        scale_m = None if each["scale_mm"] else 0.4
        strung = set_on_instrument(tuning, gauges, scale_m, Build(string=each["string"]))
        assert len(strung) == each["gauges"]
    assert [each["material"] for each in choices["strings"]] == [
        "steel", "nylon", "fluorocarbon", "gut",
    ]  # fmt: skip
    assert len(parse_set(",".join(map(str, choices["gauges"]["steel_plain"])))) == 23
