"""Resin types, the list of resin lots, and the receipt of one; the page of a lot stands in ``areas/resin_lots``."""

from __future__ import annotations

from django.db.models import Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from regenplant.audit.selectors import story
from regenplant.resins import selectors, services
from regenplant.resins.bodies import every_stored
from regenplant.resins.capacities import with_factors
from regenplant.resins.models import ResinLot, ResinType
from regenplant.web import listing
from regenplant.web.act_page import Act, act_page
from regenplant.web.areas.setup import shown
from regenplant.web.areas.setup.resin_forms import NewLotForm, ResinTypeForm
from regenplant.web.house_form import posted
from regenplant.web.requests import unit_system_of
from regenplant.web.rights import right
from regenplant.web.tables.setup import ResinLotTable, ResinTypeTable


# --- types ----------------------------------------------------------------------------------------------------------
@require_safe
def type_list(request: HttpRequest) -> HttpResponse:
    types = selectors.resin_types()
    context = {
        "title": "Resin types",
        "sentence": f"{shown.count(types.filter(is_active=True).count(), 'type')} in use, by class and properties. Tanks are pooled by them.",
        "add_url": reverse("setup-resin-new"),
        "add": "Add a resin type",
        "right": right(request, "resin.edit"),
    }
    return listing.answer(request, "setup/list.html", ResinTypeTable(types), "resin-types", context)


@require_safe
def type_page(request: HttpRequest, code: str) -> HttpResponse:
    resin = get_object_or_404(ResinType, code=code.upper())
    lots = resin.lots.filter(is_scrapped=False).count()
    context = {
        "resin": resin,
        "heading": f"Resin {resin.code}",
        "sentence": f"{resin.description}. {shown.count(lots, 'lot')} of it in the plant.",
        "rows": shown.resin_type_rows(resin, unit_system_of(request)),
        "edit": right(request, "resin.edit"),
        "story": story([("resin_type", str(resin.pk))], newest_first=True, limit=15),
    }
    return render(request, "setup/resin_type.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
def type_edit(request: HttpRequest, code: str = "") -> HttpResponse:
    resin = get_object_or_404(ResinType, code=code.upper()) if code else None
    form = ResinTypeForm(
        posted(request),
        initial=ResinTypeForm.initial_of(resin) if resin else {},
        system=unit_system_of(request),
    )
    for name in ("code", "family", "grade", "cation_type_id", "anion_type_id") if resin else ():
        form.fields[name].disabled = True
    act = Act(
        title=f"Change {resin.code}" if resin else "Add a resin type",
        sentence="New plans use it; frozen plans keep what they had."
        if resin
        else "Copy the figures from the data sheet and say which.",
        permission="resin.edit",
        service=services.change_resin_type if resin else services.add_resin_type,
        arguments=lambda: {
            "resin_type": form.settings(),
            **({"resin_type_id": resin.pk, "version": form.shown_version} if resin else {}),
        },
        said=lambda outcome: f"Written: resin type {outcome.result.code}.",
        then=lambda outcome: reverse("setup-resin", kwargs={"code": outcome.result.code}),
        back_url=reverse("setup-resin", kwargs={"code": resin.code}) if resin else reverse("setup-resins"),
    )
    return act_page(request, form, act)


# --- lots -----------------------------------------------------------------------------------------------------------
@require_safe
def lot_list(request: HttpRequest) -> HttpResponse:
    lots = with_factors(selectors.lots())
    search, kind, state = (request.GET.get(name, "")[:80].strip() for name in ("q", "resin", "state"))
    if search:
        lots = lots.filter(Q(code__icontains=search) | Q(origin__icontains=search))
    if kind:
        lots = lots.filter(resin_type__code=kind)
    if state:
        lots = (
            lots.filter(pk__in=every_stored())
            if state == "stored"
            else lots.filter(is_scrapped=state == "scrapped")
        )
    types = [(code, code) for code in ResinType.objects.values_list("code", flat=True)]
    context = {
        "title": "Resin lots",
        "sentence": f"{shown.count(ResinLot.objects.filter(is_scrapped=False).count(), 'lot')} in the plant. Each is a body of resin with one history.",
        "add_url": reverse("setup-lot-new"),
        "add": "Receive a lot",
        "right": right(request, "resin.edit"),
        "search": search,
        "chips": [
            ("Resin", listing.chips(request, "resin", types, "Every resin")),
            (
                "State",
                listing.chips(
                    request,
                    "state",
                    [("stored", "In the store"), ("here", "In the plant"), ("scrapped", "Scrapped")],
                    "All",
                ),
            ),
        ],
    }
    return listing.answer(request, "setup/list.html", ResinLotTable(lots), "resin-lots", context)


@require_http_methods(["GET", "HEAD", "POST"])
def lot_new(request: HttpRequest) -> HttpResponse:
    form = NewLotForm(posted(request), system=unit_system_of(request))
    act = Act(
        title="Receive a resin lot",
        sentence="New resin, or resin that comes into the books for the first time. Lots made by batches appear by themselves.",
        permission="resin.edit",
        service=services.receive_new_lot,
        arguments=form.arguments,
        said=lambda outcome: f"Written: resin lot {outcome.result.code}.",
        then=lambda outcome: reverse("setup-lot", kwargs={"code": outcome.result.code}),
        back_url=reverse("setup-lots"),
    )
    return act_page(request, form, act)
