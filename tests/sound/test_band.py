"""The simulated band: true pitches, tuning that succeeds, the same for every fetch."""

from __future__ import annotations

import numpy as np
import pytest

from station.sound.band import BAND, GUITAR_MIDI, KEYBOARD_A4_HZ, TOMS_HZ, SimulatedBand
from station.sound.synth import CHUNK, SKIN_RATIOS, Synth, Timbre, key_timbre, string_timbre
from tests.support.tones import tone_hz

RATE_HZ = 48_000


def one_partial(number: int, inharmonicity: float) -> Timbre:
    """A string of which only partial `number` sounds, without glide or knock."""
    whole = string_timbre(inharmonicity, 0.5, 0.17, 5.0)
    alone = np.zeros_like(whole.amplitudes)
    alone[number - 1] = 0.5
    return Timbre(whole.ratios, alone, np.full_like(alone, 0.2), 0.0, 1.0, 0.0)


def render(synth: Synth, seconds: float) -> np.ndarray:
    chunks = int(seconds * synth.rate_hz / CHUNK)
    return np.concatenate([synth.chunk(0.0) for _ in range(chunks)])


@pytest.mark.parametrize("rate_hz", [44_100, 48_000, 96_000])
@pytest.mark.parametrize("number", [1, 2, 7, 20])
def test_each_partial_of_a_string_sounds_where_the_stiff_string_formula_puts_it(
    number: int, rate_hz: int
) -> None:
    first_hz, inharmonicity = 110.0, 1.5e-4
    synth = Synth(rate_hz, 2, np.random.default_rng(3))
    synth.strike(1, first_hz, one_partial(number, inharmonicity))

    heard = render(synth, 1.0)

    # f_k = k F sqrt(1 + B k^2), f_1 = F sqrt(1 + B): Fletcher 1964
    ideal_hz = first_hz / np.sqrt(1.0 + inharmonicity)
    wanted_hz = number * ideal_hz * np.sqrt(1.0 + inharmonicity * number**2)
    cents = 1200.0 * np.log2(tone_hz(heard[:, 1], rate_hz) / wanted_hz)
    assert abs(cents) < 0.02
    assert not heard[:, 0].any()


def test_a_note_dies_away_at_its_rate() -> None:
    synth = Synth(RATE_HZ, 1, np.random.default_rng(3))
    synth.strike(0, 400.0, key_timbre(0.4, 0.5))

    heard = render(synth, 1.2)[:, 0]

    early, late = (np.std(heard[int(t * RATE_HZ) :][:2400]) for t in (0.2, 0.7))
    assert late / early == pytest.approx(np.exp(-0.5 / 0.5), rel=0.02)


def test_partials_above_the_rate_do_not_fold_back() -> None:
    synth = Synth(44_100, 1, np.random.default_rng(3))
    synth.strike(0, 3000.0, key_timbre(0.4, 5.0))

    spectrum = np.abs(np.fft.rfft(render(synth, 1.0)[4096:, 0] * np.hanning(44_032 - 4096)))

    hz = np.arange(len(spectrum)) * 44_100 / (44_032 - 4096)
    between = np.abs(hz / 3000.0 - np.round(hz / 3000.0)) > 0.05
    assert spectrum[between].max() < 1e-3 * spectrum.max()


def test_a_peg_that_is_turned_bends_the_sounding_note_without_a_click() -> None:
    synth = Synth(RATE_HZ, 1, np.random.default_rng(3))
    synth.strike(0, 200.0, one_partial(1, 0.0))
    before = render(synth, 0.3)
    synth.bend(0, 202.0)
    after = render(synth, 0.5)

    joined = np.concatenate([before, after])[2000:, 0]
    steepest = 0.5 * 2.0 * np.pi * 202.0 / RATE_HZ
    assert np.abs(np.diff(joined)).max() <= 1.01 * steepest
    assert tone_hz(after[:, 0], RATE_HZ) == pytest.approx(202.0, abs=0.01)


def test_the_skin_ratios_are_the_zeros_of_bessel_functions() -> None:
    # Abramowitz & Stegun, table 9.5: zeros j_mn of J0, J1, J2, J0, J3, J1.
    zeros = (2.40483, 3.83171, 5.13562, 5.52008, 6.38016, 7.01559)

    assert pytest.approx([zero / zeros[0] for zero in zeros], abs=5e-4) == SKIN_RATIOS


def test_the_same_seed_plays_the_same_however_it_is_fetched() -> None:
    whole = SimulatedBand(RATE_HZ, seed=4).samples(48_000)
    band = SimulatedBand(RATE_HZ, seed=4)
    sizes = [1, 0, 511, 512, 513, 1024, 7, 20_000]
    pieces = [band.samples(size) for size in [*sizes, 48_000 - sum(sizes)]]

    assert [len(piece) for piece in pieces[:-1]] == sizes
    assert np.array_equal(np.concatenate(pieces), whole)
    assert whole.dtype == np.float32
    assert not np.array_equal(SimulatedBand(RATE_HZ, seed=5).samples(48_000), whole)


def test_the_band_is_four_players_on_four_lines() -> None:
    assert [member.line for member in BAND] == [1, 2, 3, 4]
    assert [member.instrument for member in BAND] == ["guitar", "bass", "keyboard", "drum-kit"]
    assert len({member.id for member in BAND}) == 4


