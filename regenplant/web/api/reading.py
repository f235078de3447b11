"""From the text a meter sent to readings: the same for HTTP and MQTT, numbers with the digits they were sent with."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from decimal import Decimal, InvalidOperation
from functools import lru_cache
from typing import Any

from django.http import HttpRequest
from ninja.parser import Parser
from pydantic import ValidationError

from regenplant import units
from regenplant.core.errors import DomainError, OutOfRange
from regenplant.web.api.schemas import ReadingIn, ReadingsIn

LARGEST_BYTES = 4 * 1024 * 1024
"""Of one call or message: ten thousand readings take about 1.3 MB."""
MOST_FLAWS = 20
"""Flaws told of one call."""


class NotReadable(DomainError):
    """What was sent is no readings. ``flaws`` says where and what, at most ``MOST_FLAWS``."""

    code = "not_readable"

    def __init__(self, message: str, *, flaws: tuple[tuple[str, str], ...] = ()):
        super().__init__(message)
        self.flaws = flaws


class ExactParser(Parser):
    """JSON with every digit kept, and without the numbers that JSON does not have."""

    def parse_body(self, request: HttpRequest) -> Any:
        """Raises: ValueError, RecursionError; see ``loads``."""
        return loads(request.body)


def loads(raw: bytes) -> Any:
    """Raises: ValueError (also for NaN, Infinity, an exponent beyond every number and bytes that are no UTF-8), RecursionError."""
    try:
        return json.loads(raw.decode("utf-8"), parse_float=Decimal, parse_constant=_refuse)
    except InvalidOperation as error:  # no ValueError: it would end whoever waits for one
        raise ValueError("a number in it has an exponent beyond every number") from error


def _refuse(name: str) -> Any:
    raise ValueError(f"{name} is no number of JSON")


def readings_of(raw: bytes) -> ReadingsIn:
    """What one message says. Raises: NotReadable."""
    try:
        found = loads(raw)
    except (ValueError, RecursionError) as error:
        raise NotReadable("This is no JSON text in UTF-8.") from error
    try:
        message = ReadingsIn.model_validate(found)
    except ValidationError as error:
        raise not_readable(error.errors(include_url=False)) from error
    refuse_units(message.readings)
    return message


def not_readable(errors: Iterable[Mapping[str, Any]]) -> NotReadable:
    """The refusal for flaws as pydantic lists them."""
    flaws = tuple(
        (
            ".".join(str(part) for part in error["loc"] if part not in ("body", "message")),
            str(error["msg"]).removeprefix("Value error, "),
        )
        for error in errors
    )
    return NotReadable(_sentence(len(flaws)), flaws=flaws[:MOST_FLAWS])


def refuse_units(readings: Iterable[ReadingIn]) -> None:
    """Raise NotReadable for units that are none of conductivity or resistivity; each is looked at once."""
    flaws = tuple(
        (f"readings.{index}.unit", why)
        for index, reading in enumerate(readings)
        if (why := unit_flaw(reading.unit))
    )
    if flaws:
        raise NotReadable(_sentence(len(flaws)), flaws=flaws[:MOST_FLAWS])


@lru_cache(maxsize=256)
def unit_flaw(unit: str) -> str:
    """Why this is no unit of a conductivity cell, "" if it is one."""
    try:
        units.understand(f"1 {unit}", "conductivity")
    except OutOfRange:
        return ""
    except DomainError as refusal:
        return refusal.message
    return ""


def _sentence(count: int) -> str:
    return f"{count} {'thing' if count == 1 else 'things'} in it cannot be read, so nothing was written."
