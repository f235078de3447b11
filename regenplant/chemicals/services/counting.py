"""Acts on what stands in a tank: its shape, counts, and the difference that a second person books.

A count is a fact and moves nothing. What it lies off the books by more than it may be off itself waits until another person than
who counted looks at it and books it to "unexplained", with a reason. Written wrongly, a count is replaced by a new one.
"""

from __future__ import annotations

from dataclasses import dataclass

from django.db.models import Max

from regenplant import units
from regenplant.audit.by import By
from regenplant.audit.numbering import next_number
from regenplant.audit.reasons import SHORTEST_REASON, reason_of
from regenplant.audit.records import one_of, within, words_of
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.chemicals import counts
from regenplant.chemicals.levels import geometry_of, mass_at_level, shape_of, strength_there
from regenplant.chemicals.models import Movement, Place, StockCount, TankGeometry
from regenplant.chemicals.services._ledger import MOST_GRAMS, move, standing_place
from regenplant.chemicals.services.lots import COLDEST_KELVIN, HOTTEST_KELVIN
from regenplant.core.engineering.tank_levels import Ends, TankForm
from regenplant.core.errors import NotAllowed, RecordRefused, StaleRecord

DIFFERENCE_CATEGORIES: dict[str, str] = {
    "leak": "leak or spill",
    "meter": "meter or gauge",
    "unbooked": "use that nobody wrote down",
    "delivery": "delivery short or over",
    "unknown": "not known",
}
"""What a difference between books and tank may come from, by the code that is stored."""
MOST_WORDS = 160
"""Characters of the reason of a difference: with its category it fits the movement."""


@dataclass(frozen=True, slots=True)
class GeometrySettings:
    """The inside shape of a tank and the gauge that is read; lengths in m, ``table`` of (level [m], volume [m^3])."""

    form: str
    level_tolerance_m: float
    gauge: str
    origin: str
    ends: str = Ends.FLAT.value
    diameter_m: float = 0.0
    length_m: float = 0.0
    width_m: float = 0.0
    height_m: float = 0.0
    table: tuple[tuple[float, float], ...] = ()
    zero_above_bottom_m: float = 0.0
    volume_tolerance_frac: float = 0.0


def _tank(place_id: int) -> Place:
    place = Place.objects.select_for_update().filter(pk=place_id, kind=Place.Kind.BULK_TANK).first()
    if place is None:
        raise RecordRefused("Only a bulk tank is counted, and this one is not known here.", code="unknown")
    return place


def _shown(grams_100: int) -> str:
    return units.twin(grams_100 / 1000.0, "mass")


