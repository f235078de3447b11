"""Views of the waste tanks and of where steps drain."""

from __future__ import annotations

from datetime import timedelta

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.views.decorators.http import require_safe

from regenplant.batches.models import Batch
from regenplant.batches.routes import metal_flag_of
from regenplant.core.process.drains import Destination, Drained, is_metal
from regenplant.plant.drain_table import table_in_force, version_in_force
from regenplant.plant.models import WasteTank
from regenplant.plant.selectors import waste_tank
from regenplant.plant.site import determination, determination_stop
from regenplant.waste import selectors
from regenplant.waste.models import StepDrain
from regenplant.waste.receiving import is_receiving
from regenplant.waste.sewer_day import near_words
from regenplant.waste.treatment import treatment_of
from regenplant.web import listing
from regenplant.web.areas.waste import shown
from regenplant.web.requests import unit_system_of
from regenplant.web.rights import right
from regenplant.web.tables.waste import WasteMovementTable

LAST_DAYS = 30


@require_safe
def tanks(request: HttpRequest, tab: str) -> HttpResponse:
    """The waste tanks with their level, what is coming, and where drains went."""
    now, system = timezone.now(), unit_system_of(request)
    stands, coming = selectors.standings(), selectors.coming(now)
    coming_m3 = sum(row.volume_m3 for row in coming)
    receiving = waste_tank()
    went = selectors.went_where(now - timedelta(days=LAST_DAYS), now)
    context = {
        "standings": stands,
        "sentence": shown.list_sentence(stands, receiving, coming_m3, system),
        "receiving": receiving,
        "near": near_words(now),
        "switch": right(request, "waste.switch"),
        "coming": shown.coming_rows(coming, system),
        "route": right(request, "step.route"),
        "went": [
            (Destination(key).label.capitalize(), shown.volume(m3, system))
            for key, m3 in sorted(went.items())
            if m3 > 0.0
        ],
        "days": LAST_DAYS,
        "determination": determination(),
        "metal_stop": determination_stop(now),
    }
    return render(request, "waste/tanks.html", context)


@require_safe
def tank(request: HttpRequest, tab: str, code: str) -> HttpResponse:
    """One waste tank: level, composition, what neutralizes it, what came and left."""
    now, system = timezone.now(), unit_system_of(request)
    found = get_object_or_404(WasteTank, code=code.upper())
    needs, coming = treatment_of(found, now), selectors.coming(now)
    receives = is_receiving(found)
    coming_m3 = sum(row.volume_m3 for row in coming) if receives else 0.0
    context = {
        "tank": found,
        "receives": receives,
        "switch": right(request, "waste.switch"),
        "standing": needs.standing,
        "sentence": shown.tank_sentence(needs.standing, coming_m3, system),
        "scene": shown.picture(needs.standing, coming_m3, system),
        "rows": shown.held_rows(needs.standing, needs, system),
        "needs": needs,
        "plan": shown.plan_rows(needs, system),
        "coming": shown.coming_rows(coming, system) if receives else [],
        "route": right(request, "step.route"),
        "read": right(request, "plant.daily"),
        "treat": right(request, "waste.treat"),
        "take_away": right(request, "waste.take_away"),
    }
    table = WasteMovementTable(selectors.movements_of(found))
    return listing.answer(request, "waste/tank.html", table, f"waste-{found.code}", context)


@require_safe
def routes(request: HttpRequest, tab: str) -> HttpResponse:
    """The class table in force: which drain may go where."""
    now = timezone.now()
    table, version = table_in_force(now), version_in_force(now)
    rows = [
        (f"{kind.value} {kind.label}", [", ".join(item.label for item in table[kind][drained]) or "nowhere" for drained in Drained])
        for kind in table
    ]  # fmt: skip
    context = {"rows": rows, "heads": [drained.label for drained in Drained], "version": version}
    return render(request, "waste/routes.html", context)


@require_safe
def batch_drains(request: HttpRequest, tab: str, number: str) -> HttpResponse:
    """Where each step of one batch drains, and what it drained."""
    batch = get_object_or_404(Batch, number=number.upper())
    rows = shown.drain_rows(batch)
    open_rows = sum(bool(row.url) for row in rows)
    context = {
        "batch": batch,
        "rows": rows,
        "sentence": f"{len(rows)} of its steps drain; of {open_rows} it can still be chosen where to, as far as the class table allows.",
        "in_drums": StepDrain.objects.filter(
            batch=batch, destination=Destination.METAL_DRUM.value, volume_m3__gt=0.0
        ).exists(),
        "is_metal": is_metal(batch.segregation_class, has_metal_flag=metal_flag_of(batch)),
        "route": right(request, "step.route", batch.segregation_class),
    }
    return render(request, "waste/batch.html", context)
