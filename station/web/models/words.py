"""The kinds of value that requests and answers are made of, and what both are by nature.

A request refuses what it does not know, takes no text for a number, and tells the first fault
in one plain line. Its limits stand in the API's description as they are checked. An answer is
described by its model and held against it in tests; while the station runs nobody checks it,
so that a reading is as fast as its JSON.
"""

from __future__ import annotations

import math
from typing import Annotated, Any, Literal, Self

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    ValidationError,
    model_validator,
)
from pydantic_core import PydanticCustomError

from station.errors import PageRequestError
from station.music.pitch import A4_MAX_HZ, A4_MIN_HZ, check_a4
from station.web.models.plain import Must, shown, told

NAME_MAX = 40
ID_MAX = 64
LARGEST_WHOLE = 999_999_999
LARGEST_NUMBER = 1e9
# What no page, lamp or log can show: controls, directions, marks without a shape, private
# use. White space, what Python's split() takes for it, is tidied before it is looked at.
_UNSEEN = (
    r"\u0000-\u0008\u000e-\u001b\u007f-\u0084\u0086-\u009f\u00ad\u200b-\u200f\u202a-\u202e"
    r"\u2060-\u206f\ue000-\uf8ff\ufeff\ufff9-\ufffb\ufffe\uffff"
)
_LINE = rf"^[^{_UNSEEN}]*$"
_LINE_WITH_SOMETHING = rf"^[^{_UNSEEN}]*[^{_UNSEEN}\s\u001c-\u001f\u0085][^{_UNSEEN}]*$"
PRINTABLE = (
    r"^[^\u0000-\u001f\u007f-\u00a0\u00ad\u1680\u2000-\u200f\u2028-\u202f\u205f-\u206f\u3000"
    r"\ue000-\uf8ff\ufeff\ufff9-\ufffb\ufffe\uffff]*$"
)


class Model(BaseModel):
    """Nothing is converted, nothing unknown is taken; built when it is first asked for."""

    model_config = ConfigDict(
        strict=True,
        extra="forbid",
        allow_inf_nan=False,
        defer_build=True,
        validate_by_name=False,
        validate_by_alias=True,
    )

    @classmethod
    def model_json_schema(cls, *args: Any, **how: Any) -> dict[str, Any]:
        from station.web.models.schema import Plain  # the description alone pays for it

        return super().model_json_schema(*args, **{"schema_generator": Plain, **how})


class Answer(Model):
    """What the station says."""


class Asked(Model):
    """What is asked of the station; raises PageRequestError with one line when it cannot be."""

    @classmethod
    def model_validate(cls, obj: Any, **how: Any) -> Self:
        try:
            return super().model_validate(obj, **how)
        except ValidationError as error:
            raise cls._refused(error) from None

    @classmethod
    def _refused(cls, error: ValidationError) -> PageRequestError:
        return told(cls, error)


class Body(Asked):
    """The JSON object of a change, with one key at least."""

    model_config = ConfigDict(json_schema_extra={"minProperties": 1})

    @model_validator(mode="before")
    @classmethod
    def _is_an_object(cls, value: Any) -> Any:
        if not isinstance(value, dict) or not value:
            known = ", ".join(cls.model_fields)
            raise PageRequestError(f"the body must be a JSON object with {known}")
        return value

    def changes(self) -> dict[str, Any]:
        """The keys that were sent, and no other."""
        return self.model_dump(exclude_unset=True)


class Address(Asked):
    """The ids in an address; one that can be nobody's is not found."""

    model_config = ConfigDict(extra="ignore")

    @classmethod
    def _refused(cls, error: ValidationError) -> PageRequestError:
        fault = error.errors(include_url=False)[0]
        what = cls.model_fields[str(fault["loc"][0])].description
        return PageRequestError(f"there is no {what} {shown(fault['input'])}", 404)


class Query(Asked):
    """What stands behind the question mark of an address; what is unknown there is passed over."""

    model_config = ConfigDict(extra="ignore")


def left_out() -> Any:
    """For a key that may be left out, but not be null."""
    return Field(default_factory=lambda: None)


def _tidied(value: Any) -> Any:
    return " ".join(value.split()) if isinstance(value, str) else value


def printable(value: str) -> str:
    """The pattern names what cannot be shown in ranges; this knows every single sign."""
    if not value.isprintable():
        raise PydanticCustomError("not_printable", "not printable")
    return value


def whole(value: Any) -> Any:
    """JSON knows one kind of number: 2.0 is as whole as 2."""
    if isinstance(value, float) and math.isfinite(value):
        if not value.is_integer():
            raise PydanticCustomError("fraction", "a fraction")
        return int(value)
    return value


def _from_address(value: Any) -> Any:
    if isinstance(value, str) and value.isascii() and value.isdigit() and len(value) <= 9:
        return int(value)
    return value


Number = Annotated[float, Must("be a number")]
Count = Annotated[int, Field(ge=0)]
FromOne = Annotated[
    int,
    Field(ge=1, le=LARGEST_WHOLE),
    BeforeValidator(whole),
    Must("be a number"),
]
FromZero = Annotated[
    int,
    Field(ge=0, le=LARGEST_WHOLE),
    BeforeValidator(whole),
    Must("be a number"),
]
YesOrNo = Annotated[bool, Must("be true or false")]
ShortText = Annotated[
    str,
    Field(min_length=1, max_length=NAME_MAX, pattern=_LINE_WITH_SOMETHING),
    BeforeValidator(_tidied),
    AfterValidator(printable),
    Must(f"be 1 to {NAME_MAX} printable characters"),
]
"""One line that a page, a lamp or a log shows, trimmed."""
MaybeText = Annotated[
    str,
    Field(max_length=NAME_MAX, pattern=_LINE),
    BeforeValidator(_tidied),
    AfterValidator(printable),
    Must(f"be at most {NAME_MAX} printable characters"),
]
"""The same, or nothing."""
A4 = Annotated[
    float,
    AfterValidator(check_a4),
    Field(json_schema_extra={"minimum": A4_MIN_HZ, "maximum": A4_MAX_HZ}),
    Must("be a number"),
]
Id = Annotated[str, Field(min_length=1, max_length=ID_MAX)]
NumberInAddress = Annotated[int, Field(ge=0, le=LARGEST_WHOLE), BeforeValidator(_from_address)]
Verdict = Literal["tighten", "slacken", "in"]


class By(Body):
    """Who asks: a player's id or, from somebody who is no player, a name."""

    by: ShortText


class RoomCode(Asked):
    """The room code, as it is or percent-encoded; printed when the station starts."""

    model_config = ConfigDict(extra="ignore")

    code: Annotated[str, Field(alias="X-Room-Code", min_length=1, pattern=r"\S")]


class PlayerAddress(Address):
    """Whose it is."""

    player_id: Id = Field(description="player")


class Error(Answer):
    """One line saying what was wrong."""

    error: str
