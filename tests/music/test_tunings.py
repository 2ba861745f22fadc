"""The shipped instruments, and finding, capoing and making tunings."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.errors import TuningError
from station.music import (
    CAPO_MAX,
    custom_tuning,
    find_instrument,
    find_tuning,
    find_tuning_by_name,
    load_instruments,
    midi_to_hz,
    note_name,
    parse_note,
    tuning_names,
    with_capo,
)
from station.music.catalogue import HIGHEST_STRING_HZ, LOWEST_STRING_HZ, instrument_from_toml

# Last string first, string 1 last. Wikipedia, "Standard tuning" (guitars, basses and
# the violin family); h2g2 entry A87856825, "Stringed Instruments Tunings" (mandolin,
# ukulele, 12-string guitar).
STANDARD = {
    "guitar": "E2 A2 D3 G3 B3 E4",
    "guitar-7": "B1 E2 A2 D3 G3 B3 E4",
    "guitar-12": "E3 E2 A3 A2 D4 D3 G4 G3 B3 B3 E4 E4",
    "bass": "E1 A1 D2 G2",
    "bass-5": "B0 E1 A1 D2 G2",
    "bass-6": "B0 E1 A1 D2 G2 C3",
    "violin": "G3 D4 A4 E5",
    "viola": "C3 G3 D4 A4",
    "cello": "C2 G2 D3 A3",
    "double-bass": "E1 A1 D2 G2",
    "mandolin": "G3 D4 A4 E5",
    "ukulele": "G4 C4 E4 A4",
    # Wikipedia, "Standard tuning": G4 D3 G3 B3 D4, which players call open G.
    "banjo": "G4 D3 G3 B3 D4",
}

# Note letters as guitarists spell them (DADGAD; D G D G B D ...), octaves next to the
# standard ones: common practice, no source.
OTHERS = {
    "guitar:whole-step-down": "D2 G2 C3 F3 A3 D4",
    "guitar:drop-d": "D2 A2 D3 G3 B3 E4",
    "guitar:double-drop-d": "D2 A2 D3 G3 B3 D4",
    "guitar:dadgad": "D2 A2 D3 G3 A3 D4",
    "guitar:open-g": "D2 G2 D3 G3 B3 D4",
    "guitar:open-d": "D2 A2 D3 F#3 A3 D4",
    "guitar:open-e": "E2 B2 E3 G#3 B3 E4",
    "guitar:drop-c": "C2 G2 C3 F3 A3 D4",
    "guitar:all-fourths": "E2 A2 D3 G3 C4 F4",
    "guitar-7:drop-a": "A1 E2 A2 D3 G3 B3 E4",
    "guitar-7:all-fourths": "B1 E2 A2 D3 G3 C4 F4",
    "bass:drop-d": "D1 A1 D2 G2",
    "bass:drop-c": "C1 G1 C2 F2",
    "bass-5:high-c": "E1 A1 D2 G2 C3",
    "violin:cross-a": "A3 E4 A4 E5",
    "double-bass:solo": "F#1 B1 E2 A2",
    "double-bass:fifths": "C1 G1 D2 A2",
    "double-bass:drop-d": "D1 A1 D2 G2",
    "mandolin:gdad": "G3 D4 A4 D5",
    "ukulele:low-g": "G3 C4 E4 A4",
    "ukulele:d-tuning": "A4 D4 F#4 B4",
    "banjo:double-c": "G4 C3 G3 C4 D4",
    "banjo:drop-c": "G4 C3 G3 B3 D4",
    "banjo:sawmill": "G4 D3 G3 C4 D4",
    "banjo:open-d": "F#4 D3 F#3 A3 D4",
}

fretted = st.sampled_from(
    [name for name in tuning_names() if find_instrument(name.partition(":")[0]).frets]
)


def midis(spelled: str) -> list[int]:
    """Note numbers of a spelled tuning, string 1 first."""
    return [parse_note(note) for note in reversed(spelled.split())]


def sounding(name: str) -> list[int]:
    return [string.midi for string in find_tuning_by_name(name).strings]


@pytest.mark.parametrize("instrument", STANDARD)
def test_the_usual_tuning_is_the_one_players_call_standard(instrument: str) -> None:
    usual = find_tuning(instrument)

    assert [string.midi for string in usual.strings] == midis(STANDARD[instrument])
    assert find_tuning(instrument, "standard") == usual


@pytest.mark.parametrize("name", OTHERS)
def test_other_tunings_are_what_their_names_say(name: str) -> None:
    assert sounding(name) == midis(OTHERS[name])


@pytest.mark.parametrize("instrument", STANDARD)
@pytest.mark.parametrize(("key", "semitones"), [("half-step-down", 1), ("whole-step-down", 2)])
def test_steps_down_lower_every_string_alike(instrument: str, key: str, semitones: int) -> None:
    known = find_instrument(instrument).tunings
    if key in known:
        lowered = [midi - semitones for midi in midis(STANDARD[instrument])]

        assert [string.midi for string in known[key].strings] == lowered
    else:
        # Fingerboards without frets and short scales are not lowered that far.
        assert key == "whole-step-down"
        assert instrument in {"violin", "viola", "cello", "double-bass", "ukulele", "banjo"}


@pytest.mark.parametrize("key", ["drop-d", "double-drop-d", "dadgad", "open-g", "open-d", "drop-c"])
def test_twelve_strings_are_the_six_string_tuning_with_partners(key: str) -> None:
    plain = find_tuning("guitar", key).strings
    pairs = find_tuning("guitar-12", key).strings

    for string in plain:
        first, second = (pair for pair in pairs if pair.course == string.number)
        rise = 0 if string.number <= 2 else 12
        assert (first.midi, second.midi) == (string.midi, string.midi + rise)


def test_every_shipped_tuning_is_checked_here() -> None:
    checked = {f"{key}:{find_tuning(key).key}" for key in STANDARD} | set(OTHERS)
    derived = ("half-step-down", "whole-step-down")

    for name in tuning_names():
        instrument, _, key = name.partition(":")
        assert name in checked or key in derived or instrument == "guitar-12", name


@pytest.mark.parametrize("name", tuning_names())
def test_shipped_tunings_hold_together(name: str) -> None:
    tuning = find_tuning_by_name(name)

    assert tuning.name == name
    assert [string.number for string in tuning.strings] == list(range(1, len(tuning.strings) + 1))
    for string in tuning.strings:
        assert parse_note(string.note) == string.midi
        assert LOWEST_STRING_HZ <= midi_to_hz(string.midi) <= HIGHEST_STRING_HZ
        assert tuning.string(string.number) is string


def test_strings_carry_the_numbers_of_the_trade() -> None:
    # Common practice, no source: a guitar's first string is its high E, a banjo's fifth
    # the short drone, a violin's first its E.
    assert find_tuning("guitar").string(1).note == "E4"
    assert find_tuning("guitar").string(6).note == "E2"
    assert find_tuning("banjo").string(5).note == "G4"
    assert find_tuning("violin").string(1).note == "E5"
    assert find_tuning("ukulele").string(4).note == "G4"


def test_half_step_down_is_spelled_in_flats() -> None:
    notes = [string.note for string in find_tuning("guitar", "half-step-down").strings]

    assert notes == ["Eb4", "Bb3", "Gb3", "Db3", "Ab2", "Eb2"]


def test_a_mandolin_shows_one_target_for_each_pair() -> None:
    assert [(string.course, string.unison) for string in find_tuning("mandolin").strings] == [
        (1, 2), (2, 2), (3, 2), (4, 2),
    ]  # fmt: skip


def test_instruments_that_are_not_tuned_by_strings_have_no_tunings() -> None:
    kinds = {key: found.kind for key, found in load_instruments().items() if not found.tunings}

    assert kinds == {
        "accordion": "fixed",
        "drum-kit": "drums",
        "harmonica": "fixed",
        "keyboard": "fixed",
        "piano": "fixed",
    }


@pytest.mark.parametrize(
    ("written", "name"),
    [
        ("guitar", "guitar:standard"),
        ("guitar:drop-d", "guitar:drop-d"),
        ("Guitar: Drop D", "guitar:drop-d"),
        ("guitar:", "guitar:standard"),
        ("guitar_6:open_g", "guitar:open-g"),
        ("12-string guitar", "guitar-12:standard"),
        ("fiddle", "violin:standard"),
        ("DADGAD", "guitar:dadgad"),
        ("open e", "guitar:open-e"),
        ("low-g", "ukulele:low-g"),
        ("banjo:standard", "banjo:open-g"),
    ],
)
def test_a_tuning_is_found_as_people_write_it(written: str, name: str) -> None:
    assert find_tuning_by_name(written).name == name


@pytest.mark.parametrize(
    ("written", "expected"),
    [
        ("guitar:drop-dd", "guitar tuning 'drop-dd'.*did you mean drop-d.*all-fourths"),
        ("gutar:drop-d", "instrument 'gutar'.*did you mean guitar.*violin"),
        ("dagdad", "did you mean .*dadgad.*'list' shows them all"),
        ("kazoo", "'kazoo' is unknown.*'list' shows them all"),
        ("drop-d", "several instruments: write bass:drop-d.*guitar:drop-d"),
        ("", "the tuning is empty"),
        (":", "the instrument is empty"),
        ("piano", "piano has no tunings"),
        ("drum-kit:standard", "drum-kit has no tunings"),
        ("list", "banjo:open-g.*guitar:dadgad"),
        ("x" * 20000, "is unknown"),
        ("guitar:\ndrop\n", "guitar tuning"),
        (7, "7 is not text"),
    ],
)
def test_an_unknown_tuning_is_answered_in_one_line(written: str, expected: str) -> None:
    with pytest.raises(TuningError, match=expected) as caught:
        find_tuning_by_name(written)

    assert "\n" not in str(caught.value)


@given(fretted, st.integers(0, CAPO_MAX))
def test_a_capo_raises_every_string_by_its_fret(name: str, fret: int) -> None:
    tuning = find_tuning_by_name(name)

    raised = with_capo(tuning, fret)

    assert raised.capo == fret
    assert [string.midi - fret for string in raised.strings] == sounding(name)
    assert all(parse_note(string.note) == string.midi for string in raised.strings)


@given(fretted, st.integers(0, CAPO_MAX), st.integers(0, CAPO_MAX))
def test_a_capo_is_moved_not_added(name: str, first: int, second: int) -> None:
    tuning = find_tuning_by_name(name)

    moved = with_capo(with_capo(tuning, first), second)

    assert moved == with_capo(tuning, second)
    assert with_capo(moved, 0) == tuning


@pytest.mark.parametrize("fret", [-1, 13, 2.5, "2", True, None])
def test_a_capo_sits_at_a_whole_fret_up_to_the_twelfth(fret: int) -> None:
    with pytest.raises(TuningError, match="whole fret from 0 to 12"):
        with_capo(find_tuning("guitar"), fret)


def test_a_violin_takes_no_capo() -> None:
    assert with_capo(find_tuning("violin"), 0) == find_tuning("violin")
    with pytest.raises(TuningError, match="no frets"):
        with_capo(find_tuning("violin"), 2)


@given(st.lists(st.integers(36, 52), min_size=4, max_size=4).map(sorted))
def test_a_custom_tuning_keeps_its_notes_with_string_1_first(spelled: list[int]) -> None:
    notes = [note_name(midi) for midi in spelled]

    tuning = custom_tuning("Porch", "bass", notes)

    assert (tuning.key, tuning.label, tuning.name) == ("porch", "Porch", "bass:porch")
    assert [string.midi for string in tuning.strings] == spelled[::-1]


def test_a_custom_tuning_may_use_a_note_twice() -> None:
    tuning = custom_tuning("Drone", "guitar", ["D2", "A2", "D3", "D3", "A3", "D4"])

    assert [string.note for string in tuning.strings] == ["D4", "A3", "D3", "D3", "A2", "D2"]


def test_a_high_strung_guitar_is_not_taken_for_one_spelled_from_the_wrong_end() -> None:
    # The thin strings of a 12-string set on a six-string guitar: common practice, no source.
    tuning = custom_tuning("High strung", "guitar", ["E3", "A3", "D4", "G4", "B3", "E4"])

    assert tuning.string(6).note == "E3"


@pytest.mark.parametrize(
    ("name", "instrument", "notes", "expected"),
    [
        ("Mine", "guitar", ["E2", "A2", "D3"], "guitar takes 6 notes.*string 6.*not 3"),
        ("Mine", "guitar-12", ["E2"] * 6, "guitar-12 takes 12 notes.*not 6"),
        ("Mine", "bass", [], "takes 4 notes.*not 0"),
        ("Mine", "bass", ["E1", "A1", "D2", "Q2"], "string 1: note 'Q2'.*Eb3"),
        ("Mine", "bass", ["B-1", "A1", "D2", "G2"], "string 4: B-1 is 15.4 Hz.*16 to 5000 Hz"),
        ("Mine", "violin", ["G3", "D4", "A4", "E8"], "string 1: E8 is 5274.0 Hz"),
        ("Mine", "bass", ["G2", "D2", "A1", "E1"], "string 4 first and string 1 last"),
        ("Mine", "bass", ["F2", "D2", "A1", "D1"], "string 4 first and string 1 last"),
        ("Mine", "bass", 4, "4 is not a list of notes"),
        ("Mine", "bass", ["E1", "A1", "D2", 38], "38 is not text"),
        ("", "bass", ["E1", "A1", "D2", "G2"], "needs a letter"),
        ("Drop D", "bass", ["D1", "A1", "D2", "G2"], "taken on bass"),
        ("list", "bass", ["D1", "A1", "D2", "G2"], "taken on bass"),
        ("Mine", "bas", ["E1", "A1", "D2", "G2"], "instrument 'bas'.*did you mean bass"),
        ("Mine", "piano", ["A4"], "piano has no tunings"),
    ],
)
def test_a_faulty_custom_tuning_is_refused_in_one_line(
    name: str, instrument: str, notes: list[str], expected: str
) -> None:
    with pytest.raises(TuningError, match=expected) as caught:
        custom_tuning(name, instrument, notes)

    assert "\n" not in str(caught.value)


def test_a_string_the_tuning_has_not_is_refused() -> None:
    with pytest.raises(TuningError, match=r"string 7 of guitar:standard.*1 to 6"):
        find_tuning("guitar").string(7)


GOOD_FILE = """
key = "diddley-bow"
label = "Diddley bow"
kind = "strings"
string_count = 1
[[tunings]]
key = "standard"
label = "Standard"
notes = "A2"
"""


def test_a_data_file_is_all_an_instrument_needs() -> None:
    instrument = instrument_from_toml(GOOD_FILE, "bow.toml")

    assert [string.midi for string in instrument.tunings["standard"].strings] == [45]


@pytest.mark.parametrize(
    ("good", "bad", "expected"),
    [
        ('kind = "strings"', "", "'kind' is missing"),
        ('kind = "strings"', 'kind = "wind"', "kind 'wind'"),
        ('kind = "strings"', 'kind = "fixed"', "strings need tunings"),
        ("string_count = 1", "string_count = 2", "takes 2 notes"),
        ("string_count = 1", "string_cuont = 1", "string_cuont"),
        ('notes = "A2"', 'notes = "A"', "octave number is missing"),
        ('notes = "A2"', "", "'notes' is missing"),
        ('notes = "A2"', "notes = ", "bow.toml"),
    ],
)
def test_a_faulty_data_file_is_named_with_its_fault(good: str, bad: str, expected: str) -> None:
    with pytest.raises(TuningError, match=expected) as caught:
        instrument_from_toml(GOOD_FILE.replace(good, bad), "bow.toml")

    assert str(caught.value).startswith("bow.toml: ")
    assert "\n" not in str(caught.value)