# --- shape ------------------------------------------------------------------------------------------------------------
@use_case("place.geometry_set", permission="plant.edit")
def set_tank_geometry(
    *, by: By, place_id: int, settings: GeometrySettings, number: int | None = None
) -> Outcome:
    """Write the shape of a tank, as its first or next version; ``result`` is the version. Counts keep the shape they were made with.

    ``number`` is the version the page showed, 0 for none. Raises: RecordRefused, OutOfRange for a shape that cannot be or that holds
    less than the tank's capacity; StaleRecord.
    """
    place = _tank(place_id)
    newest = geometry_of(place)
    stands = newest.number if newest is not None else 0
    if number is not None and number != stands:
        raise StaleRecord(
            f"The shape of {place.code} was written anew since you opened it: version {stands} stands. Look at it, then write again.",
            seen=number,
            present=stands,
        )
    one_of(settings.form, [form.value for form in TankForm], "The shape", field="form")
    one_of(settings.ends, [ends.value for ends in Ends], "The ends", field="ends")
    within(
        settings.level_tolerance_m,
        0.0005,
        0.2,
        "The tolerance of the gauge",
        "length",
        field="level_tolerance_m",
    )
    within(
        settings.zero_above_bottom_m,
        0.0,
        2.0,
        "The height of the gauge’s zero",
        "length",
        field="zero_above_bottom_m",
    )
    within(
        settings.volume_tolerance_frac,
        0.0,
        0.2,
        "The tolerance of the tank",
        "fraction",
        field="volume_tolerance_frac",
    )
    geometry = TankGeometry(
        place=place,
        number=stands + 1,
        form=settings.form,
        ends=settings.ends,
        diameter_m=settings.diameter_m,
        length_m=settings.length_m,
        width_m=settings.width_m,
        height_m=settings.height_m,
        table=[list(row) for row in settings.table],
        gauge=words_of(settings.gauge, "What is read", field="gauge", most=60, least=2),
        zero_above_bottom_m=settings.zero_above_bottom_m,
        level_tolerance_m=settings.level_tolerance_m,
        volume_tolerance_frac=settings.volume_tolerance_frac,
        origin=words_of(settings.origin, "Where the figures come from", field="origin", most=160, least=5),
        written_at=by.at,
        written_by=by.user,
    )
    full = shape_of(geometry).full_volume_m3
    most = full * (1.0 + settings.volume_tolerance_frac)
    if place.capacity_m3 is not None and place.capacity_m3 > most:
        raise RecordRefused(
            f"This shape holds {units.twin(full, 'liquid_volume')}, the capacity of {place.code} is set to "
            f"{units.twin(place.capacity_m3, 'liquid_volume')}. One of the two is wrong: look at the drawing, then write both.",
            field="diameter_m",
            code="holds_less",
        )
    geometry.save()
    return Outcome(
        subject=("place", str(place.pk), place.code),
        before={"geometry": stands} if stands else {},
        after={"geometry": geometry.number, "form": geometry.form},
        facts={
            "form": TankForm(geometry.form).label,
            "number": geometry.number,
            "holds": units.twin(full, "liquid_volume"),
            "gauge": geometry.gauge,
            "tolerance": units.twin(geometry.level_tolerance_m, "length"),
        },
        reason=geometry.origin,
        result=geometry,
    )


# --- counts -----------------------------------------------------------------------------------------------------------
@use_case("chemical.level_counted", permission="chemical.count")
def count_level(
    *,
    by: By,
    place_id: int,
    level_m: float,
    level_as_typed: str,
    unit_as_typed: str,
    temperature_kelvin: float,
    note: str = "",
    replaces: str = "",
    reason_category: str = "",
    reason: str = "",
) -> Outcome:
    """A count by the level in a tank. ``result`` is the count; it moves nothing, whatever it finds.

    ``level_m`` is what the gauge shows. ``replaces`` is the number of a count that was wrong, with the reason. Raises: RecordRefused
    without a shape, without a checked strength or for an unknown density; OutOfRange for a level outside the tank.
    """
    place = _tank(place_id)
    geometry = geometry_of(place)
    if geometry is None:
        raise RecordRefused(
            f"The shape of {place.code} is not on record, so its level says no volume. A supervisor writes it under Chemicals, Tanks, "
            f"{place.code}, “Shape and gauge”; or count by weight.",
            code="no_geometry",
        )
    within(
        temperature_kelvin, COLDEST_KELVIN, HOTTEST_KELVIN, "The temperature in the tank", "temperature",
        field="temperature_kelvin",
    )  # fmt: skip
    there = strength_there(place)
    found = mass_at_level(place, geometry, there, level_m, temperature_kelvin)
    count = _write_count(
        by,
        place,
        found.found_grams_100,
        found.spread_grams_100,
        replaces,
        (reason_category, reason),
        method=StockCount.Method.LEVEL.value,
        geometry=geometry,
        value_as_typed=words_of(level_as_typed, "The level", field="level", most=40, least=1),
        unit_as_typed=words_of(unit_as_typed, "The unit", field="level", most=40),
        level_m=level_m,
        temperature_kelvin=temperature_kelvin,
        strength_frac=there.strength_frac,
        strength_of=there.lots[:60],
        concentration_kg_per_m3=found.concentration.value,
        volume_m3=found.volume.value,
        note=words_of(note, "The note", field="note", most=200),
    )
    return _counted(count, how=f"{level_as_typed} {unit_as_typed}".strip())


