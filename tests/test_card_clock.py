"""The card's clock as the daemon uses it: simulated cards, clocks that come and go."""

from __future__ import annotations

import json
import threading
from collections.abc import Callable

import numpy as np
import pytest

from station.card_clock import ASK_EVERY_S, ENOUGH_PPM, LEAST_HEARD_S, CardClock
from station.measure.fixed.types import FixedNote, Reed
from station.measure.types import Gap, Level, Note, Reading
from station.sound.blocks import Block
from station.system_clock import ClockState

RATE_HZ = 48_000
FRAMES = 4800
BLOCK_S = FRAMES / RATE_HZ
GOOD = ClockState(True, "chrony", 0.0005)
NO_NETWORK = ClockState(False, reason="no time server has been reached")
NO_SAMPLES = np.zeros((FRAMES, 1), dtype=np.float32)
KEYS = {
    "state",
    "ppm",
    "uncertainty_ppm",
    "synchronised",
    "source",
    "reason",
    "card_cents",
    "budget",
}


class Rig:
    """A card that is `ppm` fast, a system that answers what `system` is, and time."""

    def __init__(self, ppm: float = 100.0, system: ClockState = GOOD, **more: object) -> None:
        self.ppm = ppm
        self.system = system
        self.asked_at_s: list[float] = []
        self.now_s = 1000.0
        self.frame = 0
        self.overruns = 0
        self.late: Callable[[], float] = lambda: self.rng.exponential(0.002)
        self.delay_s: Callable[[], float] = lambda: 0.0
        self.rng = np.random.default_rng(7)
        self.clock = CardClock(RATE_HZ, ask=self._ask, **more)

    def _ask(self) -> ClockState:
        self.asked_at_s.append(self.now_s)
        return self.system

    def run(self, seconds: float, lost_frames: int = 0) -> None:
        """Let the card run, and the daemon look every five seconds."""
        end_s = self.now_s + seconds
        next_look_s = self.now_s
        while self.now_s < end_s:
            if self.now_s >= next_look_s:
                self.clock.look(self.now_s)
                next_look_s += 5.0
            self.now_s += BLOCK_S / (1.0 + self.ppm * 1e-6)
            self.frame += lost_frames
            late_s, delay_s = self.late(), self.delay_s()
            self.clock.hear_block(
                Block(
                    NO_SAMPLES,
                    self.frame,
                    lost_frames,
                    self.now_s + late_s,
                    self.overruns,
                    delay_s + late_s if delay_s else 0.0,
                )
            )
            lost_frames = 0
            self.frame += FRAMES
        self.clock.look(self.now_s)

    def state(self) -> dict[str, object]:
        state = self.clock.state()
        assert set(state) == KEYS
        assert "\n" not in str(state["reason"])
        json.dumps(state, allow_nan=False)
        return state


def reading(hz: float = 440.0, uncertainty_cents: float = 0.03) -> Reading:
    return Reading(1, 1.0, hz, uncertainty_cents, 1e-4, 8, 0.5)


# -- from the first minute to calibrated -----------------------------------------------


def test_a_card_is_calibrated_after_ten_minutes_and_what_is_left_is_a_fiftieth_of_a_cent():
    rig = Rig(ppm=100.0)

    rig.run(605.0)

    state = rig.state()
    assert (state["state"], state["reason"]) == ("calibrated", None)
    assert state["ppm"] == pytest.approx(100.0, abs=11.55)
    assert state["uncertainty_ppm"] <= ENOUGH_PPM
    assert state["card_cents"] <= 0.02
    left_cents = 1200 * np.log2(rig.clock.correction / (1 + 100e-6))
    assert abs(left_cents) <= 0.02
    assert rig.clock.uncertainty_cents <= 0.02


def test_until_it_is_sure_it_measures_and_corrects_nothing():
    rig = Rig()

    rig.run(0.0)
    first = rig.state()
    rig.run(LEAST_HEARD_S - 30.0)
    later = rig.state()

    assert (first["state"], first["ppm"]) == ("measuring", None)
    assert first["reason"] == "heard for 0 minutes of at least 8 minutes"
    assert later["state"] == "measuring"
    assert later["ppm"] == pytest.approx(100.0, abs=11.55)
    assert rig.clock.correction == 1.0
    assert later["card_cents"] == pytest.approx(0.173, abs=0.001)  # 100 ppm


def test_a_clock_that_says_nothing_of_its_error_is_taken_for_one_kept_over_the_internet():
    rig = Rig(system=ClockState(True, "systemd-timesyncd"))

    rig.run(605.0)

    # Up to 5 ms off at either end: 1e6 sqrt(2) 0.005 / sqrt(3) / seconds, for 600 and 480 s.
    assert 6.8 < rig.state()["uncertainty_ppm"] < 8.6


