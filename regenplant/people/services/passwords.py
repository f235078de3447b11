"""Passwords: one's own, and the one-time password an administrator gives. No password is ever recorded."""

from __future__ import annotations

from regenplant.audit.by import By
from regenplant.audit.records import words_of
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.core.errors import RecordRefused
from regenplant.people.models import Person
from regenplant.people.services._accounts import ONE_TIME_LIFE, give_password, known, subject_of
from regenplant.people.throttling import forget


@use_case("person.password_changed", permission="")
def change_password(*, by: By, old_password: str, new_password: str) -> Outcome:
    """A person's own new password; it ends a one-time password. Raises: RecordRefused."""
    person = Person.objects.select_for_update().get(pk=by.user.pk)
    if not person.check_password(old_password):
        raise RecordRefused("This is not the present password, so it was not changed.", field="old_password")
    if old_password == new_password:
        raise RecordRefused(
            "The new password is the same as the old one. Choose another.", field="new_password"
        )
    was_one_time = person.has_one_time_password
    give_password(person, new_password, until=None, field="new_password")
    person.save(update_fields=["password", "one_time_until"])
    return Outcome(subject=subject_of(person), facts={"was_one_time": was_one_time}, result=person)


@use_case("person.password_reset", permission="people.edit")
def reset_password(*, by: By, person_id: int, password: str, reason: str) -> Outcome:
    """Give a one-time password: good for 72 h, to be replaced at the next sign-in; it lets a resting account go on.

    The account of a shared post keeps the password it is given. Raises: RecordRefused.
    """
    person = known(person_id)
    words = words_of(reason, "The reason", field="reason", most=200, least=5)
    if person.pk == by.user.pk:
        raise RecordRefused("For your own account choose a new password under your name.", code="own_account")
    if not person.is_active:
        raise RecordRefused(
            f"The account of {person.full_name} is closed. Open it again first.", code="closed_account"
        )
    give_password(person, password, until=None if person.is_shared else by.at + ONE_TIME_LIFE)
    person.save(update_fields=["password", "one_time_until"])
    forget(person.username)
    return Outcome(subject=subject_of(person), reason=words, result=person)


say("person.password_changed", "{subject} chose a new password")
say("person.password_reset", "{subject} was given a one-time password ({reason})")
