"""Accounts: opened, renamed, given roles, closed and opened again by administrators; never deleted, never given to another."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

from django.contrib.auth.models import Group
from django.core.exceptions import ValidationError

from regenplant.audit.by import By
from regenplant.audit.records import words_of
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.core.errors import RecordRefused
from regenplant.people import standing
from regenplant.people.authority import Role
from regenplant.people.models import Person
from regenplant.people.services._accounts import (
    ONE_TIME_LIFE,
    give_password,
    known,
    refuse_device,
    subject_of,
)

DEVICE_INITIALS = "DEV"


@use_case("person.added", permission="people.edit")
def add_person(
    *,
    by: By,
    username: str,
    full_name: str,
    initials: str,
    roles: Iterable[Role],
    password: str,
    is_shared: bool = False,
    is_own_password: bool = False,
) -> Outcome:
    """Add a person who may sign in.

    The password is a one-time one, to be replaced at the first sign-in, unless the person chose and typed it
    (``is_own_password``). A shared account (``is_shared``) is a post's: it looks, has no role, and neither acts nor signs.

    Raises: RecordRefused when the user name was ever used, or the password is too weak.
    """
    if Person.objects.filter(username__iexact=username.strip()).exists():
        raise RecordRefused(
            f"The user name {username} is or was used. It is never given to another person.", field="username"
        )
    if username.strip().lower() == "new":
        raise RecordRefused(
            "“new” is the address of a page here. Choose another user name.", field="username"
        )
    chosen = [Role(role) for role in roles]
    if is_shared and chosen:
        raise RecordRefused(
            "A shared account has no roles: it looks and does nothing. Take the roles away, or make it one person’s.",
            field="roles",
        )
    is_own = is_own_password or is_shared
    until = None if is_own else by.at + ONE_TIME_LIFE
    person = _new_person(username, full_name, initials, chosen, password, is_shared=is_shared, until=until)
    return Outcome(
        subject=subject_of(person),
        after={
            "username": person.username,
            "roles": ", ".join(role.value for role in chosen)
            or ("shared account" if is_shared else "no role"),
        },
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
    return Outcome(subject=subject_of(person), after={"username": person.username}, result=person)


@use_case("person.preferences_set", permission="", by_shared=True)
def set_preferences(*, by: By, unit_system: str, theme: str) -> Outcome:
    """A person's own units and screen."""
    person = Person.objects.select_for_update().get(pk=by.user.pk)
    before = {"unit_system": person.unit_system, "theme": person.theme}
    person.unit_system, person.theme = unit_system, theme
    person.full_clean(exclude=["password"])
    person.save(update_fields=["unit_system", "theme"])
    return Outcome(
        subject=subject_of(person),
        before=before,
        after={"unit_system": unit_system, "theme": theme},
    )


@use_case("person.renamed", permission="people.edit")
def rename_person(*, by: By, person_id: int, full_name: str, initials: str, reason: str) -> Outcome:
    """A person has another name now. The user name stays, and what was signed keeps the name as it was then.

    Raises: RecordRefused.
    """
    person = known(person_id)
    refuse_device(person)
    words = words_of(reason, "The reason", field="reason", most=200, least=5)
    name = words_of(full_name, "The full name", field="full_name", most=120, least=3)
    short = words_of(initials, "The initials", field="initials", most=4, least=1)
    before = {"full_name": person.full_name, "initials": person.initials}
    after = {"full_name": name, "initials": short}
    if before == after:
        raise RecordRefused(
            f"{person.full_name}: nothing differs from what stands there, so nothing was written.",
            code="nothing_changed",
        )
    person.full_name, person.initials = name, short
    person.save(update_fields=["full_name", "initials"])
    return Outcome(
        subject=("person", str(person.pk), before["full_name"]),
        before=before,
        after=after,
        reason=words,
        result=person,
    )


@use_case("person.roles_set", permission="people.edit")
def set_roles(*, by: By, person_id: int, roles: Iterable[Role], reason: str) -> Outcome:
    """Give and take roles; they hold from the person's next page. Nobody changes their own.

    Raises: RecordRefused, also when nobody could keep people or the authority matrix any more.
    """
    person = known(person_id)
    refuse_device(person)
    words = words_of(reason, "The reason", field="reason", most=200, least=5)
    chosen = frozenset(Role(role) for role in roles)
    if person.pk == by.user.pk:
        raise RecordRefused("Nobody changes their own roles. Ask another administrator.", code="own_account")
    if person.is_shared and chosen:
        raise RecordRefused(
            f"{person.full_name} is a shared account and has no roles: it looks and does nothing.",
            field="roles",
        )
    before = person.role_names()
    after = tuple(role.value for role in Role if role in chosen)
    if before == after:
        raise RecordRefused(
            f"{person.full_name} has these roles already, so nothing was written.", code="nothing_changed"
        )
    standing.refuse_orphaned(by.at, changed={person.pk: chosen})
    person.groups.set(Group.objects.filter(name__in=after))
    person.refresh_from_db()
    return Outcome(
        subject=subject_of(person),
        before={"roles": ", ".join(before) or "no role"},
        after={"roles": ", ".join(after) or "no role"},
        reason=words,
        result=person,
    )


