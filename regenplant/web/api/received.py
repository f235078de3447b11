"""What meters sent, read again from the text that was kept: the record is held against it (``batches.received``)."""

from __future__ import annotations

import json
from collections.abc import Iterator
from decimal import Decimal
from typing import Any

from pydantic import ValidationError

from regenplant.batches.models import MeterLog
from regenplant.batches.packets import LoggedReading
from regenplant.batches.received import read_by
from regenplant.core.errors import RecordRefused
from regenplant.web.api.schemas import ReadingsIn
from regenplant.web.api.taking import is_figure, is_water, logged

_DECODER = json.JSONDecoder(parse_float=Decimal)


def readings_in(log: MeterLog) -> list[LoggedReading]:
    """The readings of the packet's unit in its text, one call or several messages one after the other. Raises: RecordRefused."""
    try:
        return [
            logged(reading)
            for message in _messages(log.received_text)
            for reading in ReadingsIn.model_validate(message).readings
            if reading.unit == log.unit_as_typed and is_water(reading) and is_figure(reading)
        ]
    except (ValueError, RecursionError, ValidationError) as error:
        raise RecordRefused("The text is no readings of a meter.", code="not_readable") from error


def _messages(text: str) -> Iterator[Any]:
    place = 0
    while place < len(text):
        if text[place].isspace():
            place += 1
            continue
        message, place = _DECODER.raw_decode(text, place)
        yield message


def register() -> None:
    """Say how what came from meters is read."""
    for source in (MeterLog.Source.HTTP, MeterLog.Source.MQTT):
        read_by(source, readings_in)
