"""Small middlewares: time-outs, the door in front of each address, the plant's time zone, refusals no view turned into a message."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any
from zoneinfo import ZoneInfo

from django.contrib.auth import logout
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from regenplant.core.errors import DomainError, NotAllowed, StaleRecord
from regenplant.people.models import Person
from regenplant.web import active_units, doors, kept_forms
from regenplant.web.context import plant_of, unit_system
from regenplant.web.sign_in_form import kept_page
from regenplant.web.time_out import IDLE_MINUTES, TOUCHED, USUAL_IDLE_MINUTES

Answer = Callable[[HttpRequest], HttpResponse]

TOUCH_EVERY_S = 60
"""A touch is written down at most this often [s]."""
ASKED_BY_THE_PAGE = ("floor-board", "rinse-now", "api:rinse")
"""Addresses that an open page asks by itself: no sign that anybody is there."""
WITH_ONE_TIME_PASSWORD = ("password", "sign-out", "emergency")
"""Where a person can go whose password an administrator gave."""


class TimeOutMiddleware:
    """Signs out a person whose terminal nobody touched for a while; what was typed meanwhile is kept and sent on later.

    The limit is the one of the person's sign-in (``AccessRules.idle_minutes`` at that time).
    """

    def __init__(self, get_response: Answer):
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_view(
        self, request: HttpRequest, view: Callable[..., HttpResponse], args: Any, kwargs: Any
    ) -> HttpResponse | None:
        name = (request.resolver_match.url_name or "") if request.resolver_match else ""
        typist = self._timed_out(request, name)
        if not getattr(view, "login_required", True):
            return None
        if not isinstance(request.user, Person):
            return self._signed_out(request, typist)
        if request.user.has_one_time_password and name not in WITH_ONE_TIME_PASSWORD:
            return redirect("password")
        return None

    def _timed_out(self, request: HttpRequest, name: str) -> Person | None:
        """Write down the touch, or sign out; who was signed out, None if nobody."""
        person = request.user
        if not isinstance(person, Person):
            return None
        now, last = int(time.time()), request.session.get(TOUCHED)
        limit_s = 60 * request.session.get(IDLE_MINUTES, USUAL_IDLE_MINUTES)
        if last is not None and now - last > limit_s:
            logout(request)
            return person
        if name not in ASKED_BY_THE_PAGE and (last is None or now - last >= TOUCH_EVERY_S):
            request.session[TOUCHED] = now
        return None

    def _signed_out(self, request: HttpRequest, typist: Person | None) -> HttpResponse | None:
        """The answer to somebody who is not signed in: None lets them be sent to the sign-in page."""
        if request.headers.get("HX-Request"):
            return HttpResponse(status=401, headers={"HX-Trigger": "signed-out"})
        if request.method != "POST":
            return None
        kept = kept_forms.keep(request, typist or kept_forms.typist_of(request))
        return kept_page(request, kept)


class DoorMiddleware:
    """Refuses what is sent to an address by somebody who lacks its right, whatever was sent (``web.doors``)."""

    def __init__(self, get_response: Answer):
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_view(
        self, request: HttpRequest, view: Callable[..., HttpResponse], args: Any, kwargs: Any
    ) -> HttpResponse | None:
        name = (request.resolver_match.url_name or "") if request.resolver_match else ""
        if request.method != "POST" or not isinstance(request.user, Person):
            return None
        if doors.is_open_to(request.user, name, kwargs):
            return None
        return render(request, "refused.html", {"refusal": _refusal(request.user, name)}, status=403)


def _refusal(person: Person, name: str) -> NotAllowed:
    if person.is_shared:
        return NotAllowed(
            f"{person.full_name} is a shared account. It looks and does nothing. Sign in with your own name."
        )
    rights = doors.DOORS[name].rights
    roles = ", ".join(dict.fromkeys(role.value for item in rights for role in person.matrix.holders(item)))
    return NotAllowed(
        f"{person.full_name} ({', '.join(person.role_names()) or 'no role'}) may not do this here. "
        f"It takes one of these roles, in the class it is about: {roles or 'none holds the right'}.",
        permission=rights[0],
    )


class PlantTimeMiddleware:
    """Shows times in the plant's zone and numbers in the person's units; UTC and SI are what is stored."""

    def __init__(self, get_response: Answer):
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        with (
            timezone.override(ZoneInfo(plant_of(request).time_zone)),
            active_units.shown_in(unit_system(request)),
        ):
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
