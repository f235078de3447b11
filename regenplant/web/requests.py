"""From an HTTP request to what use cases need."""

from __future__ import annotations

from datetime import datetime

from django.http import HttpRequest
from django.utils import timezone

from regenplant.audit.by import By
from regenplant.people.models import Person
from regenplant.units import UnitSystem
from regenplant.web.terminals import terminal_of


def by_of(request: HttpRequest, *, occurred_at: datetime | None = None) -> By:
    """The acting person of this request, at the server's time, from its terminal."""
    return By(
        user=request.user,
        at=timezone.now(),
        terminal=terminal_of(request),
        occurred_at=occurred_at,
        paper_form=transcribed_form(request),
    )


_TRANSCRIBING = "transcribing"


def transcribed_form(request: HttpRequest) -> str:
    """The number of the paper form this person transcribes in this session, "" for none."""
    session = getattr(request, "session", None)
    kept = session.get(_TRANSCRIBING) if session is not None else None
    return str(kept["form"]) if kept and kept["person"] == str(request.user.pk) else ""


def transcribe_from(request: HttpRequest, number: str) -> None:
    """From now on what this person writes down carries this form; "" ends it."""
    if number:
        request.session[_TRANSCRIBING] = {"form": number, "person": str(request.user.pk)}
    else:
        request.session.pop(_TRANSCRIBING, None)


def person_of(request: HttpRequest) -> Person:
    """The signed-in person; the middleware lets nobody else reach a view that asks."""
    assert isinstance(request.user, Person)
    return request.user


def unit_system_of(request: HttpRequest) -> UnitSystem:
    """The person's own unit system, else the plant's."""
    from regenplant.web.context import unit_system

    return "us" if unit_system(request) == "us" else "metric"
