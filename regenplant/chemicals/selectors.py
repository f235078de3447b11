"""Reading stock: balances, the board, strength checks, use by reference, the ledger."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from django.db.models import F, OuterRef, Prefetch, Q, QuerySet, Subquery, Sum
from django.db.models.functions import Coalesce

from regenplant.chemicals.blending import Standing, standing
from regenplant.chemicals.models import ChemicalLot, DataSheet, Movement, Place, StrengthCheck, Unloading
from regenplant.chemicals.quantities import REFERENCE_KELVIN, product_volume_m3
from regenplant.core.engineering import baume, solutions
from regenplant.core.engineering.estimate import Estimate
from regenplant.core.process.plan import StockData
from regenplant.core.process.vocabulary import Chemical
from regenplant.plant.selectors import plant_day, profile

SECONDS_PER_DAY = 86400.0


# --- balances -------------------------------------------------------------------------------------------------------
def balances(chemical: str = "") -> dict[tuple[str, int], int]:
    """Grams as 100 % by (chemical, place key): everything that came minus everything that went. Two queries."""
    moves = Movement.objects.filter(chemical=chemical) if chemical else Movement.objects.all()
    found: dict[tuple[str, int], int] = {}
    for place, sign in (("to_place_id", 1), ("from_place_id", -1)):
        for row in moves.order_by().values("chemical", place).annotate(grams=Sum("grams_100")):
            key = (row["chemical"], row[place])
            found[key] = found.get(key, 0) + sign * int(row["grams"])
    return found


def balance_grams(chemical: str, place: Place) -> int:
    """Grams as 100 % of one chemical at one place."""
    return balances(chemical).get((chemical, place.pk), 0)


def use_by_reference(references: Iterable[str]) -> dict[str, dict[str, int]]:
    """Net grams as 100 % that went into batches, by reference and chemical; corrections are counted in."""
    wanted = list(references)
    found: dict[str, dict[str, int]] = {reference: {} for reference in wanted}
    kind = Place.Kind.BATCH
    moves = Movement.objects.filter(reference__in=wanted).order_by()
    for field, sign in (("to_place__kind", 1), ("from_place__kind", -1)):
        for row in (
            moves.filter(**{field: kind}).values("reference", "chemical").annotate(grams=Sum("grams_100"))
        ):
            used = found[row["reference"]]
            used[row["chemical"]] = used.get(row["chemical"], 0) + sign * int(row["grams"])
    return found


def draws_of_step(
    reference: str, chemical: str, step_number: int, ended_at: datetime | None
) -> list[Movement]:
    """What one step of a batch drew, what followed corrections of its entries, and what was taken back, in order. Movements of an older
    program do not name the step: theirs are those of the moment it ended."""
    rows = Movement.objects.filter(reference=reference, chemical=chemical).filter(
        Q(step_number=step_number)
        | Q(step_number=None, moved_at=ended_at, corrects=None)
        | Q(step_number=None, corrects__moved_at=ended_at)
    )
    kind = Place.Kind.BATCH
    found = rows.select_related("lot", "from_place", "to_place").order_by("number")
    return [row for row in found if kind in (row.from_place.kind, row.to_place.kind)]


def net_grams(movements: Iterable[Movement]) -> int:
    """Into batches above zero, back below."""
    return sum(
        row.grams_100 if row.to_place.kind == Place.Kind.BATCH else -row.grams_100 for row in movements
    )


# --- strength -------------------------------------------------------------------------------------------------------
def strength_of_sample(
    chemical: str,
    *,
    density_kg_per_m3: float | None = None,
    baume_degrees: float | None = None,
    temperature_kelvin: float,
) -> Estimate:
    """Strength from a hydrometer in the sample, with its working.

    Raises: OutOfRange when no solution of this chemical has that density at that temperature.
    """
    if baume_degrees is not None:
        return baume.strength_from_hydrometer_baume(chemical, baume_degrees, temperature_kelvin)
    if density_kg_per_m3 is None:
        raise ValueError("a density or degrees Baumé are needed")
    return solutions.strength_from_density(chemical, density_kg_per_m3, temperature_kelvin)


def newest_check(lot: ChemicalLot) -> StrengthCheck | None:
    """The newest plant check of a lot; reads what was prefetched, if anything was."""
    return next(iter(lot.checks.all()), None)


def check_age_days(check: StrengthCheck | None, now: datetime) -> int | None:
    """Whole days since the check, rounded down; None when the lot was never checked."""
    return None if check is None else int((now - check.checked_at).total_seconds() // SECONDS_PER_DAY)


def check_again_on(check: StrengthCheck | None) -> date | None:
    """The last day on which a plan is sure to take this check: its day and the plant's interval; None where there is none."""
    if check is None:
        return None
    return plant_day(check.checked_at) + timedelta(days=profile().strength_check_max_age_days)


