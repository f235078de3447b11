"""The pages of the day plan: what holds and was made, and one plan."""

from __future__ import annotations

from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from regenplant.planning import selectors
from regenplant.planning.models import DayPlan
from regenplant.planning.processes import clear_stale
from regenplant.planning.services._subject import DRAFTS
from regenplant.web.presenters import day_plan as words
from regenplant.web.requests import unit_system_of
from regenplant.web.rights import right

MOST_SHOWN = 20


def plan_called(number: str) -> DayPlan:
    """The plan of an address. Raises: Http404."""
    found = (
        DayPlan.objects.select_related("made_by", "parent").filter(number=number.upper()).first()
        if number.isprintable()
        else None
    )
    if found is None:
        raise Http404("There is no day plan with this number.")
    return found


@require_safe
def home(request: HttpRequest, tab: str) -> HttpResponse:
    clear_stale(timezone.now())
    rows = list(DayPlan.objects.select_related("made_by")[: MOST_SHOWN + 1])
    newest = selectors.newest_plan()
    context = {
        "running": selectors.running_plan(),
        "newest": newest,
        "sentence": words.plan_sentence(selectors.shown(newest)) if newest else "",
        "rows": rows[:MOST_SHOWN],
        "left_off": len(rows) > MOST_SHOWN,
        "make": right(request, "day_plan.make"),
    }
    return render(request, "day_plan/home.html", context)


@require_safe
def page(request: HttpRequest, number: str, tab: str) -> HttpResponse:
    clear_stale(timezone.now())
    row = plan_called(number)
    context: dict[str, Any] = {
        "row": row,
        "is_running": row.state == DayPlan.State.RUNNING,
        "is_draft": row.state in DRAFTS and row.plan is not None,
        "may_set_aside": row.state in (*DRAFTS, DayPlan.State.FAILED),
        "percent_done": round(100 * row.progress_frac),
        "gap": words.gap_words(row),
        "make": right(request, "day_plan.make"),
    }
    if row.plan is not None:
        view = selectors.shown(row)
        context |= {
            "view": view,
            "sentence": words.plan_sentence(view),
            "facts": words.plan_facts(row, view),
            "batches": words.batch_rows(view, unit_system_of(request)),
            "tanks": words.tank_rows(view),
            "decisions": words.decision_rows(view),
        }
    return render(request, "day_plan/plan.html", context)
