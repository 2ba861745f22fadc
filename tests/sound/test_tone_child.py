"""What runs inside the tone child, without a device."""

from __future__ import annotations

import io
from typing import Any

import numpy as np
import pytest

from station.errors import LineInputError, LineInputRefusedError, ToneRefusedError
from station.sound import tone_child, wire
from station.sound.tone import FADE_S, SWELL_S, ToneAsk, ToneSynth
from station.sound.tone_child import (
    PA_COMPLETE,
    PA_CONTINUE,
    PA_INVALID_SAMPLE_RATE,
    PA_OUTPUT_UNDERFLOW,
    TAIL_S,
    Player,
    follow,
    open_output,
)

RATE_HZ = 48_000
PLAY = ["7", "play", "441.5", "string", "-30.0", "0.5", "0.0"]


def floats(raw: bytes, channels: int) -> np.ndarray:
    return np.frombuffer(raw, np.float32).reshape(-1, channels)


@pytest.mark.parametrize("channels", [1, 2])
def test_the_callback_gives_the_tone_on_every_channel(channels: int) -> None:
    player = Player(RATE_HZ, channels)
    synth = ToneSynth(RATE_HZ)
    player.obey(PLAY)
    synth.play(ToneAsk(441.5, "string", -30.0, 0.5))

    raw, result = player.on_audio(None, 4800, {}, 0)

    wanted = synth.block(4800)
    assert result == PA_CONTINUE
    for channel in floats(raw, channels).T:
        assert np.array_equal(channel, wanted)
    assert (player.order, player.frames) == (7, 4800)


def test_the_stream_completes_only_when_silence_has_pushed_the_fade_out() -> None:
    player = Player(RATE_HZ, 1)
    player.obey(PLAY)

    tone = [player.on_audio(None, 480, {}, 0) for _ in range(50)]  # half a second: the tone
    tail = [player.on_audio(None, 480, {}, 0) for _ in range(round(100 * TAIL_S))]

    assert floats(tone[-1][0], 1).any()
    assert not any(floats(raw, 1).any() for raw, _ in tail)
    results = [result for _, result in [*tone, *tail]]
    assert results.index(PA_COMPLETE) == len(results) - 1
    assert player.over