@use_case("person.deactivated", permission="people.edit")
def deactivate_person(*, by: By, person_id: int, reason: str) -> Outcome:
    """A person leaves: no sign-in, no signature; all records stay. Raises: RecordRefused."""
    person = known(person_id)
    refuse_device(person)
    if person.pk == by.user.pk:
        raise RecordRefused("Nobody deactivates their own account. Ask another administrator.")
    if not person.is_active:
        raise RecordRefused(f"The account of {person.full_name} is closed already.", code="nothing_changed")
    standing.refuse_orphaned(by.at, changed={person.pk: None})
    person.is_active = False
    person.save(update_fields=["is_active"])
    return Outcome(
        subject=subject_of(person),
        before={"is_active": True},
        after={"is_active": False},
        reason=reason,
    )


@use_case("person.reactivated", permission="people.edit")
def reactivate_person(*, by: By, person_id: int, password: str, reason: str) -> Outcome:
    """A person who left is back: the same account, with the roles it had, and a one-time password.

    Raises: RecordRefused.
    """
    person = known(person_id)
    words = words_of(reason, "The reason", field="reason", most=200, least=5)
    if person.is_active:
        raise RecordRefused(f"The account of {person.full_name} is open already.", code="nothing_changed")
    give_password(person, password, until=None if person.is_shared else by.at + ONE_TIME_LIFE)
    person.is_active = True
    person.save(update_fields=["is_active", "password", "one_time_until"])
    return Outcome(
        subject=subject_of(person),
        before={"is_active": False},
        after={"is_active": True},
        facts={"roles": ", ".join(person.role_names())},
        reason=words,
        result=person,
    )


@use_case("person.device_added", permission="plant.edit")
def add_device(*, by: By, username: str, full_name: str) -> Outcome:
    """The account of a meter that sends readings: no password, no role, no signature. Raises: RecordRefused.

    It comes with its meter feed and is closed and opened with it; see ``plant.services.meter_feeds``.
    """
    if Person.objects.filter(username__iexact=username).exists():
        raise RecordRefused(
            f"An account {username} exists or existed. Accounts are never given to another; choose another code.",
            field="code",
            code="code_taken",
        )
    device = Person(
        username=Person.normalize_username(username),
        full_name=full_name,
        initials=DEVICE_INITIALS,
        is_device=True,
    )
    device.set_unusable_password()
    device.full_clean(exclude=["password"])
    device.save()
    return Outcome(subject=subject_of(device), after={"username": device.username}, result=device)


@use_case("person.device_set", permission="plant.edit")
def set_device_open(*, by: By, person_id: int, is_open: bool, reason: str) -> Outcome:
    """Close a device's account, or open it again. What it wrote stays. Raises: RecordRefused."""
    device = known(person_id)
    words = words_of(reason, "The reason", field="reason", most=300, least=5)
    if not device.is_device:
        raise RecordRefused(f"{device.full_name} is a person, not a device.", code="no_device")
    if device.is_active == is_open:
        raise RecordRefused(
            f"The account of {device.full_name} is {'open' if is_open else 'closed'} already.",
            code="nothing_changed",
        )
    device.is_active = is_open
    device.save(update_fields=["is_active"])
    return Outcome(
        subject=subject_of(device),
        before={"is_active": not is_open},
        after={"is_active": is_open},
        facts={"state": "opened again" if is_open else "closed"},
        reason=words,
        result=device,
    )


def _new_person(
    username: str,
    full_name: str,
    initials: str,
    roles: list[Role],
    password: str,
    *,
    is_shared: bool = False,
    until: datetime | None = None,
) -> Person:
    person = Person(
        username=Person.normalize_username(username.strip()),
        full_name=full_name,
        initials=initials,
        is_shared=is_shared,
    )
    give_password(person, password, until=until)
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
say("person.device_added", "The device account {subject} was added as {username}")
say("person.device_set", "The device account {subject} was {state} ({reason})")
say("person.preferences_set", "{subject} chose units “{unit_system}” and screen “{theme}”")
say("person.renamed", "{subject} is called {full_name} now ({reason})")
say("person.roles_set", "{subject} had the roles {before_roles} and has now {roles} ({reason})")
say("person.deactivated", "{subject} was deactivated")
say("person.reactivated", "{subject} was reactivated ({reason})")
