"""A kit against its songs: what drums are, where they clash, and the cheapest set of targets."""

from __future__ import annotations

import itertools
import json
import random

import pytest

from station.errors import DrumError, NoteNameError
from station.music import kit_targets
from station.music.keys import parse_key
from station.music.kit import CLASH_ROUGHNESS, in_song, make_drum, make_song, pitch_hz
from station.music.kit_targets import (
    Weights,
    by_size,
    choices,
    find_targets,
    may_follow,
    set_cost,
    spacing_cost,
)
from station.music.kit_view import accidentals, kit_view
from station.music.names import note_name, parse_note
from station.music.pitch import midi_to_hz

QUIET = Weights(roughness=0.0)
LOW_TIDE = make_song("Low tide", parse_key("E minor"), ["E1", "A1", "B1"])
HARBOUR = make_song("Harbour wall", parse_key("A major"), ["A1", "D2"])


def tom(size_in, pitch, **more):
    return make_drum(f"tom {size_in}", size_in, pitch_hz(pitch), **more)


def notes_of(found):
    return [note_name(target.midi) for target in found.targets]


# -- drums and songs ---------------------------------------------------------


@pytest.mark.parametrize(
    ("written", "hz"),
    [
        ("A3", 220.0),
        ("A3+100", 233.0819),  # A#3, Suits's table: 233.08
        ("A3 - 12.5 cents", 218.4173),  # 220 * 2**(-12.5 / 1200)
        ("196.5 Hz", 196.5),
        ("82", 82.0),
    ],
)
def test_a_pitch_is_a_note_with_cents_or_hertz(written, hz):
    assert pitch_hz(written) == pytest.approx(hz, abs=1e-4)


def test_notes_follow_the_reference_and_hertz_do_not():
    assert pitch_hz("A3", 442.0) == pytest.approx(221.0)
    assert pitch_hz("220 Hz", 442.0) == 220.0


@pytest.mark.parametrize("written", ["", "G", "G3+", "G3+101", "3000 Hz", "A9", "tight"])
def test_what_is_no_pitch_of_a_drum_is_refused(written):
    with pytest.raises((DrumError, NoteNameError)):
        pitch_hz(written)


@pytest.mark.parametrize(
    ("more", "told"),
    [
        ({"diameter_in": 400}, "diameter 400 in is not from 6 to 40"),
        ({"depth_in": 0.1}, "depth 0.1 in"),
        ({"hz": 5.0}, "fundamental 5 Hz"),
        ({"kind": "gong"}, "'gong' of a drum is not one of tom, snare, bass"),
        ({"overtone_hz": 1000.0}, "overtone 1000 Hz is not from 210 to 500"),
    ],
)
def test_what_no_drum_can_be_is_refused_with_its_limit(more, told):
    with pytest.raises(DrumError, match=told):
        make_drum(**({"name": "a", "diameter_in": 10, "hz": 200.0} | more))


def test_sizes_are_kept_in_both_units():
    drum = make_drum("a", 10, 200.0, depth_in=7)

    assert (drum.diameter_mm, drum.depth_mm) == pytest.approx((254.0, 177.8))
    assert drum.diameter_in == pytest.approx(10.0)


def test_without_bass_notes_a_song_has_its_tonic_from_the_low_e_up():
    songs = [make_song("a", parse_key(key)) for key in ("E minor", "D major", "Eb major")]

    assert [song.bass for song in songs] == [("E1",), ("D2",), ("Eb2",)]


def test_a_bass_note_in_a_mistaken_octave_is_refused():
    with pytest.raises(DrumError, match="'E6' is not from C0 to C5: wrong octave"):
        make_song("a", parse_key("E minor"), ["E6"])


# -- a drum in a song ------------------------------------------------------------


def test_a_drum_is_what_its_nearest_note_is_in_the_key():
    # E minor: E F# G A B C D. D#3 - 20 cents: the scale's D is 80 down, the chord's E 120 up.
    found = in_song(tom(12, "D#3-20"), LOW_TIDE)

    assert found.role == "outside"
    assert (note_name(found.scale_midi), note_name(found.chord_midi)) == ("D3", "E3")
    assert (found.scale_cents, found.chord_cents) == pytest.approx((-80.0, 120.0))


