"""The page of a lot, its trace both ways, and its sheet."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_safe

from regenplant.audit.selectors import story
from regenplant.documents.services import IssuedDocument, issue_paper
from regenplant.quality.lot_trace import SHOWN, trace_of_lot
from regenplant.quality.trends import is_in_trends
from regenplant.resins import elsewhere
from regenplant.resins.bodies import parts_of, stored_m3
from regenplant.resins.capacities import factors_of
from regenplant.resins.line import line_scene
from regenplant.resins.selectors import ancestry
from regenplant.web.areas.resin_lots.acts import lot_or_404
from regenplant.web.presenters import resin_lots as words
from regenplant.web.requests import by_of, unit_system_of
from regenplant.web.rights import right


@require_safe
def page(request: HttpRequest, code: str) -> HttpResponse:
    """A lot as a body of resin: what it is, of what it consists, where it stands, and its line."""
    lot, system, now = lot_or_404(code), unit_system_of(request), timezone.now()
    line, parts = ancestry(lot), parts_of(lot)
    stored, standing = stored_m3(lot), elsewhere.found([lot.pk])
    moves = list(lot.movements.select_related("other_lot", "moved_by").order_by("-moved_at", "-pk"))
    places, rest = words.place_rows(lot, stored, standing, system)
    context = {
        "lot": lot,
        "heading": f"Resin lot {lot.code}",
        "sentence": "Scrapped; it never comes back."
        if lot.is_scrapped
        else f"{lot.resin_type.code}, class {lot.segregation_class}, {lot.origin}.",
        "rows": words.lot_rows(lot, parts, factors_of([lot])[lot.pk], now, system),
        "parts": words.part_rows(parts, now),
        "places": places,
        "places_rest": rest,
        "account": words.account_rows(lot, stored, standing, moves, system),
        "stops": elsewhere.against_use(lot) if stored else (),
        "is_stored": bool(stored),
        "moves": words.move_rows(moves[:25], system),
        "ancestry": line,
        "scene": line_scene(line),
        "edit": right(request, "resin.edit", lot.segregation_class),
        "mix": right(request, "resin.mix", lot.segregation_class),
        "issue": right(request, "paper.issue"),
        "story": story([("resin_lot", str(lot.pk))], newest_first=True, limit=25),
        "is_in_trends": is_in_trends(lot.code),
    }
    return render(request, "resin_lots/lot.html", context)


@require_safe
def trace(request: HttpRequest, code: str) -> HttpResponse:
    """Every tank, visit, batch and customer the lot is in, and every lot it came from."""
    lot = lot_or_404(code)
    context = {"lot": lot, "trace": trace_of_lot(lot), "shown": SHOWN}
    return render(request, "resin_lots/trace.html", context)


@never_cache
@require_GET
def sheet(request: HttpRequest, code: str) -> HttpResponse:
    """The lot as a paper: counted, hashed, written down as an act."""
    lot, system = lot_or_404(code), unit_system_of(request)
    size = request.GET.get("size", "") or ("letter" if system == "us" else "a4")
    outcome = issue_paper(by=by_of(request), kind="resin_lot", key=lot.code, size=size, system=system)
    document: IssuedDocument = outcome.result
    response = HttpResponse(document.content, content_type="application/pdf")
    response["Content-Disposition"] = f'inline; filename="{document.file_name}"'
    return response
