"""Bulk tanks: capacity, low mark, and the counting of what stands in them."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from regenplant import units
from regenplant.chemicals import counts, selectors, services
from regenplant.chemicals.models import Place
from regenplant.chemicals.quantities import whole_grams
from regenplant.core.process.vocabulary import Chemical
from regenplant.web import listing
from regenplant.web.act_page import Act, act_page
from regenplant.web.acting import receipt, refused_status, try_act
from regenplant.web.areas.chemicals import shown_counts
from regenplant.web.areas.chemicals.forms import CountForm, PlaceForm, replaces_in
from regenplant.web.house_form import posted
from regenplant.web.requests import unit_system_of
from regenplant.web.rights import right
from regenplant.web.tables.chemicals import PlaceTable
from regenplant.web.two_steps import is_another, is_written, mark_of


@require_safe
def place_list(request: HttpRequest) -> HttpResponse:
    context = {
        "title": "Chemical tanks",
        "sentence": "A bulk tank is for one chemical, for good. Under its low mark somebody orders.",
        "add_url": reverse("chemicals-place-new"),
        "add": "Add a tank",
        "right": right(request, "plant.edit"),
    }
    return listing.answer(
        request, "chemicals/list.html", PlaceTable(selectors.bulk_tanks()), "chemical-tanks", context
    )


@require_http_methods(["GET", "HEAD", "POST"])
def new(request: HttpRequest) -> HttpResponse:
    form = PlaceForm(posted(request), system=unit_system_of(request))
    act = Act(
        title="Add a chemical tank",
        sentence="Its code and its chemical never change: labels and fill connection carry them.",
        permission="plant.edit",
        service=services.add_place,
        arguments=lambda: {
            "code": form.text("code"),
            "name": form.text("name"),
            "kind": Place.Kind.BULK_TANK.value,
            "chemical": form.cleaned_data["chemical"],
            "capacity_m3": form.quantity("capacity_m3"),
            "low_stock_grams_100": form.grams(),
        },
        said=lambda outcome: f"Written: tank {outcome.result.code}.",
        then=lambda outcome: reverse("chemicals-places"),
        back_url=reverse("chemicals-places"),
    )
    return act_page(request, form, act)


def _tank(code: str) -> Place:
    return get_object_or_404(Place, code=code.upper(), kind=Place.Kind.BULK_TANK)


@require_http_methods(["GET", "HEAD", "POST"])
def change(request: HttpRequest, code: str) -> HttpResponse:
    place = _tank(code)
    initial = {
        "code": place.code,
        "name": place.name,
        "chemical": place.chemical,
        "capacity_m3": place.capacity_m3,
        "low_stock": place.low_stock_grams_100 / 1000.0,
        "version": place.version,
    }
    form = PlaceForm(posted(request), initial=initial, system=unit_system_of(request))
    for name in ("code", "chemical"):
        form.fields[name].disabled = True
    act = Act(
        title=f"Tank {place.code}",
        sentence=f"{place.name}, for {Chemical(place.chemical).label.lower()}.",
        permission="plant.edit",
        service=services.change_place,
        arguments=lambda: {
            "place_id": place.pk,
            "name": form.text("name"),
            "capacity_m3": form.quantity("capacity_m3"),
            "low_stock_grams_100": form.grams(),
            "version": form.shown_version,
        },
        said=lambda outcome: f"Written: tank {place.code}.",
        then=lambda outcome: reverse("chemicals-places"),
        back_url=reverse("chemicals-places"),
        template="chemicals/place.html",
    )
    return act_page(request, form, act, place=place, count=right(request, "chemical.count"))


@require_http_methods(["GET", "HEAD", "POST"])
def count_stock(request: HttpRequest, code: str) -> HttpResponse:
    """What was found in the tank, in two steps: the gap to the books is shown first, then written."""
    place, system = _tank(code), unit_system_of(request)
    held = selectors.balance_grams(place.chemical, place)
    strength = _strength_now(place)
    form = CountForm(posted(request), system=system, replaces=replaces_in(request.GET))
    amount = None
    if request.method == "POST" and form.is_valid():
        amount = form.amount(place.chemical, strength)
        if amount is not None and is_written(request, amount.value):
            outcome = try_act(
                form,
                services.count_stock,
                request,
                place_id=place.pk,
                counted_grams_100=whole_grams(amount),
                reason=form.text("reason"),
                **form.replacing(),
            )
            if outcome is not None:
                receipt(
                    request,
                    f"Written: {outcome.result.number}. {_gap(outcome.result.found_grams_100, held, system)}",
                )
                return redirect("chemicals-count", number=outcome.result.number)
    context = {
        "place": place,
        "form": form,
        "amount": None if form.errors else amount,
        "shown_mark": mark_of(amount.value) if amount else "",
        "is_another": amount is not None and is_another(request, amount.value),
        "gap": _gap(whole_grams(amount), held, system) if amount is not None and not form.errors else "",
        "sentence": f"By the books {units.twin(held / 1000.0, 'mass', system)} of {Chemical(place.chemical).formula} as 100 % stand in it. "
        f"Volumes and masses of product are taken at {units.format_quantity(strength, 'strength')}.",
        "right": right(request, "chemical.count"),
    }
    return render(
        request, "chemicals/count.html", context, status=refused_status(form) if form.errors else 200
    )


def _strength_now(place: Place) -> float:
    """The plant-checked strength of the lot in use, else its certificate; 1 (pure) when no lot is in use."""
    stock = selectors.stock_data(timezone.now()).get(place.chemical)
    return stock.strength_frac if stock else 1.0


def _gap(found: int, held: int, system: str) -> str:
    spread = counts.spread_grams(found, counts.stock_figures(timezone.now()).weighed_tolerance_frac)
    return shown_counts.gap_words(found - held, spread, system)
