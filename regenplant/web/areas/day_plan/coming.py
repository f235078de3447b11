"""The coming two weeks: what to purchase, whom to ask for overtime, what binds."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from regenplant.planning.coming import coming_days
from regenplant.web.presenters.coming_days import coming_shown, csv_rows
from regenplant.web.requests import unit_system_of
from regenplant.web.tables import export


@require_safe
def page(request: HttpRequest, tab: str) -> HttpResponse:
    now = timezone.now()
    found = coming_days(now)
    if request.GET.get(export.PARAMETER) == "csv":
        return export.handed_out(export.lines_as_csv(csv_rows(found)), "coming-two-weeks", "csv")
    return render(
        request, "day_plan/coming.html", {"view": coming_shown(found, now, unit_system_of(request))}
    )
