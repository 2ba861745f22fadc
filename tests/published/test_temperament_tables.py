"""Temperaments against tables that others have printed."""

from __future__ import annotations

from fractions import Fraction

import pytest

from station.music.temperaments import (
    PITCH_CLASSES,
    PURE_FIFTH,
    PYTHAGOREAN_COMMA,
    SYNTONIC_COMMA,
    just_table,
    ratio_cents,
    temperament_cents,
    versions,
)


def from_c(cents: tuple[float, ...]) -> list[float]:
    """Cents above C, as most tables are printed."""
    return [100.0 * step + each - cents[0] for step, each in enumerate(cents)]


# K. Gann, An Introduction to Historical Tunings (kylegann.com/histune.html), as quoted in
# R. Drape's library hmt, module Music.Theory.Tuning.DB.Gann.
GANN = {
    "quarter-comma meantone": "0 76 193.2 310.3 386.3 503.4 579.5 696.8 772.6 889.7 1006.8 1082.9",
    "Werckmeister III": (
        "0 90.225 192.18 294.135 390.225 498.045 588.27 696.09 792.18 888.27 996.09 1092.18"
    ),
}
GANN_YOUNG_FIRST = "0 93.9 195.8 297.8 391.7 499.9 591.9 697.9 795.8 893.8 999.8 1091.8"


@pytest.mark.parametrize("name", GANN)
def test_keyboard_temperaments_agree_with_gann(name):
    # One number there is off by a slip of the pen: the fifth of a meantone is 696.578
    # (Wikipedia, Quarter-comma meantone: fourth root of 5), not 696.8.
    printed = [float(each.replace("696.8", "696.6")) for each in GANN[name].split()]

    assert from_c(temperament_cents(name, "C")) == pytest.approx(printed, abs=0.06)


def test_youngs_first_agrees_with_gann():
    printed = [float(each) for each in GANN_YOUNG_FIRST.split()]

    assert from_c(versions("Young")[1].cents) == pytest.approx(printed, abs=0.06)


# Wikipedia, Young temperament: sizes of the major thirds of the first temperament, cents.
YOUNG_FIRST_THIRDS = {
    391.69: "C", 393.89: "G F", 396.09: "D A#", 400.12: "A D#", 404.15: "E G#",
    405.99: "B C#", 407.82: "F#",
}  # fmt: skip


@pytest.mark.parametrize("size", YOUNG_FIRST_THIRDS)
def test_thirds_of_youngs_first_agree_with_wikipedia(size):
    cents = versions("Young")[1].cents

    for low in YOUNG_FIRST_THIRDS[size].split():
        place = PITCH_CLASSES.index(low)
        assert 400.0 + cents[(place + 4) % 12] - cents[place] == pytest.approx(size, abs=0.006)


def test_fifths_of_youngs_second_agree_with_wikipedia():
    # Wikipedia, Young temperament: C-G-D-A-E-B-F# of 698.04 cents, the other six pure.
    cents = temperament_cents("Young")

    for low, high in zip("CGDAEB", ["G", "D", "A", "E", "B", "F#"], strict=True):
        size = cents[PITCH_CLASSES.index(high)] - cents[PITCH_CLASSES.index(low)] + 700.0
        assert size == pytest.approx(698.04, abs=0.006)


def test_vallotti_agrees_with_the_table_in_use():
    # Cents above C as scale files have them: from memory.
    printed = "0 94.135 196.09 298.045 392.18 501.955 592.18 698.045 796.09 894.135 1000 1090.225"

    assert from_c(temperament_cents("Vallotti")) == pytest.approx(
        [float(each) for each in printed.split()], abs=0.001
    )