def test_beats_with_the_bass_are_differences_of_partials():
    # A2 + 100 cents = 116.541 Hz beside the second partial of A1, 110 Hz: 6.541 a second.
    found = in_song(tom(16, "A#2"), make_song("a", parse_key("A"), ["A1"]))

    (relation,) = found.relations
    assert (relation.beat.drum_partial, relation.beat.bass_partial) == (1, 2)
    assert relation.beat.beat_hz == pytest.approx(6.541, abs=1e-3)
    assert relation.clash == relation.beat
    assert relation.semitones == 13


def test_a_drum_on_a_partial_of_the_bass_does_not_clash():
    song = make_song("a", parse_key("A"), ["A1"])

    for pitch in ("A2", "A3", "E3+2"):
        found = in_song(tom(12, pitch), song)
        assert found.clashes == ()
        assert found.relations[0].beat.beat_hz < 0.2


def test_a_measured_overtone_can_clash_where_the_fundamental_does_not():
    # 220 and 330 Hz are partials 4 and 6 of A1; 235 Hz beats with the fourth, 15 a second.
    song = make_song("a", parse_key("A"), ["A2"])
    plain = make_drum("a", 12, 165.0)
    measured = make_drum("a", 12, 165.0, overtone_hz=235.0)

    assert in_song(plain, song).clashes == ()
    (clash,) = in_song(measured, song).clashes
    assert (clash.drum_partial, clash.bass_partial, clash.beat_hz) == (2, 2, pytest.approx(15.0))
    assert clash.roughness >= CLASH_ROUGHNESS


def test_tuned_elsewhere_the_overtone_moves_along():
    drum = make_drum("a", 12, 150.0, overtone_hz=240.0)

    assert [partial.hz for partial in drum.partials(165.0)] == pytest.approx([165.0, 264.0])


# -- targets -------------------------------------------------------------------------


def test_the_cheapest_set_is_the_one_found_by_hand():
    # E minor (E F# G A B C D), roughness without weight. High tom 10 in at F3, low tom 12 in 30
    # cents below D3. What each note costs alone, in semitones: movement + place (outside 1.5,
    # scale tone 0.25, chord tone 0).
    #   high: F3 0 + 1.5 = 1.50, E3 1 + 0 = 1.00, F#3 1 + 0.25 = 1.25, G3 2 + 0 = 2.00
    #   low:  D3 0.3 + 0.25 = 0.55, C3 1.7 + 0.25 = 1.95, C#3 0.7 + 1.5 = 2.20, E3 2.3 + 0 = 2.30
    # The cheapest of each, E3 over D3, are a tone apart: too near. With D3 the high tom has F3
    # (3 apart: 2.05), F#3 (4 apart: 1.80) or G3 (5 apart: 2.55) at no cost of spacing; any other
    # low note costs 1.95 and the high tom at least 1: 2.95. So it is F#3 over D3, at 1.80.
    kit = [tom(10, "F3"), tom(12, "D3-30")]
    song = make_song("a", parse_key("E minor"))

    found = find_targets(kit, [song], weights=QUIET)

    assert notes_of(found) == ["F#3", "D3"]
    assert found.cost.movement == pytest.approx(1.3)
    assert (found.cost.place, found.cost.spacing) == (0.5, 0.0)
    assert found.cost.total == pytest.approx(1.8)
    assert [target.verdict for target in found.targets] == ["tighten", "tighten"]
    # Tension goes as pitch squared: 2**(2 / 12) = 1.1225, 2**(2 * 0.3 / 12) = 1.0353.
    assert [t.tension_percent for t in found.targets] == pytest.approx([12.25, 3.53], abs=0.01)