def test_a_clock_known_to_be_poor_never_calibrates():
    rig = Rig(system=ClockState(True, "kernel", 0.05))

    rig.run(1300.0)

    state = rig.state()
    assert state["state"] == "measuring"
    assert "11 ppm are needed" in str(state["reason"])
    assert rig.clock.correction == 1.0


def test_the_system_is_asked_once_a_minute_however_often_it_is_looked():
    rig = Rig()

    rig.run(300.0)

    assert min(np.diff(rig.asked_at_s)) >= ASK_EVERY_S
    assert len(rig.asked_at_s) >= 5


def test_looking_says_whether_anything_may_have_changed():
    rig = Rig()

    assert rig.clock.look(1000.0) is True
    assert rig.clock.look(1000.0 + ASK_EVERY_S - 1.0) is False
    assert rig.clock.look(1000.0 + ASK_EVERY_S) is True


def test_a_look_that_fails_is_not_repeated_before_the_next_is_due():
    def broken() -> ClockState:
        raise RuntimeError("no answer")

    clock = CardClock(RATE_HZ, ask=broken)
    with pytest.raises(RuntimeError, match="no answer"):
        clock.look(1000.0)

    assert clock.look(1005.0) is False
    assert clock.state()["state"] == "not calibrated"


# -- which time counts ---------------------------------------------------------------------


def test_behind_a_sound_server_the_time_of_conversion_counts():
    rig = Rig(ppm=-60.0)
    rig.late = lambda: 0.02 + 0.02 * (rig.now_s / 25.0 % 1.0)  # bursts that beat with the blocks
    rig.delay_s = lambda: 0.15 + rig.rng.uniform(-0.0001, 0.0001)

    rig.run(605.0)

    assert rig.state()["state"] == "calibrated"
    assert rig.state()["ppm"] == pytest.approx(-60.0, abs=1.5)


def test_a_driver_that_tells_nonsense_of_its_delay_does_no_harm():
    rig = Rig(ppm=-60.0)
    rig.delay_s = lambda: rig.rng.uniform(0.01, 5.0)

    rig.run(605.0)

    assert rig.state()["state"] == "calibrated"
    assert rig.state()["ppm"] == pytest.approx(-60.0, abs=2.0)


# -- the clock comes and goes -------------------------------------------------------------


def test_without_a_synchronised_clock_nothing_is_calibrated_and_the_reason_is_told():
    rig = Rig(system=NO_NETWORK)

    rig.run(700.0)

    state = rig.state()
    assert (state["state"], state["synchronised"]) == ("not calibrated", False)
    assert state["reason"] == NO_NETWORK.reason
    assert rig.clock.correction == 1.0


def test_what_was_heard_before_the_clock_was_right_does_not_count():
    rig = Rig(ppm=100.0, system=NO_NETWORK)
    rig.ppm = 400.0  # against a clock that runs 300 ppm slow
    rig.run(600.0)
    rig.system = GOOD
    rig.run(60.0)
    rig.ppm = 100.0

    rig.run(605.0)

    assert rig.state()["ppm"] == pytest.approx(100.0, abs=15.0)


def test_a_clock_that_is_still_being_put_right_is_not_measured_against():
    rig = Rig(system=ClockState(True, "systemd-timesyncd", correcting_s=0.3))

    rig.run(700.0)

    state = rig.state()
    assert (state["state"], state["ppm"]) == ("measuring", None)
    assert state["reason"] == "the clock is being put right, by 300 ms"


def test_the_correction_stays_when_the_network_goes_and_says_since_when():
    rig = Rig()
    rig.run(605.0)
    before = rig.state()
    rig.system = NO_NETWORK

    rig.run(1200.0)

    state = rig.state()
    assert (state["state"], state["synchronised"]) == ("calibrated", False)
    assert state["ppm"] == before["ppm"]
    assert state["uncertainty_ppm"] > before["uncertainty_ppm"]
    assert "not synchronised for 20 minutes" in str(state["reason"])
    assert "no time server has been reached" in str(state["reason"])


def test_when_the_network_is_back_the_measuring_goes_on():
    rig = Rig()
    rig.run(605.0)
    rig.system = NO_NETWORK
    rig.run(600.0)
    rig.system = GOOD

    rig.run(700.0)

    state = rig.state()
    assert (state["state"], state["reason"], state["synchronised"]) == ("calibrated", None, True)