def test_werckmeister_counted_from_a_agrees_with_a_tuners_table():
    # The tuning list, 24 March 1998, message 1364: cents from equal temperament with A at 0,
    # in use among piano technicians (the same in the PTG's pianotech list, 3 September 1999).
    printed = {
        "C": 11.7, "C#": 2.0, "D": 3.9, "D#": 5.9, "E": 2.0, "F": 9.8,
        "F#": 0.0, "G": 7.8, "G#": 3.9, "A": 0.0, "A#": 7.8, "B": 3.9,
    }  # fmt: skip

    ours = dict(zip(PITCH_CLASSES, temperament_cents("Werckmeister III"), strict=True))

    assert ours == pytest.approx(printed, abs=0.06)


def test_pythagorean_ratios_are_those_of_a_published_scale():
    # The Pythagorean scale as a scale file (Deluge firmware, tests/unit/tuning_tests.h): its
    # chain runs Db to F#, two fifths below the standard one.
    printed = "1 256/243 9/8 32/27 81/64 4/3 729/512 3/2 128/81 27/16 16/9 243/128"

    ours = from_c(temperament_cents("Pythagorean", "A#"))

    assert ours == pytest.approx([ratio_cents(Fraction(each)) for each in printed.split()])


# hmt, module Music.Theory.Tuning.DB: five_limit_tuning and septimal_tritone_just_intonation.
FIVE_LIMIT = "0 112 204 316 386 498 590 702 814 884 996 1088"
SEVEN_LIMIT = "0 112 204 316 386 498 583 702 814 884 1018 1088"


@pytest.mark.parametrize(
    ("printed", "tritone", "seventh"),
    [(FIVE_LIMIT, "45/32", "16/9"), (SEVEN_LIMIT, "7/5", "9/5")],
)
def test_chromatic_just_scales_agree_with_published_ones(printed, tritone, seventh):
    ratios = [
        Fraction(each)
        for each in f"1 16/15 9/8 6/5 5/4 4/3 {tritone} 3/2 8/5 5/3 {seventh} 15/8".split()
    ]

    ours = from_c(just_table(0, ratios))

    assert [round(each) for each in ours] == [int(each) for each in printed.split()]


def test_the_just_scale_agrees_with_erlichs_list():
    # P. Hahn and P. Erlich, the tuning list, 26 May 1998: cents of the just intervals.
    printed = {
        1: 111.73, 3: 315.64, 4: 386.31, 5: 498.04, 6: 590.22, 7: 701.96, 8: 813.69, 9: 884.36,
    }  # fmt: skip

    ours = from_c(temperament_cents("just", "C"))

    assert {step: round(ours[step], 2) for step in printed} == pytest.approx(printed, abs=0.011)


# O. Hansson, Theory of harmonica tuning (2004), scales of a C harp in its first, second and
# third position: whole cents from equal temperament of C D E F G A B.
HARPS = {
    "0 4 -14 -2 2 -16 -12": ("4/3", "5/3"),
    "0 4 -14 -29 2 6 -12": ("21/16", "27/16"),
    "0 4 -14 20 2 6 -12": ("27/20", "27/16"),
}


@pytest.mark.parametrize("printed", HARPS)
def test_a_diatonic_harps_cents_agree_with_hansson(printed):
    fourth, sixth = HARPS[printed]
    ratios = [Fraction(1)] * 12
    scale = ["1", "9/8", "5/4", fourth, "3/2", sixth, "15/8"]
    for step, ratio in zip((0, 2, 4, 5, 7, 9, 11), scale, strict=True):
        ratios[step] = Fraction(ratio)

    table = just_table(0, ratios)

    ours = [round(table[step]) for step in (0, 2, 4, 5, 7, 9, 11)]
    assert ours == [int(each) for each in printed.split()]


def test_commas_and_the_pure_fifth_have_their_known_sizes():
    # Barbour, Tuning and Temperament (1951), from memory: 24, 22 and 702 cents, closer here.
    sizes = {23.460: PYTHAGOREAN_COMMA, 21.506: SYNTONIC_COMMA, 701.955: PURE_FIFTH}

    for known, ours in sizes.items():
        assert ours == pytest.approx(known, abs=0.0005)
