"""The process that PortAudio lives in, so that it can be killed when it hangs.

``python -m station.sound.capture_child DEVICE RATE_HZ CHANNELS FORMAT FRAMES``
writes records (see ``wire``) to standard output; ``--list`` writes a line for
every input. It ends when its standard input closes, which is its parent's end.
The callback only copies, queues and counts; the main thread writes. No numpy.
"""

from __future__ import annotations

import ctypes
import os
import queue
import signal
import sys
import threading
import time
from collections.abc import Callable, Mapping
from pathlib import Path
from types import ModuleType
from typing import Any, BinaryIO

from station.errors import LineInputError, LineInputRefusedError
from station.sound import wire
from station.sound.devices import Device, find_device, read_cards, stable_name

PA_INPUT_OVERFLOW = 0x2
"""portaudio.h, PaStreamCallbackFlags paInputOverflow."""
PA_CONTINUE = 0
"""portaudio.h, PaStreamCallbackResult paContinue."""
REFUSALS = {
    -9998: "number of channels",
    -9997: "sample rate",
    -9994: "sample format",
}
"""portaudio.h, PaErrorCode: paInvalidChannelCount, paInvalidSampleRate,
paSampleFormatNotSupported. Waiting does not cure these."""
QUEUE_S = 2.0
"""How much sound waits for a busy parent before blocks are dropped (and counted)."""
PR_SET_PDEATHSIG = 1
"""linux/prctl.h."""
SYSTEM_ALSA_CONFIG = Path("/usr/share/alsa/alsa.conf")


class Capture:
    """What the callback does, and the queue it fills."""

    def __init__(self, rate_hz: int, frames_per_block: int) -> None:
        self.records: queue.SimpleQueue[wire.Record] = queue.SimpleQueue()
        self.overruns = 0
        self._rate_hz = rate_hz
        self._max_queued = max(4, int(QUEUE_S * rate_hz / frames_per_block))
        self._next_frame = 0
        self._lost = 0
        self._last_s: float | None = None

    def on_audio(
        self, data: bytes, frames: int, time_info: Mapping[str, float], status: int
    ) -> tuple[None, int]:
        """PortAudio's callback: runs on its thread, never blocks."""
        now_s = time.monotonic()
        if status & PA_INPUT_OVERFLOW and self._last_s is not None:
            self.overruns += 1
            self._lost += self._missed_frames(now_s - self._last_s, frames)
        self._last_s = now_s
        if self.records.qsize() >= self._max_queued:
            self.overruns += 1
            self._lost += frames
            return None, PA_CONTINUE
        delay_s = time_info["current_time"] - time_info["input_buffer_adc_time"]
        first_frame = self._next_frame + self._lost
        self.records.put(
            wire.Record(
                wire.BLOCK, data, frames, first_frame, self._lost, now_s, delay_s, self.overruns
            )
        )
        self._next_frame, self._lost = first_frame + frames, 0
        return None, PA_CONTINUE

    def _missed_frames(self, elapsed_s: float, frames: int) -> int:
        # PortAudio tells that samples were lost, not how many; the clock says about how many.
        return max(1, round(elapsed_s * self._rate_hz) - frames)


def input_devices(audio: Any, channels: str = "maxInputChannels") -> list[Device]:
    """Every device PortAudio knows that has inputs, or whatever else `channels` counts."""
    infos = [audio.get_device_info_by_index(i) for i in range(audio.get_device_count())]
    return [
        Device(info["index"], info["name"], info[channels], info["defaultSampleRate"])
        for info in infos
        if info[channels] > 0
    ]


def open_stream(
    device: str, rate_hz: int, channels: int, sample_format: str, frames: int
) -> tuple[Any, Capture, str]:
    """The running stream, what it fills, and the stable name of the device it is open on.

    Raises LineInputError, or LineInputRefusedError where waiting cures nothing.
    """
    pyaudio = load_pyaudio()
    cards = read_cards()
    audio = pyaudio.PyAudio()
    found = find_device(input_devices(audio), cards, device)
    if channels > found.channels:
        raise LineInputRefusedError(
            f"{device} has {found.channels} channels, {channels} are asked for:"
            f" set channels to {found.channels} or fewer"
        )
    capture = Capture(rate_hz, frames)
    try:
        stream = audio.open(
            rate=rate_hz,
            channels=channels,
            format=getattr(pyaudio, "pa" + sample_format.capitalize()),
            input=True,
            input_device_index=found.number,
            frames_per_buffer=frames,
            stream_callback=capture.on_audio,
        )
    except OSError as error:
        raise open_error(error, device, rate_hz, channels, sample_format) from error
    if read_cards() != cards:
        # A card came or went meanwhile: the number that was opened may be another card's.
        raise LineInputError(f"the sound cards changed while {device} was being opened")
    return stream, capture, stable_name(found.name, cards) or found.name


