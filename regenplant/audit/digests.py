"""The digest of a row: SHA-256 over a canonical text of its columns that is the same on SQLite and PostgreSQL.

The text is ``canonical_text({"table": ..., "key": ..., "columns": {name: value}})``: times as ISO in UTC with microseconds, floats
in their shortest exact form, keys in order. It is put together column by column, because it is made for every row an act touches.

A column that holds something its kind cannot hold (a word in a place for a number, put there by hand) is written as that
word; the digest then differs, which is what it is for.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Callable, Sequence
from decimal import Decimal, InvalidOperation
from functools import lru_cache
from json.encoder import encode_basestring as quoted
from typing import Any

from django.db import connection

from regenplant.audit.sealed import Shape
from regenplant.core.process.canonical import canonical_text

Encoder = Callable[[Any], str]
KEPT_OF_BEFORE = 32
"""Characters of the digest before an act that the act keeps: 128 bits."""


def _strange(value: Any) -> str:
    return quoted(str(value))


def _int(value: Any) -> str:
    if type(value) is int:
        return str(value)
    if value is None:
        return "null"
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    return _strange(value)


def _text(value: Any) -> str:
    return "null" if value is None else quoted(value) if isinstance(value, str) else _strange(value)


def _float(value: Any) -> str:
    if value is None:
        return "null"
    if isinstance(value, (float, int)) and math.isfinite(value):
        return repr(float(value) + 0.0)  # minus zero is zero: one of the two databases does not keep its sign
    return _strange(value)


def _bool(value: Any) -> str:
    if value is None:
        return "null"
    return (
        {0: "false", 1: "true"}.get(value) or _strange(value) if isinstance(value, int) else _strange(value)
    )


def _moment(value: Any) -> str:
    """ISO, UTC, microseconds. Both databases hand over text in UTC; one leaves the zone out, one the zeros."""
    if value is None:
        return "null"
    if not isinstance(value, str):
        return _strange(value)
    day, clock = value[:10], value[11:]
    clock, _, fraction = clock.removesuffix("+00:00").partition(".")
    return quoted(f"{day}T{clock}.{fraction:0<6}+00:00")


def _json_text(value: Any) -> str:
    """JSON as SQLite keeps it."""
    if value is None:
        return "null"
    try:
        return canonical_text(json.loads(value))
    except (TypeError, ValueError):
        return _strange(value)


def _json_value(value: Any) -> str:
    """JSON as it comes out of the text that PostgreSQL makes of a whole row."""
    return canonical_text(value)


def _uuid(value: Any) -> str:
    return "null" if value is None else quoted(str(value).replace("-", "").lower())


def _bytes(value: Any) -> str:
    if value is None:
        return "null"
    return quoted(value.removeprefix("\\x") if isinstance(value, str) else bytes(value).hex())


def _decimal(value: Any) -> str:
    if value is None:
        return "null"
    try:
        return quoted(format(Decimal(str(value)).normalize(), "f"))
    except InvalidOperation:
        return _strange(value)


_ENCODERS: dict[str, Encoder] = {
    "int": _int,
    "text": _text,
    "float": _float,
    "bool": _bool,
    "moment": _moment,
    "day": _text,
    "json": _json_text,
    "uuid": _uuid,
    "bytes": _bytes,
    "decimal": _decimal,
}
_POSTGRES: dict[str, Encoder] = {**_ENCODERS, "json": _json_value}

Digest = Callable[[str, Sequence[Any]], str]


@lru_cache(maxsize=512)
def digester(shape: Shape, vendor: str) -> Digest:
    """A function from (key, values in the order of the shape's columns) to the digest of the row."""
    encoders = _POSTGRES if vendor == "postgresql" else _ENCODERS
    pieces = [
        (f"{',' if index else ''}{quoted(column)}:", encoders[kind])
        for index, (column, kind) in enumerate(shape.columns)
    ]
    end = f',"table":{quoted(shape.table)}}}'

    def digest(key: str, values: Sequence[Any]) -> str:
        columns = "".join(
            [name + encode(value) for (name, encode), value in zip(pieces, values, strict=True)]
        )
        text = f'{{"columns":{{{columns}}},"key":{quoted(key)}{end}'
        return hashlib.sha256(text.encode("utf-8", "surrogateescape")).hexdigest()

    return digest


def columns_of(shape: Shape, vendor: str) -> Callable[[Sequence[Any]], dict[str, Any]]:
    """A function from the values of a row to its columns as plain data, just as the text says them that the digest covers."""
    encoders = _POSTGRES if vendor == "postgresql" else _ENCODERS
    named = [(column, encoders[kind]) for column, kind in shape.columns]

    def columns(values: Sequence[Any]) -> dict[str, Any]:
        return {name: json.loads(encode(value)) for (name, encode), value in zip(named, values, strict=True)}

    return columns


def selected(shape: Shape) -> str:
    """What to select so that the values come as the digester takes them.

    On SQLite each column as it is stored (a plus sign keeps the framework from converting it), on PostgreSQL the whole row
    as one text, as its triggers note it.
    """
    names = [connection.ops.quote_name(column) for column, _ in shape.columns]
    if connection.vendor == "postgresql":
        return f"{row_text(names)}"
    return ", ".join(f"+{name}" for name in names)


def row_text(expressions: Sequence[str]) -> str:
    """SQL for PostgreSQL: the row's columns as one text."""
    return f"json_build_array({', '.join(expressions)})::text"


def values_of(row: Sequence[Any]) -> Sequence[Any]:
    """The values of a row that was read with ``selected``."""
    return json.loads(row[0]) if connection.vendor == "postgresql" else row


def seal(before: str, after: str) -> str:
    """How a row stands in an act: the digest it had (its beginning) and the digest it got; "" where there was no row."""
    return f"{before[:KEPT_OF_BEFORE]}>{after}"
