"""What a proposal of each kind offers: its pitch, its reason in one line, its evidence. Pure."""

from __future__ import annotations

from difflib import get_close_matches
from typing import Any

from station.errors import NotNowError, UsageError
from station.music.compromise import RULES
from station.music.pitch import A4_STANDARD_HZ, check_a4
from station.room.instrument import Data
from station.room.measured import Measured
from station.room.model import SOURCE_LIMIT
from station.room.proposal import KINDS, Offer

_RULE_WORDS = {"worst": "smallest worst error", "mean": "smallest mean square error"}


def make_offer(
    kind: str,
    measured: Measured,
    *,
    a4_hz: float | None = None,
    instrument: str | None = None,
    rule: str = "worst",
) -> Offer:
    """The offer somebody means.

    ``a4_hz`` goes with "typed", ``instrument`` (an id) with "measured", ``rule``
    with "compromise". Raises UsageError (UnknownMeasurementError,
    ReferenceRangeError) for what cannot be meant, NotNowError for a compromise
    of fewer than two instruments.
    """
    if kind == "standard":
        return Offer(A4_STANDARD_HZ, "standard", "standard pitch (ISO 16)")
    if kind == "typed":
        return Offer(check_a4(a4_hz), "typed", "typed in")
    if kind == "measured":
        if instrument is None:
            raise UsageError("which instrument was measured is missing: give its id as instrument")
        return measured_offer(measured.get(instrument))
    if kind == "compromise":
        return _compromise(measured, rule)
    near = get_close_matches(str(kind), KINDS, n=1, cutoff=0.0)[0]
    raise UsageError(f"a proposal of kind {kind!r:.40}: did you mean {near!r}?")


def measured_offer(data: Data) -> Offer:
    """An instrument's own pitch; raises ReferenceRangeError where no band could tune to it."""
    uncertainty = f"±{data['uncertainty_cents']:.2g} cents"
    reason = f"measured from {data['name']}, {uncertainty}"
    return Offer(check_a4(data["a4_hz"]), "measured", reason, {"instruments": [data]})


def _compromise(measured: Measured, rule: str) -> Offer:
    if rule not in RULES:
        raise UsageError(f"rule {rule!r:.40}: a compromise goes by 'worst' or by 'mean'")
    compromise = measured.compromise()
    if compromise is None:
        raise NotNowError("a compromise needs two measured instruments: measure another")
    found: dict[str, Any] = compromise[rule]
    names = " and ".join(each["name"] for each in found["instruments"])
    tail = f", {_RULE_WORDS[rule]}: at most {found['worst_cents']:.1f} cents off"
    whole = f"compromise of {names}{tail}"
    if len(found["instruments"]) > 2 or len(whole) > SOURCE_LIMIT:
        whole = f"compromise of {len(found['instruments'])} instruments{tail}"
    evidence = {"rule": rule, "compromise": found, "instruments": measured.kept()}
    return Offer(check_a4(found["a4_hz"]), "compromise", whole, evidence)
