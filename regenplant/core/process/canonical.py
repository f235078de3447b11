"""Frozen data to canonical text and back, and the digest of that text.

Signed content, stored plans and exports all go through here, so that the same content always gives the
same bytes: keys sorted, no spaces, floats in Python's shortest exact form, no NaN or infinity.
"""

from __future__ import annotations

import dataclasses
import hashlib
import json
import types
import typing
from collections.abc import Mapping
from enum import Enum
from typing import Any, TypeVar, get_args, get_origin, get_type_hints

T = TypeVar("T")


def to_plain(value: Any) -> Any:
    """Dataclasses, enums, tuples and mappings as dictionaries, lists and plain values."""
    if isinstance(value, Enum):
        return value.value
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {
            f.name: to_plain(getattr(value, f.name))
            for f in dataclasses.fields(value)
            if not _is_left_out(value, f)
        }
    if isinstance(value, Mapping):
        return {str(to_plain(key)): to_plain(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [to_plain(item) for item in value]
    if value is None or isinstance(value, (str, bool, int, float)):
        return value
    raise TypeError(f"{type(value).__name__} has no canonical form")


def _is_left_out(value: Any, field: dataclasses.Field[Any]) -> bool:
    """A field that its class names in ``ADDED_LATER`` is not written while it says its default: content that was signed before
    the field was there has the same text, and the same digest, ever after."""
    return field.name in getattr(value, "ADDED_LATER", ()) and getattr(value, field.name) == field.default


def canonical_text(value: Any) -> str:
    """The one text for this content."""
    return json.dumps(
        to_plain(value), sort_keys=True, ensure_ascii=False, separators=(",", ":"), allow_nan=False
    )


def digest(text: str) -> str:
    """SHA-256 of the text, in hexadecimal."""
    return hashlib.sha256(text.encode("utf-8")).hexdigest()


_HINTS: dict[type, dict[str, Any]] = {}


def from_plain(kind: type[T] | Any, plain: Any) -> T:
    """Rebuild frozen data of type ``kind`` from what ``to_plain`` or parsed canonical text gave.

    Raises: TypeError or KeyError when the data does not fit; stored content that does not fit is a defect.
    """
    origin = get_origin(kind)
    if origin in (typing.Union, types.UnionType):
        if plain is None:
            return None  # type: ignore[return-value]
        choices = [choice for choice in get_args(kind) if choice is not type(None)]
        return from_plain(choices[0], plain)
    if origin is tuple:
        return tuple(from_plain(get_args(kind)[0], item) for item in plain)  # type: ignore[return-value]
    if origin in (dict, Mapping):
        return {key: from_plain(get_args(kind)[1], item) for key, item in plain.items()}  # type: ignore[return-value]
    if isinstance(kind, type) and dataclasses.is_dataclass(kind):
        hints = _HINTS.get(kind) or _HINTS.setdefault(kind, get_type_hints(kind))
        return kind(**{name: from_plain(hints[name], item) for name, item in plain.items()})  # type: ignore[return-value]
    if isinstance(kind, type) and issubclass(kind, Enum):
        return kind(plain)  # type: ignore[return-value]
    if kind is float:
        return float(plain)  # type: ignore[return-value]
    return plain
