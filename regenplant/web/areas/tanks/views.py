"""Views of tanks: the listing, one tank's history, and its few acts."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST, require_safe
from django_tables2 import RequestConfig

from regenplant.audit.selectors import story
from regenplant.audit.use_case import Outcome
from regenplant.planning.selectors import planned_for
from regenplant.resins.selectors import ancestry
from regenplant.tanks import selectors, services
from regenplant.tanks.guards import against_shipping
from regenplant.tanks.selectors import TankHistory
from regenplant.web import listing as listings
from regenplant.web.act_page import Act, act_page
from regenplant.web.acting import receipt, refused_status, try_act
from regenplant.web.areas.tanks import shown
from regenplant.web.areas.tanks.forms import ChangeForm, FilterForm, ShellForm, ShipForm, TankForm
from regenplant.web.house_form import posted
from regenplant.web.requests import unit_system_of
from regenplant.web.rights import right
from regenplant.web.tables import export
from regenplant.web.tables.tanks import TankTable, VisitTable

STORY_LENGTH = 60
TankAct = ShipForm | ShellForm


@require_safe
def listing(request: HttpRequest) -> HttpResponse:
    form = FilterForm(request.GET)
    wanted = form.wanted()
    counts = selectors.count_by_state()
    context = {
        "form": form,
        "chips": shown.state_chips(request, counts),
        "sentence": shown.tanks_sentence(counts),
        "register": right(request, "tank.edit"),
    }
    return listings.answer(
        request, "tanks/list.html", TankTable(selectors.filtered_tanks(**wanted)), "tanks", context
    )


@require_safe
def detail(request: HttpRequest, serial: str) -> HttpResponse:
    history = _history(serial)
    table = _visits_of(request, history)
    name = f"round-trips-{history.tank.serial}"
    return export.answer(request, table, name) or _page(request, history, table=table)


@require_http_methods(["GET", "HEAD", "POST"])
def new(request: HttpRequest) -> HttpResponse:
    proposed = request.GET.get("serial", "")[:24] or selectors.next_serial()
    form = TankForm(posted(request), system=unit_system_of(request), initial={"serial": proposed})
    act = Act(
        title="Register a tank",
        sentence="Resin type and class make its pooling key; a batch never crosses it.",
        permission="tank.edit",
        service=services.add_tank,
        arguments=form.arguments,
        said=lambda outcome: f"Written: {outcome.result.serial} is registered.",
        then=lambda outcome: reverse("tanks-detail", args=[outcome.result.serial]),
        back_url=reverse("tanks"),
        button="Register it",
    )
    return act_page(request, form, act)


@require_http_methods(["GET", "HEAD", "POST"])
def change(request: HttpRequest, serial: str) -> HttpResponse:
    tank = _history(serial).tank
    here = reverse("tanks-detail", args=[tank.serial])
    form = ChangeForm(posted(request), tank=tank, system=unit_system_of(request))
    act = Act(
        title=f"Correct {tank.serial}",
        sentence="Its class changes by the verdict at intake only; its serial never.",
        permission="tank.edit",
        segregation_class=tank.segregation_class,
        service=services.change_tank,
        arguments=lambda: {"tank_id": tank.pk, **form.arguments()},
        said=lambda outcome: f"Written: {tank.serial} is corrected.",
        then=lambda outcome: here,
        back_url=here,
    )
    return act_page(request, form, act, facts=shown.tank_facts(tank))


@require_POST
def ship(request: HttpRequest, serial: str) -> HttpResponse:
    form = ShipForm(request.POST)
    return _act(request, serial, form, "ship_form", services.ship_tank, shown.shipped_sentence)


@require_POST
def shell(request: HttpRequest, serial: str) -> HttpResponse:
    form = ShellForm(request.POST)
    return _act(request, serial, form, "shell_form", services.record_shell, shown.shell_sentence)


def _act(
    request: HttpRequest,
    serial: str,
    form: TankAct,
    name: str,
    service: Callable[..., Outcome],
    said: Callable[[Outcome], str],
) -> HttpResponse:
    """An act on the visit under way; refused, the tank's page comes back with the reason."""
    history = _history(serial)
    if history.now is None:
        form.add_error(None, f"{history.tank.serial} is not here, so nothing was written.")
    elif form.is_valid():
        outcome = try_act(form, service, request, visit_id=history.now.pk, **form.arguments())
        if outcome is not None:
            receipt(request, said(outcome))
            return redirect("tanks-detail", history.tank.serial)
    return _page(request, _history(serial), status=refused_status(form), **{name: form})


def _history(serial: str) -> TankHistory:
    history = selectors.tank_history(serial)
    if history is None:
        raise Http404(f"No tank has the serial {serial}.")
    return history


def _visits_of(request: HttpRequest, history: TankHistory) -> VisitTable:
    table = VisitTable(selectors.visit_rows().filter(tank=history.tank))
    RequestConfig(request, paginate={"per_page": listings.PER_PAGE}).configure(table)
    return table


def _page(request: HttpRequest, history: TankHistory, *, status: int = 200, **context: Any) -> HttpResponse:
    tank, now = history.tank, history.now
    version = {"version": now.version if now else None}
    own_class = (now.segregation_class if now else "") or tank.segregation_class
    page = {
        "history": history,
        "tank": tank,
        "visit": now,
        "sentence": shown.tank_sentence(history),
        "facts": shown.tank_facts(tank),
        "rush": selectors.rush_of(now.customer_id) if now is not None else None,
        "planned": planned_for([now.pk]).get(now.pk) if now is not None else None,
        "table": context.get("table") or _visits_of(request, history),
        "ancestry": ancestry(tank.resin_lot) if tank.resin_lot else None,
        "story": story([("tank", tank.serial)], newest_first=True, limit=STORY_LENGTH),
        "ship_form": ShipForm(initial=version),
        "shell_form": ShellForm(initial=version),
        "editing": right(request, "tank.edit", own_class),
        "printing": right(request, "paper.issue"),
        "receiving": right(request, "tank.receive", own_class),
        "stops": against_shipping(now) if now is not None and now.state == "released" else (),
        "withdrawing": right(request, "tank.hold", own_class),
        "putting_back": right(request, "tank.lift_hold", own_class),
        "emptying": right(request, "batch.scrap", own_class),
        "shipping": right(request, "tank.ship", own_class),
        "running": right(request, "batch.run", own_class),
    }
    return render(request, "tanks/detail.html", page | context, status=status)