def test_strings_start_off_and_are_all_brought_in() -> None:
    band = SimulatedBand(RATE_HZ, seed=1)
    for member in ("wren", "odell"):
        assert all(10.0 <= abs(cents) <= 30.0 for cents in band.offsets_cents(member))

    loudest = np.zeros(4)
    all_in = {}
    for second in range(100):
        loudest = np.maximum(loudest, np.abs(band.samples(RATE_HZ)).max(axis=0))
        for member in ("wren", "odell"):
            if all(abs(cents) <= 1.0 for cents in band.offsets_cents(member)):
                all_in.setdefault(member, second)

    assert set(all_in) == {"wren", "odell"}
    assert (loudest > 0.1).all()
    assert (loudest < 0.99).all()


def test_in_the_end_a_string_goes_flat_again() -> None:
    band = SimulatedBand(RATE_HZ, seed=1)
    states = []
    for _ in range(150):
        band.samples(RATE_HZ)
        offsets = band.offsets_cents("odell")
        states.append(
            "in" if max(map(abs, offsets)) <= 1.0 else "flat" if min(offsets) < -7 else ""
        )

    first_in = states.index("in")
    assert "flat" in states[first_in:]
    assert "in" in states[first_in + states[first_in:].index("flat") :]


def test_the_players_follow_a_new_reference() -> None:
    band = SimulatedBand(RATE_HZ, seed=1)
    before = band.offsets_cents("wren")
    band.set_reference(442.0)

    moved = np.array(before) - np.array(band.offsets_cents("wren"))
    assert moved == pytest.approx(np.full(6, 1200.0 * np.log2(442.0 / 440.0)))

    for _ in range(100):
        band.samples(RATE_HZ)
        if max(map(abs, band.offsets_cents("wren"))) <= 1.0:
            return
    raise AssertionError(f"not in after 100 s: {band.offsets_cents('wren')}")


def test_what_is_heard_is_the_string_that_is_plucked() -> None:
    band = SimulatedBand(RATE_HZ, seed=1)
    cents = band.offsets_cents("wren")[-1]
    heard = band.samples(2 * RATE_HZ)[:, 0]
    onset = int(np.argmax(np.abs(heard) > 0.02))

    ringing = heard[onset + 24_000 : onset + 24_000 + 20_000]

    # the note has glided by then; partial 1 alone, by a brick-wall filter
    spectrum = np.fft.rfft(ringing * np.hanning(len(ringing)))
    hz = np.fft.rfftfreq(len(ringing), 1 / RATE_HZ)
    target_hz = 440.0 * 2.0 ** ((GUITAR_MIDI[-1] - 69) / 12.0)
    near = np.flatnonzero(np.abs(hz - target_hz) < 8.0)
    peak = near[np.argmax(np.abs(spectrum[near]))]
    a, b, c = np.log(np.abs(spectrum[peak - 1 : peak + 2]))
    heard_hz = (peak + 0.5 * (a - c) / (a - 2 * b + c)) * RATE_HZ / len(ringing)
    assert 1200.0 * np.log2(heard_hz / target_hz) == pytest.approx(cents, abs=1.5)


def test_the_keyboard_keeps_its_own_pitch_whatever_the_reference() -> None:
    band = SimulatedBand(RATE_HZ, seed=1)
    band.set_reference(435.0)
    heard = band.samples(6 * RATE_HZ)[:, 2]
    onset = int(np.argmax(np.abs(heard) > 0.02))

    hz = tone_hz(heard[onset + 2400 : onset + 2400 + 24_000], RATE_HZ)

    semitones = 12.0 * np.log2(hz / KEYBOARD_A4_HZ)
    assert abs(semitones - round(semitones)) < 0.001


def test_the_drummer_hits_toms() -> None:
    heard = SimulatedBand(RATE_HZ, seed=1).samples(6 * RATE_HZ)[:, 3]
    onset = int(np.argmax(np.abs(heard) > 0.05))

    hit = heard[onset + 7200 : onset + 7200 + 24_000]
    spectrum = np.abs(np.fft.rfft(hit * np.hanning(len(hit))))
    loudest_hz = np.argmax(spectrum) * RATE_HZ / len(hit)

    assert min(abs(loudest_hz / tom - 1.0) for tom in TOMS_HZ) < 0.02


def test_once_in_tune_they_play_a_song_stop_talk_and_tune_again() -> None:
    rate_hz = 8_000
    band = SimulatedBand(rate_hz, seed=1, tuned=True, song_s=12.0)
    rms: dict[str, list[np.ndarray]] = {}
    course = [band.evening.doing]
    for _ in range(80):
        doing = band.evening.doing
        part = band.samples(rate_hz // 2)
        if doing == band.evening.doing:  # the half second is of one thing
            rms.setdefault(doing, []).append(np.sqrt(np.mean(part**2, axis=0)))
        else:
            course.append(band.evening.doing)

    loud = {doing: 20.0 * np.log10(np.median(parts, axis=0)) for doing, parts in rms.items()}
    assert course[:4] == ["tuning", "song", "talk", "tuning"]
    assert (loud["song"] > -35.0).all()
    assert (loud["talk"][[0, 3]] < loud["song"][[0, 3]] - 15.0).all()
    assert (loud["talk"][[1, 2]] < -80.0).all()  # no microphone hears it there


def test_strings_go_flat_in_a_song_and_are_brought_in_after_it() -> None:
    rate_hz = 8_000
    band = SimulatedBand(rate_hz, seed=1, tuned=True, song_s=6.0)
    while band.evening.doing != "talk":
        band.samples(rate_hz // 2)
    flat = (band.offsets_cents("wren")[2], band.offsets_cents("odell")[3])
    while band.evening.songs < 2:
        band.samples(rate_hz // 2)

    assert all(-17.0 < cents < -8.0 for cents in flat)
    assert max(map(abs, band.offsets_cents("wren"))) <= 1.0