@use_case("chemical.stock_counted", permission="chemical.count")
def count_stock(
    *,
    by: By,
    place_id: int,
    counted_grams_100: int,
    reason: str,
    replaces: str = "",
    reason_category: str = "",
    replace_reason: str = "",
) -> Outcome:
    """What was found in a bulk tank that was weighed or measured out; ``reason`` says how. ``result`` is the count; it moves nothing.

    Its spread is the plant's figure for a weighed stock. Raises: RecordRefused, OutOfRange.
    """
    place = _tank(place_id)
    within(counted_grams_100 / 1000.0, 0.0, MOST_GRAMS / 1000.0, "The stock found", "mass", field="quantity")
    words = words_of(reason, "The note", field="reason", most=200, least=5)
    count = _write_count(
        by,
        place,
        counted_grams_100,
        counts.spread_grams(counted_grams_100, counts.stock_figures(by.at).weighed_tolerance_frac),
        replaces,
        (reason_category, replace_reason),
        method=StockCount.Method.AMOUNT.value,
        note=words,
    )
    return _counted(count, how=words)


def _write_count(
    by: By, place: Place, found: int, spread: int, replaces: str, why: tuple[str, str], **values: object
) -> StockCount:
    highest = Movement.objects.aggregate(highest=Max("number"))["highest"] or 0
    old, reason = _replaced(place, replaces, why)
    return StockCount.objects.create(
        number=next_number(StockCount, "number", "C", 10001),
        place=place,
        found_grams_100=found,
        spread_grams_100=spread,
        books_grams_100=counts.books_grams(place, by.happened_at, highest),
        after_movement=highest,
        counted_at=by.happened_at,
        written_at=by.at,
        counted_by=by.user,
        replaces=old,
        **reason,
        **values,
    )


def _replaced(place: Place, number: str, why: tuple[str, str]) -> tuple[StockCount | None, dict[str, str]]:
    """The count that a new one takes the place of, and the reason. What was booked for it is taken back first."""
    if not number:
        return None, {}
    old = StockCount.objects.filter(place=place, number=number).first()
    if old is None:
        raise RecordRefused(f"Count {number} of {place.code} is not known here.", code="unknown")
    later = StockCount.objects.filter(replaces=old).first()
    if later is not None:
        raise StaleRecord(f"Count {number} was replaced already, by {later.number}.", code="replaced")
    if counts.standing_of(old).booked_grams_100:
        raise RecordRefused(
            f"What {number} found was booked. Take that movement back first, then replace the count.",
            code="booked",
        )
    reason = reason_of(*why, "what was wrong with the count", field="replace_reason")
    return old, {"reason_category": reason.category, "reason": reason.words}


def _counted(count: StockCount, *, how: str) -> Outcome:
    gap = count.gap_grams_100
    verdict = "they agree" if count.is_within else "they differ; a second person looks at it"
    return Outcome(
        subject=("stock_count", count.number, count.number),
        before={"grams_100": count.books_grams_100},
        after={"grams_100": count.found_grams_100},
        facts={
            "tank": count.place.code,
            "found": _shown(count.found_grams_100),
            "books": _shown(count.books_grams_100),
            "spread": _shown(count.spread_grams_100),
            "gap_grams_100": gap,
            "is_within": count.is_within,
            "how": how,
            "verdict": verdict,
            "replaces": f"; it replaces {count.replaces.number}" if count.replaces else "",
        },
        reason=count.reason or (count.note if count.method == StockCount.Method.AMOUNT else ""),
        related=(
            ("place", str(count.place_id)),
            *((("stock_count", count.replaces.number),) if count.replaces else ()),
        ),
        result=count,
    )


