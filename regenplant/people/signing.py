"""Signing: the person proves who they are, then the signature is bound to exactly what was shown.

Proving happens before the transaction of the act (``prove``, ``prove_another``), so that a refusal is counted and recorded
even though the act is undone; binding happens inside it (``bind``).

The first signature of a session takes user name and password; so does the next one after a time without signing
(``AccessRules.signing_minutes``), after signing out and when the user changes. Between, the password alone is enough.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import NoReturn

from django.http import HttpRequest
from django.utils import timezone

from regenplant.audit.by import By
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.core.errors import SignatureRefused
from regenplant.people.binding import PERMIT_LIFE, SignaturePermit, bind, holds, signed_digest
from regenplant.people.models import Alert, Person
from regenplant.people.selectors import access_rules
from regenplant.people.services.alerts import raise_alert
from regenplant.people.throttling import Try, count_failure, limit, try_password

__all__ = [
    "FULL_CREDENTIALS",
    "PERMIT_LIFE",
    "SAME_PERSON",
    "SignaturePermit",
    "bind",
    "holds",
    "needs_full_credentials",
    "prove",
    "prove_another",
    "record_refused_signature",
    "signed_digest",
]

FULL_CREDENTIALS = (
    "The first signature of a session, and the first after a while, takes your user name and your password."
)
_SESSION_KEY = "signing"
SAME_PERSON = "the same person twice"
"""Why a second signature was refused that the person who is signed in tried to give."""
About = tuple[str, str, str]


def needs_full_credentials(request: HttpRequest, at: datetime | None = None) -> bool:
    """Whether the next signature of this session takes the user name besides the password."""
    session = getattr(request, "session", None)
    kept = session.get(_SESSION_KEY) if session is not None else None
    if not kept or kept["person"] != str(request.user.pk):
        return True
    since = (at or timezone.now()) - datetime.fromisoformat(kept["at"])
    return not timedelta(0) <= since <= timedelta(minutes=access_rules().signing_minutes)


def prove(
    *, by: By, password: str, meaning: str, about: About, request: HttpRequest, username: str = ""
) -> SignaturePermit:
    """Check the credentials of the acting person: the password, and the user name too when ``needs_full_credentials``.

    Raises: SignatureRefused (and records the refusal) when they do not fit, the account rests, is shared, or has a
    password that an administrator gave. Repeated failures let the account rest for signing and signing in alike.
    """
    person: Person = by.user
    given = username.strip()
    if not given and needs_full_credentials(request, by.at):
        raise SignatureRefused(FULL_CREDENTIALS, field="username", code="full_credentials")
    _refuse_unable(by, person, meaning, about)
    own = person.get_username()
    if given and given.lower() != own.lower():
        tried = count_failure(request, own)
    else:
        tried = try_password(request, own, password)
    if tried.person is None or tried.person.pk != person.pk:
        _refuse(by, person, tried, meaning, about, field="password", with_name=bool(given))
    session = getattr(request, "session", None)
    if session is not None:
        session[_SESSION_KEY] = {"person": str(person.pk), "at": by.at.isoformat()}
    return SignaturePermit(person.pk, meaning, by.at)


def prove_another(
    *,
    by: By,
    username: str,
    password: str,
    meaning: str,
    about: About,
    request: HttpRequest,
    permission: str = "",
    segregation_class: str = "",
    fields: tuple[str, str] = ("second_username", "second_password"),
) -> tuple[Person, SignaturePermit]:
    """Check the credentials of a second person at the first person's terminal, without changing who is signed in.

    Wrong passwords count for the account that was named. ``permission`` is what the second person must hold, ``fields``
    the names of the two inputs on the page.

    Raises: SignatureRefused (and records the refusal) when the two are the same person, the credentials do not fit, the
    account rests, is shared or closed, or lacks the right.
    """
    given = username.strip()
    if not given:
        raise SignatureRefused("The second person writes their own user name.", field=fields[0])
    if given.lower() == by.user.get_username().lower():
        record_refused_signature(by=by, meaning=meaning, about=about, why=SAME_PERSON)
        raise SignatureRefused(
            f"{by.user.full_name} is signed in here already. The second person must be another one.",
            field=fields[0],
            code="same_person",
        )
    named = Person.objects.filter(username__iexact=given).first()
    if named is None:
        # An account that is not there is counted too, so that trying names is no faster than trying passwords.
        tried = count_failure(request, given)
        record_refused_signature(by=by, meaning=meaning, about=about, why="second person not known")
        raise SignatureRefused(
            f"User name and password do not fit, so nothing was signed. {tried.sentence}", field=fields[1]
        )
    tried = try_password(request, named.get_username(), password)
    if tried.person is None:
        _refuse(by, named, tried, meaning, about, field=fields[1])
    _refuse_unable(by, named, meaning, about, field=fields[0])
    if permission and not named.may(permission, segregation_class):
        record_refused_signature(
            by=by, meaning=meaning, about=about, why=f"{named.full_name} lacks {permission}"
        )
        where = f" in class {segregation_class}" if segregation_class else ""
        raise SignatureRefused(
            f"{named.full_name} may not do this{where}. Ask a person who may.",
            field=fields[0],
            code="lacks_right",
        )
    return named, SignaturePermit(named.pk, meaning, by.at)


def _refuse_unable(by: By, person: Person, meaning: str, about: About, *, field: str | None = None) -> None:
    """Refuse whoever cannot sign whatever the password: a device, a shared account, and one whose password another person knows."""
    if person.is_device:
        record_refused_signature(by=by, meaning=meaning, about=about, why=f"{person.full_name} is a device")
        raise SignatureRefused(
            f"{person.full_name} is a device and signs nothing. A signature is one person’s.",
            field=field,
            code="device_account",
        )
    if person.is_shared:
        record_refused_signature(
            by=by, meaning=meaning, about=about, why=f"{person.full_name} is a shared account"
        )
        raise SignatureRefused(
            f"{person.full_name} is a shared account and signs nothing. A signature is one person’s.",
            field=field,
            code="shared_account",
        )
    if person.has_one_time_password:
        record_refused_signature(by=by, meaning=meaning, about=about, why="one-time password")
        raise SignatureRefused(
            "A one-time password signs nothing: the administrator who gave it knows it. Choose your own first.",
            field=field,
            code="one_time_password",
        )


def _refuse(
    by: By, person: Person, tried: Try, meaning: str, about: About, *, field: str, with_name: bool = True
) -> NoReturn:
    """Record the refusal, raise the alert when it was the one too many, and say it."""
    record_refused_signature(
        by=by,
        meaning=meaning,
        about=about,
        why=_why(tried),
        tried_as=person.full_name,
        failures=tried.failures,
    )
    if tried.locked_now:
        raise_alert(
            by=by,
            kind=Alert.Kind.LOCKED_SIGNING,
            person_id=person.pk,
            sentence=(
                f"{limit()} wrong passwords in a row while signing “{meaning}” for {about[2]}. "
                f"The account of {person.full_name} rests for a quarter of an hour. Nothing was signed."
            ),
        )
    if tried.was_resting:
        what = "This account rests"
    else:
        what = "User name and password do not fit" if with_name else "The password does not fit"
    raise SignatureRefused(f"{what}, so nothing was signed. {tried.sentence}", field=field)


def _why(tried: Try) -> str:
    if tried.was_resting:
        return "the account rests"
    return "wrong credentials, and now the account rests" if tried.is_resting else "wrong credentials"


@use_case("signature.refused", permission="", by_shared=True, by_device=True)
def record_refused_signature(
    *, by: By, meaning: str, about: About, why: str = "", tried_as: str = "", failures: int = 0
) -> Outcome:
    """Write down that a signature was tried and refused, whose it would have been, and the how manyeth failure it was."""
    return Outcome(
        subject=about,
        facts={
            "meaning": meaning,
            "why": why,
            "tried_as": tried_as or by.user.full_name,
            "failures": failures,
        },
    )


say("signature.refused", "{subject}: a signature for “{meaning}” was refused")
