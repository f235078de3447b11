"""The OpenAPI description in words, for the page that people read before they set up a meter."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

_MEANS = {
    200: "answered",
    400: "no JSON text in UTF-8",
    401: "no token, or one that nobody has",
    403: "whoever asks may not do this here",
    404: "no such batch",
    409: "a rule about the record says no; nothing was written",
    413: "more than one call may hold; nothing was read",
    422: "something in it cannot be read; nothing was written",
    429: "too many wrong tokens came from one address; wait as Retry-After says",
    503: "the database is away or busy, nothing was written; send the same call again after Retry-After",
}
_WAYS = {"FeedToken": "the token of a meter feed", "SignedIn": "being signed in"}


@dataclass(frozen=True, slots=True)
class Operation:
    """One address and what may be asked of it."""

    method: str
    address: str
    summary: str
    paragraphs: tuple[str, ...]
    opened_by: str
    statuses: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Field:
    """One field of what is sent or answered."""

    name: str
    kind: str
    is_needed: bool
    about: str
    example: str


def sentence_of(schema: Mapping[str, Any]) -> str:
    return str(schema["info"]["description"])


def operations_of(schema: Mapping[str, Any]) -> list[Operation]:
    """Every operation, in the order of the description."""
    return [
        _operation(method, address, said)
        for address, methods in schema["paths"].items()
        for method, said in methods.items()
    ]


def _operation(method: str, address: str, said: Mapping[str, Any]) -> Operation:
    ways = [_WAYS[name] for choice in said.get("security", []) for name in choice]
    return Operation(
        method.upper(),
        address,
        said["summary"],
        tuple(
            " ".join(part.split()) for part in str(said.get("description", "")).split("\n\n") if part.strip()
        ),
        " or ".join(ways) or "nothing: it is open",
        tuple(
            (str(status), _MEANS[int(status)])
            for status in sorted(said["responses"], key=lambda status: int(status))
        ),
    )


def fields_of(schema: Mapping[str, Any], name: str) -> list[Field]:
    """The fields of one type of the description."""
    found = schema["components"]["schemas"][name]
    needed = set(found.get("required", ()))
    return [
        Field(
            key,
            _kind(said),
            key in needed,
            str(said.get("description", "")),
            ", ".join(str(item) for item in said.get("examples", ())),
        )
        for key, said in found["properties"].items()
    ]


def _kind(said: Mapping[str, Any]) -> str:
    if "anyOf" in said:
        kinds = [_kind(item) for item in said["anyOf"] if item.get("type") != "null"]
        return " or ".join(dict.fromkeys(kinds))
    if "$ref" in said:
        return "object"
    kind = said.get("type", "object")
    words = {"array": "list", "string": "text", "integer": "whole number"}
    named = [words.get(item, item) for item in map(str, kind if isinstance(kind, list) else [kind])]
    return "time" if said.get("format") == "date-time" else " or ".join(named)
