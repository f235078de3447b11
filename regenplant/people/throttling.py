"""Wrong passwords are counted per account, from whatever terminal, for signing in and for signing alike.

The count is django-axes'; five in a row (``AXES_FAILURE_LIMIT``) let the account rest for a quarter of an hour
(``AXES_COOLOFF_TIME``). A right password forgets the count.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from axes.handlers.proxy import AxesProxyHandler
from axes.utils import reset
from django.conf import settings
from django.contrib.auth import authenticate
from django.http import HttpRequest

from regenplant.people.models import Person


def account_name(request: HttpRequest | None, credentials: dict[str, Any] | None) -> str | None:
    """The account that wrong passwords count for: the user name without regard to capitals (``AXES_USERNAME_CALLABLE``)."""
    given = (credentials or {}).get("username")
    if given is None and request is not None:
        given = request.POST.get("username")
    return None if given is None else str(given).replace("\0", "").strip().lower()[:150]


@dataclass(frozen=True, slots=True)
class Try:
    """One try of user name and password. ``person`` is None when they do not fit or the account rests."""

    person: Person | None
    failures: int
    was_resting: bool
    """The account rested already, so the password was not looked at."""
    is_resting: bool

    @property
    def locked_now(self) -> bool:
        """This very try was the one too many."""
        return self.is_resting and not self.was_resting

    @property
    def sentence(self) -> str:
        """What became of the count, for the person who tried."""
        if self.is_resting:
            return (
                f"After {limit()} wrong passwords the account rests for a quarter of an hour, for signing in and for "
                "signing. The supervisor sees it."
            )
        return f"This was try {self.failures} of {limit()}; after that the account rests for a quarter of an hour."


def limit() -> int:
    """How many wrong passwords in a row an account bears."""
    return int(settings.AXES_FAILURE_LIMIT)


def is_resting(request: HttpRequest, username: str) -> bool:
    """Whether the account rests now."""
    return bool(AxesProxyHandler.is_locked(request, {"username": username}))


def try_password(request: HttpRequest, username: str, password: str) -> Try:
    """Try user name and password; a failure is counted, a success forgets the failures before it."""
    was_resting = is_resting(request, username)
    found = authenticate(request, username=username, password=password)
    return _after(request, username, found if isinstance(found, Person) else None, was_resting)


def count_failure(request: HttpRequest, username: str) -> Try:
    """Count a failure that no password was needed for: another person's user name given for one's own."""
    was_resting = is_resting(request, username)
    if not was_resting:
        AxesProxyHandler.user_login_failed(__name__, {"username": username}, request)
    return _after(request, username, None, was_resting)


def refused(request: HttpRequest, username: str, *, was_resting: bool) -> Try:
    """How the account stands after a sign-in that was refused and counted already."""
    failures = int(AxesProxyHandler.get_failures(request, {"username": username}))
    return Try(None, failures, was_resting, failures >= limit())


def forget(username: str) -> None:
    """Forget the failures of an account, and let it rest no longer."""
    reset(username=username.strip().lower())


def _after(request: HttpRequest, username: str, person: Person | None, was_resting: bool) -> Try:
    # The page answers by itself, with what was typed; without this the lock-out page would take its place.
    request.axes_locked_out = False  # type: ignore[attr-defined]
    if person is not None:
        forget(username)
        return Try(person, 0, was_resting, False)
    return refused(request, username, was_resting=was_resting)
