"""What `station check` says of the clock: who keeps it, and what the sound card is off."""

from __future__ import annotations

from typing import Any

from station.commands.check_item import Item, ok, remark
from station.measure.error_budget import USUAL_CARD_PPM, cents_of_ppm
from station.system_clock import ClockState, ask_system

ITEM = "clock"
REMEDY = "let the box reach a time server; chrony or systemd-timesyncd keeps its clock"
LOSSES = "see to the input: another USB port, longer blocks, the rate the card really has"
UNCALIBRATED = (
    f"pitches are off by what the card is, up to {cents_of_ppm(USUAL_CARD_PPM):.2f} cents"
)


def look_at_clock() -> Item:
    """Whether the box's clock is right; how right the card is only a running station finds."""
    return clock_item(ask_system())


def clock_item(state: ClockState) -> Item:
    """What a box without a running station knows."""
    if not state.synchronised:
        return remark(ITEM, f"not synchronised: {state.reason}; {UNCALIBRATED}", REMEDY)
    about = "" if state.error_s is None else f", to about {state.error_s * 1e3:.2g} ms"
    return ok(
        ITEM,
        f"synchronised by {state.source or 'a time service'}{about};"
        " the card is not calibrated: it is while the station runs",
    )


def running_clock_item(clock: dict[str, Any]) -> Item:
    """A running station's own account of its card, `station.clock` of the room's JSON."""
    by = f"synchronised by {clock['source'] or 'a time service'}"
    kept = by if clock["synchronised"] else "not synchronised now"
    reason = clock["reason"]
    if clock["state"] == "calibrated":
        way = "fast" if clock["ppm"] > 0 else "slow"
        found = (
            f"{kept}; the card is {abs(clock['ppm']):.1f} ppm {way},"
            f" ± {clock['uncertainty_ppm']:.1f} ppm, and pitches are corrected"
        )
        if reason is None:
            return ok(ITEM, found)
        return remark(ITEM, f"{found}; {reason}", LOSSES if clock["synchronised"] else REMEDY)
    if clock["state"] == "measuring":
        return ok(ITEM, f"{kept}; the card is being measured: {reason}")
    if clock["synchronised"]:
        return remark(ITEM, f"{kept}; the card is not calibrated: {reason}", LOSSES)
    return remark(ITEM, f"not synchronised: {reason}; {UNCALIBRATED}", REMEDY)