def test_an_order_in_the_tail_is_played_and_one_after_the_end_is_not_reached() -> None:
    player = Player(RATE_HZ, 1)
    player.obey(PLAY)
    player.on_audio(None, RATE_HZ // 2 + 480, {}, 0)

    player.obey(["8", *PLAY[1:]])
    again = floats(player.on_audio(None, RATE_HZ // 2, {}, 0)[0], 1)
    player.on_audio(None, RATE_HZ, {}, 0)
    player.obey(["9", *PLAY[1:]])

    assert again.any()
    assert player.over
    assert player.order == 8


def test_a_stop_fades() -> None:
    player = Player(RATE_HZ, 1)
    player.obey([*PLAY[:5], "60.0", "0.0"])
    player.on_audio(None, RATE_HZ, {}, 0)

    player.obey(["8", "stop"])
    after = floats(player.on_audio(None, RATE_HZ, {}, 0)[0], 1)

    assert np.flatnonzero(after)[-1] == pytest.approx(FADE_S * RATE_HZ, abs=3)


def test_underruns_are_counted() -> None:
    player = Player(RATE_HZ, 1)
    player.obey(PLAY)

    for status in (0, PA_OUTPUT_UNDERFLOW, 0, PA_OUTPUT_UNDERFLOW):
        player.on_audio(None, 480, {}, status)

    assert player.underruns == 2


def test_the_cap_holds_in_the_child_too() -> None:
    with pytest.raises(ToneRefusedError, match="too loud"):
        Player(RATE_HZ, 1).obey(["1", "play", "440.0", "sine", "-3.0", "1.0", "0.0"])


class FakeStream:
    """A stream that runs for so many looks at it."""

    def __init__(self, player: Player, looks: int) -> None:
        self.player = player
        self.looks = looks

    def is_active(self) -> bool:
        self.looks -= 1
        self.player.on_audio(None, 4800, {}, 0)
        return self.looks > 0

    def stop_stream(self) -> None:
        self.looks = 0


def records(out: io.BytesIO) -> list[wire.Record]:
    buffer = bytearray(out.getvalue())
    found = []
    while (record := wire.unpack(buffer)) is not None:
        found.append(record)
    return found


def test_what_was_played_is_reported_and_the_end_as_well(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(tone_child, "REPORT_S", 0.0)
    player = Player(RATE_HZ, 1)
    player.obey(PLAY)
    out = io.BytesIO()

    follow(FakeStream(player, 12), player, out)

    *played, done = records(out)
    assert {record.kind for record in played} == {wire.PLAYED}
    assert [record.frames for record in played] == [4800 * n for n in range(1, 12)]
    assert (done.kind, done.first_frame) == (wire.DONE, 7)


def test_a_device_that_stops_under_a_tone_is_a_fault(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(tone_child, "REPORT_S", 0.0)
    player = Player(RATE_HZ, 1)
    player.obey(PLAY)

    with pytest.raises(LineInputError, match="stopped taking samples"):
        follow(FakeStream(player, 2), player, io.BytesIO())


class FakePortAudio:
    """PortAudio with two outputs, each doing some rates only; remembers what was opened."""

    paFloat32 = 1

    def __init__(self, rates_hz: tuple[int, ...] = (RATE_HZ,), code: int | None = None) -> None:
        self.rates_hz = rates_hz
        self.code = code
        self.opened: list[tuple[int, int, int]] = []

    def PyAudio(self) -> FakePortAudio:
        return self

    def get_device_count(self) -> int:
        return 3

    def get_device_info_by_index(self, index: int) -> dict[str, Any]:
        name = ("Mic: Audio (hw:0,0)", "Desk: Audio (hw:1,0)", "speaker")[index]
        channels = (0, 10, 1)[index]
        return {
            "index": index,
            "name": name,
            "maxInputChannels": 2,
            "maxOutputChannels": channels,
            "defaultSampleRate": 48e3,
        }

    def open(self, *, rate: int, channels: int, output_device_index: int, **_: Any) -> object:
        self.opened.append((output_device_index, channels, rate))
        if self.code is not None:
            raise OSError(self.code, "Device unavailable")
        if rate not in self.rates_hz:
            raise OSError(PA_INVALID_SAMPLE_RATE, "Invalid sample rate")
        return object()


@pytest.fixture
def cards(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(tone_child, "read_cards", lambda: {0: "Mic", 1: "Desk"})


def use(monkeypatch: pytest.MonkeyPatch, audio: FakePortAudio) -> FakePortAudio:
    monkeypatch.setattr(tone_child, "load_pyaudio", lambda: audio)
    return audio


@pytest.mark.parametrize(
    ("device", "opened"),
    [("hw:CARD=Desk,DEV=0", (1, 2, RATE_HZ)), ("speaker", (2, 1, RATE_HZ))],
)
def test_the_output_that_is_named_is_opened_with_two_channels_at_most(
    cards: None, monkeypatch: pytest.MonkeyPatch, device: str, opened: tuple[int, int, int]
) -> None:
    audio = use(monkeypatch, FakePortAudio())

    _, player, name = open_output(device, RATE_HZ, PLAY)

    assert audio.opened == [opened]
    assert name == device
    assert player.order == 7


def test_an_output_that_does_not_do_the_rate_is_played_at_another(
    cards: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    audio = use(monkeypatch, FakePortAudio((44_100,)))

    _, player, _ = open_output("speaker", 96_000, PLAY)

    assert [rate for _, _, rate in audio.opened] == [96_000, 44_100]
    seconds = SWELL_S + 0.05
    tone = floats(player.on_audio(None, round(seconds * 44_100), {}, 0)[0], 1)[:, 0]
    wanted = ToneSynth(44_100)
    wanted.play(ToneAsk(441.5, "string", -30.0, 0.5))
    assert np.array_equal(tone, wanted.block(tone.size))


def test_an_output_that_does_no_rate_is_refused(
    cards: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    audio = use(monkeypatch, FakePortAudio(()))

    with pytest.raises(LineInputRefusedError, match=r"speaker does not take .*its sample rate"):
        open_output("speaker", RATE_HZ, PLAY)
    assert len(audio.opened) == 3


def test_an_output_in_use_is_not_tried_at_other_rates(
    cards: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    audio = use(monkeypatch, FakePortAudio(code=-9985))

    with pytest.raises(LineInputError, match=r"speaker cannot be opened .*Device unavailable"):
        open_output("speaker", RATE_HZ, PLAY)
    assert len(audio.opened) == 1


def test_an_input_is_no_output(cards: None, monkeypatch: pytest.MonkeyPatch) -> None:
    use(monkeypatch, FakePortAudio())

    with pytest.raises(LineInputError) as caught:
        open_output("hw:CARD=Mic,DEV=0", RATE_HZ, PLAY)

    assert str(caught.value) == (
        "no output device hw:CARD=Mic,DEV=0 (unplugged, or in use by another program?):"
        " there are hw:CARD=Desk,DEV=0 (10 channels), speaker (1 channel)"
    )


def test_cards_that_change_while_one_is_opened_are_not_trusted(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    use(monkeypatch, FakePortAudio())
    seen = iter([{0: "Mic", 1: "Desk"}, {0: "Desk", 1: "Mic"}])
    monkeypatch.setattr(tone_child, "read_cards", lambda: next(seen))

    with pytest.raises(LineInputError, match="cards changed while hw:CARD=Desk,DEV=0"):
        open_output("hw:CARD=Desk,DEV=0", RATE_HZ, PLAY)