def open_error(
    error: OSError, device: str, rate_hz: int, channels: int, sample_format: str
) -> LineInputError:
    """PortAudio's refusal in one line."""
    asked = f"{channels} channels of {sample_format} at {rate_hz} Hz"
    refused = REFUSALS.get(error.errno or 0)
    if refused:
        hint = ": try int16 or float32" if refused == "sample format" else ""
        return LineInputRefusedError(f"{device} does not take {asked} (its {refused}){hint}")
    return LineInputError(f"{device} cannot be opened for {asked}: {error.strerror or error}")


def load_pyaudio() -> ModuleType:
    """PyAudio, or LineInputRefusedError where it is not installed."""
    try:
        import pyaudio
    except ImportError as error:
        raise LineInputRefusedError(
            f"PyAudio cannot be loaded ({error}): install python3-pyaudio"
        ) from error
    module: ModuleType = pyaudio
    return module


def use_lean_alsa() -> None:
    """Have ALSA read ``lean_alsa.conf`` after its own configuration.

    ALSA divides its list of files at every colon and space, and expands a hook's
    file as a shell would. Descriptors have names without either, wherever this
    package lies; they stay open as long as the process.
    """
    if "ALSA_CONFIG_PATH" in os.environ or not SYSTEM_ALSA_CONFIG.exists():
        return
    top, lean = (
        f"/proc/self/fd/{os.open(Path(__file__).with_name(name), os.O_RDONLY)}"
        for name in ("alsa_top.conf", "lean_alsa.conf")
    )
    os.environ["ALSA_CONFIG_PATH"] = f"{SYSTEM_ALSA_CONFIG}:{top}"
    os.environ["STATION_LEAN_ALSA"] = lean


def pump(stream: Any, capture: Capture, out: BinaryIO) -> None:
    """Write records for as long as the stream runs; raises LineInputError when it stops."""
    while True:
        try:
            record = capture.records.get(timeout=0.25)
        except queue.Empty:
            if not stream.is_active():
                raise LineInputError("the sound device stopped giving samples") from None
            continue
        send(out, record)


def send(out: BinaryIO, record: wire.Record) -> None:
    """One record, all of it, now."""
    out.write(wire.pack(record))
    out.flush()


def wait_for_closed_input() -> None:
    while os.read(0, 256):
        pass
    os._exit(0)


def die_with_parent(listen: Callable[[], None] = wait_for_closed_input) -> None:
    """End when the parent ends: by signal where Linux gives one, else by the closed pipe.

    `listen` reads standard input, on a thread of its own, and sees to the latter.
    """
    ctypes.CDLL(None).prctl(PR_SET_PDEATHSIG, signal.SIGKILL)
    threading.Thread(target=listen, daemon=True).start()


def take_stdout() -> BinaryIO:
    """Standard output for records alone: whatever a C library prints there goes to stderr."""
    out = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)
    return out


def run(arguments: list[str], out: BinaryIO) -> int:
    """Capture until something ends it; the exit code."""
    device, rate_hz, channels, sample_format, frames = arguments
    try:
        stream, capture, name = open_stream(
            device, int(rate_hz), int(channels), sample_format, int(frames)
        )
        send(out, wire.Record(wire.OPENED, name.encode()))
        pump(stream, capture, out)
    except BrokenPipeError:
        return 0
    except LineInputRefusedError as error:
        send(out, wire.Record(wire.REFUSED, str(error).encode()))
    except LineInputError as error:
        send(out, wire.Record(wire.MISSING, str(error).encode()))
    return 1


def write_list(out: BinaryIO, devices: Callable[[Any], list[Device]] = input_devices) -> int:
    """A line for each of `devices`: stable name, tab, channels."""
    cards = read_cards()
    for device in devices(load_pyaudio().PyAudio()):
        name = stable_name(device.name, cards)
        if name is not None:
            out.write(f"{name}\t{device.channels}\n".encode())
    out.flush()
    return 0


def main() -> None:
    """Never returns: PortAudio's own ending may hang, so the process just stops."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is the parent's to answer
    die_with_parent()
    use_lean_alsa()
    out = take_stdout()
    arguments = sys.argv[1:]
    os._exit(write_list(out) if arguments == ["--list"] else run(arguments, out))


if __name__ == "__main__":
    main()
