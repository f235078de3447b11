"""Running numbers: T-20417, B-10412. Without gaps, because all acts follow one another (``turn.take``)."""

from __future__ import annotations

from django.db.models import Max, Model
from django.db.models.functions import Length

from regenplant.audit import gone


def next_number(model: type[Model], field: str, prefix: str, first: int) -> str:
    """The next free number of the form "<prefix>-<digits>", also past those that are gone. Call inside an act."""
    rows = model._default_manager.filter(**{f"{field}__startswith": f"{prefix}-"}).annotate(
        _length=Length(field)
    )
    longest = rows.aggregate(longest=Max("_length"))["longest"]
    newest = rows.filter(_length=longest).aggregate(newest=Max(field))["newest"] if longest else None
    used = [*([newest] if newest else []), *gone.numbers(f"{prefix}-")]
    return f"{prefix}-{max(int(number.rsplit('-', 1)[1]) for number in used) + 1 if used else first}"