def days_to(day: date | None, now: datetime) -> float | None:
    """Days of the plant until a day, below zero when it has passed; None for none."""
    return None if day is None else float((day - plant_day(now)).days)


# --- the board ------------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class PlaceStock:
    """What stands in one bulk tank."""

    place: Place
    grams_100: int
    volume_m3: float | None
    """As product, at the strength of the lot in use and 20 °C; None where that is not known."""

    @property
    def kg_100(self) -> float:
        return self.grams_100 / 1000.0

    @property
    def is_low(self) -> bool:
        return self.grams_100 < self.place.low_stock_grams_100


@dataclass(frozen=True, slots=True)
class StockLine:
    """One chemical: what stands where, the lot in use with its strengths, and how old the check is."""

    chemical: Chemical
    places: tuple[PlaceStock, ...]
    lot: ChemicalLot | None
    check: StrengthCheck | None
    check_age_days: int | None
    max_check_age_days: int
    standing: Standing
    """What is drawn: the check, and what came on top of it since."""
    expired_on: date | None = None
    """The supplier's date of the lot in use, once it has passed."""

    @property
    def grams_100(self) -> int:
        return sum(stock.grams_100 for stock in self.places)

    @property
    def kg_100(self) -> float:
        return self.grams_100 / 1000.0

    @property
    def low_kg_100(self) -> float:
        return sum(stock.place.low_stock_grams_100 for stock in self.places) / 1000.0

    @property
    def is_low(self) -> bool:
        return any(stock.is_low for stock in self.places)

    @property
    def is_check_overdue(self) -> bool:
        return self.lot is not None and (
            self.check_age_days is None
            or self.check_age_days > self.max_check_age_days
            or bool(self.standing.unsampled)
        )

    @property
    def problem(self) -> str:
        """What needs a person, as a sentence; "" when nothing does."""
        if self.lot is None:
            return f"No lot of {self.chemical.label.lower()} is in use, so no batch that needs it can start."
        if self.expired_on is not None:
            return f"Lot {self.lot.code} expired on {self.expired_on} by its supplier, so no batch starts with it. Put another lot in use."
        if self.check_age_days is None:
            return f"Lot {self.lot.code} was never checked at the plant. Check its strength before the next start."
        if self.standing.unsampled:
            return (
                f"{', '.join(self.standing.unsampled)} came on top of lot {self.lot.code} and the plant took no sample of it. "
                "Check the strength in the tank before the next start."
            )
        if self.is_check_overdue:
            return (
                f"Strength check of lot {self.lot.code} is {self.check_age_days} days old, at most {self.max_check_age_days}. "
                "Check it before the next start."
            )
        return f"{self.chemical.label} stands under its low mark. Order." if self.is_low else ""


def stock_board(now: datetime) -> list[StockLine]:
    """Every chemical that has a tank or a lot, in the order of ``Chemical``. Eight queries, twelve while something stands on top of a check, whatever the number of lots."""
    limit = profile().strength_check_max_age_days
    held = balances()
    tanks: dict[str, list[Place]] = {}
    for place in Place.objects.filter(kind=Place.Kind.BULK_TANK):
        tanks.setdefault(place.chemical, []).append(place)
    in_use = _lots_in_use()
    drawn = standing(in_use, held)
    lines = []
    for chemical in Chemical:
        lot = in_use.get(chemical.value)
        if lot is None and chemical.value not in tanks:
            continue
        now_drawn = drawn.get(chemical.value, Standing(None, None))
        check = now_drawn.check
        certificate = lot.certificate_strength_frac if lot else None
        strength = now_drawn.strength_frac or (check.strength_frac if check else certificate)
        places = tuple(
            _place_stock(place, held.get((chemical.value, place.pk), 0), strength)
            for place in tanks.get(chemical.value, [])
        )
        age, ends = check_age_days(check, now), lot.expires_on if lot else None
        expired_on = ends if ends is not None and ends < plant_day(now) else None
        lines.append(StockLine(chemical, places, lot, check, age, limit, now_drawn, expired_on))
    return lines


