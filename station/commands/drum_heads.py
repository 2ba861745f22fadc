"""`station drum heads`: batter against resonant head, each tapped with the other damped."""

from __future__ import annotations

from typing import Any

from station.commands.drum_tap import LEAST_SHOWN_CENTS, hear_taps, note_and_cents, tap_of
from station.commands.printed import complain, json_line, print_lines
from station.errors import NoTapError
from station.measure.drums.tap import WHY
from station.measure.drums.types import Tap
from station.music.names import NamingSystem, note_in
from station.music.pitch import check_a4
from station.music.two_heads import TwoHeads, two_heads
from station.plain_text import path_text, valid_text

DIGITS = 6


def run_heads(
    batter: str,
    resonant: str,
    snare_side: bool = False,
    a4_hz: float = 440.0,
    as_json: bool = False,
    names: NamingSystem = "english",
) -> int:
    """Print each head's pitch, the interval and what the trade says to it.

    A file that ends with a fault is told with what was heard before it, and ends in 1. Raises
    ReferenceRangeError, SoundFileError, and DrumError for a file without a tap.
    """
    check_a4(a4_hz)
    heads = [_tap_in(path) for path in (batter, resonant)]
    found = two_heads(heads[0][0], heads[1][0], snare_side)
    told = [
        (name, path, said)
        for name, path, (said, _) in zip(
            ("batter", "resonant"), (batter, resonant), heads, strict=True
        )
    ]
    if as_json:
        print_lines([json_line(_head_json(*each, a4_hz), DIGITS) for each in told])
        print_lines([json_line(_heads_json(found, snare_side), DIGITS)])
    else:
        print_lines([_head_line(*each, a4_hz, names) for each in told])
        print_lines(_heads_lines(found))
    faults = [fault for _, fault in heads if fault is not None]
    return max([complain(str(fault), fault.exit_code) for fault in faults], default=0)


def _tap_in(path: str) -> tuple[Tap, Any]:
    strokes, fault = hear_taps(path)
    found = tap_of(strokes)
    if found is not None:
        return found, fault
    if fault is not None:
        raise fault
    why = sorted({WHY[each.verdict] for each in strokes if each.verdict in WHY})
    what = f"only strokes that tell nothing: {'; '.join(why)}" if why else "no stroke on a drum"
    raise NoTapError(f"{path_text(path)}: {what}")


def _head_json(name: str, path: str, said: Tap, a4_hz: float) -> dict[str, Any]:
    note, cents = note_and_cents(said.fundamental_hz, a4_hz)
    return {
        "kind": "one head",
        "head": name,
        "file": valid_text(path),
        "fundamental_hz": said.fundamental_hz,
        "uncertainty_cents": said.uncertainty_cents,
        "note": note,
        "cents": cents,
        "taps": len(said.strokes),
        "sure": said.sure,
    }


def _heads_json(found: TwoHeads, snare_side: bool) -> dict[str, Any]:
    return {
        "kind": "two heads",
        "snare_side": snare_side,
        "cents": found.cents,
        "semitones": found.semitones,
        "uncertainty_cents": found.uncertainty_cents,
        "higher": found.higher,
        "beat_hz": found.beat_hz,
        "warning": found.warning,
        "advice": list(found.advice),
    }


def _head_line(name: str, path: str, said: Tap, a4_hz: float, names: NamingSystem) -> str:
    note, cents = note_and_cents(said.fundamental_hz, a4_hz)
    unsure = max(said.uncertainty_cents, LEAST_SHOWN_CENTS)
    return (
        f"{name:8s}  {note_in(note, names)} {cents:+.1f} cents ±{unsure:.1f}"
        f"  {said.fundamental_hz:.2f} Hz  {path_text(path)}"
    )


def _heads_lines(found: TwoHeads) -> list[str]:
    apart = f"{abs(found.semitones):.2f} semitones apart ±{found.uncertainty_cents:.1f} cents"
    which = "the same pitch" if found.higher == "neither" else f"the {found.higher} head is higher"
    lines = [f"{which}: {apart}"]
    if found.warning is not None:
        lines.append(f"  take care: {found.warning}")
    return lines + [f"  {each}" for each in found.advice]
