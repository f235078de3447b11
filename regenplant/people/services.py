"""Acts about people."""

from __future__ import annotations

from collections.abc import Iterable

from django.contrib.auth.models import Group
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError

from regenplant.audit.by import By
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.core.errors import RecordRefused
from regenplant.people.authority import Role
from regenplant.people.models import Person


@use_case("person.added", permission="people.edit")
def add_person(
    *, by: By, username: str, full_name: str, initials: str, roles: Iterable[Role], password: str
) -> Outcome:
    """Add a person who may sign in.

    Raises: RecordRefused when the user name was ever used, or the password is too weak.
    """
    if Person.objects.filter(username__iexact=username).exists():
        raise RecordRefused(
            f"The user name {username} is or was used. It is never given to another person.", field="username"
        )
    chosen = [Role(role) for role in roles]
    person = _new_person(username, full_name, initials, chosen, password)
    return Outcome(
        subject=("person", str(person.pk), full_name),
        after={"username": username, "roles": ", ".join(role.value for role in chosen)},
        result=person,
    )


@use_case("person.first_administrator_added", permission="")
def add_first_administrator(
    *, by: By, username: str, full_name: str, initials: str, password: str
) -> Outcome:
    """The very first person, an administrator, who adds all others. Refused once anybody exists."""
    if Person.objects.exists():
        raise RecordRefused("There are people already. An administrator adds the next one.", code="not_first")
    person = _new_person(username, full_name, initials, [Role.ADMINISTRATOR], password)
    return Outcome(subject=("person", str(person.pk), full_name), after={"username": username}, result=person)


@use_case("person.preferences_set", permission="")
def set_preferences(*, by: By, unit_system: str, theme: str) -> Outcome:
    """A person's own units and screen."""
    person = Person.objects.select_for_update().get(pk=by.user.pk)
    before = {"unit_system": person.unit_system, "theme": person.theme}
    person.unit_system, person.theme = unit_system, theme
    person.full_clean(exclude=["password"])
    person.save(update_fields=["unit_system", "theme"])
    return Outcome(
        subject=("person", str(person.pk), person.full_name),
        before=before,
        after={"unit_system": unit_system, "theme": theme},
    )


@use_case("person.deactivated", permission="people.edit")
def deactivate_person(*, by: By, person_id: int, reason: str) -> Outcome:
    """A person leaves: no sign-in, no signature; all records stay."""
    person = Person.objects.select_for_update().get(pk=person_id)
    if person.pk == by.user.pk:
        raise RecordRefused("Nobody deactivates their own account. Ask another administrator.")
    person.is_active = False
    person.save(update_fields=["is_active"])
    return Outcome(
        subject=("person", str(person.pk), person.full_name),
        before={"is_active": True},
        after={"is_active": False},
        reason=reason,
    )


def _new_person(username: str, full_name: str, initials: str, roles: list[Role], password: str) -> Person:
    try:
        validate_password(password)
    except ValidationError as error:
        raise RecordRefused(" ".join(error.messages), field="password") from error
    person = Person(username=username, full_name=full_name, initials=initials)
    person.set_password(password)
    try:
        person.full_clean(exclude=["password"])
    except ValidationError as error:
        field, sentences = next(iter(error.message_dict.items()))
        raise RecordRefused(" ".join(sentences), field=field) from error
    person.save()
    person.groups.set(Group.objects.filter(name__in=[role.value for role in roles]))
    return person


say("person.first_administrator_added", "{subject} was added as first administrator")
say("person.added", "{subject} was added as {username} ({roles})")
say("person.preferences_set", "{subject} chose units “{unit_system}” and screen “{theme}”")
say("person.deactivated", "{subject} was deactivated")
