"""The process that plays the reference tone, so that it can be killed when PortAudio hangs.

``python -m station.sound.tone_child DEVICE RATE_HZ ORDER...`` plays the tone
that the order names, opens the output only for that, and ends when it has
faded out. Further orders come as lines on standard input; records (see
``wire``) say on standard output what was played. ``--list`` writes a line for
every output. Without a parent it fades and ends.

An order is ``NUMBER play HZ VOICE LEVEL_DBFS SECONDS RATE_PPM`` or ``NUMBER stop``.
"""

from __future__ import annotations

import os
import signal
import sys
import threading
import time
from collections.abc import Callable
from functools import partial
from itertools import product
from typing import Any, BinaryIO

import numpy as np

from station.errors import LineInputError, LineInputRefusedError
from station.sound import wire
from station.sound.capture_child import (
    die_with_parent,
    input_devices,
    load_pyaudio,
    open_error,
    send,
    take_stdout,
    use_lean_alsa,
    write_list,
)
from station.sound.devices import find_device, read_cards, stable_name
from station.sound.limits import RATES_HZ
from station.sound.tone import FADE_S, SWELL_S, ToneSynth, check_tone

PA_OUTPUT_UNDERFLOW = 0x4
"""portaudio.h, PaStreamCallbackFlags paOutputUnderflow."""
PA_CONTINUE, PA_COMPLETE = 0, 1
"""portaudio.h, PaStreamCallbackResult: paContinue, paComplete."""
PA_INVALID_SAMPLE_RATE = -9997
"""portaudio.h, PaErrorCode paInvalidSampleRate."""
FRAMES_PER_BLOCK = 1024
REPORT_S = 0.1
TAIL_S = 0.5
"""Silence played after a tone: PortAudio gives up what an ALSA output still holds when a stream
completes (35 ms of the fade were lost: a click), and no output here holds as much as this."""
ORPHAN_S = SWELL_S + FADE_S + 0.85
"""How long a child without a parent may take to fade."""

output_devices = partial(input_devices, channels="maxOutputChannels")


class Player:
    """What the callback plays, and the orders that change it."""

    def __init__(self, rate_hz: int, channels: int) -> None:
        self.frames = 0
        self.underruns = 0
        self.order = 0
        self.over = False
        self._channels = channels
        self._synth = ToneSynth(rate_hz)
        self._tail = self._tail_left = round(TAIL_S * rate_hz)
        self._lock = threading.Lock()

    def obey(self, words: list[str]) -> None:
        """Carry out an order; its number is reported from now on."""
        number, verb, *rest = words
        with self._lock:
            if self.over:
                return  # the stream has ended: the parent sees this number was not reached
            if verb == "play":
                hz, voice, level_dbfs, seconds, rate_ppm = rest
                ask = check_tone(float(hz), voice, float(level_dbfs), float(seconds))
                self._synth.play(ask, float(rate_ppm))
            else:
                self._synth.stop()
            self.order = int(number)

    def on_audio(
        self, _data: bytes | None, frames: int, _times: object, status: int
    ) -> tuple[bytes, int]:
        """PortAudio's callback: runs on its thread, waits for nothing but an order's few lines."""
        with self._lock:
            self._tail_left = self._tail_left - frames if self._synth.silent else self._tail
            block = self._synth.block(frames)
            self.over = self._tail_left <= 0
        self.frames += frames
        self.underruns += bool(status & PA_OUTPUT_UNDERFLOW)
        samples = np.repeat(block, self._channels).tobytes()
        return samples, PA_COMPLETE if self.over else PA_CONTINUE


def open_output(device: str, rate_hz: int, order: list[str]) -> tuple[Any, Player, str]:
    """The running stream, what plays into it, and the stable name of its device.

    A tone does not mind at which rate it is played: another is taken where the
    device does not do `rate_hz`. Raises LineInputError.
    """
    pyaudio = load_pyaudio()
    cards = read_cards()
    audio = pyaudio.PyAudio()
    found = find_device(output_devices(audio), cards, device, "output")
    channels = min(2, found.channels)

    def attempt(rate: int) -> tuple[Any, Player]:
        player = Player(rate, channels)
        player.obey(order)
        stream = audio.open(
            rate=rate,
            channels=channels,
            format=pyaudio.paFloat32,
            output=True,
            output_device_index=found.number,
            frames_per_buffer=FRAMES_PER_BLOCK,
            stream_callback=player.on_audio,
        )
        return stream, player

    try:
        stream, player = _first_that_opens(attempt, rate_hz)
    except OSError as error:
        raise open_error(error, device, rate_hz, channels, "float32") from error
    if read_cards() != cards:
        # A card came or went meanwhile: the number that was opened may be another card's.
        raise LineInputError(f"the sound cards changed while {device} was being opened")
    return stream, player, stable_name(found.name, cards) or found.name


def _first_that_opens(
    attempt: Callable[[int], tuple[Any, Player]], rate_hz: int
) -> tuple[Any, Player]:
    """Try the rate that is wanted, then the others. Raises what the last attempt does."""
    *others, last = dict.fromkeys((rate_hz, *RATES_HZ))
    for rate in others:
        try:
            return attempt(rate)
        except OSError as error:
            if error.errno != PA_INVALID_SAMPLE_RATE:
                raise
    return attempt(last)


def follow(stream: Any, player: Player, out: BinaryIO) -> None:
    """Report what is played until it is over. Raises LineInputError if the device stops first."""
    reported = 0
    while stream.is_active():
        time.sleep(REPORT_S)
        if player.frames > reported:
            reported = player.frames
            send(out, _record(wire.PLAYED, player))
    if not player.over:
        raise LineInputError("the sound device stopped taking samples")
    stream.stop_stream()
    send(out, _record(wire.DONE, player))


def _record(kind: bytes, player: Player) -> wire.Record:
    return wire.Record(
        kind, b"", frames=player.frames, first_frame=player.order, overruns=player.underruns
    )


def obey_input(players: list[Player]) -> None:
    """Carry out the lines of standard input; fade and end when it closes.

    `players` gets its one player when the output is open. Only then does the parent write.
    """
    unread = b""
    while raw := os.read(0, 4096):
        *lines, unread = (unread + raw).split(b"\n")
        for line, player in product(lines, players):
            player.obey(line.decode().split())
    for player in players:
        player.obey([str(player.order), "stop"])
        time.sleep(ORPHAN_S)
    os._exit(0)


def run(arguments: list[str], players: list[Player], out: BinaryIO) -> int:
    """Play until the tone has faded; the exit code."""
    device, rate_hz, *order = arguments
    try:
        stream, player, name = open_output(device, int(rate_hz), order)
        players.append(player)
        send(out, wire.Record(wire.OPENED, name.encode()))
        follow(stream, player, out)
    except BrokenPipeError:
        return 0
    except LineInputRefusedError as error:
        send(out, wire.Record(wire.REFUSED, str(error).encode()))
    except LineInputError as error:
        send(out, wire.Record(wire.MISSING, str(error).encode()))
    else:
        return 0
    return 1


def main() -> None:
    """Never returns: PortAudio's own ending may hang, so the process just stops."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is the parent's to answer
    players: list[Player] = []
    die_with_parent(lambda: obey_input(players))
    use_lean_alsa()
    out = take_stdout()
    arguments = sys.argv[1:]
    if arguments == ["--list"]:
        os._exit(write_list(out, output_devices))
    os._exit(run(arguments, players, out))


if __name__ == "__main__":
    main()
