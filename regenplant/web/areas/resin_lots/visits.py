"""Every round trip with resin of a lot, and every lot of a tank or of a customer: page by page, as a file, or many rows to print."""

from __future__ import annotations

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.views.decorators.http import require_safe

from regenplant.quality.lot_trace import holding_of
from regenplant.quality.lot_visits import lots_of_customer, lots_of_tank, visits_with
from regenplant.tanks.models import Customer, Tank
from regenplant.web import listing
from regenplant.web.areas.resin_lots.acts import lot_or_404
from regenplant.web.tables.lot_visits import FilledLotTable, LotVisitTable

TO_PRINT = 500
"""Rows to a page for paper."""


@require_safe
def of_lot(request: HttpRequest, code: str) -> HttpResponse:
    """Every filling with resin of a lot, however many steps away."""
    lot = lot_or_404(code)
    holding = holding_of(lot)
    table = LotVisitTable(visits_with(holding), holding=holding)
    context = {
        "heading": f"Round trips with {lot.code}",
        "sentence": f"Every tank that was filled with resin of {lot.code}, from it or from a lot made with it, the last first.",
        "note": f"“Of it” is the share of {lot.code} in what the tank was filled with.",
        "to_print": TO_PRINT,
        "back": [(f"Trace of {lot.code}", reverse("setup-lot-trace", args=[lot.code]))],
    }
    return listing.answer(request, "resin_lots/visits.html", table, f"round-trips-{lot.code}", context)


@require_safe
def of_tank(request: HttpRequest, serial: str, tab: str) -> HttpResponse:
    """Every lot that a tank was filled with."""
    tank: Tank = get_object_or_404(Tank, serial=_clean(serial).upper())
    return _lots(
        request,
        FilledLotTable(lots_of_tank(tank)),
        f"Lots in {tank.serial}",
        f"Every lot of resin that {tank.serial} was filled with, the last first.",
        (tank.serial, reverse("tanks-detail", args=[tank.serial])),
    )


@require_safe
def of_customer(request: HttpRequest, code: str, tab: str) -> HttpResponse:
    """Every lot that tanks of a customer's round trips were filled with."""
    customer: Customer = get_object_or_404(Customer, code=_clean(code).upper())
    return _lots(
        request,
        FilledLotTable(lots_of_customer(customer)),
        f"Lots for {customer.name}",
        f"Every lot of resin that tanks for {customer.name} were filled with, the last first.",
        (customer.name, reverse("customers-detail", args=[customer.code])),
    )


def _lots(
    request: HttpRequest, table: FilledLotTable, heading: str, sentence: str, back: tuple[str, str]
) -> HttpResponse:
    context = {
        "heading": heading,
        "sentence": sentence,
        "note": "A lot leads to its trace: every lot it came from, and every tank its resin went to.",
        "to_print": TO_PRINT,
        "back": [back],
    }
    return listing.answer(
        request, "resin_lots/visits.html", table, heading.lower().replace(" ", "-"), context
    )


def _clean(code: str) -> str:
    if "\x00" in code:
        raise Http404("There is nothing of this name.")
    return code
