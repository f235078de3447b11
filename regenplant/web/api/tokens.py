"""Who asks: a meter feed by its token, or a person who is signed in. A token is compared by its digest and never written anywhere."""

from __future__ import annotations

import logging
import threading
import time

from django.http import HttpRequest
from ninja.security import HttpBearer
from ninja.security.base import AuthBase

from regenplant.core.errors import DomainError
from regenplant.people.models import Person
from regenplant.plant.models import MeterFeed
from regenplant.plant.tokens import digest_of
from regenplant.web.terminals import address_of

log = logging.getLogger("regenplant.api")
WRONG_ALLOWED, WINDOW_S = 20, 60.0
"""Wrong tokens from one address within this time; after that it is told to wait."""
_MOST_ADDRESSES = 10_000


class WrongToken(DomainError):
    """Nobody is known by this token, or none was sent."""

    code = "wrong_token"


class TooManyTries(DomainError):
    """Too many wrong tokens came from one address."""

    code = "too_many_tries"


class AccountClosed(DomainError):
    """The token fits, and its account is closed; or the person must choose a password first."""

    code = "account_closed"


class Tries:
    """Counts wrong tokens by address, in this process. A right token always passes: meters behind one gateway share its address,
    and one that was set up wrongly must not silence the others."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._counts: dict[str, tuple[float, int]] = {}

    def count(self, address: str) -> int:
        """One more wrong token from here: how many in this window."""
        now = time.monotonic()
        with self._lock:
            if len(self._counts) >= _MOST_ADDRESSES:
                self._counts = {key: kept for key, kept in self._counts.items() if now - kept[0] < WINDOW_S}
            began, number = self._counts.get(address, (now, 0))
            if now - began >= WINDOW_S:
                began, number = now, 0
            self._counts[address] = (began, number + 1)
            return number + 1

    def forget(self) -> None:
        """Begin anew, as after a start of the program."""
        with self._lock:
            self._counts.clear()


tries = Tries()


class FeedToken(HttpBearer):
    """The token of a meter feed, as ``Authorization: Bearer``."""

    def __call__(self, request: HttpRequest) -> MeterFeed | None:
        given = request.headers.get(self.header, "")
        if not given:
            return None
        scheme, _, token = given.partition(" ")
        if scheme.lower() != self.openapi_scheme:
            raise _wrong(request)
        return self.authenticate(request, token.strip())

    def authenticate(self, request: HttpRequest, token: str) -> MeterFeed:
        """Raises: WrongToken, TooManyTries, AccountClosed."""
        feed = (
            MeterFeed.objects.select_related("instrument", "vessel", "account")
            .filter(token_digest=digest_of(token))
            .first()
        )
        if feed is None:
            raise _wrong(request)
        if not feed.is_active or not feed.account.is_active:
            raise AccountClosed(f"Meter feed {feed.code} is closed, so nothing is taken from it.")
        return feed


class SignedIn(AuthBase):
    """A person who is signed in, by the session of the browser."""

    openapi_type = "apiKey"

    def __init__(self) -> None:
        self.openapi_in = "cookie"
        self.openapi_name = "sessionid"
        super().__init__()

    def __call__(self, request: HttpRequest) -> Person | None:
        person = request.user
        if not isinstance(person, Person) or person.is_device:
            return None
        if person.has_one_time_password:
            raise AccountClosed("A one-time password opens nothing but the page to choose your own.")
        return person


def _wrong(request: HttpRequest) -> DomainError:
    address = address_of(request)
    number = tries.count(address)
    if number <= WRONG_ALLOWED:
        log.warning("A token that nobody has came from %s (%s in this minute).", address, number)
        return WrongToken("No meter feed has this token. Make a new one under Set-up, Meter feeds.")
    return TooManyTries(
        f"{number} wrong tokens came from {address} within {WINDOW_S:g} s, at most {WRONG_ALLOWED}. "
        "Put the right token into the meter, then try again in a minute."
    )
