"""Whether JSON data is what an OpenAPI description says it is, as far as ours goes.

Knows ``type``, ``enum``, ``const``, ``$ref``, ``oneOf``, ``anyOf``, ``items``, ``properties``,
``additionalProperties``, ``required`` and ``minimum`` (JSON Schema 2020-12, which OpenAPI 3.1
uses).
"""

from __future__ import annotations

from typing import Any

KINDS: dict[str, tuple[type, ...]] = {
    "object": (dict,),
    "array": (list,),
    "string": (str,),
    "boolean": (bool,),
    "integer": (int,),
    "number": (int, float),
    "null": (type(None),),
}


def _is_kind(value: Any, kind: str) -> bool:
    if isinstance(value, bool):
        return kind == "boolean"
    return isinstance(value, KINDS[kind])


def faults(value: Any, schema: dict[str, Any], api: dict[str, Any], at: str = "$") -> list[str]:
    """Where ``value`` is not as described, nothing when it is; ``api`` holds what ``$ref`` name."""
    if "$ref" in schema:
        name = schema["$ref"].rpartition("/")[2]
        return faults(value, api["components"]["schemas"][name], api, at)
    if "oneOf" in schema:
        fits = [not faults(value, each, api, at) for each in schema["oneOf"]]
        return [] if fits.count(True) == 1 else [f"{at}: fits {fits.count(True)} of oneOf"]
    if "anyOf" in schema:
        told = [faults(value, each, api, at) for each in schema["anyOf"]]
        # Of several that all fail the one for a value of this kind says most.
        return [] if [] in told else max(told, key=len)
    if "const" in schema and value != schema["const"]:
        return [f"{at}: {value!r} is not {schema['const']!r}"]
    if "enum" in schema and value not in schema["enum"]:
        return [f"{at}: {value!r} is none of {schema['enum']}"]
    kinds = schema.get("type", [])
    kinds = [kinds] if isinstance(kinds, str) else kinds
    if kinds and not any(_is_kind(value, kind) for kind in kinds):
        return [f"{at}: {value!r} is no {' or '.join(kinds)}"]
    found = []
    if "minimum" in schema and isinstance(value, int | float) and value < schema["minimum"]:
        found.append(f"{at}: {value} is below {schema['minimum']}")
    if isinstance(value, dict):
        found += [f"{at}.{key}: missing" for key in schema.get("required", ()) if key not in value]
        for key, part in schema.get("properties", {}).items():
            if key in value:
                found += faults(value[key], part, api, f"{at}.{key}")
        others = {key for key in value if key not in schema.get("properties", {})}
        more = schema.get("additionalProperties", True)
        for key in others if more is not True else ():
            if more is False:
                found.append(f"{at}.{key}: not described")
            else:
                found += faults(value[key], more, api, f"{at}.{key}")
    if isinstance(value, list) and "items" in schema:
        for place, each in enumerate(value):
            found += faults(each, schema["items"], api, f"{at}[{place}]")
    return found
