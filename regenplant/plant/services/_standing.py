"""What the rows of an instrument say about it, written to the instrument. Parts of acts, no acts themselves."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from regenplant.audit.by import By
from regenplant.audit.records import plain
from regenplant.plant.calibrations import standing_of
from regenplant.plant.models import Instrument, OutOfService


def write_standing(record: Instrument) -> tuple[dict[str, Any], dict[str, Any]]:
    """Write what the rows now say about the instrument; before and after of what changed."""
    standing = standing_of(record)
    values = {
        "calibrated_on": standing.calibrated_on,
        "calibration_due_on": standing.due_on,
        "out_of_service_at": standing.out_since,
    }
    changed = {name: value for name, value in values.items() if getattr(record, name) != value}
    before = {name: plain(getattr(record, name)) for name in changed}
    Instrument.objects.filter(pk=record.pk, version=record.version).update(
        **changed, version=record.version + 1
    )
    record.refresh_from_db()
    return before, {name: plain(value) for name, value in changed.items()}


def take_out_for_change(by: By, record: Instrument, words: str) -> datetime:
    """Note that a change of the instrument asks for a new calibration; returns since when. Part of another act."""
    OutOfService.objects.create(
        instrument=record, cause=OutOfService.Cause.CHANGED, reason=words, from_at=by.at, entered_at=by.at, entered_by=by.user
    )  # fmt: skip
    return by.at
