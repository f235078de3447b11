"""The ledger: every movement of mass, the balance of each place, and counter-movements."""

from __future__ import annotations

from django.db.models import Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from regenplant import units
from regenplant.chemicals import selectors, services
from regenplant.chemicals.models import Movement
from regenplant.core.process.vocabulary import Chemical
from regenplant.web import listing
from regenplant.web.act_page import Act, act_page
from regenplant.web.areas.chemicals.forms import TakeBackForm
from regenplant.web.areas.chemicals.lots import CHEMICALS
from regenplant.web.house_form import posted
from regenplant.web.requests import unit_system_of
from regenplant.web.rights import right
from regenplant.web.tables.chemicals import MovementTable


@require_safe
def movement_list(request: HttpRequest) -> HttpResponse:
    rows = selectors.movements()
    search, chemical = request.GET.get("q", "")[:80].strip(), request.GET.get("chemical", "")
    if search:
        rows = rows.filter(
            Q(reference__icontains=search)
            | Q(lot__code__icontains=search)
            | Q(from_place__code__icontains=search)
            | Q(to_place__code__icontains=search)
        )
    if chemical:
        rows = rows.filter(chemical=chemical)
    may = right(request, "chemical.correct")
    context = {
        "title": "Movements",
        "sentence": "Every mass from one place to another, in whole grams of 100 % substance. Per chemical the balances sum to zero.",
        "search": search,
        "chips": [("Chemical", listing.chips(request, "chemical", CHEMICALS, "Every chemical"))],
        "balances": selectors.ledger_balances(chemical if chemical in dict(CHEMICALS) else ""),
        "correct": may,
    }
    return listing.answer(
        request,
        "chemicals/movements.html",
        MovementTable(rows),
        "movements",
        context,
    )


@require_http_methods(["GET", "HEAD", "POST"])
def correct(request: HttpRequest, number: int) -> HttpResponse:
    movement = get_object_or_404(selectors.movements(), number=number)
    form = TakeBackForm(posted(request))
    act = Act(
        title=f"Take back movement {number}",
        sentence="A counter-movement is written. Both stay in the ledger, and the right movement is written anew.",
        permission="chemical.correct",
        service=services.correct_movement,
        arguments=lambda: {
            "movement_id": movement.pk,
            "category": form.cleaned_data["category"],
            "reason": form.text("reason"),
        },
        said=lambda outcome: f"Written: movement {number} is taken back by movement {outcome.result.number}.",
        then=lambda outcome: reverse("chemicals-movements"),
        back_url=reverse("chemicals-movements"),
        button="Take it back",
    )
    return act_page(request, form, act, facts=_facts(movement, unit_system_of(request)))


def _facts(movement: Movement, system: str) -> list[tuple[str, str]]:
    return [
        ("Mass, as 100 %", units.twin(movement.grams_100 / 1000.0, "mass", system)),
        ("Chemical", Chemical(movement.chemical).label),
        ("From", movement.from_place.code),
        ("To", movement.to_place.code),
        ("For", movement.reference),
        ("Written by", movement.moved_by.full_name),
    ]
