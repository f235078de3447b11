"""Chemical lots: list, page, strength check, putting in use."""

from __future__ import annotations

from django.db.models import Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe
from django_tables2 import RequestConfig

from regenplant.audit.selectors import story
from regenplant.chemicals import selectors, services
from regenplant.chemicals.models import ChemicalLot
from regenplant.core.engineering.estimate import Estimate
from regenplant.core.process.hazards import stock_cautions
from regenplant.core.process.vocabulary import Chemical
from regenplant.documents.selectors import labels_of
from regenplant.web import listing
from regenplant.web.act_page import Act, act_page
from regenplant.web.acting import receipt, refused_status, try_act
from regenplant.web.areas.chemicals import shown
from regenplant.web.areas.chemicals.forms import EmptyForm, ExpiryForm, LotSheetForm, StrengthForm
from regenplant.web.house_form import posted
from regenplant.web.requests import unit_system_of
from regenplant.web.rights import right
from regenplant.web.tables.chemicals import LotTable, MovementTable
from regenplant.web.two_steps import is_another, is_written, mark_of

CHEMICALS = [(chemical.value, chemical.label) for chemical in Chemical]


@require_safe
def lot_list(request: HttpRequest) -> HttpResponse:
    lots = selectors.lots()
    search, chemical = request.GET.get("q", "")[:80].strip(), request.GET.get("chemical", "")
    if search:
        lots = lots.filter(Q(code__icontains=search) | Q(supplier_lot__icontains=search))
    if chemical:
        lots = lots.filter(chemical=chemical)
    context = {
        "title": "Chemical lots",
        "sentence": "Each delivery is a lot. A dose uses the plant’s own check, never the certificate.",
        "add_url": reverse("chemicals-receive"),
        "add": "Receive a delivery",
        "right": right(request, "chemical.receive"),
        "search": search,
        "chips": [("Chemical", listing.chips(request, "chemical", CHEMICALS, "Every chemical"))],
    }
    return listing.answer(request, "chemicals/list.html", LotTable(lots), "chemical-lots", context)


def _lot(code: str) -> ChemicalLot:
    return get_object_or_404(selectors.lots(), code__iexact=code)


def _page(lot: ChemicalLot) -> str:
    return reverse("chemicals-lot", kwargs={"code": lot.code})


