"""From an HTTP request to what use cases need."""

from __future__ import annotations

from datetime import datetime

from django.http import HttpRequest
from django.utils import timezone

from regenplant.audit.by import By
from regenplant.people.models import Person
from regenplant.units import UnitSystem


def by_of(request: HttpRequest, *, occurred_at: datetime | None = None) -> By:
    """The acting person of this request, at the server's time, from its terminal."""
    return By(user=request.user, at=timezone.now(), terminal=terminal_of(request), occurred_at=occurred_at)


def person_of(request: HttpRequest) -> Person:
    """The signed-in person; the middleware lets nobody else reach a view that asks."""
    assert isinstance(request.user, Person)
    return request.user


def terminal_of(request: HttpRequest) -> str:
    """The address the request came from: which terminal of the plant."""
    return str(request.META.get("REMOTE_ADDR", ""))[:80]


def unit_system_of(request: HttpRequest) -> UnitSystem:
    """The person's own unit system, else the plant's."""
    from regenplant.web.context import unit_system

    return "us" if unit_system(request) == "us" else "metric"