def test_roughness_alone_takes_a_drum_to_a_partial_of_the_bass():
    # From G#2 the A a semitone up is the second partial of A1; G2, as near, beats 12 a second.
    song = make_song("a", parse_key("A"), ["A1"])

    found = find_targets([tom(16, "G#2")], [song], weights=Weights(outside=0.0, scale_tone=0.0))

    assert notes_of(found) == ["A2"]


def brute_force(kit, songs, weights):
    """The lowest cost of all sets of notes there are, with the widest spacing there is room for."""
    order = by_size(kit)
    sets = list(itertools.product(*(choices(drum) for drum in kit)))
    for least in (3, 2, 1, 0, None):
        allowed = [
            each
            for each in sets
            if all(
                may_follow(kit[a], kit[b], each[a].midi - each[b].midi, least)
                for a, b in itertools.pairwise(order)
            )
        ]
        if allowed:
            costs = (
                set_cost(kit, songs, [c.hz for c in each], weights=weights) for each in allowed
            )
            return min(cost.total for cost in costs), least
    raise AssertionError("no set at all")


@pytest.mark.parametrize("seed", range(12))
def test_no_set_of_notes_is_cheaper_than_the_one_found(seed, monkeypatch):
    chance = random.Random(seed)
    narrow = {size: chance.uniform(90.0, 180.0) for size in (10, 12, 13, 14)}
    monkeypatch.setattr(
        kit_targets,
        "practical_range",
        lambda size, kind: (narrow[round(size)], narrow[round(size)] * 1.4),
    )
    sizes = chance.sample([10, 12, 13, 14], 3)
    kit = [
        make_drum(f"tom {size}", size, chance.uniform(80.0, 230.0), keep=chance.random() < 0.2)
        for size in sizes
    ]
    keys = chance.sample(["E minor", "A", "D dorian", "F# harmonic minor", "G mixolydian"], 2)
    songs = [make_song(key, parse_key(key)) for key in keys]
    weights = Weights(roughness=chance.choice([0.0, 4.0, 12.0]), spacing=chance.choice([1.0, 3.0]))

    found = find_targets(kit, songs, weights=weights)

    cheapest, least_apart = brute_force(kit, songs, weights)
    assert found.least_apart == least_apart
    assert found.cost.total == pytest.approx(cheapest, abs=1e-9)


def test_snare_and_bass_drum_stand_by_themselves():
    # A snare between two toms must not push them apart: with it or without, they go alike.
    toms = [tom(10, "G3"), tom(16, "A2")]
    others = [
        make_drum("snare", 14, 195.0, kind="snare"),
        make_drum("kick", 22, 52.0, kind="bass"),
    ]

    alone, together = (find_targets(kit, [LOW_TIDE]) for kit in (toms, [*others, *toms]))

    assert together.targets[2:] == alone.targets
    assert together.toms == (2, 3)


def test_toms_go_down_in_order_of_size_whatever_their_order_in_the_kit():
    kit = [tom(16, "A2"), tom(10, "G3"), tom(12, "C3", depth_in=9), tom(12, "E3", depth_in=8)]

    found = find_targets(kit, [LOW_TIDE, HARBOUR])

    assert found.toms == (1, 3, 2, 0)
    midis = [found.targets[place].midi for place in found.toms]
    assert all(high - low >= 3 for high, low in itertools.pairwise(midis))


def test_all_targets_are_within_what_each_drum_is_usually_tuned_to():
    kit = [tom(10, "G3"), tom(12, "D3"), tom(14, "A2"), tom(16, "E2")]

    found = find_targets(kit, [HARBOUR])

    for target in found.targets:
        assert target.midi in [choice.midi for choice in choices(target.drum)]


def test_a_drum_its_player_wants_kept_is_not_moved():
    kit = [tom(10, "G#3+37", keep=True), tom(12, "D3")]

    kept, _ = find_targets(kit, [LOW_TIDE]).targets

    assert (kept.move_cents, kept.verdict) == (0.0, "in")
    assert kept.hz == kit[0].hz


