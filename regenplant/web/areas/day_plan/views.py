"""The pages of the day plan: what holds and was made, and one plan."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_safe

from regenplant.audit.selectors import story
from regenplant.planning import selectors
from regenplant.planning.deviations import deviations
from regenplant.planning.members import members
from regenplant.planning.models import DayPlan, PlanAcceptance, PlannedBatch
from regenplant.planning.processes import clear_stale
from regenplant.planning.services._subject import DRAFTS
from regenplant.web.presenters import day_plan as words
from regenplant.web.presenters.day_plan_drawn import plan_drawn, today_drawn
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


def planned_called(code: str) -> PlannedBatch:
    """The planned batch of an address. Raises: Http404."""
    found = (
        PlannedBatch.objects.select_related(
            "vessel", "anion_vessel", "resin_type", "acceptance", "recipe_version__recipe", "ended_by"
        )
        .filter(code=code.upper())
        .first()
        if code.isprintable()
        else None
    )
    if found is None:
        raise Http404("There is no planned batch with this code.")
    return found


@require_safe
def home(request: HttpRequest, tab: str) -> HttpResponse:
    clear_stale(timezone.now())
    rows = list(DayPlan.objects.select_related("made_by")[: MOST_SHOWN + 1])
    newest, holds = selectors.newest_plan(), selectors.accepted_plan()
    now, waiting = timezone.now(), selectors.waiting_batches()
    read = {
        row.pk: selectors.shown(row) for row in (newest, holds) if row is not None and row.plan is not None
    }
    drawn_plan = holds if holds is not None and holds.pk in read else newest
    context = {
        "running": selectors.running_plan(),
        "newest": newest,
        "sentence": words.plan_sentence(read[newest.pk]) if newest else "",
        "drawn_plan": drawn_plan,
        "drawn": today_drawn(read[drawn_plan.pk], now, unit_system_of(request)) if drawn_plan else None,
        "past": words.past_words(holds, len(waiting), now) if holds else "",
        "rows": rows[:MOST_SHOWN],
        "left_off": len(rows) > MOST_SHOWN,
        "make": right(request, "day_plan.make"),
        "paper": right(request, "paper.issue"),
        "accepted": PlanAcceptance.objects.select_related("accepted_by").first(),
        "deviations": deviations(now),
        "planned": words.planned_rows(waiting),
    }
    return render(request, "day_plan/home.html", context)


@require_safe
def planned(request: HttpRequest, code: str, tab: str) -> HttpResponse:
    row = planned_called(code)
    context = {
        "row": row,
        "is_waiting": row.state == PlannedBatch.State.WAITING,
        "facts": words.planned_facts(row),
        "tanks": members(row),
        "start_url": f"{reverse('start')}?{urlencode({'planned': row.code})}",
        "start": right(request, "batch.plan", row.segregation_class),
        "accept": right(request, "day_plan.accept"),
        "why_url": _why_of(row),
        "story": story([("planned_batch", row.code)], newest_first=True, limit=10),
    }
    return render(request, "day_plan/planned.html", context)


def _waiting_of(row: DayPlan) -> int:
    """How many batches of this plan nobody started yet."""
    waiting = PlannedBatch.objects.filter(acceptance__number=row.number, state=PlannedBatch.State.WAITING)
    return waiting.count()


def _why_of(row: PlannedBatch) -> str:
    """Address of its batch in the plan that was accepted, which says why; "" where the plan itself is no longer there."""
    number = row.acceptance.number
    is_there = DayPlan.objects.filter(number=number, plan__isnull=False).exists()
    return reverse("day-plan-batch", args=[number, row.plan_batch]) if is_there else ""


@require_safe
def page(request: HttpRequest, number: str, tab: str) -> HttpResponse:
    clear_stale(timezone.now())
    row = plan_called(number)
    context: dict[str, Any] = {
        "row": row,
        "is_running": row.state == DayPlan.State.RUNNING,
        "is_draft": row.state in DRAFTS and row.plan is not None,
        "may_set_aside": row.state in (*DRAFTS, DayPlan.State.FAILED),
        "percent_done": words.percent_done(row, timezone.now()),
        "gap": words.gap_words(row),
        "past": words.past_words(row, _waiting_of(row), timezone.now()),
        "make": right(request, "day_plan.make"),
        "accept": right(request, "day_plan.accept"),
        "paper": right(request, "paper.issue"),
    }
    if row.plan is not None:
        view, now = selectors.shown(row), timezone.now()
        drawn = plan_drawn(view, now, unit_system_of(request))
        context |= {
            "view": view,
            "drawn": drawn,
            "wall_days": words.wall_days(drawn.days if drawn else (), now),
            "sentence": words.plan_sentence(view),
            "facts": words.plan_facts(row, view),
            "batches": words.batch_rows(view, unit_system_of(request)),
            "tanks": words.tank_rows(view),
            "decisions": words.decision_rows(view),
            "nowhere": words.nowhere(view),
            "moves": words.move_rows(view),
        }
    return render(request, "day_plan/plan.html", context)
