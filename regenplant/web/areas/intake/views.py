"""Views of the dock. A scan only leads to a page; receiving, looking and judging are acts of a signed-in person."""

from __future__ import annotations

from typing import Any, cast

from django.http import Http404, HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from regenplant.audit.selectors import story
from regenplant.core.process.intake import DOOR_CAUTION, FIRST_DRAIN_PH_HIGH, FIRST_DRAIN_PH_LOW
from regenplant.core.process.lifecycle import VisitAction
from regenplant.tanks import selectors, services
from regenplant.tanks.selectors import IntakePage
from regenplant.web.acting import receipt, refused_status, try_act
from regenplant.web.areas.intake import shown
from regenplant.web.areas.intake.forms import LookForm, ReceiveForm, UnknownForm, VerdictForm
from regenplant.web.house_form import posted
from regenplant.web.requests import unit_system_of
from regenplant.web.rights import right


@require_safe
def dock_page(request: HttpRequest) -> HttpResponse:
    code = request.GET.get("tank", "")[:80]
    if code.strip():
        return _to_tank(request, code)
    tanks = selectors.dock(timezone.now())
    return render(request, "intake/dock.html", {"tanks": tanks, "sentence": shown.dock_sentence(tanks)})


def _to_tank(request: HttpRequest, code: str) -> HttpResponse:
    """From a scanned serial or visit number to the page where it goes on; an unknown one is said to be unknown."""
    found = selectors.find_code(code)
    if found is not None and found.kind == "visit":
        return redirect("intake-visit", found.key)
    history = selectors.tank_history(found.key) if found else None
    if history is not None and history.now is not None:
        return redirect("intake-visit", history.now.number)
    if history is not None:
        return redirect("intake-receive", history.tank.serial)
    tanks = selectors.dock(timezone.now())
    context = {
        "tanks": tanks,
        "sentence": shown.dock_sentence(tanks),
        "code": code,
        "near": selectors.near_serials(code),
    }
    return render(request, "intake/dock.html", context, status=404)


@require_http_methods(["GET", "HEAD", "POST"])
def receive(request: HttpRequest, serial: str) -> HttpResponse:
    history = selectors.tank_history(serial)
    if history is None:
        raise Http404(f"No tank has the serial {serial}.")
    customer = history.tank.dedicated_to_id or (history.last.customer_id if history.last else None)
    form = ReceiveForm(
        posted(request), tank=history.tank, system=unit_system_of(request), customer_id=customer
    )
    if request.method == "POST" and form.is_valid():
        outcome = try_act(form, services.receive_tank, request, tank_id=history.tank.pk, **form.arguments())
        if outcome is not None:
            receipt(request, shown.received_sentence(outcome.result))
            return redirect("intake-visit", outcome.result.number)
    context = {
        "form": form,
        "history": history,
        "sentence": shown.receive_sentence(history),
        "right": right(request, "tank.receive", history.tank.segregation_class),
    }
    return render(
        request, "intake/receive.html", context, status=refused_status(form) if form.errors else 200
    )


@require_http_methods(["GET", "HEAD", "POST"])
def unknown(request: HttpRequest) -> HttpResponse:
    form = UnknownForm(posted(request), initial={"serial": selectors.next_serial()})
    if request.method == "POST" and form.is_valid():
        outcome = try_act(form, services.receive_unknown_tank, request, **form.arguments())
        if outcome is not None:
            receipt(request, shown.received_sentence(outcome.result))
            return redirect("intake-visit", outcome.result.number)
    context = {
        "form": form,
        "code": request.GET.get("code", "")[:80],
        "right": right(request, "tank.receive"),
        "may_register": right(request, "tank.edit").is_held,
    }
    return render(
        request, "intake/unknown.html", context, status=refused_status(form) if form.errors else 200
    )


@require_safe
def visit(request: HttpRequest, number: str) -> HttpResponse:
    return _visit_page(request, _page_of(request, number))


@require_POST
def look(request: HttpRequest, number: str) -> HttpResponse:
    page = _page_of(request, number)
    form = LookForm(request.POST, system=unit_system_of(request))
    if form.is_valid():
        data = form.cleaned_data
        outcome = try_act(
            form,
            services.inspect_tank,
            request,
            visit_id=page.visit.pk,
            inspection=form.inspection(),
            version=data["version"],
        )
        if outcome is not None:
            receipt(request, shown.looked_sentence(page.visit.tank.serial, outcome))
            return redirect("intake-visit", page.visit.number)
    return _visit_page(request, _page_of(request, number), look_form=form)


@require_POST
def verdict(request: HttpRequest, number: str) -> HttpResponse:
    page = _page_of(request, number)
    form = VerdictForm(request.POST)
    if form.is_valid():
        outcome = try_act(form, request=request, **_act_of(form, page))
        if outcome is not None:
            receipt(request, shown.judged_sentence(outcome))
            return redirect("intake-visit", page.visit.number)
    return _visit_page(request, _page_of(request, number), verdict_form=form)


def _act_of(form: VerdictForm, page: IntakePage) -> dict[str, Any]:
    """The service behind the button that was pressed, with what it takes."""
    arguments = {"visit_id": page.visit.pk, "reason": form.text("reason"), "version": form.shown_version}
    if form.accepted_class:
        return {"service": services.accept_tank, "segregation_class": form.accepted_class, **arguments}
    is_hold = form.cleaned_data["verdict"] == VerdictForm.HOLD
    return {"service": services.hold_tank if is_hold else services.refuse_tank, **arguments}


def _page_of(request: HttpRequest, number: str) -> IntakePage:
    page = selectors.intake_page(
        number, timezone.now(), may_dispose=right(request, "tank.disposition").is_held
    )
    if page is None:
        raise Http404(f"No visit has the number {number}.")
    return page


def _visit_page(
    request: HttpRequest,
    page: IntakePage,
    *,
    look_form: LookForm | None = None,
    verdict_form: VerdictForm | None = None,
) -> HttpResponse:
    """The page, with the forms as they came back if something was refused; they then carry the newest version."""
    refused = look_form or verdict_form
    if refused is not None:
        data = cast(QueryDict, refused.data).copy()
        data["version"] = str(page.visit.version)
        refused.data = data
    initial = {"version": page.visit.version}
    context = {
        "page": page,
        "sentence": shown.visit_sentence(page),
        "facts": shown.tank_facts(page),
        "look_facts": shown.look_facts(page.look, unit_system_of(request)) if page.look else [],
        "look_form": look_form or LookForm(system=unit_system_of(request), initial=initial),
        "verdict_form": verdict_form or VerdictForm(initial=initial),
        "verdicts": {
            str(action): shown.verdict_of(page, action, request)
            for action in (VisitAction.ACCEPT, VisitAction.HOLD, VisitAction.REFUSE)
        },
        "judging": right(request, "tank.judge", shown.class_of(page)),
        "may_dispose": right(request, "tank.disposition", shown.class_of(page)).is_held,
        "caution": DOOR_CAUTION,
        "usual_weight": shown.usual_weight_sentence(page, unit_system_of(request)),
        "ph_low": FIRST_DRAIN_PH_LOW,
        "ph_high": FIRST_DRAIN_PH_HIGH,
        "story": story([("tank_visit", page.visit.number)], newest_first=True),
    }
    return render(request, "intake/visit.html", context, status=refused_status(refused) if refused else 200)
