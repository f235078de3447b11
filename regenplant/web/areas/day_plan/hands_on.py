"""A batch of a draft, and what a person may decide about it; each decision is a page with one form."""

from __future__ import annotations

from typing import Any

from django.http import Http404, HttpRequest, HttpResponse, QueryDict
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from regenplant.audit.by import By
from regenplant.audit.use_case import Outcome
from regenplant.planning import services
from regenplant.planning.deciding import work_out
from regenplant.planning.models import DayPlan, Decision
from regenplant.planning.selectors import PlanShown, shown
from regenplant.planning.services._subject import DRAFTS
from regenplant.web.act_page import Act, act_page, shown_act
from regenplant.web.areas.day_plan.acts import page_of
from regenplant.web.areas.day_plan.forms import (
    ConfirmForm,
    JoinForm,
    PinForm,
    RushForm,
    SeveralForm,
    TanksForm,
)
from regenplant.web.areas.day_plan.views import plan_called
from regenplant.web.house_form import HouseForm, posted
from regenplant.web.presenters import day_plan as words
from regenplant.web.presenters.day_plan_several import heads, order_of, tick_rows
from regenplant.web.presenters.day_plan_why import why_words
from regenplant.web.presenters.words import sentence_case
from regenplant.web.requests import unit_system_of
from regenplant.web.rights import right

BOTH = require_http_methods(["GET", "HEAD", "POST"])
Kind = Decision.Kind
TITLES = {
    Kind.PIN: "Put it in a vessel or at a time",
    Kind.SPLIT: "Split it",
    Kind.JOIN: "Join another to it",
    Kind.LEAVE_OUT: "Leave tanks out",
    Kind.RUSH: "Rush tanks",
}
SENTENCES = {
    Kind.PIN: "Its tanks stay together. What gives way moves as little as needed.",
    Kind.SPLIT: "The ticked tanks go apart, the rest stays together.",
    Kind.JOIN: "Only batches of the same resin, class and owner can go together.",
    Kind.LEAVE_OUT: "They stay in the waiting list and in no batch of this plan.",
    Kind.RUSH: "They are due by then and weigh more than all others.",
}


def _found(number: str, name: str) -> tuple[DayPlan, PlanShown, words.BatchRow, str]:
    """The draft, what is shown of it, the batch as a row. Raises: Http404."""
    row = plan_called(number)
    if row.plan is None:
        raise Http404("This plan has no batches yet.")
    view = shown(row)
    batch = next((one for one in words.batch_rows(view, "metric") if one.name == name.upper()), None)
    if batch is None:
        raise Http404("This plan has no such batch.")
    return row, view, batch, reverse("day-plan-batch", args=[row.number, batch.name])


@require_safe
def batch_page(request: HttpRequest, number: str, name: str, tab: str) -> HttpResponse:
    row, view, _, _ = _found(number, name)
    rows = words.batch_rows(view, unit_system_of(request))
    batch = next(one for one in rows if one.name == name.upper())
    tanks = [one for one in words.tank_rows(view) if one.serial in batch.tanks]
    planned = next(one for one in view.plan.batches if one.id == batch.name)
    context = {
        "row": row,
        "batch": batch,
        "tanks": tanks,
        "stages": [
            (sentence_case(stage.name), view.clock.moment(stage.start_min), view.clock.moment(stage.end_min))
            for stage in planned.stages
        ],
        "why": why_words(view, batch.name, unit_system_of(request)),
        "is_draft": row.state in DRAFTS,
        "make": right(request, "day_plan.make"),
        "ways": [
            (TITLES[kind], reverse(f"day-plan-{kind.value.replace('_', '-')}", args=[row.number, batch.name]))
            for kind in TITLES
            if kind is not Kind.SPLIT or len(batch.tanks) > 1
        ],
    }
    return render(request, "day_plan/batch.html", context)


def _decide(
    request: HttpRequest, kind: Kind, row: DayPlan, batch: words.BatchRow, form: HouseForm, **chosen: Any
) -> HttpResponse:
    """``chosen``: name of the service's argument to name of the form's field."""
    act = Act(
        title=f"{TITLES[kind]}: {batch.name} in {batch.vessel}",
        sentence=SENTENCES[kind],
        permission="day_plan.make",
        service=_decide_now,
        arguments=lambda: {
            "number": row.number,
            "kind": kind,
            "batch": batch.name,
            "version": form.shown_version,
            **{name: form.cleaned_data[field] for name, field in chosen.items()},
        },
        said=_said,
        then=lambda outcome: page_of(row),
        back_url=reverse("day-plan-batch", args=[row.number, batch.name]),
        button="Decide it",
    )
    return act_page(request, form, act, facts=_facts(batch))


def _decide_now(*, by: By, **chosen: Any) -> Outcome:
    """Worked out first, so that nobody waits for it; then kept in one act."""
    return services.keep_decision(by=by, **work_out(**chosen))


def _facts(batch: words.BatchRow) -> list[tuple[str, str]]:
    return [
        ("Resin", batch.what),
        ("Tanks", ", ".join(batch.tanks)),
        ("Volume", batch.volume),
        ("Begins", words.day_and_clock(batch.starts_at)),
        ("Ready", words.day_and_clock(batch.ready_at)),
    ]


