"""Drums that are kept, their way back, and the kit against the key."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import AfterValidator, Field

from station.measure.drums.types import LugVerdict
from station.music.drums import DrumKind
from station.room.kit_songs import BASS_MAX, SONGS_MAX
from station.web.models.kit_view import KitView
from station.web.models.plain import Must
from station.web.models.words import (
    NAME_MAX,
    PRINTABLE,
    Answer,
    Body,
    Count,
    MaybeText,
    Number,
    Query,
    ShortText,
    YesOrNo,
    left_out,
    printable,
)

_Short = Annotated[
    str,
    Field(min_length=1, max_length=NAME_MAX, pattern=PRINTABLE),
    AfterValidator(printable),
]
Inches = Annotated[float, Field(ge=1.0, le=60.0), Must("be a number")]


class PutDrum(Body):
    """A drum's size and pitch; what is null is not known. The pitch `taps` is what was tapped."""

    name: ShortText
    player: ShortText = left_out()
    kind: DrumKind = left_out()
    diameter_in: Inches | None = None
    depth_in: Inches | None = None
    pitch: ShortText | None = None
    keep: YesOrNo = left_out()


class KeepDrum(Body):
    """The drum a player tapped is right as it is now."""

    player: ShortText
    name: ShortText
    place: MaybeText | None = None


class ForgetDrum(Body):
    """A drum that is kept no longer."""

    name: ShortText
    by: ShortText


class TypedSong(Body):
    """A song's key, such as `E minor`, and the notes of its bass roots."""

    name: ShortText
    key: ShortText
    bass: Annotated[list[ShortText], Field(max_length=BASS_MAX)] = left_out()


class SetKitSongs(Body):
    """The songs the kit is held against."""

    songs: Annotated[
        list[TypedSong],
        Field(max_length=SONGS_MAX),
        Must("be a list of name, key and bass"),
    ]


class BackQuery(Query):
    """Whose drum, and which."""

    player: Annotated[_Short, Must("be in the address, such as ?player=...")]
    drum: Annotated[_Short, Must("be in the address, such as ?drum=...")]


class GoodTaps(Answer):
    """What the taps said."""

    fundamental_hz: Number
    uncertainty_cents: Number
    overtone_hz: Number | None
    ring_s: Number | None
    kind: str
    used: Count


class GoodHead(Answer):
    """What a head pass said."""

    lugs: Count
    lug_hz: list[Number]
    overtone_hz: Number
    fundamental_hz: Number
    evenness_cents: Number
    at: str


class GoodState(Answer):
    """What a drum was when its player said it was right, and the room it was in."""

    at: str
    a4_hz: Number
    reference: str
    place: str
    taps: GoodTaps | None
    head: GoodHead | None


class Drum(Answer):
    """A drum that is kept. `learned`: how many passes have told what its key does."""

    name: str
    kind: DrumKind
    diameter_in: Number | None
    depth_in: Number | None
    hz: Number | None
    note: str | None
    cents: Number | None
    overtone_hz: Number | None
    keep: bool
    good: GoodState | None
    learned: Count


class KitSong(Answer):
    """A song's key and bass roots."""

    name: str
    key: str
    bass: list[str]


class Drums(Answer):
    """Every drum that is kept, and the kit's songs."""

    drums: list[Drum]
    songs: list[KitSong]
    cautions: list[str]


class LugBack(Answer):
    """One lug."""

    lug: Count
    cents: Number
    verdict: LugVerdict
    turns: Number | None
    turns_uncertainty: Number | None
    how: str | None


class WayBack(Answer):
    """What must be turned to bring a drum back to its good state; `cents` is how far it is from
    it now. `turns` is null where what the key does has not been learned.
    """

    drum: str
    source: Literal["head pass", "taps"]
    cents: Number
    verdict: LugVerdict
    tension_percent: Number
    turns: Number | None
    turns_uncertainty: Number | None
    how: str | None
    lugs: list[LugBack]
    says: list[str]


class Kit(Answer):
    """Drums of known size and pitch (`missing` are the others) against the songs: `view` as
    `station drum kit --json` tells it, null without a drum or a song.
    """

    view: KitView | None
    missing: list[str]
    songs: list[KitSong]
    from_order: bool


class DrumInFile(Answer):
    """A drum in the words of a `station drum kit` file; what is not known is left out."""

    name: str
    kind: DrumKind = left_out()
    diameter_mm: Number = left_out()
    depth_mm: Number = left_out()
    hz: Number = left_out()
    overtone_hz: Number = left_out()
    keep: bool
    good: GoodState | None


class DrumsFile(Answer):
    """Kept drums and the kit's songs, as `station drum kit` takes them."""

    a4_hz: Number
    drums: list[DrumInFile]
    songs: list[KitSong]
