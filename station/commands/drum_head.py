"""`station drum head`: a recorded round of taps, each lug's deviation and what to turn.

The file holds the taps of one round and nothing else: lug 1 first, then clockwise (or in the
cross order), one tap a lug or several in a row, the same number at every lug.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any, Literal

from station.commands.drum_tap import CLIPS
from station.commands.from_start import FromStart
from station.commands.loudest import as_last_told, hear_loudest
from station.commands.printed import json_line, print_lines
from station.errors import DrumError
from station.measure.drums.farthest import as_data, in_words
from station.measure.drums.head_pass import turns_in_words
from station.measure.drums.lugs import EVEN_CENTS, good_taps, head
from station.measure.drums.types import Head, LugPitch, Stroke
from station.music.drums import CAUTIONS
from station.music.lugs import check_lugs, clockwise_order, cross_order
from station.plain_text import path_text, valid_text

Order = Literal["clockwise", "cross"]
CLIPPED_DOUBT = 2.0  # times what is told of a stroke that clipped; invented in size
FEEL = "of a lug and the one opposite the key may tell: it goes easier at a slack one"
"""Common practice, no source."""


def hear_strokes(path: str) -> list[Stroke]:
    """Every stroke on the loudest channel of a file, as it was last told; raises SoundFileError."""
    told = hear_loudest(path, FromStart)
    if told.fault is not None:
        raise told.fault
    return as_last_told(told.heard)


def placed(
    strokes: Sequence[Stroke], lugs: int, order: Order, name: str
) -> list[tuple[int, Stroke]]:
    """Each stroke with its lug; raises DrumError when there is no equal number for each.

    Strokes that cannot be used are left out, if without them every lug has as many, or if
    with them every lug has as many and each keeps one. Those that clip are used where that is
    not so: a recording stays as it is, and what rings on after a stroke did not clip.
    """
    turn = clockwise_order(lugs) if order == "clockwise" else cross_order(lugs)
    good = [stroke for _, stroke in good_taps([(1, stroke) for stroke in strokes])]
    ringing = [_from_its_ring(stroke) for stroke in strokes]
    usable = [stroke for _, stroke in good_taps([(1, stroke) for stroke in ringing])]
    for counted in (good, strokes, usable, ringing):
        each, rest = divmod(len(counted), lugs)
        if not each or rest:
            continue
        found = good_taps([(turn[at // each], stroke) for at, stroke in enumerate(counted)])
        if len({lug for lug, _ in found}) == lugs:
            return found
    clipping = sum(each.verdict == "clipped" for each in strokes)
    why = f"; {clipping} clip: turn the line's level down and record them again" if clipping else ""
    raise DrumError(
        f"{name}: {len(usable)} usable taps of {len(strokes)} do not go round {lugs} lugs:"
        f" tap every lug equally often, and say the number with --lugs{why}"
    )


def _from_its_ring(stroke: Stroke) -> Stroke:
    """A stroke that clipped, as a good one whose modes are less sure; any other as it is."""
    if stroke.verdict != "clipped":
        return stroke
    modes = tuple(
        replace(mode, uncertainty_cents=CLIPPED_DOUBT * mode.uncertainty_cents)
        for mode in stroke.modes
    )
    return replace(stroke, verdict="good", modes=modes)


def run_head(path: str, lugs: int, order: Order = "clockwise", as_json: bool = False) -> int:
    """Print the head; 1 when no pair of overtones is heard. Raises DrumError, SoundFileError."""
    name = path_text(path)
    check_lugs(lugs)
    taps = placed(hear_strokes(path), lugs, order, name)
    found = head(lugs, taps)
    if found is None:
        raise DrumError(
            f"{name}: no pair of overtones is heard beside every lug:"
            " mute the centre lightly and tap nearer to the lugs"
        )
    clipped = any(stroke.clipped for _, stroke in taps)
    says = json_lines(found[0], path, clipped) if as_json else text_lines(found[0], name, clipped)
    print_lines(says)
    return 0


def json_lines(found: Head, path: str, clipped: bool = False) -> list[str]:
    """An object for each lug, then one for the head; `clipped`: strokes that clip were used."""
    objects: list[dict[str, Any]] = [
        {
            "kind": "lug",
            "file": valid_text(path),
            "lug": each.lug,
            "hz": each.hz,
            "offset_cents": each.offset_cents,
            "uncertainty_cents": each.uncertainty_cents,
            "alone_cents": each.alone_cents,
            "verdict": each.verdict,
            "turns": each.turns,
            "turns_uncertainty": each.turns_uncertainty,
            "opposite": each.opposite,
        }
        for each in found.lugs
    ]
    objects.append(
        {
            "kind": "head",
            "file": valid_text(path),
            "evenness_cents": found.evenness_cents,
            "even": found.even,
            "worst": found.worst,
            "farthest": as_data(found.farthest),
            "fundamental_hz": found.fundamental_hz,
            "overtone_hz": found.overtone_hz,
            "confusion": found.confusion,
            "clipped": clipped,
            "cautions": list(CAUTIONS),
        }
    )
    return [json_line(each) for each in objects]


def text_lines(found: Head, name: str, clipped: bool = False) -> list[str]:
    """The head for people: lugs, where to begin, what is not known, what to take care of."""
    lines = [
        f"{name}  {len(found.lugs)} lugs  overtone pair {found.overtone_hz:.1f} Hz"
        f"  evenness {found.evenness_cents:.1f} cents"
    ]
    lines += [_lug_line(each) for each in found.lugs]
    lines.append(f"  {_first(found)}")
    if not found.even:
        lines.append(f"  {in_words(found.farthest, len(found.lugs))}")
        lines += [f"  {FEEL}"] if len(found.lugs) % 2 == 0 else []
    lines.append(f"  {found.confusion}")
    if clipped:
        lines.append(f"  {CLIPS}")
    return lines + [f"  {each}" for each in CAUTIONS]


def _lug_line(each: LugPitch) -> str:
    text = (
        f"  lug {each.lug:2d}  {each.hz:8.2f} Hz  {each.offset_cents:+6.1f} cents"
        f" ±{each.uncertainty_cents:.1f}  {each.verdict}"
    )
    return f"{text} by {turns_in_words(each.turns)}" if each.turns is not None else text


def _first(found: Head) -> str:
    if found.even:
        return f"even: within {EVEN_CENTS:g} cents"
    # What is turned is the mean of two opposite lugs: it may be farthest out where no lug is.
    first = max(found.lugs, key=lambda each: round(abs(each.offset_cents), 3))
    if first.opposite and len(found.lugs) % 2 == 0:
        return (
            f"begin with lug {first.lug} and lug {first.opposite} across from it;"
            " turn a little, tap all lugs again"
        )
    return f"begin with lug {first.lug}; turn a little, tap all lugs again"
