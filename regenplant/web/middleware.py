"""Two small middlewares: the plant's own time zone, and refusals that no view turned into a form message."""

from __future__ import annotations

from collections.abc import Callable
from zoneinfo import ZoneInfo

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from regenplant.core.errors import DomainError, NotAllowed, StaleRecord
from regenplant.plant.selectors import profile
from regenplant.web import active_units
from regenplant.web.context import unit_system

Answer = Callable[[HttpRequest], HttpResponse]


class PlantTimeMiddleware:
    """Shows times in the plant's zone and numbers in the person's units; UTC and SI are what is stored."""

    def __init__(self, get_response: Answer):
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        with timezone.override(ZoneInfo(profile().time_zone)), active_units.shown_in(unit_system(request)):
            return self.get_response(request)


class RefusalMiddleware:
    """A refusal that reaches this far becomes a page that says what was refused and what to do, never a crash."""

    def __init__(self, get_response: Answer):
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_exception(self, request: HttpRequest, exception: Exception) -> HttpResponse | None:
        if not isinstance(exception, DomainError):
            return None
        status = (
            403 if isinstance(exception, NotAllowed) else 409 if isinstance(exception, StaleRecord) else 400
        )
        return render(request, "refused.html", {"refusal": exception}, status=status)
