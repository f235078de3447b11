"""Every round trip with resin of a lot, and every lot of a tank or of a customer: page by page, as a file, or many rows to print."""

from __future__ import annotations

from django.db.models import QuerySet
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.views.decorators.http import require_safe

from regenplant.quality.lot_trace import holding_of
from regenplant.quality.lot_visits import lots_of_customer, lots_of_tank, visits_with
from regenplant.quality.lots_behind import behind, gone_into, lots_of
from regenplant.resins.models import ResinLot
from regenplant.tanks.models import Customer, Tank
from regenplant.web import listing
from regenplant.web.areas.resin_lots.acts import lot_or_404
from regenplant.web.tables.lot_visits import BehindLotTable, FilledLotTable, LotVisitTable

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
        "order": "the last first",
        "to_print": TO_PRINT,
        "back": [(f"Trace of {lot.code}", reverse("setup-lot-trace", args=[lot.code]))],
    }
    return listing.answer(request, "resin_lots/visits.html", table, f"round-trips-{lot.code}", context)


@require_safe
def of_tank(request: HttpRequest, serial: str, tab: str) -> HttpResponse:
    """Every lot behind a tank: filled with, older ones, and those its resin went into."""
    tank: Tank = get_object_or_404(Tank, serial=_clean(serial).upper())
    back = tank.serial, reverse("tanks-detail", args=[tank.serial])
    return _lots(request, tank, lots_of_tank(tank), f"Lots in {tank.serial}", tank.serial, back)


@require_safe
def of_customer(request: HttpRequest, code: str, tab: str) -> HttpResponse:
    """Every lot behind a customer's round trips: filled with, older ones, and those its resin went into."""
    customer: Customer = get_object_or_404(Customer, code=_clean(code).upper())
    back = customer.name, reverse("customers-detail", args=[customer.code])
    heading, whose = f"Lots for {customer.name}", f"tanks for {customer.name}"
    return _lots(request, customer, lots_of_customer(customer), heading, whose, back)


WAYS = [("up", "With all older lots"), ("down", "Where its resin went")]


def _lots(
    request: HttpRequest,
    of: Customer | Tank,
    filled: QuerySet[ResinLot],
    heading: str,
    whose: str,
    back: tuple[str, str],
) -> HttpResponse:
    """The lots one way, by the chip that is pressed."""
    verb = "was" if isinstance(of, Tank) else "were"
    way, table = request.GET.get("way", ""), None
    sentence = f"Every lot of resin that {whose} {verb} filled with, the last first."
    note = "A lot leads to its trace: every lot it came from, and every tank its resin went to."
    if way == "up":
        found = behind(of)
        table = BehindLotTable(lots_of(found, of), found=found)
        sentence = f"Every lot of resin that {whose} {verb} filled with, and every lot those came from."
        note = (
            "0 steps away: filled with it. The share is of all resin filled, by volume, through each lot by itself: a lot and what it was made of "
            "overlap."
        )
    elif way == "down":
        found = gone_into(of)
        table = BehindLotTable(lots_of(found, of), found=found)
        sentence = (
            f"Every lot that resin from {whose} went into when it came back, and every lot made with those."
        )
        note = "0 steps away: the batch made it of the resin that came back. How much of a lot that is stands in the trace of its batch’s tanks."
    context = {
        "heading": heading,
        "sentence": sentence,
        "note": note,
        "chips": listing.chips(request, "way", WAYS, "Filled with"),
        "order": "" if table else "the last first",
        "to_print": TO_PRINT,
        "back": [back],
    }
    name = "-".join([*heading.lower().split(), *([way] if table else [])])
    return listing.answer(request, "resin_lots/visits.html", table or FilledLotTable(filled), name, context)


def _clean(code: str) -> str:
    if "\x00" in code:
        raise Http404("There is nothing of this name.")
    return code
