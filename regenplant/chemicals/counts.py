"""Reading counts: what the books said of a moment, which differences wait for a person, and the balance between two counts."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db.models import F, OuterRef, Q, QuerySet, Subquery, Sum

from regenplant.chemicals.models import Movement, Place, StockCount
from regenplant.chemicals.selectors import balances
from regenplant.core.process.reconciliation import Balance, StockFigures, together, watch_mass_kg
from regenplant.core.process.stock_forecast import UsualUse, usual_use
from regenplant.plant.days import calendar, plant_day, start_of_day
from regenplant.plant.limits import content_in_force


def stock_figures(at: datetime) -> StockFigures:
    """The plant's figures about stock in force at a time."""
    return content_in_force(at).stock


# --- books of a moment ------------------------------------------------------------------------------------------------
def before(moment: datetime, after_movement: int) -> Q:
    """Movements that happened before a moment; of those at that very moment the ones written until then."""
    return Q(moved_at__lt=moment) | Q(moved_at=moment, number__lte=after_movement)


def books_grams(place: Place, moment: datetime, after_movement: int, reference: str = "") -> int:
    """Grams as 100 % by the books of a moment, as they are known now. ``reference`` adds what was booked for that count."""
    rows = Movement.objects.filter(
        before(moment, after_movement) | Q(reference=reference)
        if reference
        else before(moment, after_movement)
    )
    rows = rows.filter(chemical=place.chemical).order_by()
    came = rows.filter(to_place=place).aggregate(grams=Sum("grams_100"))["grams"] or 0
    went = rows.filter(from_place=place).aggregate(grams=Sum("grams_100"))["grams"] or 0
    return int(came) - int(went)


@dataclass(frozen=True, slots=True)
class CountStanding:
    """How a count stands now. ``gap_grams_100`` is found less books, with all that is known of that moment by now."""

    count: StockCount
    books_grams_100: int
    booked_grams_100: int
    """What was booked for it: below zero went to unexplained."""
    is_newest: bool
    is_replaced: bool

    @property
    def gap_grams_100(self) -> int:
        return self.count.found_grams_100 - self.books_grams_100

    @property
    def is_open(self) -> bool:
        """Books and tank differ by more than the count may be off, and nobody has booked it yet."""
        return (
            self.is_newest and not self.is_replaced and abs(self.gap_grams_100) > self.count.spread_grams_100
        )

    @property
    def late_grams_100(self) -> int:
        """By how much entries that were written later changed the books of that moment, bookings left out."""
        return self.books_grams_100 - self.booked_grams_100 - self.count.books_grams_100


def standing_of(count: StockCount) -> CountStanding:
    """How a count stands now. Five queries."""
    booked = Movement.objects.filter(reference=count.number).order_by()
    came = booked.filter(to_place=count.place_id).aggregate(grams=Sum("grams_100"))["grams"] or 0
    went = booked.filter(from_place=count.place_id).aggregate(grams=Sum("grams_100"))["grams"] or 0
    newest = newest_count(count.place)
    return CountStanding(
        count,
        books_grams(count.place, count.counted_at, count.after_movement, count.number),
        int(came) - int(went),
        newest is not None and newest.pk == count.pk,
        StockCount.objects.filter(replaces=count).exists(),
    )


def grams_by_level(place: Place, held_now: int) -> int:
    """What stands in a tank by its newest count and what moved since [g as 100 %]; by the books where it was never counted."""
    count = newest_count(place)
    if count is None:
        return held_now
    return held_now + standing_of(count).gap_grams_100


def counts() -> QuerySet[StockCount]:
    """Every count, newest first, with tank and people."""
    return StockCount.objects.select_related("place", "counted_by", "geometry", "replaces", "replaced_by")


def standing_counts() -> QuerySet[StockCount]:
    """Those that no other count took the place of."""
    return counts().filter(replaced_by=None)


