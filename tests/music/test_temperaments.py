"""Temperaments as chains of fifths and ratios: what follows from how each is made."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise

import pytest

from station.errors import TuningError
from station.music.temperaments import (
    JUST_CHROMATIC,
    JUST_DIATONIC,
    PITCH_CLASSES,
    PURE_FIFTH,
    PYTHAGOREAN_COMMA,
    SYNTONIC_COMMA,
    TEMPERAMENTS,
    just_table,
    ratio_cents,
    roots_of,
    temperament_cents,
    versions,
)

CIRCLE = [7 * step % 12 for step in range(13)]
A_ANCHORED = [name for name in TEMPERAMENTS if name != "just"]


def fifths(cents: tuple[float, ...]) -> dict[str, float]:
    """Every fifth of the circle in cents, by its lower note."""
    return {PITCH_CLASSES[low]: 700.0 + cents[high] - cents[low] for low, high in pairwise(CIRCLE)}


@pytest.mark.parametrize("name", A_ANCHORED)
def test_keyboard_temperaments_are_anchored_at_their_a(name):
    for root in roots_of(name):
        for version in versions(name, root):
            assert version.cents[PITCH_CLASSES.index("A")] == 0.0


@pytest.mark.parametrize("key", PITCH_CLASSES)
def test_just_is_anchored_at_its_key_note(key):
    assert temperament_cents("just", key)[PITCH_CLASSES.index(key)] == 0.0


@pytest.mark.parametrize("name", TEMPERAMENTS)
def test_twelve_fifths_make_seven_octaves(name):
    for root in roots_of(name):
        for version in versions(name, root):
            assert sum(fifths(version.cents).values()) == pytest.approx(8400.0)


@pytest.mark.parametrize(
    ("name", "comma", "wolf"),
    # A wolf is what eleven fifths leave of seven octaves: 8400 - 11 (701.955 - 5.377) = 737.64
    # and 8400 - 11 * 701.955 = 678.495 cents.
    [("quarter-comma meantone", SYNTONIC_COMMA / 4, 737.64), ("Pythagorean", 0.0, 678.495)],
)
def test_a_chain_has_eleven_equal_fifths_and_a_wolf_from_g_sharp_to_e_flat(name, comma, wolf):
    found = fifths(temperament_cents(name, "C"))

    assert found.pop("G#") == pytest.approx(wolf, abs=0.005)
    assert list(found.values()) == pytest.approx([PURE_FIFTH - comma] * 11)


@pytest.mark.parametrize("steps", range(12))
@pytest.mark.parametrize("name", ["quarter-comma meantone", "Pythagorean"])
def test_the_wolf_moves_with_the_root(name, steps):
    found = fifths(temperament_cents(name, PITCH_CLASSES[steps]))

    farthest = max(found, key=lambda low: abs(found[low] - 700.0))

    assert farthest == PITCH_CLASSES[(8 + steps) % 12]


@pytest.mark.parametrize(
    ("name", "narrow", "part"),
    [
        ("Werckmeister III", "C G D B", 4),
        ("Vallotti", "F C G D A E", 6),
        ("Young", "C G D A E B", 6),
    ],
)
def test_well_temperaments_share_the_pythagorean_comma_among_these_fifths(name, narrow, part):
    found = fifths(temperament_cents(name))

    for low, size in found.items():
        less = PYTHAGOREAN_COMMA / part if low in narrow.split() else 0.0
        assert size == pytest.approx(PURE_FIFTH - less), low


def test_young_is_vallotti_moved_by_a_fifth():
    vallotti, young = temperament_cents("Vallotti"), temperament_cents("Young")

    moved = [vallotti[(place - 7) % 12] for place in range(12)]

    level = moved[9] - young[9]
    assert [each - level for each in moved] == pytest.approx(list(young))


def test_young_and_vallotti_differ_by_a_sixth_of_a_comma_on_six_notes():
    apart = [
        abs(one - other)
        for one, other in zip(
            temperament_cents("Young"), temperament_cents("Vallotti"), strict=True
        )
    ]

    assert sorted(apart) == pytest.approx([0.0] * 6 + [PYTHAGOREAN_COMMA / 6] * 6)


def test_youngs_first_is_nowhere_two_cents_from_vallotti():
    first = versions("Young")[1].cents

    apart = [abs(a - b) for a, b in zip(first, temperament_cents("Vallotti"), strict=True)]

    assert 1.9 < max(apart) < 2.0


@pytest.mark.parametrize("key", range(12))
def test_just_major_chords_on_first_fourth_and_fifth_are_pure(key):
    cents = temperament_cents("just", PITCH_CLASSES[key])

    for chord in (0, 5, 7):
        low, third, fifth = (cents[(key + chord + step) % 12] for step in (0, 4, 7))
        assert 400.0 + third - low == pytest.approx(ratio_cents(Fraction(5, 4)))
        assert 700.0 + fifth - low == pytest.approx(PURE_FIFTH)


def test_a_just_table_takes_the_ratios_it_is_given():
    ratios = [choices[0].ratio for choices in JUST_CHROMATIC]
    ratios[5] = Fraction(21, 16)

    table = just_table(2, ratios)

    # 21/16 is 470.78 cents (1200 log2 21 - 4800); a fourth above D is G.
    assert table[7] == pytest.approx(470.781 - 500.0, abs=0.001)


@pytest.mark.parametrize("degrees", [JUST_CHROMATIC, JUST_DIATONIC])
def test_the_chances_of_a_degrees_ratios_sum_to_one_and_the_first_leads(degrees):
    for choices in degrees:
        weights = [each.weight for each in choices]
        assert sum(weights) == pytest.approx(1.0)
        assert weights[0] == max(weights)


@pytest.mark.parametrize("degrees", [JUST_CHROMATIC, JUST_DIATONIC])
def test_every_just_ratio_lies_within_a_quarter_tone_of_its_degree(degrees):
    for steps, choices in enumerate(degrees):
        for each in choices:
            assert abs(ratio_cents(each.ratio) - 100.0 * steps) < 50.0


@pytest.mark.parametrize("name", TEMPERAMENTS)
def test_the_shares_of_a_names_versions_sum_to_one(name):
    shares = [each.weight for each in versions(name, roots_of(name)[0])]

    assert sum(shares) == pytest.approx(1.0)
    assert shares[0] == max(shares)


@pytest.mark.parametrize(
    ("name", "root", "told"),
    [
        ("Kellner", None, "'Kellner' is not known: choose one of equal, just"),
        ("equal", "C", "root 'C' is not one of equal: its roots are none"),
        ("Vallotti", "D", "root 'D' is not one of Vallotti: its roots are C"),
        ("just", None, "root None is not one of just"),
        ("just", "Bb", "root 'Bb' is not one of just"),
    ],
)
def test_an_unknown_temperament_or_root_is_refused_in_one_line(name, root, told):
    with pytest.raises(TuningError, match=told) as refused:
        temperament_cents(name, root)

    assert "\n" not in str(refused.value)


def test_a_ratio_that_is_not_positive_is_refused():
    with pytest.raises(TuningError, match="must be positive"):
        ratio_cents(Fraction(0))