def test_where_kept_drums_leave_no_room_they_are_left_and_it_is_said():
    # The small tom is kept below anything the large one is tuned to.
    kit = [tom(8, "F1", keep=True), tom(16, "A2")]

    found = find_targets(kit, [LOW_TIDE])

    assert found.least_apart is None
    assert found.targets[0].move_cents == 0.0


def test_many_toms_stand_nearer_to_each_other_than_thirds():
    # Ten toms of one size have 11 notes, 104 to 195 Hz: room for one semitone between, not two.
    kit = [make_drum(f"tom {n}", 12, midi_to_hz(parse_note("E3")) * 1.002**-n) for n in range(10)]

    found = find_targets(kit, [LOW_TIDE], weights=QUIET)

    assert found.least_apart == 1


def test_thirds_and_fourths_cost_nothing_and_a_fifth_less_than_a_tritone():
    assert [spacing_cost(each) for each in (3, 4, 5)] == [0.0, 0.0, 0.0]
    assert 0.0 < spacing_cost(7) < spacing_cost(6)


def test_a_song_more_may_only_make_targets_dearer_or_alike():
    # The mean of two identical songs is the song: nothing may change.
    kit = [tom(10, "G3+30"), tom(12, "D3"), tom(16, "A#2")]

    one, twice = (find_targets(kit, songs) for songs in ([LOW_TIDE], [LOW_TIDE, LOW_TIDE]))

    assert notes_of(one) == notes_of(twice)
    assert one.cost.total == pytest.approx(twice.cost.total)


def test_too_few_and_too_many_are_refused():
    with pytest.raises(DrumError, match="0 drums"):
        find_targets([], [LOW_TIDE])
    with pytest.raises(DrumError, match="0 songs"):
        find_targets([tom(10, "G3")], [])
    with pytest.raises(DrumError, match="25 drums"):
        find_targets([tom(10, "G3")] * 25, [LOW_TIDE])


# -- plain data -------------------------------------------------------------------------


def test_the_view_is_plain_data_of_every_drum_song_and_target():
    kit = [tom(10, "G3+12"), tom(16, "A#2+30"), make_drum("kick", 22, 52.0, kind="bass")]

    view = json.loads(json.dumps(kit_view(kit, [LOW_TIDE, HARBOUR], 441.0)))

    assert view["a4_hz"] == 441.0
    assert [drum["drum"] for drum in view["drums"]] == [
        target["drum"] for target in view["targets"]
    ]
    assert [song["role"] for song in view["drums"][0]["songs"]] == ["third", "outside"]
    assert [note["bass"] for note in view["drums"][0]["songs"][0]["bass"]] == ["E1", "A1", "B1"]
    assert view["spacing"]["toms"] == ["tom 10", "tom 16"]
    assert view["cost"]["total"] == pytest.approx(
        sum(view["cost"][part] for part in ("movement", "roughness", "place", "spacing"))
    )
    for target, drum in zip(view["targets"], view["drums"], strict=True):
        assert target["hz"] == pytest.approx(drum["hz"] * 2.0 ** (target["move_cents"] / 1200.0))


def test_clashes_of_the_view_name_drum_song_and_bass_note():
    song = make_song("Lamp oil", parse_key("A"), ["A1", "D2"])

    (clash,) = kit_view([tom(16, "A#2")], [song])["clashes"]

    assert (clash["drum"], clash["song"], clash["bass"]) == ("tom 16", "Lamp oil", "A1")
    assert clash["beat_hz"] == pytest.approx(6.541, abs=1e-3)


def test_a_drum_beyond_its_usual_range_is_told_and_not_forbidden():
    (drum,) = kit_view([tom(16, "D3")], [HARBOUR])["drums"]

    assert drum["in_range"] is False
    assert drum["high_hz"] < drum["hz"]


def test_notes_are_spelled_flat_where_the_songs_are():
    flat = make_song("a", parse_key("Bb major"))

    assert accidentals([flat]) == "flat"
    assert accidentals([flat, LOW_TIDE, HARBOUR]) == "sharp"
    assert kit_view([tom(16, "Bb2")], [flat])["drums"][0]["note"] == "Bb2"
