"""A head pass as the page gets it: short, for it goes with every stroke. Pure."""

from __future__ import annotations

from typing import Any

from station.measure.drums.head_pass import HeadPass

Data = dict[str, Any]


def pass_as_json(
    guide: HeadPass, drum: str, beside: int | None, warning: str | None, told: int
) -> Data:
    """Lugs, what was heard of each, what to do now; figures with the digits that are shown.

    ``tap_next`` is ``beside`` where the drummer has named a lug.
    """
    shown = guide.payload()
    verdicts = {each["lug"]: each for each in shown.pop("advice")}
    tap_next = shown["tap_next"]
    turn_next = shown["turn_next"]
    head = guide.head
    return {
        **shown,
        "drum": drum,
        "tap_next": tap_next if beside is None or tap_next is None else beside,
        "chosen": beside is not None and tap_next is not None,
        "turn_next": turn_next
        if turn_next is None
        else {**turn_next, "turns": round(turn_next["turns"], 4)},
        "heard": [
            {
                "lug": each["lug"],
                "hz": round(each["hz"], 2),
                "offset_cents": round(each["offset_cents"], 1),
                "uncertainty_cents": round(each["uncertainty_cents"], 1),
                "verdict": verdicts[each["lug"]]["verdict"] if verdicts else None,
            }
            for each in shown["heard"]
        ],
        "taken": _taken(guide),
        "farthest": None
        if shown["farthest"] is None
        else {**shown["farthest"], "probability": round(shown["farthest"]["probability"], 3)},
        "evenness_cents": _rounded(shown["evenness_cents"]),
        "overtone_hz": None if head is None else round(head.overtone_hz, 2),
        "alone_cents": None if head is None else round(max(e.alone_cents for e in head.lugs), 1),
        "learned": 0 if guide.known is None else guide.known.learned,
        "warning": warning,
        "told": told,
    }


def _taken(guide: HeadPass) -> list[int]:
    """How many taps of this round each lug has, from lug 1 on."""
    lugs = [lug for lug, _ in guide.taps]
    return [lugs.count(lug) for lug in range(1, guide.lugs + 1)]


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 1)
