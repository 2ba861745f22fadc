"""What the page says of an instrument rests on the station's own limits."""

from __future__ import annotations

from pathlib import Path

import station.web
from station.measure.fixed.claim import SURE
from station.web.models.measuring import Instrument

WORDS = Path(station.web.__file__).parent / "static" / "js" / "instrument_words.js"


def test_the_page_and_the_api_call_sure_what_the_station_does():
    assert f"const SURE = {SURE};" in WORDS.read_text()
    assert f"of {SURE} and more it is sure" in " ".join((Instrument.__doc__ or "").split())
