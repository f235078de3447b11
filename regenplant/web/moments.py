"""When something happened, as a person writes it: "14:02" today, or with its day."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone

_WITH_DAY = ("%Y-%m-%d %H:%M", "%Y-%m-%dT%H:%M", "%Y-%m-%d %H:%M:%S", "%Y-%m-%dT%H:%M:%S")
_CLOCK = ("%H:%M", "%H.%M", "%H%M")
HOW = "Write 14:02, or with the day 2026-03-11 14:02."


LONGEST = 30


class MomentField(forms.Field):
    """A moment in the plant's zone, not in the future; a bare time of day is today's. Cleans to an aware datetime or None."""

    widget = forms.TextInput

    def __init__(self, **kwargs: Any):
        kwargs.setdefault("required", False)
        super().__init__(**kwargs)
        self.widget.attrs.update({"autocomplete": "off", "inputmode": "text", "maxlength": str(LONGEST)})

    def to_python(self, value: Any) -> Any:
        text = str(value or "").strip()
        if len(text) > LONGEST:
            raise ValidationError(f"Too long for a time. {HOW}", code="invalid")
        return moment_of(text, timezone.localtime()) if text else None


def moment_of(text: str, now: datetime) -> datetime:
    """The moment a person means. ``now`` is the plant's local time.

    Raises: ValidationError with what to write instead.
    """
    for pattern in _CLOCK:
        found = _parsed(text, pattern)
        if found is not None:
            moment = now.replace(hour=found.hour, minute=found.minute, second=0, microsecond=0)
            return _not_ahead(
                moment, now, text, "If it was another day, write the day too: 2026-03-10 23:58."
            )
    for pattern in _WITH_DAY:
        found = _parsed(text, pattern)
        if found is not None:
            if not 2000 <= found.year <= 2200:
                break
            return _not_ahead(timezone.make_aware(found, now.tzinfo), now, text, "Write when it happened.")
    raise ValidationError(f"“{text}” is no time. {HOW}", code="invalid")


def _parsed(text: str, pattern: str) -> datetime | None:
    try:
        return datetime.strptime(text, pattern)  # noqa: DTZ007 (the plant's zone is put on by the caller)
    except ValueError:
        return None


def _not_ahead(moment: datetime, now: datetime, text: str, what_to_do: str) -> datetime:
    if moment > now:
        raise ValidationError(
            f"{text} is still to come; it is {now:%Y-%m-%d %H:%M} now. {what_to_do}", code="future"
        )
    return moment