def test_another_card_in_its_place_is_found_out():
    rig = Rig(ppm=100.0)
    rig.run(605.0)
    rig.ppm = -80.0

    rig.run(1500.0, lost_frames=2 * RATE_HZ)

    assert rig.state()["ppm"] == pytest.approx(-80.0, abs=12.0)


def test_lost_frames_that_look_like_an_absurd_rate_are_told_and_never_applied():
    rig = Rig(ppm=-5000.0)

    rig.run(700.0)

    state = rig.state()
    assert (state["state"], state["ppm"]) == ("not calibrated", None)
    assert "frames get lost" in str(state["reason"])
    assert rig.clock.correction == 1.0


# -- what is never calibrated ----------------------------------------------------------------


def test_a_simulated_band_is_never_calibrated_and_nobody_is_asked():
    rig = Rig(simulated=True)

    rig.run(700.0)

    state = rig.state()
    assert (state["state"], state["reason"]) == ("not calibrated", "simulated band")
    assert (state["card_cents"], state["synchronised"]) == (0.0, False)
    assert rig.clock.correction == 1.0
    assert rig.asked_at_s == []


def test_before_the_first_look_nothing_is_claimed():
    state = Rig().state()

    assert (state["state"], state["reason"]) == ("not calibrated", "not looked at yet")


# -- what is done with it ---------------------------------------------------------------------


def test_everything_heard_is_put_right_once_calibrated():
    rig = Rig(ppm=100.0)
    heard = [
        reading(),
        Note(1, 0.5, 2.0, 220.0, 0.01, 1e-4, 9),
        FixedNote(1, 0.0, 1.0, 440.0, 0.02, 0.0, 5, (Reed(440.0, 0.02, 0.0),), 2.0),
        Level(1, 1.0, -20.0, -10.0, 0.0, False, "signal"),
        Gap(1, 1.0, 480),
    ]
    before = rig.clock.corrected(heard)
    rig.run(605.0)

    after = rig.clock.corrected(heard)

    assert before == heard
    factor, left_cents = rig.clock.correction, rig.clock.uncertainty_cents
    assert factor == pytest.approx(1.0001, abs=12e-6)
    assert [each.hz for each in after[:3]] == [440.0 * factor, 220.0 * factor, 440.0 * factor]
    assert after[0].uncertainty_cents == pytest.approx(np.hypot(0.03, left_cents))
    assert after[2].reeds[0].hz == 440.0 * factor
    assert after[2].reeds[0].uncertainty_cents == pytest.approx(np.hypot(0.02, left_cents))
    assert after[2].beat_hz == 2.0 * factor
    assert after[3:] == heard[3:]


def test_the_budget_has_the_card_the_usual_reading_and_the_ear():
    rig = Rig()
    rig.clock.corrected([reading(uncertainty_cents=each) for each in (0.02, 0.04, 3.0)])

    card, estimator, hearing = rig.state()["budget"]

    assert (card["what"], estimator["what"], hearing["what"]) == ("card", "estimator", "hearing")
    assert card["cents"] == pytest.approx(0.1731)
    assert "100 ppm" in card["from"]
    assert estimator["cents"] == 0.04
    assert hearing["cents"] == pytest.approx(4.05, abs=0.01)  # 1.029 Hz at 440 Hz
    assert "1977" in hearing["from"]


def test_the_budget_of_a_calibrated_card_says_against_what():
    rig = Rig()
    rig.run(605.0)

    card, estimator, _ = rig.state()["budget"]

    assert card["cents"] <= 0.02
    assert card["from"] == "measured against the clock kept by chrony"
    assert (estimator["cents"], estimator["from"]) == (None, "nothing heard yet")


def test_blocks_may_come_on_one_thread_while_another_looks_and_a_third_asks():
    rig = Rig()
    ended = threading.Event()
    faults: list[BaseException] = []

    def keep(call: Callable[[], object]) -> None:
        try:
            while not ended.is_set():
                call()
        except BaseException as fault:
            faults.append(fault)

    seconds = iter(range(1000, 10**9, 61))
    calls = (
        lambda: rig.clock.look(float(next(seconds))),
        lambda: rig.clock.state(),
        lambda: rig.clock.corrected([reading()]),
    )
    threads = [threading.Thread(target=keep, args=(call,)) for call in calls]
    for thread in threads:
        thread.start()
    for block in range(20_000):
        rig.clock.hear_block(Block(NO_SAMPLES, block * FRAMES, 0, block * BLOCK_S, 0, 0.02))
    ended.set()
    for thread in threads:
        thread.join()

    assert faults == []
    assert rig.state()["ppm"] == pytest.approx(0.0, abs=1.0)
