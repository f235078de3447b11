"""A tank of a plan: why it is not ready earlier and, where it is late, what would bring it on time."""

from __future__ import annotations

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from regenplant.audit.by import By
from regenplant.audit.use_case import Outcome
from regenplant.planning import services
from regenplant.planning.answers import ASKABLE, LONGEST_S, work_out
from regenplant.planning.models import DayPlan, LateTankAnswer
from regenplant.planning.selectors import PlanShown, newest_plan, shown
from regenplant.web.act_page import Act, act_page
from regenplant.web.areas.day_plan.forms import ConfirmForm
from regenplant.web.areas.day_plan.views import plan_called
from regenplant.web.house_form import posted
from regenplant.web.presenters import day_plan as words
from regenplant.web.presenters.day_plan_help import help_shown
from regenplant.web.presenters.day_plan_why import now_words
from regenplant.web.presenters.words import day_and_clock
from regenplant.web.requests import unit_system_of
from regenplant.web.rights import right

BOTH = require_http_methods(["GET", "HEAD", "POST"])


def _found(number: str, serial: str) -> tuple[DayPlan, PlanShown, words.TankRow, str]:
    """The plan, what is shown of it, the tank as a row, and the name of its batch in the plan. Raises: Http404."""
    row = plan_called(number)
    if row.plan is None:
        raise Http404("This plan has no batches yet.")
    view = shown(row)
    tank = next((one for one in words.tank_rows(view) if one.serial == serial.upper()), None)
    if tank is None:
        raise Http404("This tank stands in no batch of the plan.")
    batch = next(one.id for one in view.plan.batches if tank.serial in one.tanks)
    return row, view, tank, batch


@require_safe
def tank_page(request: HttpRequest, number: str, serial: str, tab: str) -> HttpResponse:
    row, view, tank, batch = _found(number, serial)
    system = unit_system_of(request)
    kept = LateTankAnswer.objects.select_related("asked_by").filter(day_plan=row, tank=tank.serial).first()
    newest = newest_plan()
    context = {
        "row": row,
        "tank": tank,
        "batch": batch,
        "facts": _facts(tank),
        "reasons": now_words(view, batch, system),
        "help": help_shown(row, kept, view, system) if kept is not None else None,
        "is_askable": row.state in ASKABLE,
        "newer": newest if newest is not None and newest.made_at > row.made_at and not row.name else None,
        "make": right(request, "day_plan.make"),
        "form": ConfirmForm(initial={"version": row.version}),
        "longest_s": round(LONGEST_S),
    }
    return render(request, "day_plan/tank.html", context)


@BOTH
def ask(request: HttpRequest, number: str, serial: str, tab: str) -> HttpResponse:
    row, _, tank, _ = _found(number, serial)
    form = ConfirmForm(posted(request), initial={"version": row.version})
    address = reverse("day-plan-tank", args=[row.number, tank.serial])
    act = Act(
        title=f"What would bring {tank.serial} on time",
        sentence=f"Each change that the plant could make is put in by itself and the plan is worked out again. It takes up to {LONGEST_S:.0f} s and changes nothing of {row.number}.",
        permission="day_plan.make",
        service=_ask_now,
        arguments=lambda: {"number": row.number, "tank": tank.serial, "version": form.shown_version},
        said=lambda outcome: f"Worked out for {tank.serial}, and kept with {row.number}.",
        then=lambda outcome: address,
        back_url=address,
        button="Work it out",
    )
    return act_page(request, form, act, facts=_facts(tank))


def _ask_now(*, by: By, number: str, tank: str, version: int) -> Outcome:
    """Worked out first, so that nobody waits for it; then kept in one act."""
    return services.keep_answer(by=by, **work_out(number=number, tank=tank, version=version))


def _facts(tank: words.TankRow) -> list[tuple[str, str]]:
    due = day_and_clock(tank.due_at) if tank.due_at else "–"
    late = f"{tank.late_h:.1f} h" if tank.late_h else "on time"
    return [
        ("Customer", tank.customer or "–"),
        ("Batch", f"{tank.batch} in {tank.vessel}"),
        ("Ready", day_and_clock(tank.ready_at)),
        ("Due", due),
        ("Late by", late),
        *([("Weighs", tank.rush)] if tank.rush else []),
    ]