@require_safe
def lot_page(request: HttpRequest, code: str) -> HttpResponse:
    lot = _lot(code)
    checks = list(lot.checks.all())
    newest = checks[0] if checks else None
    movements = MovementTable(selectors.movements_about(lot), exclude=("lot", "chemical"))
    movements.exports = None  # the file of all movements is on the ledger’s page
    RequestConfig(request, paginate={"per_page": 15}).configure(movements)
    context = {
        "lot": lot,
        "heading": f"Lot {lot.code}",
        "chemical": Chemical(lot.chemical),
        "place": selectors.place_of(lot),
        "sentence": shown.lot_sentence(lot, newest),
        "rows": shown.lot_rows(lot),
        "checks": [(check, shown.METHODS[check.method]) for check in checks],
        "age_days": selectors.check_age_days(newest, timezone.now()),
        "sheet": shown.sheet_caution(lot.data_sheet) if lot.data_sheet else None,
        "sheet_source": shown.sheet_source(lot.data_sheet) if lot.data_sheet else "",
        "movements": movements,
        "labels": labels_of(lot.code),
        "check": right(request, "chemical.check"),
        "naming": right(request, "chemical.data_sheet"),
        "correcting": right(request, "chemical.correct"),
        "story": story([("chemical_lot", str(lot.pk))], newest_first=True, limit=20),
    }
    return render(request, "chemicals/lot.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
def check(request: HttpRequest, code: str) -> HttpResponse:
    """A strength check in two steps: the strength is shown with its working first, then written."""
    lot, system = _lot(code), unit_system_of(request)
    form = StrengthForm(posted(request), system=system)
    measured, estimate, found = None, None, None
    if request.method == "POST" and form.is_valid():
        measured = form.measured()
        estimate = form.estimate(lot, measured) if measured else None
        found = _found(measured, estimate) if measured and not form.errors else None
        if measured and found is not None and is_written(request, found):
            outcome = try_act(form, services.check_strength, request, lot_id=lot.pk, **measured)
            if outcome is not None:
                receipt(
                    request,
                    f"Written: lot {lot.code} holds {shown.strength(outcome.result.strength_frac)} by weight.",
                )
                return redirect(_page(lot))
            found = None
    context = {
        "lot": lot,
        "form": form,
        "estimate": estimate,
        "found": found,
        "shown_mark": mark_of(found) if found is not None else "",
        "is_another": found is not None and is_another(request, found),
        "gap": shown.gap_sentence(found, lot.certificate_strength_frac) if found is not None else "",
        "cautions": stock_cautions(Chemical(lot.chemical), lot.certificate_strength_frac),
        "right": right(request, "chemical.check"),
        "back_url": _page(lot),
    }
    return render(
        request, "chemicals/check.html", context, status=refused_status(form) if form.errors else 200
    )


def _found(measured: dict[str, float], estimate: Estimate | None) -> float:
    return estimate.value if estimate else measured["strength_frac"]


@require_http_methods(["GET", "HEAD", "POST"])
def put_in_use(request: HttpRequest, code: str) -> HttpResponse:
    lot = _lot(code)
    newest = selectors.newest_check(lot)
    before = ChemicalLot.objects.filter(chemical=lot.chemical, is_in_use=True).exclude(pk=lot.pk).first()
    act = Act(
        title=f"Put {lot.code} in use",
        sentence=f"Doses are calculated with it from now on{f'; lot {before.code} is finished' if before else ''}. Frozen plans keep theirs.",
        permission="chemical.check",
        service=services.put_lot_in_use,
        arguments=lambda: {"lot_id": lot.pk},
        said=lambda outcome: f"Written: lot {lot.code} is in use.",
        then=lambda outcome: _page(lot),
        back_url=_page(lot),
        button="Put it in use",
    )
    facts = [
        (
            "Strength by the plant’s check",
            shown.strength(newest.strength_frac) if newest else "never checked",
        ),
        ("Strength on the certificate", shown.strength(lot.certificate_strength_frac)),
    ]
    return act_page(request, EmptyForm(posted(request)), act, facts=facts)


@require_http_methods(["GET", "HEAD", "POST"])
def name_sheet(request: HttpRequest, code: str) -> HttpResponse:
    """The page on which the data sheet of a lot is named, or another one than was named."""
    lot = _lot(code)
    form = LotSheetForm(posted(request), lot=lot)
    act = Act(
        title=f"Data sheet of {lot.code}",
        sentence="Hold the sheet that came with it beside: supplier, strength and date of revision. Its label takes the codes from there.",
        permission="chemical.data_sheet",
        service=services.name_data_sheet,
        arguments=lambda: {"lot_id": lot.pk, **form.arguments()},
        said=lambda outcome: f"Written: the data sheet of lot {lot.code} is {outcome.facts['sheet']}.",
        then=lambda outcome: _page(lot),
        back_url=_page(lot),
        button="Name it",
    )
    return act_page(request, form, act, facts=shown.lot_rows(lot))


@require_http_methods(["GET", "HEAD", "POST"])
def expiry(request: HttpRequest, code: str) -> HttpResponse:
    lot = _lot(code)
    form = ExpiryForm(posted(request), initial={"expires_on": lot.expires_on})
    act = Act(
        title=f"Expiry date of {lot.code}",
        sentence="Copied wrong, missing, or extended by the supplier in writing. Past it, no plan is made and no batch starts with the lot.",
        permission="chemical.correct",
        service=services.correct_expiry,
        arguments=lambda: {"lot_id": lot.pk, **form.arguments()},
        said=lambda outcome: (
            f"Written: the expiry date of lot {lot.code} reads {outcome.after['expires_on'] or 'none'}."
        ),
        then=lambda outcome: _page(lot),
        back_url=_page(lot),
    )
    return act_page(request, form, act, facts=shown.lot_rows(lot))