def newest_count(place: Place) -> StockCount | None:
    """The newest count of a tank that stands; None where it was never counted."""
    return standing_counts().filter(place=place).order_by("-counted_at", "-id").first()


def newest_counts() -> dict[int, StockCount]:
    """The newest count that stands, by the key of its tank. One query."""
    own = StockCount.objects.filter(place=OuterRef("place"), replaced_by=None).order_by("-counted_at", "-id")
    rows = standing_counts().annotate(newest=Subquery(own.values("pk")[:1])).filter(pk=F("newest"))
    return {count.place_id: count for count in rows}


def newest_standings() -> list[CountStanding]:
    """How the newest count of each tank stands, by tank. Four queries, however many tanks and counts there are."""
    newest = newest_counts()
    if not newest:
        return []
    held = balances()
    since = min(count.counted_at for count in newest.values())
    moves = Movement.objects.filter(moved_at__gte=since).filter(
        Q(to_place__in=list(newest)) | Q(from_place__in=list(newest))
    )
    after, booked = dict.fromkeys(newest, 0), dict.fromkeys(newest, 0)
    for move in moves.order_by("number"):
        for place, sign in ((move.to_place_id, 1), (move.from_place_id, -1)):
            count = newest.get(place)
            if count is None or move.chemical != count.place.chemical:
                continue
            if move.reference == count.number:
                booked[place] += sign * move.grams_100
            elif not _is_before(move, count):
                after[place] += sign * move.grams_100
    found = [
        CountStanding(
            count,
            held.get((count.place.chemical, place), 0) - after[place],
            booked[place],
            is_newest=True,
            is_replaced=False,
        )
        for place, count in newest.items()
    ]
    return sorted(found, key=lambda one: one.count.place.code)


def open_differences() -> list[CountStanding]:
    """Newest counts whose difference nobody has booked, by tank."""
    return [one for one in newest_standings() if one.is_open]


def counted_long_ago(now: datetime) -> list[tuple[Place, StockCount | None]]:
    """Bulk tanks that were last counted longer ago than the plant wants, with that count; None where never."""
    newest, limit = newest_counts(), stock_figures(now).count_due_days
    found: list[tuple[Place, StockCount | None]] = []
    for place in Place.objects.filter(kind=Place.Kind.BULK_TANK).order_by("code"):
        count = newest.get(place.pk)
        if count is None or now - count.counted_at > timedelta(days=limit):
            found.append((place, count))
    return found


# --- the balance between two counts -----------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class DayBalance:
    """One tank from one count to the last count of a later day; ``opening`` None: from the empty tank of the first movement on."""

    place: Place
    day: date
    opening: StockCount | None
    closing: StockCount
    balance: Balance
    booked_kg: float
    """What was booked as unexplained at the closing count, below zero missing."""

    @property
    def days(self) -> int:
        """Days of the plant since the opening count; 0 for the first."""
        return 0 if self.opening is None else (self.day - plant_day(self.opening.counted_at)).days


def day_balances(place: Place, start: date, end: date) -> list[DayBalance]:
    """Daily reconciliation of a tank for the days from ``start`` to ``end``, both in it, oldest first.

    Of a day with several counts the last one closes it. Days without a count have no row: the next count closes them all.
    """
    first, last = start_of_day(start), start_of_day(end + timedelta(days=1))
    inside = standing_counts().filter(place=place, counted_at__gte=first, counted_at__lt=last)
    closings = _last_of_days(inside.order_by("counted_at", "id"))
    earlier = (
        standing_counts().filter(place=place, counted_at__lt=first).order_by("-counted_at", "-id").first()
    )
    if not closings:
        return []
    opened = [earlier, *closings[:-1]]
    moves = _moves_about(place, earlier.counted_at if earlier else None, last)
    figures = stock_figures(last)
    return [
        _day_balance(place, opening, closing, moves, figures)
        for opening, closing in zip(opened, closings, strict=True)
    ]


def _last_of_days(rows: Iterable[StockCount]) -> list[StockCount]:
    by_day = {plant_day(count.counted_at): count for count in rows}
    return list(by_day.values())


