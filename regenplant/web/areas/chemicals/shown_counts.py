"""Counts, balances and forecasts as sentences, pairs and drawings."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta

from django.utils import timezone

from regenplant import units
from regenplant.audit.reasons import reason_sentence
from regenplant.batches.selectors.chemical_needs import Need
from regenplant.chemicals.counts import CountStanding
from regenplant.chemicals.levels import expected_level_m, shape_of
from regenplant.chemicals.models import Place, StockCount, TankGeometry
from regenplant.chemicals.quantities import product_volume_m3
from regenplant.core.engineering.tank_levels import Ends, TankForm, end_depth_m
from regenplant.core.errors import OutOfRange
from regenplant.core.process.reconciliation import StockFigures
from regenplant.core.process.stock_forecast import HORIZON_DAYS, StockForecast
from regenplant.core.process.vocabulary import Chemical
from regenplant.drawing.scene import Scene
from regenplant.planning.stocks_ahead import TankAhead
from regenplant.web.drawing.tank_level import LevelMark, tank_level

LOOK = (
    "Before you book it, look: tank, flanges and pump for a leak, the bund for liquid, the gauge for a wrong zero, the batches for a draw "
    "that nobody wrote down. Keep your distance from leaking chemical, wear what its data sheet says, and never climb a tank alone."
)


def mass(grams_100: int, system: str) -> str:
    return units.twin(grams_100 / 1000.0, "mass", system)


def gap_words(grams: int, spread: int, system: str) -> str:
    """What a difference is, and whether it is one."""
    if grams == 0:
        return "Books and tank agree to the gram."
    side = "more" if grams > 0 else "less"
    size = f"{mass(abs(grams), system)} as 100 % {side} than the books say; the count may be off by {mass(spread, system)}"
    if abs(grams) <= spread:
        return f"{size}. That is no difference."
    return f"{size}. That is a difference: another person looks at it and books it."


def moment(when: datetime) -> str:
    return f"{timezone.localtime(when):%Y-%m-%d %H:%M}"


def drawing_words(needs: Sequence[Need]) -> str:
    """That batches draw at this moment; "" when none does."""
    if not needs:
        return ""
    names = ", ".join(f"{need.batch} ({need.step_name})" for need in needs)
    verb = "draws" if len(needs) == 1 else "draw"
    return f"{names} {verb} from this stock now, and the books are written when the step ends. Count before it begins or after it ended."


# --- one count --------------------------------------------------------------------------------------------------------
def count_rows(stands: CountStanding, system: str) -> list[tuple[str, str]]:
    count = stands.count
    rows = [("Counted", f"{moment(count.counted_at)}, {count.counted_by.full_name}")]
    if count.method == StockCount.Method.LEVEL:
        rows += [
            ("Read", f"{count.value_as_typed} {count.unit_as_typed}".strip()),
            ("Volume of product", units.twin(count.volume_m3 or 0.0, "liquid_volume", system)),
            ("Temperature", units.twin(count.temperature_kelvin or 0.0, "temperature", system)),
            (
                "Strength",
                f"{units.format_quantity(count.strength_frac, 'strength')}, lot {count.strength_of}",
            ),
        ]
        if count.geometry is not None:
            rows.append(("Shape", f"version {count.geometry.number}, read at {count.geometry.gauge}"))
    rows += [
        (
            "Found, as 100 %",
            f"{mass(count.found_grams_100, system)}, ± {mass(count.spread_grams_100, system)}",
        ),
        ("Books when it was written", mass(count.books_grams_100, system)),
    ]
    if stands.late_grams_100:
        rows.append(("Written later about that time", _signed(stands.late_grams_100, system)))
    if stands.booked_grams_100:
        rows.append(("Booked as unexplained", _signed(stands.booked_grams_100, system)))
    if count.note:
        rows.append(("Note", count.note))
    if count.replaces is not None:
        rows.append(
            ("Replaces", f"{count.replaces.number}: {reason_sentence(count.reason_category, count.reason)}")
        )
    return rows


def _signed(grams: int, system: str) -> str:
    sign = "+" if grams > 0 else "−"
    return f"{sign}{mass(abs(grams), system)}"


def count_sentence(stands: CountStanding, system: str) -> str:
    count = stands.count
    if stands.is_replaced:
        return f"Replaced by {count.replaced_by.number}; it counts no more."
    if stands.booked_grams_100 and stands.gap_grams_100 == 0:
        return f"Found less the books was {_signed(stands.booked_grams_100, system)}; it was booked as unexplained."
    return gap_words(stands.gap_grams_100, count.spread_grams_100, system)


# --- the shape --------------------------------------------------------------------------------------------------------
def shape_rows(geometry: TankGeometry, system: str) -> list[tuple[str, str]]:
    def length(value: float) -> str:
        return units.twin(value, "length", system)

    form, shape = TankForm(geometry.form), shape_of(geometry)
    rows = [("Shape", form.label)]
    if form in (TankForm.UPRIGHT, TankForm.LYING):
        ends = Ends(geometry.ends)
        rows += [
            ("Inside diameter", length(geometry.diameter_m)),
            ("Straight length", length(geometry.length_m)),
            ("Ends", ends.label),
        ]
        if ends is not Ends.FLAT:
            rows.append(("Depth of an end", length(end_depth_m(ends, geometry.diameter_m))))
    elif form is TankForm.BOX:
        rows.append(
            (
                "Inside",
                " × ".join(length(one) for one in (geometry.length_m, geometry.width_m, geometry.height_m)),
            )
        )
    else:
        rows.append(("Table", f"{len(geometry.table)} rows"))
    return [
        *rows,
        ("Holds, to the top", units.twin(shape.full_volume_m3, "liquid_volume", system)),
        ("Read at", f"{geometry.gauge}, ± {length(geometry.level_tolerance_m)}"),
        ("Zero of the gauge", f"{length(geometry.zero_above_bottom_m)} over the lowest point"),
        ("From", geometry.origin),
        ("Version", f"{geometry.number}, {moment(geometry.written_at)}, {geometry.written_by.full_name}"),
    ]


def level_scene(
    place: Place,
    geometry: TankGeometry,
    held_grams: int,
    strength_frac: float | None,
    count: StockCount | None,
    system: str,
) -> Scene:
    """The tank with the last count as its filling, and the books, the low mark and the capacity as lines."""
    zero, shape = geometry.zero_above_bottom_m, shape_of(geometry)

    def level(grams: int) -> float | None:
        if strength_frac is None:
            return None
        return expected_level_m(
            place, geometry, product_volume_m3(place.chemical, max(grams, 0), strength_frac)
        )

    def shown(value: float) -> str:
        return units.format_quantity(value, "length", system)

    marks = []
    counted = count.level_m if count is not None and count.geometry_id == geometry.pk else None
    if counted is not None and count is not None:
        marks.append(LevelMark(counted + zero, f"{shown(counted)} counted", "ln"))
    books, low = level(held_grams), level(place.low_stock_grams_100)
    if books is not None:
        marks.append(LevelMark(books + zero, f"{shown(books)} by the books", "fc"))
    if low is not None and place.low_stock_grams_100:
        marks.append(LevelMark(low + zero, f"{shown(low)} low mark", "lim"))
    if place.capacity_m3 is not None:
        try:
            top = expected_level_m(place, geometry, place.capacity_m3 - place.ullage_margin_m3)
        except OutOfRange:
            top = None
        if top is not None:
            marks.append(LevelMark(top + zero, f"{shown(top)} filled at most", "lim"))
    filled = counted + zero if counted is not None else (books + zero if books is not None else None)
    return tank_level(shape, filled, marks, f"{place.code} from the side")


# --- forecast ---------------------------------------------------------------------------------------------------------
def _day(days: int, now: datetime) -> str:
    if days == 0:
        return "today"
    return f"{timezone.localtime(now + timedelta(days=days)):%Y-%m-%d}"


def crossing_words(forecast: StockForecast, now: datetime) -> str:
    """When the stock falls under its low mark, as a sentence."""
    if forecast.held_kg < forecast.low_kg:
        return "It stands under its low mark now."
    low = forecast.low
    if low.likely_days is None:
        early = (
            f"; 1 time in 20 it falls under it before {_day(low.early_days, now)}"
            if low.early_days is not None
            else ""
        )
        return f"Likely above its low mark for the next {HORIZON_DAYS} days{early}."
    if low.likely_days == 0:
        return "What is planned for today takes it under its low mark."
    early = _day(low.early_days or 0, now)
    late = (
        _day(low.late_days, now) if low.late_days is not None else f"more than {HORIZON_DAYS} days from now"
    )
    return f"Likely under its low mark on {_day(low.likely_days, now)}; 9 times in 10 between {early} and {late}."


def reason_words(tank: TankAhead, now: datetime, system: str) -> str:
    """Why: open batches, then the accepted plan, then the usual use."""
    forecast, needs, parts = tank.forecast, tank.open_needs, []
    if needs:
        batches = list(dict.fromkeys(need.batch for need in needs))
        named = ", ".join(batches[:6]) + (f" and {len(batches) - 6} more" if len(batches) > 6 else "")
        parts.append(
            f"{named} still {'draws' if len(batches) == 1 else 'draw'} {units.twin(forecast.planned_kg, 'mass', system)} as 100 %"
        )
    else:
        parts.append("No open batch draws from it")
    if forecast.course is not None:
        reach = forecast.course.reach_day
        planned = units.twin(forecast.course.until(reach), "mass", system)
        parts.append(f"plan {tank.plan} draws {planned} until {_day(reach, now)}, each on its day")
    if forecast.usual is None:
        parts.append("the ledger has too few days with use for a usual one")
    else:
        usual = forecast.usual
        parts.append(
            f"the usual use is {units.twin(usual.mean_kg, 'mass', system)} a day, single days ± {units.twin(usual.deviation_kg, 'mass', system)}, "
            f"over {usual.days} days{', by the day of the week' if usual.week else ''}"
        )
    return "; ".join(parts) + "."


def order_words(forecast: StockForecast, figures: StockFigures, now: datetime) -> str:
    """Until when to order; "" while that is far away. Where no usual use is known, that is said."""
    early = 0 if forecast.held_kg < forecast.low_kg else forecast.low.early_days
    if early is None:
        return (
            "" if forecast.usual else "Not known: the ledger has too few days with use to say when to order."
        )
    left = early - int(figures.delivery_days)
    if left <= 0:
        return f"Order now: a delivery takes {figures.delivery_days:.0f} days."
    return f"Order until {_day(left, now)}: a delivery takes {figures.delivery_days:.0f} days."


def chemical_name(place: Place) -> str:
    return Chemical(place.chemical).label