def _said(outcome: Outcome) -> str:
    made: Decision = outcome.result
    return f"{made.sentence} {words.cost_words(made.costs)}"


def _initial(row: DayPlan) -> dict[str, Any]:
    return {"version": row.version}


@BOTH
def pin(request: HttpRequest, number: str, name: str, tab: str) -> HttpResponse:
    row, view, batch, _ = _found(number, name)
    key = next(tank.key for tank in view.problem.tanks if tank.id == batch.tanks[0])
    vessels = [vessel.id for vessel in view.problem.vessels if view.problem.allowed(vessel, key)]
    begins = timezone.localtime(batch.starts_at)
    initial = {**_initial(row), "vessel": batch.vessel, "starts_at": begins}
    form = PinForm(posted(request), initial=initial, vessels=vessels)
    return _decide(request, Kind.PIN, row, batch, form, vessel="vessel", starts_at="starts_at")


@BOTH
def join(request: HttpRequest, number: str, name: str, tab: str) -> HttpResponse:
    row, view, batch, _ = _found(number, name)
    keys = {tank.id: tank.key for tank in view.problem.tanks}
    others = [
        (one.name, f"{one.name} in {one.vessel}, {words.day_and_clock(one.starts_at)}, {one.volume}")
        for one in words.batch_rows(view, unit_system_of(request))
        if one.name != batch.name and keys[one.tanks[0]] == keys[batch.tanks[0]]
    ]
    form = JoinForm(posted(request), initial=_initial(row), others=others)
    return _decide(request, Kind.JOIN, row, batch, form, other="other")


def _tanks(view: PlanShown, batch: words.BatchRow) -> list[tuple[str, str]]:
    return [(name, f"{name} {view.names.customers.get(name, '')}".strip()) for name in batch.tanks]


@BOTH
def split(request: HttpRequest, number: str, name: str, tab: str) -> HttpResponse:
    row, view, batch, _ = _found(number, name)
    form = TanksForm(posted(request), initial=_initial(row), tanks=_tanks(view, batch))
    return _decide(request, Kind.SPLIT, row, batch, form, tanks="tanks")


@BOTH
def leave_out(request: HttpRequest, number: str, name: str, tab: str) -> HttpResponse:
    row, view, batch, _ = _found(number, name)
    form = TanksForm(posted(request), initial=_initial(row), tanks=_tanks(view, batch))
    return _decide(request, Kind.LEAVE_OUT, row, batch, form, tanks="tanks")


@BOTH
def rush(request: HttpRequest, number: str, name: str, tab: str) -> HttpResponse:
    row, view, batch, _ = _found(number, name)
    form = RushForm(posted(request), initial=_initial(row), tanks=_tanks(view, batch))
    return _decide(request, Kind.RUSH, row, batch, form, tanks="tanks", wanted_by="wanted_by")


@BOTH
def several(request: HttpRequest, number: str, tab: str) -> HttpResponse:
    """One decision about tanks of any batches. A press on a head sorts the rows, and keeps what was chosen so far."""
    row = plan_called(number)
    if row.plan is None:
        raise Http404("This plan has no batches yet.")
    view, order = shown(row), order_of(request.POST.get("sort", "") or request.POST.get("order", ""))
    rows = tick_rows(view, order)
    tanks = [(one.serial, one.serial) for one in rows]
    is_sorting = "sort" in request.POST
    form = SeveralForm(
        None if is_sorting else posted(request),
        initial=_initial(row) | (_ticked(request.POST) if is_sorting else {}),
        tanks=tanks,
    )
    act = Act(
        title=f"Several tanks of {row.number}",
        sentence="What is ticked is decided at once: carried out together, held against every limit, costed as one, taken back as one.",
        permission="day_plan.make",
        service=_decide_now,
        arguments=lambda: {
            "number": row.number,
            "kind": form.cleaned_data["kind"],
            "tanks": form.cleaned_data["tanks"],
            "wanted_by": form.cleaned_data["wanted_by"],
            "version": form.shown_version,
        },
        said=_said,
        then=lambda outcome: page_of(row),
        back_url=page_of(row),
        button="Decide it",
        template="day_plan/several.html",
    )
    context = {"order": order, "heads": heads(order), "rows": list(zip(form["tanks"], rows, strict=True))}
    return (shown_act if is_sorting else act_page)(request, form, act, **context)


def _ticked(sent: QueryDict) -> dict[str, Any]:
    """What stands in the form when its rows are sorted, so that nothing is lost."""
    single = {name: sent.get(name, "") for name in ("version", "kind", "wanted_by")}
    return {**single, "tanks": sent.getlist("tanks")}


@BOTH
def undo(request: HttpRequest, number: str, tab: str) -> HttpResponse:
    row = plan_called(number)
    newest = row.decisions.order_by("-position").first()
    form = ConfirmForm(posted(request), initial=_initial(row))
    act = Act(
        title=f"Take a decision back in {row.number}",
        sentence=newest.sentence if newest else "Nothing was decided about this plan.",
        permission="day_plan.make",
        service=services.undo_decision,
        arguments=lambda: {"number": row.number, "version": form.shown_version},
        said=lambda outcome: f"Taken back; {row.number} is as it was before.",
        then=lambda outcome: page_of(row),
        back_url=page_of(row),
        button="Take it back",
    )
    return act_page(request, form, act)
