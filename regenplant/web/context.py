"""What every page needs: the house name, the person's units, the index, the head of the chain."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.http import HttpRequest
from django.utils import timezone

from regenplant.audit.selectors import chain_head
from regenplant.people.models import Person
from regenplant.people.selectors import alerts_waiting_for
from regenplant.plant.models import PlantProfile
from regenplant.plant.selectors import profile
from regenplant.quality.drift import drifts_waiting_for
from regenplant.web.index import tabs_for
from regenplant.web.requests import transcribed_form
from regenplant.web.time_out import IDLE_MINUTES, USUAL_IDLE_MINUTES


def plant_of(request: HttpRequest) -> PlantProfile:
    """The plant's profile, read once per request."""
    found: PlantProfile | None = getattr(request, "_plant", None)
    if found is None:
        found = profile()
        request._plant = found  # type: ignore[attr-defined]
    return found


def unit_system(request: HttpRequest) -> str:
    own = getattr(getattr(request, "user", None), "unit_system", "")
    return own or plant_of(request).unit_system or "metric"


def shell(request: HttpRequest) -> dict[str, Any]:
    """Context processor: the frame around every page. Read once per request: every table of a page asks for it again."""
    found: dict[str, Any] | None = getattr(request, "_shell", None)
    if found is None:
        found = request._shell = _frame(request)  # type: ignore[attr-defined]
    return found


def _frame(request: HttpRequest) -> dict[str, Any]:
    plant = plant_of(request)
    user = getattr(request, "user", None)
    is_known = bool(user and user.is_authenticated)
    number, head = chain_head() if is_known else (0, "")
    return {
        "plant": plant,
        "unit_system": unit_system(request),
        "theme": getattr(user, "theme", "") if is_known else "",
        "index_tabs": tabs_for(request) if is_known else [],
        "chain_number": number,
        "chain_head": f"{head[:4]} {head[4:8]}",
        "is_demo": settings.DEMO,
        "open_alerts": _alerts_waiting_for(user) if isinstance(user, Person) else 0,
        "idle_seconds": 60 * request.session.get(IDLE_MINUTES, USUAL_IDLE_MINUTES) if is_known else 0,
        "transcribing": transcribed_form(request) if is_known else "",
        "now": timezone.now(),
    }


def _alerts_waiting_for(person: Person) -> int:
    """Alerts and drifts together, in one query, since every page asks; none for who may answer neither."""
    alerts = alerts_waiting_for(person).order_by().values("pk")
    return alerts.union(drifts_waiting_for(person).order_by().values("pk"), all=True).count()
