"""Acts on prices and watch levels. Both are append-only: a new line holds from then on, the old one stays."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta
from decimal import Decimal

from regenplant.audit.by import By
from regenplant.audit.records import one_of, words_of
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.chemicals.models import ChemicalLot
from regenplant.core.errors import OutOfRange, RecordRefused, StaleRecord
from regenplant.core.process.use_audit import minutes_of
from regenplant.core.process.vocabulary import Chemical
from regenplant.core.process.watch_measures import Watched, checked_level, level_said
from regenplant.plant.selectors import plant_day
from regenplant.use.models import ChemicalPrice, MeasureLevel, WatchLevels
from regenplant.use.pricing import milli_of
from regenplant.use.services._rows import renew_priced

FIRST_DAY = date(2000, 1, 1)
MOST_AHEAD = timedelta(days=366)
MOST_SHIFTS = 6
LEAST_LEVEL, MOST_LEVEL = 0.001, 0.5


@use_case("price.entered", permission="chemical.price")
def enter_price(
    *,
    by: By,
    chemical: str,
    price: str,
    currency: str,
    basis: str,
    from_day: date,
    reason: str,
    supplier: str = "",
    lot_code: str = "",
) -> Outcome:
    """What a chemical costs from a day on, of one lot, of one supplier or of any. What it holds for is counted anew at once.

    Raises: RecordRefused for a lot of another chemical, or another currency than the plant's; OutOfRange for a price or a day.
    """
    chemical = one_of(chemical, [item.value for item in Chemical], "The chemical", field="chemical")
    basis = one_of(basis, ChemicalPrice.Basis.values, "The basis", field="basis")
    milli = milli_of(price)
    today = plant_day(by.at)
    if not FIRST_DAY <= from_day <= today + MOST_AHEAD:
        raise OutOfRange(
            f"{from_day} is outside: the first day runs from {FIRST_DAY} to {today + MOST_AHEAD}.",
            field="from_day",
        )
    lot = _lot(lot_code, chemical)
    if lot is not None and supplier.strip():
        raise RecordRefused(
            "A price is of one lot or of a supplier, not of both. Leave one of them empty.", field="supplier"
        )
    row = ChemicalPrice.objects.create(
        chemical=chemical,
        lot=lot,
        supplier=words_of(supplier, "The supplier", field="supplier", most=80),
        from_day=from_day,
        basis=basis,
        milli_per_kg=milli,
        currency=_currency(currency),
        reason=words_of(reason, "Where the price stands", field="reason", most=200, least=5),
        entered_at=by.happened_at,
        entered_by=by.user,
    )
    counted = renew_priced(_lots_of(row))
    of = f"lot {lot.code}" if lot else row.supplier or "every supplier"
    return Outcome(
        subject=("price", str(row.pk), f"Price of {Chemical(chemical).label.lower()}"),
        after={"milli_per_kg": milli, "currency": row.currency, "basis": basis, "from_day": str(from_day)},
        facts={
            "shown": f"{Decimal(milli) / 1000} {row.currency} {ChemicalPrice.Basis(basis).label}",
            "of": of,
            "from_day": str(from_day),
            "counted": counted,
        },
        reason=row.reason,
        result=row,
    )


def _lot(code: str, chemical: str) -> ChemicalLot | None:
    if not code.strip():
        return None
    lot = ChemicalLot.objects.filter(code__iexact=code.strip()).first()
    if lot is None:
        raise RecordRefused(f"There is no chemical lot {code.strip()[:24]} here.", field="lot")
    if lot.chemical != chemical:
        raise RecordRefused(
            f"Lot {lot.code} is {Chemical(lot.chemical).label.lower()}, not {Chemical(chemical).label.lower()}.",
            field="lot",
        )
    return lot


def _currency(text: str) -> str:
    code = text.strip().upper()
    if len(code) != 3 or not code.isascii() or not code.isalpha():
        raise RecordRefused(
            "Write the currency as its three letters of ISO 4217, for example EUR.", field="currency"
        )
    other = ChemicalPrice.objects.exclude(currency=code).values_list("currency", flat=True).first()
    if other:
        raise RecordRefused(
            f"The plant’s prices stand in {other}; costs are summed, so every price stands in the same currency.",
            field="currency",
        )
    return code


def _lots_of(row: ChemicalPrice) -> list[str]:
    """Codes of the lots this price may hold for."""
    if row.lot is not None:
        return [row.lot.code]
    lots = ChemicalLot.objects.filter(chemical=row.chemical).select_related("data_sheet")
    return [lot.code for lot in lots if plant_day(lot.received_at) >= row.from_day]


@use_case("watch_levels.recorded", permission="chemical.watch")
def record_watch_levels(
    *,
    by: By,
    batch_frac: float,
    period_frac: float,
    shifts: Sequence[str],
    reason: str,
    seen_id: int | None = None,
) -> Outcome:
    """From which variance on a batch and a period are marked, and when shifts begin. ``seen_id`` is the line the page showed, 0 for none.

    Raises: OutOfRange for a level or a time of day, RecordRefused without a reason, StaleRecord when somebody was faster.
    """
    before = WatchLevels.objects.first()
    if seen_id is not None and seen_id != (before.pk if before else 0):
        raise StaleRecord(
            "The watch levels were changed since this page was opened. The present ones stand here now."
        )
    for value, name, field in (
        (batch_frac, "The level of a batch", "batch_percent"),
        (period_frac, "The level of a period", "period_percent"),
    ):
        if not LEAST_LEVEL <= value <= MOST_LEVEL:
            raise OutOfRange(
                f"{name} is {100 * value:g} %; allowed is from {100 * LEAST_LEVEL:g} to {100 * MOST_LEVEL:g} %.",
                field=field,
            )
    beginnings = sorted({_time(text) for text in shifts}, key=minutes_of)
    if not 1 <= len(beginnings) <= MOST_SHIFTS:
        raise OutOfRange(
            f"{len(beginnings)} shifts are given; a day has from 1 to {MOST_SHIFTS}.", field="shifts"
        )
    row = WatchLevels.objects.create(
        batch_frac=batch_frac,
        period_frac=period_frac,
        shifts=beginnings,
        reason=words_of(reason, "The reason", field="reason", most=300, least=10),
        recorded_at=by.at,
        recorded_by=by.user,
    )
    return Outcome(
        subject=("watch_levels", str(row.pk), "Watch levels of use"),
        before=_plain(before) if before else {},
        after=_plain(row),
        facts={
            "batch": f"{100 * batch_frac:g}",
            "period": f"{100 * period_frac:g}",
            "shifts": ", ".join(beginnings),
        },
        reason=row.reason,
        result=row,
    )


def _time(text: str) -> str:
    try:
        minute = minutes_of(text.strip())
    except OutOfRange as refusal:
        raise OutOfRange(refusal.message, field="shifts") from refusal
    return f"{minute // 60:02d}:{minute % 60:02d}"


def _plain(row: WatchLevels) -> dict[str, object]:
    return {
        "batch_frac": row.batch_frac,
        "period_frac": row.period_frac,
        "shifts": list(row.shifts),
    }


@use_case("watch_measure.recorded", permission="chemical.watch")
def record_measure_level(
    *, by: By, measure: str, level: float, reason: str, seen_id: int | None = None
) -> Outcome:
    """From which figure on a measure is marked. ``seen_id`` is the line the page showed, 0 for none.

    Raises: RecordRefused for an unknown measure or without a reason, OutOfRange for the level, StaleRecord when somebody was faster.
    """
    watched = Watched(one_of(measure, [item.value for item in Watched], "The measure", field="measure"))
    before = MeasureLevel.objects.filter(measure=watched.value).first()
    if seen_id is not None and seen_id != (before.pk if before else 0):
        raise StaleRecord(
            "This watch level was changed since this page was opened. The present one stands here now."
        )
    row = MeasureLevel.objects.create(
        measure=watched.value,
        level=checked_level(watched, level),
        reason=words_of(reason, "The reason", field="reason", most=300, least=10),
        recorded_at=by.at,
        recorded_by=by.user,
    )
    was = before.level if before else watched.measure.usual
    return Outcome(
        subject=("watch_measure", watched.value, f"Watch level of “{watched.measure.name}”"),
        before={"level": was},
        after={"level": row.level},
        facts={"shown": level_said(watched.measure, row.level), "was": level_said(watched.measure, was)},
        reason=row.reason,
        result=row,
    )


say("watch_measure.recorded", "{subject}: marked {shown}, before {was}")
say("price.entered", "{subject}: {shown}, {of}, from {from_day} on; {counted} batches were counted anew")
say("watch_levels.recorded", "{subject}: ±{batch} % for a batch, ±{period} % for a period, shifts {shifts}")
