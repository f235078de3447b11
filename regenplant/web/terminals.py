"""Which terminal a request comes from: the name the plant gave it, and the address.

A terminal that was named keeps a signed cookie with its key. Without one, or after it was retired, the address stands alone.
"""

from __future__ import annotations

from django.conf import settings
from django.http import HttpRequest, HttpResponse

from regenplant.plant.models import Terminal

COOKIE = "terminal"
_SALT = "regenplant.terminal"
_TEN_YEARS_S = 10 * 366 * 86400
_FOUND = "_named_terminal"
LONGEST = 80
"""Characters of a terminal in the record."""


def key_of(request: HttpRequest) -> str:
    """The key this terminal keeps, "" if it has none or one that was not given by this plant."""
    return str(request.get_signed_cookie(COOKIE, "", salt=_SALT))


def remember(response: HttpResponse, key: str) -> None:
    """Let the terminal that this answer goes to keep its key."""
    response.set_signed_cookie(
        COOKIE,
        key,
        salt=_SALT,
        max_age=_TEN_YEARS_S,
        secure=settings.SESSION_COOKIE_SECURE,
        httponly=True,
        samesite="Lax",
    )


def named_terminal(request: HttpRequest) -> Terminal | None:
    """The terminal this request comes from, if it has a name here. Looked up once a request."""
    if not hasattr(request, _FOUND):
        key = key_of(request)
        found = Terminal.objects.filter(key=key, is_active=True).first() if key else None
        setattr(request, _FOUND, found)
    named: Terminal | None = getattr(request, _FOUND)
    return named


def address_of(request: HttpRequest) -> str:
    """The network address the request came from."""
    return str(request.META.get("REMOTE_ADDR", ""))


def terminal_of(request: HttpRequest) -> str:
    """How the record names the terminal: "Acid bench tablet, 10.0.0.5", or the address alone."""
    named = named_terminal(request)
    return ", ".join(part for part in (named.name if named else "", address_of(request)) if part)[:LONGEST]
