"""Acts on plans of the day, each a page with one form."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from regenplant.audit.by import By
from regenplant.audit.use_case import Outcome
from regenplant.planning import services
from regenplant.planning.figures_kept import figures_in_force
from regenplant.planning.models import DayPlan, PlanningSettings
from regenplant.planning.selectors import shown
from regenplant.web.act_page import Act, act_page
from regenplant.web.areas.day_plan.forms import (
    CancelForm,
    ConfirmForm,
    CopyForm,
    FiguresForm,
    NewPlanForm,
    figures_shown,
)
from regenplant.web.areas.day_plan.views import plan_called, planned_called
from regenplant.web.house_form import posted
from regenplant.web.presenters.day_plan import plan_facts
from regenplant.web.presenters.words import counted, day_and_clock
from regenplant.web.requests import unit_system_of

BOTH = require_http_methods(["GET", "HEAD", "POST"])


def page_of(row: DayPlan) -> str:
    """Address of a plan."""
    return reverse("day-plan-one", args=[row.number])


@BOTH
def new(request: HttpRequest, tab: str) -> HttpResponse:
    form = NewPlanForm(posted(request))
    act = Act(
        title="Make a plan",
        sentence="The tanks that wait, the vessels, stock, waste room and people as they stand now. What runs goes on; what an accepted plan says moves as little as needed.",
        permission="day_plan.make",
        service=services.begin_plan,
        arguments=lambda: {
            "seconds": form.cleaned_data["seconds"],
            "from_at": form.cleaned_data["from_at"],
        },
        said=lambda outcome: f"{outcome.result.number} is being searched.",
        then=lambda outcome: page_of(outcome.result),
        back_url=reverse("day-plan"),
        button="Search",
    )
    return act_page(request, form, act)


@BOTH
def stop(request: HttpRequest, number: str, tab: str) -> HttpResponse:
    row = plan_called(number)
    act = Act(
        title=f"Stop the search of {row.number}",
        sentence="The best plan so far is kept.",
        permission="day_plan.make",
        service=services.stop_plan,
        arguments=lambda: {"number": row.number},
        said=lambda outcome: f"{row.number} ends within a second or two; the best so far is kept.",
        then=lambda outcome: page_of(row),
        back_url=page_of(row),
        button="Stop it",
        is_stopping=True,
    )
    return act_page(request, ConfirmForm(posted(request)), act)


@BOTH
def set_aside(request: HttpRequest, number: str, tab: str) -> HttpResponse:
    row = plan_called(number)
    form = ConfirmForm(posted(request), initial={"version": row.version})
    act = Act(
        title=f"Set {row.number} aside",
        sentence="It stays in the list and can be looked at; it cannot be accepted any more.",
        permission="day_plan.make",
        service=services.set_plan_aside,
        arguments=lambda: {"number": row.number, "version": form.shown_version},
        said=lambda outcome: f"{row.number} is set aside.",
        then=lambda outcome: reverse("day-plan"),
        back_url=page_of(row),
        button="Set it aside",
    )
    return act_page(request, form, act)


@BOTH
def accept(request: HttpRequest, number: str, tab: str) -> HttpResponse:
    row = plan_called(number)
    form = ConfirmForm(posted(request), initial={"version": row.version})
    sentence = "It becomes the plan of the plant. Each batch gets a code that scans; it is planned exactly, by every gate, when somebody starts it. "
    act = Act(
        title=f"Accept {row.number}",
        sentence=f"{sentence}Planned batches that still wait from an earlier plan give way.",
        permission="day_plan.accept",
        service=services.accept_plan,
        arguments=lambda: {"number": row.number, "version": form.shown_version},
        said=lambda outcome: (
            f"{row.number} is the plan of the plant: {counted(outcome.facts['batches'], 'planned batch', 'planned batches')}."
        ),
        then=lambda outcome: reverse("day-plan"),
        back_url=page_of(row),
        button="Accept it",
    )
    facts = plan_facts(row, shown(row)) if row.plan is not None else []
    return act_page(request, form, act, facts=facts)


@BOTH
def cancel(request: HttpRequest, code: str, tab: str) -> HttpResponse:
    row = planned_called(code)
    form = CancelForm(posted(request))
    address = reverse("planned-batch", args=[row.code])
    act = Act(
        title=f"Cancel {row.code}",
        sentence="Its tanks wait as before, and are in the next plan.",
        permission="day_plan.accept",
        service=services.cancel_planned,
        arguments=lambda: {"planned_code": row.code, "reason": form.text("reason")},
        said=lambda outcome: f"{row.code} is cancelled.",
        then=lambda outcome: address,
        back_url=address,
        button="Cancel it",
        is_stopping=True,
    )
    return act_page(request, form, act)


@BOTH
def copy(request: HttpRequest, number: str, tab: str) -> HttpResponse:
    row = plan_called(number)
    form = CopyForm(posted(request), initial={"version": row.version})
    act = Act(
        title=f"What if: a copy of {row.number}",
        sentence="The copy has the same tanks, plan and decisions. Change it, then compare both.",
        permission="day_plan.make",
        service=services.copy_plan,
        arguments=lambda: {
            "number": row.number,
            "name": form.text("name"),
            "version": form.shown_version,
        },
        said=lambda outcome: f"{outcome.result.number} is a copy of {row.number}.",
        then=lambda outcome: page_of(outcome.result),
        back_url=page_of(row),
        button="Make the copy",
    )
    return act_page(request, form, act)


def _record_figures(*, by: By, written: FiguresForm) -> Outcome:
    return services.record_figures(
        by=by,
        figures=written.figures(figures_in_force()),
        reason=written.text("reason"),
        seen_number=written.cleaned_data["seen_number"],
    )


@BOTH
def figures(request: HttpRequest, tab: str) -> HttpResponse:
    newest = PlanningSettings.objects.select_related("recorded_by").first()
    form = FiguresForm(
        posted(request),
        initial=figures_shown(figures_in_force(), newest.number if newest else 0),
        system=unit_system_of(request),
    )
    act = Act(
        title="Figures for planning",
        sentence="What plans reckon with beside the record. They move a plan about and never loosen a limit: those stand in recipes, limits and the permit.",
        permission="day_plan.figures",
        service=_record_figures,
        arguments=lambda: {"written": form},
        said=lambda outcome: "Recorded. The next plan reckons with them.",
        then=lambda outcome: reverse("day-plan"),
        back_url=reverse("day-plan"),
        button="Record them",
    )
    in_force = (
        [
            ("In force", f"recording {newest.number}"),
            ("By", f"{newest.recorded_by.full_name}, {day_and_clock(newest.recorded_at)}"),
            ("Why", newest.reason),
        ]
        if newest
        else [("In force", "the program’s own planning values, from memory; nobody recorded others yet")]
    )
    return act_page(request, form, act, facts=in_force)
