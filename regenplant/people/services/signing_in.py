"""Sign-ins, refused ones and locks as events of the person.

Signing out is not recorded: most sessions end by themselves, so it would prove nothing. A user name nobody has is not
recorded either: it may be a password typed into the wrong field.
"""

from __future__ import annotations

from regenplant.audit.by import By
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.people.models import Alert, Person
from regenplant.people.services._accounts import subject_of
from regenplant.people.services.alerts import raise_alert


@use_case("person.signed_in", permission="", by_shared=True)
def record_sign_in(*, by: By) -> Outcome:
    """Once for each session."""
    return Outcome(subject=subject_of(by.user))


@use_case("person.sign_in_refused", permission="", by_shared=True, by_device=True)
def record_refused_sign_in(*, by: By, person_id: int, failures: int, is_locked: bool) -> Outcome:
    """A wrong password for a known account; the one that locks it raises an alert."""
    person = Person.objects.get(pk=person_id)
    if is_locked:
        raise_alert(
            by=by,
            kind=Alert.Kind.LOCKED_SIGN_IN,
            person_id=person.pk,
            sentence=(
                f"{failures} wrong passwords in a row while signing in as {person.full_name}. "
                "The account rests for a quarter of an hour."
            ),
        )
    return Outcome(subject=subject_of(person), facts={"failures": failures, "is_locked": is_locked})


say("person.signed_in", "{subject} signed in")
say("person.sign_in_refused", "{subject}: a sign-in was refused (wrong password, {failures} in a row)")