def count_low_places() -> int:
    """How many bulk tanks stand under their low mark. One query."""

    def grams(place: str) -> Coalesce:
        own = Movement.objects.filter(**{place: OuterRef("pk")}, chemical=OuterRef("chemical")).order_by()
        return Coalesce(Subquery(own.values(place).annotate(total=Sum("grams_100")).values("total")), 0)

    stocked = Place.objects.filter(kind=Place.Kind.BULK_TANK).annotate(
        got=grams("to_place"), gave=grams("from_place")
    )
    return stocked.filter(low_stock_grams_100__gt=F("got") - F("gave")).count()


def _place_stock(place: Place, grams: int, strength_frac: float | None) -> PlaceStock:
    volume = product_volume_m3(place.chemical, grams, strength_frac) if strength_frac else None
    return PlaceStock(place, grams, volume)


def _lots_in_use() -> dict[str, ChemicalLot]:
    checks = StrengthCheck.objects.select_related("checked_by", "lot").order_by("-checked_at", "-id")
    found = (
        ChemicalLot.objects.filter(is_in_use=True)
        .select_related("data_sheet")
        .prefetch_related(Prefetch("checks", checks))
    )
    return {lot.chemical: lot for lot in found}


def strengths_standing() -> dict[str, tuple[ChemicalLot, Standing]]:
    """The lot in use of each chemical, with the strength of what is drawn."""
    in_use = _lots_in_use()
    drawn = standing(in_use, balances())
    return {chemical: (lot, drawn[chemical]) for chemical, lot in in_use.items()}


def lots_received_into(place: Place) -> QuerySet[ChemicalLot]:
    """Lots that came into a bulk tank, newest first, with their checks, newest first."""
    checks = StrengthCheck.objects.select_related("lot").order_by("-checked_at", "-id")
    came = Movement.objects.filter(
        to_place=place, from_place__kind=Place.Kind.SUPPLIER, corrects=None, corrected_by=None
    )
    rows = ChemicalLot.objects.filter(pk__in=came.values("lot_id"))
    return rows.prefetch_related(Prefetch("checks", checks)).order_by("-received_at", "-id")


def place_of(lot: ChemicalLot) -> Place | None:
    """The bulk tank a lot was received into."""
    first = lot.movements.filter(to_place__kind=Place.Kind.BULK_TANK).select_related("to_place").first()
    return first.to_place if first else None


def stock_data(now: datetime) -> dict[str, StockData]:
    """Stock for a plan, by the value of ``Chemical``: only chemicals with a lot in use.

    The strength is the plant's own check, and by mass balance what came on top of it since by its sample (``blending``). Where no
    check or sample tells it, ``check_age_days`` is None, which blocks every plan that needs it. The age is floored to whole days, so that the same plan made twice within a
    day is the same plan.
    """
    limit = float(profile().strength_check_max_age_days)
    held = balances()
    places = list(Place.objects.filter(kind=Place.Kind.BULK_TANK))
    found: dict[str, StockData] = {}
    in_use = _lots_in_use()
    drawn = standing(in_use, held)
    for value, lot in in_use.items():
        check, strength = drawn[value].check, drawn[value].strength_frac
        age = check_age_days(check, now) if strength is not None else None
        grams = sum(held.get((value, place.pk), 0) for place in places if place.chemical == value)
        found[value] = StockData(
            chemical=Chemical(value),
            lot_code=lot.code,
            strength_frac=strength or (check.strength_frac if check else lot.certificate_strength_frac),
            density_kg_per_m3=check.density_kg_per_m3 if check and not drawn[value].is_blend else None,
            temperature_kelvin=check.temperature_kelvin if check else REFERENCE_KELVIN,
            available_kg_100=max(grams, 0) / 1000.0,
            checked_at=check.checked_at.isoformat() if check else "",
            check_age_days=None if age is None else float(age),
            max_check_age_days=limit,
            added_lots=drawn[value].added,
            parts=drawn[value].parts,
            expires_on=str(drawn[value].expires_on or lot.expires_on or ""),
            days_to_expiry=days_to(drawn[value].expires_on or lot.expires_on, now),
        )
    return found


# --- listings -------------------------------------------------------------------------------------------------------
def movements() -> QuerySet[Movement]:
    """The ledger for a listing, newest first."""
    return Movement.objects.select_related(
        "lot", "from_place", "to_place", "moved_by", "corrects", "corrected_by"
    ).order_by("-number")


