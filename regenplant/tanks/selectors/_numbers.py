"""The next number of the plant's own series. Read inside an act it is never used twice: acts follow one another."""

from __future__ import annotations

from django.db import models
from django.db.models.functions import Length

from regenplant.tanks.models import Tank, TankVisit

FIRST_SERIAL, FIRST_VISIT = 20001, 30001


def next_serial() -> str:
    """The next serial of the plant's own series. Read under the recorder's turn, so no two acts get the same."""
    return f"T-{_next(Tank, 'serial', 'T-', FIRST_SERIAL)}"


def next_visit_number() -> str:
    return f"V-{_next(TankVisit, 'number', 'V-', FIRST_VISIT)}"


def _next(model: type[models.Model], field: str, prefix: str, first: int) -> int:
    series = model._default_manager.filter(**{f"{field}__regex": rf"^{prefix}[0-9]{{5,9}}$"})
    newest = series.order_by(Length(field).desc(), f"-{field}").values_list(field, flat=True).first()
    return max(first, int(newest.removeprefix(prefix)) + 1) if newest else first
