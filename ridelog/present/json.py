"""Records as JSON and their JSON Schema: SI units, null where nothing can be said; their digest."""

import dataclasses
import hashlib
import json
import math
import types
import typing
from collections.abc import Mapping
from typing import Any

import numpy as np

from ridelog.core.estimate import Estimate

_NUMBER = {"type": ["number", "null"]}
ESTIMATE_SCHEMA: dict[str, Any] = {
    "type": "object",
    "description": "A figure and the interval that is meant to hold the truth in 9 of 10 rides.",
    "required": ["value", "low", "high", "level"],
    "properties": {key: {"type": "number"} for key in ("value", "low", "high", "level")},
    "additionalProperties": False,
}


def as_json(record: Any) -> Any:
    """Return a record as JSON has it.

    Of a dataclass every field is a member under its own name, which carries the unit; fields that
    are left out of its ``repr`` (draws, paths) are left out here. A number that is not finite is
    null.

    TypeError if a record holds something that JSON has no form for.
    """
    if isinstance(record, Estimate):
        return record.as_json()
    if dataclasses.is_dataclass(record) and not isinstance(record, type):
        return {
            field.name: as_json(getattr(record, field.name))
            for field in dataclasses.fields(record)
            if field.repr
        }
    if isinstance(record, Mapping):
        return {str(key): as_json(value) for key, value in record.items()}
    if isinstance(record, list | tuple | np.ndarray):
        return [as_json(value) for value in record]
    if record is None or isinstance(record, bool | str):
        return record
    if isinstance(record, int | np.integer):
        return int(record)
    if isinstance(record, float | np.floating):
        return number(float(record))
    raise TypeError(f"no JSON for {type(record).__name__}")


def schema_of_type(kind: Any) -> dict[str, Any]:
    """Return the JSON Schema of what ``as_json`` makes of a value of a type.

    TypeError if a type has no JSON form.
    """
    if kind is Estimate:
        return {"$ref": "#/$defs/estimate"}
    if dataclasses.is_dataclass(kind) and isinstance(kind, type):
        hints = typing.get_type_hints(kind)
        names = [field.name for field in dataclasses.fields(kind) if field.repr]
        return {
            "type": "object",
            "required": names,
            "properties": {name: schema_of_type(hints[name]) for name in names},
        }
    origin, inner = typing.get_origin(kind), typing.get_args(kind)
    if origin is typing.Literal:
        return {"enum": list(inner)}
    if origin in (typing.Union, types.UnionType):
        return {"anyOf": [schema_of_type(each) for each in inner]}
    if origin in (list, tuple):
        if origin is tuple and inner[-1] is not Ellipsis:
            parts = [schema_of_type(each) for each in inner]
            return {"type": "array", "prefixItems": parts, "minItems": len(parts)}
        return {"type": "array", "items": schema_of_type(inner[0])}
    if origin is np.ndarray:
        return {"type": "array", "items": _NUMBER}
    if origin is not None and issubclass(origin, Mapping):
        return {"type": "object", "additionalProperties": schema_of_type(inner[1])}
    simple: dict[Any, dict[str, Any]] = {
        Any: {},
        float: _NUMBER,
        int: {"type": "integer"},
        bool: {"type": "boolean"},
        str: {"type": "string"},
        type(None): {"type": "null"},
    }
    if kind in simple:
        return simple[kind]
    raise TypeError(f"no JSON for {kind}")


def number(value: float) -> float | None:
    """Return a number, or null for one that is not finite."""
    return float(value) if math.isfinite(value) else None


FIELD = "content_sha256"


def sealed(document: dict[str, Any]) -> dict[str, Any]:
    """Return a result with the digest of everything else in it as its last field."""
    content = {name: value for name, value in document.items() if name != FIELD}
    return {**content, FIELD: digest_of(content)}


def digest_of(document: dict[str, Any]) -> str:
    """Return the SHA-256 of a result without its digest, independent of spacing and order."""
    content = {name: value for name, value in document.items() if name != FIELD}
    text = json.dumps(
        content, allow_nan=False, ensure_ascii=True, sort_keys=True, separators=(",", ":")
    )
    return hashlib.sha256(text.encode("ascii")).hexdigest()