def _moves_about(place: Place, since: datetime | None, until: datetime) -> list[Movement]:
    rows = Movement.objects.filter(
        Q(to_place=place) | Q(from_place=place), chemical=place.chemical, moved_at__lt=until
    )
    if since is not None:
        rows = rows.filter(moved_at__gte=since)
    return list(rows.select_related("from_place", "to_place").order_by("number"))


def _is_before(move: Movement, count: StockCount) -> bool:
    """As ``before`` says in the database."""
    if move.moved_at == count.counted_at:
        return move.number <= count.after_movement
    return bool(move.moved_at < count.counted_at)


def _day_balance(
    place: Place,
    opening: StockCount | None,
    closing: StockCount,
    moves: Sequence[Movement],
    figures: StockFigures,
) -> DayBalance:
    sums = dict.fromkeys(Place.Kind, 0)
    booked = 0
    for move in moves:
        sign = 1 if move.to_place_id == place.pk else -1
        other = move.from_place if sign > 0 else move.to_place
        if other.kind == Place.Kind.UNEXPLAINED:
            booked += sign * move.grams_100 if move.reference == closing.number else 0
        elif _is_before(move, closing) and not (opening is not None and _is_before(move, opening)):
            sums[Place.Kind(other.kind)] += sign * move.grams_100
    used = -sums[Place.Kind.BATCH] / 1000.0
    other_kg = (
        -sum(grams for kind, grams in sums.items() if kind not in (Place.Kind.SUPPLIER, Place.Kind.BATCH))
        / 1000.0
    )
    balance = Balance(
        opening_kg=(opening.found_grams_100 if opening else 0) / 1000.0,
        received_kg=sums[Place.Kind.SUPPLIER] / 1000.0,
        used_kg=used,
        other_kg=other_kg,
        closing_kg=closing.found_grams_100 / 1000.0,
        spread_kg=together(
            (opening.spread_grams_100 if opening else 0) / 1000.0, closing.spread_grams_100 / 1000.0
        ),
        watch_kg=watch_mass_kg(used, figures, closing.concentration_kg_per_m3),
    )
    return DayBalance(place, plant_day(closing.counted_at), opening, closing, balance, booked / 1000.0)


# --- usual use --------------------------------------------------------------------------------------------------------
def daily_use_kg(place: Place, now: datetime) -> list[float]:
    """What batches drew from a tank on each whole day before today [kg as 100 %], idle days as 0, oldest first; at most as many as
    the plant looks back, and none before the first movement."""
    here = calendar()
    today = here.day(now)
    start = today - timedelta(days=int(stock_figures(now).usual_use_days))
    first = Movement.objects.filter(Q(to_place=place) | Q(from_place=place)).order_by("moved_at").first()
    if first is None:
        return []
    start = max(start, here.day(first.moved_at) + timedelta(days=1))
    days = {start + timedelta(days=index): 0 for index in range(max((today - start).days, 0))}
    kind = Place.Kind.BATCH
    rows = Movement.objects.filter(
        Q(from_place=place, to_place__kind=kind) | Q(to_place=place, from_place__kind=kind),
        chemical=place.chemical,
        moved_at__gte=here.start(start),
        moved_at__lt=here.start(today),
    )
    for source, grams, moved_at in rows.values_list("from_place_id", "grams_100", "moved_at"):
        day = here.day(moved_at)
        if day in days:
            days[day] += grams if source == place.pk else -grams
    return [grams / 1000.0 for grams in days.values()]


def usual_use_of(place: Place, now: datetime) -> UsualUse | None:
    """The usual use of a day from the ledger; None where there is too little of it."""
    return usual_use(daily_use_kg(place, now))


def spread_grams(mass_grams: int, tolerance_frac: float) -> int:
    """What a weighed stock may be off, in whole grams, rounded up."""
    return math.ceil(mass_grams * tolerance_frac)