# --- the difference ---------------------------------------------------------------------------------------------------
@use_case("chemical.difference_booked", permission="chemical.correct")
def book_difference(*, by: By, number: str, gap_grams_100: int, category: str, reason: str) -> Outcome:
    """Book what a count lies off the books to or from "unexplained", as the second person. ``result`` is the movement.

    ``gap_grams_100`` is the difference the page showed. The movement is of the moment of the count. Raises: NotAllowed for who
    counted; RecordRefused for an older or replaced count, or a difference the count cannot tell from nothing; StaleRecord when
    entries changed the difference since it was shown.
    """
    count = counts.counts().filter(number=number).first()
    if count is None:
        raise RecordRefused("This count is not known here.", code="unknown")
    _tank(count.place_id)
    if count.counted_by_id == by.user.pk:
        raise NotAllowed(
            f"You counted {number} yourself. A second person looks at the tank and books the difference.",
            code="own_work",
        )
    stands = counts.standing_of(count)
    _refuse_unbookable(stands, gap_grams_100)
    one_of(category, list(DIFFERENCE_CATEGORIES), "The kind of reason", field="category")
    words = words_of(reason, "The reason", field="reason", most=MOST_WORDS, least=SHORTEST_REASON)
    unexplained = standing_place(Place.Kind.UNEXPLAINED)
    source, target = (unexplained, count.place) if gap_grams_100 > 0 else (count.place, unexplained)
    sentence = f"{DIFFERENCE_CATEGORIES[category]}: {words}"
    movement = move(
        by=by,
        chemical=count.place.chemical,
        lot=None,
        from_place=source,
        to_place=target,
        grams_100=abs(gap_grams_100),
        reference=count.number,
        reason=sentence,
        moved_at=count.counted_at,
    )
    return Outcome(
        subject=("stock_count", count.number, count.number),
        after={"grams_100": gap_grams_100},
        facts={
            "shown": _shown(abs(gap_grams_100)),
            "side": "more than" if gap_grams_100 > 0 else "less than",
            "tank": count.place.code,
            "counted_by": count.counted_by.full_name,
            "category": category,
        },
        reason=sentence,
        related=(("movement", str(movement.number)), ("place", str(count.place_id))),
        result=movement,
    )


def _refuse_unbookable(stands: counts.CountStanding, shown: int) -> None:
    count = stands.count
    if stands.is_replaced or not stands.is_newest:
        raise RecordRefused(
            f"{count.number} is not the newest count of {count.place.code} that stands. Look at the newest one.",
            code="older",
        )
    if stands.gap_grams_100 != shown:
        raise StaleRecord(
            f"Entries of that time were written since: {count.number} differs by {_shown(stands.gap_grams_100)} now, "
            f"{_shown(shown)} were shown. Look again.",
            seen=shown,
            present=stands.gap_grams_100,
        )
    if not stands.is_open:
        raise RecordRefused(
            f"{count.number} differs from the books by {_shown(stands.gap_grams_100)}, and it may be off by {_shown(count.spread_grams_100)}: "
            "that is no difference, and nothing is booked.",
            code="within",
        )


say(
    "place.geometry_set",
    "The shape of {subject} was written as version {number}: {form}, holds {holds}; read at {gauge}, ± {tolerance} ({reason})",
)
_COUNTED = "{tank} was counted ({subject}, {how}): {found} found, ± {spread}, {books} in the books, as 100 %; {verdict}{replaces}"
say("chemical.level_counted", _COUNTED)


def _stock_counted(subject: str, stored: dict[str, object]) -> str:
    """Also as it read before counts were rows of their own."""
    facts: dict[str, object] = stored.get("facts", {})  # type: ignore[assignment]
    if "tank" not in facts:
        return f"{subject} was counted: {facts.get('found', '–')} found, {facts.get('books', '–')} in the books, as 100 %"
    return _COUNTED.format(subject=subject, **facts)


say("chemical.stock_counted", _stock_counted)
say(
    "chemical.difference_booked",
    "What {subject} by {counted_by} found in {tank}, {shown} {side} the books, was booked as unexplained ({reason})",
)
