"""What strings are made of, and the gauges on sale, as the data files in ``wire_data`` say."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cache
from importlib.resources import files
from types import MappingProxyType
from typing import Any, Literal

from station.errors import WireError
from station.music._text import shown

Use = Literal["string", "wrap"]


@dataclass(frozen=True, slots=True)
class Material:
    """One material; ``use`` is ``"string"`` (plain strings, cores) or ``"wrap"``.

    Tolerances are in percent and stand for one standard deviation. ``modulus_gpa`` and
    ``strength_mpa`` are None where they do not matter (wraps carry no pull) or depend on the
    diameter (steel). ``gauges`` names the list of diameters it is sold in.
    """

    key: str
    label: str
    use: Use
    density_kg_m3: float
    density_percent: float
    aliases: tuple[str, ...] = ()
    modulus_gpa: float | None = None
    modulus_percent: float = 0.0
    strength_mpa: float | None = None
    gauges: str = ""

    @property
    def is_steel(self) -> bool:
        """Music wire: strength and modulus go by the diameter, heat is reckoned with."""
        return self.key == "steel"


@cache
def load_materials() -> Mapping[str, Material]:
    """Every material by key, read once; raises WireError where the data do not hold together."""
    return materials_from_toml(_text("materials.toml"), "materials.toml")


def materials_from_toml(text: str, source: str) -> Mapping[str, Material]:
    """Materials from the text of a data file; ``source`` names it in a WireError."""
    try:
        read: dict[str, dict[str, Any]] = tomllib.loads(text)
        return MappingProxyType(
            {
                key: Material(key=key, **{**data, "aliases": tuple(data.get("aliases", ()))})
                for key, data in read.items()
            }
        )
    except (tomllib.TOMLDecodeError, TypeError) as fault:
        raise WireError(f"{source}: {fault}") from fault


@cache
def load_gauges() -> Mapping[str, tuple[float, ...]]:
    """Diameters on sale, in thousandths of an inch, rising, by the name of their list."""
    read: dict[str, list[float]] = tomllib.loads(_text("gauges.toml"))
    return MappingProxyType({name: tuple(sizes) for name, sizes in read.items()})


def find_material(name: str, use: Use | None = None) -> Material:
    """The material of that key, alias or label; raises WireError with the nearest names."""
    known = {
        alias: material
        for material in load_materials().values()
        if use in (None, material.use)
        for alias in (material.key, *map(_key_of, (*material.aliases, material.label)))
    }
    found = known.get(_key_of(name))
    if found is None:
        near = get_close_matches(_key_of(name), list(known), n=1, cutoff=0.6)
        hint = f": did you mean {known[near[0]].key}?" if near else ":"
        choices = ", ".join(dict.fromkeys(material.key for material in known.values()))
        raise WireError(f"material {shown(name)} is unknown{hint} (there are {choices})")
    return found


def _key_of(name: str) -> str:
    return re.sub(r"[^a-z0-9]+", "-", name.casefold()).strip("-")


def _text(name: str) -> str:
    return (files("station.music") / "wire_data" / name).read_text(encoding="utf-8")
