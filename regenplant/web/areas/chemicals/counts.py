"""Counts: a tank with its level, counting by level, one count with its difference, the shape of a tank, the daily balance."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from regenplant import units
from regenplant.audit.selectors import story
from regenplant.batches.selectors.chemical_needs import drawing_now
from regenplant.chemicals import counts, levels, selectors, services
from regenplant.chemicals.models import Place, StockCount, TankGeometry
from regenplant.core.errors import DomainError
from regenplant.core.process.hazards import stock_cautions
from regenplant.core.process.vocabulary import Chemical
from regenplant.plant.days import plant_day
from regenplant.web import listing
from regenplant.web.act_page import Act, act_page
from regenplant.web.acting import attach, receipt, refused_status, try_act
from regenplant.web.areas.chemicals import shown_counts
from regenplant.web.areas.chemicals.count_forms import BookForm, LevelForm, ShapeForm, replaces_in
from regenplant.web.house_form import posted
from regenplant.web.requests import unit_system_of
from regenplant.web.rights import right
from regenplant.web.tables.chemicals import BalanceTable, CountTable
from regenplant.web.templatetags.parts import PadStop
from regenplant.web.two_steps import is_another, is_written, mark_of

BOTH = require_http_methods(["GET", "HEAD", "POST"])
LENGTH_UNITS, TEMPERATURE_UNITS = ("m", "cm", "mm", "in", "ft"), ("°C", "°F")
SHOWN_COUNTS, USUAL_DAYS = 12, 30
PERIODS = (("7", "7 days"), ("90", "90 days"))


def tank_of(code: str) -> Place:
    return get_object_or_404(Place, code=code.upper(), kind=Place.Kind.BULK_TANK)


def _there(place: Place) -> levels.StrengthThere | None:
    """The checked strength in the tank; None where nobody knows it."""
    try:
        return levels.strength_there(place)
    except DomainError:
        return None


# --- one tank ---------------------------------------------------------------------------------------------------------
@require_safe
def tank_page(request: HttpRequest, code: str) -> HttpResponse:
    """What stands in a tank: its level as a picture, books, counts, and the difference that waits."""
    place, system = tank_of(code), unit_system_of(request)
    held, there = selectors.balance_grams(place.chemical, place), _there(place)
    geometry, newest = levels.geometry_of(place), counts.newest_count(place)
    strength = there.strength_frac if there is not None else None
    stands = counts.standing_of(newest) if newest is not None else None
    context = {
        "place": place,
        "sentence": f"{place.name}, for {Chemical(place.chemical).label.lower()}. By the books {units.twin(held / 1000.0, 'mass', system)} as 100 %.",
        "is_low": held < place.low_stock_grams_100,
        "held_kg": held / 1000.0,
        "low_kg": place.low_stock_grams_100 / 1000.0,
        "scene": shown_counts.level_scene(place, geometry, held, strength, newest, system)
        if geometry is not None
        else None,
        "shape": shown_counts.shape_rows(geometry, system) if geometry is not None else [],
        "strength": there,
        "stands": stands,
        "said": shown_counts.count_sentence(stands, system) if stands is not None else "",
        "table": CountTable(counts.counts().filter(place=place)[:SHOWN_COUNTS]),
        "drawing": shown_counts.drawing_words(drawing_now(place.chemical)),
        "count": right(request, "chemical.count"),
        "edit": right(request, "plant.edit"),
        "story": story([("place", str(place.pk))], newest_first=True, limit=12),
    }
    return render(request, "chemicals/tank.html", context)


# --- counting by level ------------------------------------------------------------------------------------------------
@BOTH
def count_level(request: HttpRequest, code: str) -> HttpResponse:
    """A count by level, in two steps: what it means is shown first, then written. The books are not shown before, so that nobody copies them."""
    place, system = tank_of(code), unit_system_of(request)
    geometry, there = levels.geometry_of(place), _there(place)
    form = LevelForm(posted(request), system=system, replaces=replaces_in(request.GET))
    meant: levels.LevelMass | None = None
    if request.method == "POST" and form.is_valid() and geometry is not None and there is not None:
        try:
            meant = levels.mass_at_level(
                place,
                geometry,
                there,
                form.needed_quantity("level"),
                form.needed_quantity("temperature_kelvin"),
            )
        except DomainError as refusal:
            attach(form, refusal)
        if meant is not None and is_written(request, meant.mass.value):
            outcome = try_act(form, services.count_level, request, place_id=place.pk, **form.arguments())
            if outcome is not None:
                count: StockCount = outcome.result
                said = shown_counts.gap_words(count.gap_grams_100, count.spread_grams_100, system)
                receipt(request, f"Written: {count.number}. {said}")
                return redirect("chemicals-count", number=count.number)
    held = selectors.balance_grams(place.chemical, place)
    context = {
        "place": place,
        "form": form,
        "geometry": geometry,
        "there": there,
        "sentence": _level_sentence(place, geometry is not None, there, system),
        "meant": None if form.errors else meant,
        "spread": shown_counts.mass(meant.spread_grams_100, system) if meant is not None else "",
        "gap": shown_counts.gap_words(meant.found_grams_100 - held, meant.spread_grams_100, system)
        if meant is not None and not form.errors
        else "",
        "shown_mark": mark_of(meant.mass.value) if meant is not None else "",
        "is_another": meant is not None and is_another(request, meant.mass.value),
        "drawing": shown_counts.drawing_words(drawing_now(place.chemical)),
        "pad": [
            PadStop(form["level"].id_for_label, "level", LENGTH_UNITS, ""),
            PadStop(form["temperature_kelvin"].id_for_label, "temperature", TEMPERATURE_UNITS, ""),
        ],
        "cautions": stock_cautions(Chemical(place.chemical), there.strength_frac)
        if there is not None
        else (),
        "right": right(request, "chemical.count"),
        "edit": right(request, "plant.edit"),
    }
    return render(
        request, "chemicals/level.html", context, status=refused_status(form) if form.errors else 200
    )


def _level_sentence(place: Place, has_shape: bool, there: levels.StrengthThere | None, system: str) -> str:
    if not has_shape:
        return f"The shape of {place.code} is not on record, so its level says no volume."
    if there is None:
        return f"Nobody at the plant has checked the strength of what stands in {place.code}, so a level says no mass."
    found = units.format_quantity(there.strength_frac, "strength", system)
    return f"{Chemical(place.chemical).label} of {found} by the plant’s check (lot {there.lots}). Read the gauge and a thermometer."


# --- one count --------------------------------------------------------------------------------------------------------
@require_safe
def count_page(request: HttpRequest, number: str) -> HttpResponse:
    count = get_object_or_404(counts.counts(), number=number.upper())
    stands, system = counts.standing_of(count), unit_system_of(request)
    is_own = count.counted_by_id == request.user.pk
    context = {
        "count": count,
        "stands": stands,
        "sentence": shown_counts.count_sentence(stands, system),
        "rows": shown_counts.count_rows(stands, system),
        "is_own": is_own,
        "look": shown_counts.LOOK,
        "drawing": shown_counts.drawing_words(drawing_now(count.place.chemical)),
        "book": right(request, "chemical.correct"),
        "recount": right(request, "chemical.count"),
        "recount_url": _recount_url(count),
        "story": story([("stock_count", count.number)], newest_first=True, limit=12),
    }
    return render(request, "chemicals/count_page.html", context)


def _recount_url(count: StockCount) -> str:
    name = "chemicals-place-level" if count.method == StockCount.Method.LEVEL else "chemicals-place-count"
    return f"{reverse(name, args=[count.place.code])}?replaces={count.number}"


@BOTH
def book(request: HttpRequest, number: str) -> HttpResponse:
    """The second person books a difference."""
    count = get_object_or_404(counts.counts(), number=number.upper())
    stands, system = counts.standing_of(count), unit_system_of(request)
    form = BookForm(posted(request), initial={"gap": stands.gap_grams_100})
    act = Act(
        title=f"Book the difference of {count.number}",
        sentence=shown_counts.count_sentence(stands, system),
        permission="chemical.correct",
        service=services.book_difference,
        arguments=lambda: {
            "number": count.number,
            "gap_grams_100": form.cleaned_data["gap"],
            "category": form.cleaned_data["category"],
            "reason": form.text("reason"),
        },
        said=lambda outcome: f"Written: movement {outcome.result.number}. Books and tank agree.",
        then=lambda outcome: reverse("chemicals-count", args=[count.number]),
        back_url=reverse("chemicals-count", args=[count.number]),
        button="Book it as unexplained",
        template="chemicals/book.html",
    )
    return act_page(request, form, act, facts=shown_counts.count_rows(stands, system), look=shown_counts.LOOK)


# --- the shape --------------------------------------------------------------------------------------------------------
@BOTH
def shape(request: HttpRequest, code: str) -> HttpResponse:
    place, system = tank_of(code), unit_system_of(request)
    newest = levels.geometry_of(place)
    form = ShapeForm(posted(request), initial=_shape_as_it_is(newest), system=system)
    act = Act(
        title=f"Shape and gauge of {place.code}",
        sentence="Inside figures, from a drawing or your own measurement. Counts that stand keep the shape they were made with.",
        permission="plant.edit",
        service=services.set_tank_geometry,
        arguments=lambda: {"place_id": place.pk, "settings": form.settings(), "number": form.shown_version},
        said=lambda outcome: f"Written: version {outcome.result.number} of the shape of {place.code}.",
        then=lambda outcome: reverse("chemicals-tank", args=[place.code]),
        back_url=reverse("chemicals-tank", args=[place.code]),
    )
    facts = shown_counts.shape_rows(newest, system) if newest is not None else []
    return act_page(request, form, act, facts=facts)


SHAPE_FIELDS = ("form", "ends", "diameter_m", "length_m", "width_m", "height_m", "gauge", "level_tolerance_m")


def _shape_as_it_is(newest: TankGeometry | None) -> dict[str, Any]:
    """What the form begins with: the newest version, lengths of another shape empty."""
    if newest is None:
        return {"version": 0}
    found: dict[str, Any] = {name: getattr(newest, name) or None for name in SHAPE_FIELDS}
    return found | {
        "version": newest.number,
        "zero_above_bottom_m": newest.zero_above_bottom_m,
        "volume_tolerance_frac": newest.volume_tolerance_frac,
        "table": _table_text(newest.table),
    }


def _table_text(rows: list[list[float]]) -> str:
    return "\n".join(f"{level:.12g} m; {volume * 1000.0:.12g} L" for level, volume in rows)


# --- the daily balance ------------------------------------------------------------------------------------------------
@require_safe
def reconciliation(request: HttpRequest) -> HttpResponse:
    """Opening + receipts − use = closing, day by day, tank by tank."""
    now, system = timezone.now(), unit_system_of(request)
    asked = request.GET.get("days", "")
    days = int(asked) if asked in dict(PERIODS) else USUAL_DAYS
    tanks = list(selectors.bulk_tanks())
    wanted = request.GET.get("tank", "").upper()
    today = plant_day(now)
    rows = [
        row
        for place in tanks
        if wanted in ("", place.code)
        for row in counts.day_balances(place, today - timedelta(days=days - 1), today)
    ]
    rows.sort(key=lambda row: (row.day, row.place.code), reverse=True)
    figures = counts.stock_figures(now)
    context = {
        "title": "Daily balance",
        "sentence": "Opening and receipts less use should be what was found. Masses as 100 %.",
        "chips": [
            (
                "Tank",
                listing.chips(request, "tank", [(place.code, place.code) for place in tanks], "Every tank"),
            ),
            ("Time", listing.chips(request, "days", PERIODS, "30 days")),
        ],
        "watch": f"Watched from {units.format_quantity(figures.reconcile_gap_frac, 'fraction')} of the use or "
        f"{units.twin(figures.reconcile_gap_volume_m3, 'liquid_volume', system)} of product, whichever is more: common practice of the trade, "
        "set in the plant’s limits. What both gauge readings may be off together is no difference.",
        "open": counts.open_differences(),
    }
    return listing.answer(
        request, "chemicals/reconciliation.html", BalanceTable(rows), "daily-balance", context
    )
