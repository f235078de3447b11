"""What several acts on accounts need."""

from __future__ import annotations

from datetime import datetime, timedelta

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError

from regenplant.core.errors import RecordRefused
from regenplant.people.models import Person

ONE_TIME_LIFE = timedelta(hours=72)
"""How long a password from an administrator opens the door: over a weekend."""


def subject_of(person: Person) -> tuple[str, str, str]:
    return ("person", str(person.pk), person.full_name)


def known(person_id: int) -> Person:
    """The person, the row locked. Raises: RecordRefused."""
    person = Person.objects.select_for_update().filter(pk=person_id).first()
    if person is None:
        raise RecordRefused("This person is not known here.", code="unknown")
    return person


def refuse_device(person: Person) -> None:
    """Raise RecordRefused for a device's account: it is kept with its meter feed, and never by hand."""
    if person.is_device:
        raise RecordRefused(
            f"{person.full_name} is a device’s account. It has no password, no role and no other name; "
            "close or open its meter feed under Set-up instead.",
            code="device_account",
        )


def give_password(person: Person, password: str, *, until: datetime | None, field: str = "password") -> None:
    """Set the password on the object, not yet saved. ``until`` None makes it the person's own. Raises: RecordRefused."""
    refuse_device(person)
    try:
        validate_password(password, user=person)
    except ValidationError as error:
        raise RecordRefused(" ".join(error.messages), field=field) from error
    person.set_password(password)
    person.one_time_until = until
