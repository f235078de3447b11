"""What services of every app need to write a record: codes and words that fit, numbers that can be, one writer at a time.

Refusals are sentences: what is, the number seen, the number allowed, what to do. ``field`` names the input they belong to.
"""

from __future__ import annotations

import math
import re
from collections.abc import Collection, Mapping
from dataclasses import fields
from datetime import date, datetime
from enum import Enum
from typing import Any

from django.db import models

from regenplant import units
from regenplant.core.errors import OutOfRange, RecordRefused, StaleRecord

_CODE = re.compile(r"[A-Z0-9][A-Z0-9._\-]*")
_CONTROL = re.compile(r"[\x00-\x08\x0b-\x1f\x7f]")


def code_of(text: str, what: str, *, field: str = "code", longest: int = 24) -> str:
    """A code as it stands on tags and in addresses: capitals, digits, dot, hyphen, underscore.

    Raises: RecordRefused with what is wrong.
    """
    code = text.strip().upper()
    if not code:
        raise RecordRefused(
            f"{what} is empty. Give it a code, for example C1 or A-118.", field=field, code="empty"
        )
    if len(code) > longest:
        raise RecordRefused(
            f"{what} has {len(code)} characters, at most {longest}.", field=field, code="too_long"
        )
    if not _CODE.fullmatch(code):
        raise RecordRefused(
            f"{what} “{code}” has a character that no label carries. Use A to Z, 0 to 9, dot, hyphen and underscore.",
            field=field,
            code="not_a_code",
        )
    return code


def words_of(text: str, what: str, *, field: str, most: int, least: int = 0) -> str:
    """Words as a person writes them, without outer spaces; ``least`` 0 lets them be empty.

    Raises: RecordRefused when too short, too long, or with characters that no paper can show.
    """
    words = text.strip()
    if len(words) < least:
        seen = f"has {len(words)} characters" if words else "is empty"
        raise RecordRefused(
            f"{what} {seen}. Write at least {least} characters.", field=field, code="too_short"
        )
    if len(words) > most:
        raise RecordRefused(
            f"{what} has {len(words)} characters, at most {most}.", field=field, code="too_long"
        )
    if _CONTROL.search(words):
        raise RecordRefused(
            f"{what} holds a character that no paper can show. Type it again.", field=field, code="control"
        )
    return words


def within(
    value: float, low: float, high: float, what: str, kind: str, *, field: str, why: str = ""
) -> float:
    """A number between two bounds, both allowed.

    Parameters
    ----------
    value, low, high : float
        In the SI unit of ``kind``.
    what : str
        The name in the sentence, with capital ("Largest bed").
    kind : str
        Key of ``units.KINDS``.

    Raises: OutOfRange with the number seen and the numbers allowed, in both unit systems.
    """
    if not math.isfinite(value):
        raise OutOfRange(f"{what} is not a number. Write it again.", field=field)
    if not low <= value <= high:
        allowed = f"{units.twin(low, kind)} to {units.twin(high, kind)}"
        tail = f" {why}" if why else ""
        raise OutOfRange(
            f"{what} is {units.twin(value, kind)}; possible is {allowed}.{tail}",
            field=field,
            seen=value,
            allowed_low=low,
            allowed_high=high,
        )
    return value


def one_of(value: str, allowed: Collection[str], what: str, *, field: str) -> str:
    """A value of a closed list. Raises: RecordRefused with the list."""
    if value not in allowed:
        raise RecordRefused(
            f"{what} “{value}” is not known. Known are {', '.join(allowed)}.", field=field, code="unknown"
        )
    return value


def some_of(values: Collection[str], allowed: Collection[str], what: str, *, field: str) -> list[str]:
    """Values of a closed list, each once, in the order of the list; at least one. Raises: RecordRefused."""
    for value in values:
        one_of(value, allowed, what, field=field)
    if not values:
        raise RecordRefused(f"{what}: none is chosen. Choose at least one.", field=field, code="none_chosen")
    return [value for value in allowed if value in values]


def refuse_known(model: type[models.Model], code: str, what: str, *, field: str = "code") -> None:
    """Raises RecordRefused when a record with this code stands already; codes are never used twice."""
    if model._default_manager.filter(**{field: code}).exists():
        raise RecordRefused(
            f"{what} {code} exists already. Codes are used once; choose another.",
            field=field,
            code="code_taken",
        )


def values_of(settings: Any) -> dict[str, Any]:
    """The fields of a frozen dataclass by name, tuples as lists."""
    found = {field.name: getattr(settings, field.name) for field in fields(settings)}
    return {name: list(value) if isinstance(value, tuple) else value for name, value in found.items()}


def plain(value: Any) -> Any:
    """A field's value as it goes into the log."""
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, (datetime, date)):
        return value.isoformat()
    if isinstance(value, models.Model):
        return str(value)
    return value


def write_changed(
    record: models.Model, values: Mapping[str, Any], *, version: int | None, label: str
) -> tuple[dict[str, Any], dict[str, Any]]:
    """Write what differs, if the record is still at ``version`` (None: as it stands); before and after of what changed.

    Compare-and-set: the row is updated where its version is still the old one, and exactly one row must be hit.

    Raises: StaleRecord when somebody wrote in between, RecordRefused when nothing differs.
    """
    stands = int(record.version)  # type: ignore[attr-defined]
    shown = stands if version is None else version
    changed = {name: value for name, value in values.items() if getattr(record, name) != value}
    if shown == stands and not changed:
        raise RecordRefused(
            f"{label}: nothing differs from what stands there, so nothing was written.",
            code="nothing_changed",
        )
    hit = (
        type(record)._default_manager.filter(pk=record.pk, version=shown).update(**changed, version=shown + 1)
    )
    if hit != 1:
        raise StaleRecord(
            f"{label} was changed since you opened it: it is at version {stands}, you had version {shown}. "
            "What you typed still stands here. Look at the present state, then write again.",
            seen=shown,
            present=stands,
            table=record._meta.db_table,
            key=str(record.pk),
        )
    before = {name: plain(getattr(record, name)) for name in changed}
    for name, value in changed.items():
        setattr(record, name, value)
    record.version = shown + 1  # type: ignore[attr-defined]
    return before, {name: plain(value) for name, value in changed.items()}


def saved_words(noun: str) -> Any:
    """Wording of an act that adds a record or changes some of its fields."""

    def wording(subject: str, stored: dict[str, Any]) -> str:
        before, after = stored.get("before", {}), stored.get("after", {})
        named = f"{noun} {subject}" if noun else subject
        if not before:
            return f"{named} was added"
        shown = [
            f"{name.replace('_', ' ')} from {_shown(before.get(name))} to {_shown(after[name])}"
            for name in after
        ]
        return f"{named} was changed: {'; '.join(shown)}"

    return wording


def _shown(value: Any) -> str:
    if value in (None, "", []):
        return "empty"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        return ", ".join(str(item) for item in value)
    return f"{value:.6g}" if isinstance(value, float) else str(value)
