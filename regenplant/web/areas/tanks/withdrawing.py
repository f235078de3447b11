"""Pages on which a filled tank is withdrawn, put back among the filled ones, or emptied."""

from __future__ import annotations

from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from regenplant.batches import services
from regenplant.core.process.lifecycle import VisitState, label
from regenplant.tanks.models import TankVisit
from regenplant.tanks.selectors import tank_history
from regenplant.web.act_page import Act, act_page
from regenplant.web.areas.tanks import shown
from regenplant.web.areas.tanks.forms import WhyForm, WithdrawForm
from regenplant.web.house_form import posted


@require_http_methods(["GET", "HEAD", "POST"])
def withdraw(request: HttpRequest, serial: str) -> HttpResponse:
    visit = _visit(serial)
    form = WithdrawForm(posted(request), initial={"version": visit.version})
    act = Act(
        title=f"Withdraw {visit.tank.serial}",
        sentence="It keeps its resin and its batch, and is neither released nor shipped until somebody puts it back.",
        permission="tank.hold",
        service=services.withdraw_filled_tank,
        arguments=lambda: {
            "visit_id": visit.pk,
            "reason": form.text("reason"),
            "version": form.cleaned_data["version"],
        },
        said=shown.withdrawn_sentence,
        button="Withdraw it",
        is_stopping=True,
        **_about(visit),
    )
    return act_page(request, form, act, facts=_facts(visit))


@require_http_methods(["GET", "HEAD", "POST"])
def put_back(request: HttpRequest, serial: str) -> HttpResponse:
    visit = _visit(serial)
    form = WhyForm(posted(request))
    act = Act(
        title=f"Put {visit.tank.serial} back",
        sentence="Say what was done about it. It stands among the filled tanks again, and goes out with its batch.",
        permission="tank.lift_hold",
        service=services.put_back_filled_tank,
        arguments=lambda: {"visit_id": visit.pk, "reason": form.text("reason")},
        said=shown.put_back_sentence,
        button="Put it back",
        **_about(visit),
    )
    return act_page(request, form, act, facts=_facts(visit))


@require_http_methods(["GET", "HEAD", "POST"])
def discard(request: HttpRequest, serial: str) -> HttpResponse:
    visit = _visit(serial)
    form = WhyForm(posted(request))
    act = Act(
        title=f"Empty {visit.tank.serial}",
        sentence="Its resin is thrown away. The rest of its batch stands; the shell waits, empty, for another batch.",
        permission="batch.scrap",
        service=services.discard_filled_tank,
        arguments=lambda: {"visit_id": visit.pk, "reason": form.text("reason")},
        said=shown.discarded_sentence,
        button="Throw its resin away",
        is_stopping=True,
        **_about(visit),
    )
    return act_page(request, form, act, facts=_facts(visit))


def _visit(serial: str) -> TankVisit:
    history = tank_history(serial)
    if history is None or history.now is None:
        raise Http404(f"No tank with the serial {serial} is here.")
    return history.now


def _about(visit: TankVisit) -> dict[str, Any]:
    here = reverse("tanks-detail", args=[visit.tank.serial])
    own_class = visit.segregation_class or visit.tank.segregation_class
    return {"segregation_class": own_class, "then": lambda outcome: here, "back_url": here}


def _facts(visit: TankVisit) -> list[tuple[str, str]]:
    rows = [
        ("Tank", visit.tank.serial),
        ("Customer", visit.customer.name),
        ("State", label(VisitState(visit.state))),
        ("Why", visit.reason),
    ]
    return [(term, value) for term, value in rows if value]
