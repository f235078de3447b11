"""Two plans side by side, with what differs; and one against the whiteboard way."""

from __future__ import annotations

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from regenplant.planning.first_come import against_first_come
from regenplant.planning.models import DayPlan
from regenplant.planning.selectors import shown
from regenplant.web.areas.day_plan.forms import CompareForm
from regenplant.web.areas.day_plan.views import plan_called
from regenplant.web.presenters.day_plan_compared import compared
from regenplant.web.presenters.day_plan_first_come import beside_first_come
from regenplant.web.requests import unit_system_of

MOST_OFFERED = 40


@require_safe
def page(request: HttpRequest, tab: str) -> HttpResponse:
    offered = list(DayPlan.objects.filter(plan__isnull=False)[:MOST_OFFERED])
    plans = [(row.number, f"{row.number}, {row.name or row.get_state_display()}") for row in offered]
    is_asked = bool(request.GET.get("first") or request.GET.get("second"))
    form = CompareForm(request.GET if is_asked else None, plans=plans)
    rows: list[DayPlan] = []
    if is_asked and form.is_valid():
        by_number = {row.number: row for row in offered}
        chosen = dict.fromkeys(
            name for name in (form.cleaned_data["first"], form.cleaned_data["second"]) if name
        )
        rows = [by_number[name] for name in chosen]
    context = {
        "form": form,
        "rows": rows,
        "view": compared([(row, shown(row)) for row in rows], unit_system_of(request))
        if len(rows) == 2
        else None,
        "is_alone": is_asked and form.is_valid() and len(rows) < 2,
    }
    return render(request, "day_plan/compare.html", context, status=422 if is_asked and form.errors else 200)


@require_safe
def first_come(request: HttpRequest, number: str, tab: str) -> HttpResponse:
    """The plan against the whiteboard way on the same tanks; its page fetches the table from here."""
    row = plan_called(number)
    if row.plan is None or row.state == DayPlan.State.RUNNING:
        raise Http404("This plan is not found yet.")
    view = beside_first_come(against_first_come(shown(row)), unit_system_of(request))
    return render(request, "day_plan/first_come.html", {"row": row, "against": view})