def lots() -> QuerySet[ChemicalLot]:
    """All lots with their checks, newest first."""
    checks = StrengthCheck.objects.select_related("checked_by").order_by("-checked_at", "-id")
    return (
        ChemicalLot.objects.select_related("data_sheet")
        .prefetch_related(Prefetch("checks", checks))
        .order_by("-received_at")
    )


def bulk_tanks() -> QuerySet[Place]:
    """Bulk tanks, by chemical and code."""
    return Place.objects.filter(kind=Place.Kind.BULK_TANK).order_by("chemical", "code")


def stored_chemicals() -> tuple[str, ...]:
    """Values of ``Chemical`` that have a bulk tank, in the order of ``Chemical``. One query."""
    there = set(bulk_tanks().values_list("chemical", flat=True))
    return tuple(chemical.value for chemical in Chemical if chemical.value in there)


def data_sheets(*, only_in_force: bool = False) -> QuerySet[DataSheet]:
    """Data sheets by chemical, newest first."""
    found = DataSheet.objects.order_by("chemical", "supplier", "-revised_on")
    return found.filter(is_in_force=True) if only_in_force else found


def sheet_in_force(lot: ChemicalLot) -> DataSheet | None:
    """The revision in force now of the sheet that came with a lot: same chemical, supplier and strength; None without one."""
    came_with = lot.data_sheet
    if came_with is None:
        return None
    same = data_sheets(only_in_force=True).filter(
        chemical=lot.chemical,
        supplier__iexact=came_with.supplier,
        strength_text__iexact=came_with.strength_text,
    )
    return same.first()


@dataclass(frozen=True, slots=True)
class LedgerBalance:
    """What one place holds of one chemical by the books. A supplier's is negative: it gave."""

    place: Place
    chemical: Chemical
    grams_100: int

    @property
    def kg_100(self) -> float:
        return self.grams_100 / 1000.0


def ledger_balances(chemical: str = "") -> list[LedgerBalance]:
    """Balance of every place that ever held something, by chemical; per chemical they sum to zero."""
    places: Mapping[int, Place] = Place.objects.in_bulk()
    rows = [
        LedgerBalance(places[pk], Chemical(value), grams) for (value, pk), grams in balances(chemical).items()
    ]
    order = list(Chemical)
    return sorted(rows, key=lambda row: (order.index(row.chemical), row.place.kind, row.place.code))


def movements_about(lot: ChemicalLot) -> QuerySet[Movement]:
    """Movements of a lot, newest first."""
    return movements().filter(Q(lot=lot))


def may_be_corrected(movement: Movement) -> bool:
    """Whether this movement can still be taken back: it is no correction itself and was not corrected."""
    return movement.corrects_id is None and not Movement.objects.filter(corrects=movement).exists()


# --- deliveries at the lock -------------------------------------------------------------------------------------------
def deliveries() -> QuerySet[Unloading]:
    """Deliveries, newest first, with their tank and people."""
    return Unloading.objects.select_related(
        "place", "opened_by", "sampled_by", "confirmed_by", "stopped_by", "answered_by", "lot", "signature"
    )


def deliveries_to_see_to() -> QuerySet[Unloading]:
    """Deliveries that are locked, and near misses that nobody has answered. Weigh tickets: ``weighing.open_weighings``."""
    is_open, is_unanswered = Q(state=Unloading.State.OPEN), Q(state=Unloading.State.STOPPED, answered_by=None)
    return deliveries().filter(is_open | is_unanswered)


def unlocked_content(row: Unloading) -> dict[str, Any]:
    """What is signed to unlock: the papers, the sample with its units, and who scanned which connection."""
    return {
        "number": row.number,
        "order_line": row.order_line,
        "chemical": row.chemical,
        "un_number": row.un_number,
        "lot": row.lot_code,
        "supplier_lot": row.supplier_lot,
        "certificate_strength_frac": row.certificate_strength_frac,
        "grams_100": row.grams_100,
        **({"expires_on": row.expires_on.isoformat()} if row.expires_on else {}),
        "tank": row.place.code,
        "connection": row.place.connection_code,
        "connection_scanned_by": row.confirmed_by_id,
        "sample": {
            "as_typed": f"{row.value_as_typed} {row.unit_as_typed}".strip(),
            "density_kg_per_m3": row.density_kg_per_m3,
            "temperature_kelvin": row.temperature_kelvin,
            "strength_frac": row.sample_strength_frac,
            "tolerance_frac": row.place.receipt_tolerance_frac,
        },
    }
