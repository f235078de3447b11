"""Counts of the story: shapes from drawings, a level each morning, a leak that a second person booked, a level misread once, and
one difference of this morning that nobody has looked at yet."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any

from regenplant.chemicals import counts, levels
from regenplant.chemicals import services as chemicals
from regenplant.chemicals.models import Place, StockCount
from regenplant.chemicals.selectors import balance_grams
from regenplant.chemicals.services import GeometrySettings
from regenplant.core.engineering.tank_levels import level_of
from regenplant.plant.selectors import plant_day
from regenplant.web.story.cast import Stage
from regenplant.web.story.clockwork import Script

DAY, MINUTE = timedelta(days=1), timedelta(minutes=1)
COUNTED = ("hcl", "naoh", "nacl")
"""What is counted every morning."""
LEAKED_GRAMS = {4: ("naoh", 61_000)}
"""Days ago on which a count found so much less than the books, and somebody else booked it."""
MISREAD_DAYS = 2
WAITING = ("hcl", 47_000)
"""What this morning's count misses, and nobody has booked."""


def put_up_shapes(stage: Stage, at: datetime) -> None:
    """The shape and gauge of each bulk tank, from its drawing."""
    for item in stage.data["chemicals"]:
        shape: Mapping[str, Any] = item["shape"]
        chemicals.set_tank_geometry(
            by=stage.by("osk", at),
            place_id=stage.bulk_tanks[item["chemical"]],
            settings=GeometrySettings(**shape),
        )


def counting(stage: Stage, now: datetime) -> Script:
    """A count of the main tanks each morning of the last week."""
    last = now.replace(hour=5, minute=40, second=0, microsecond=0)
    if now - last < timedelta(hours=1):  # it is early: this morning's round has not been walked yet
        last -= DAY
    first = last - 6 * DAY
    for days in range(6, -1, -1):
        at = first + (6 - days) * DAY
        for chemical in COUNTED:
            at += 4 * MINUTE
            yield at
            missing = _missing(chemical, days)
            if chemical == "nacl" and days == MISREAD_DAYS:
                wrong = _count(stage, at, chemical, 0, days, misread_m=-0.40)
                at += 6 * MINUTE
                yield at
                _count(stage, at, chemical, 0, days, replaces=wrong.number)
                continue
            count = _count(stage, at, chemical, missing, days)
            if days in LEAKED_GRAMS and missing:
                at += 70 * MINUTE
                yield at
                _book(stage, at, count)


def expecting(stage: Stage, now: datetime) -> Script:
    """One delivery that should have come yesterday, and one on its way."""
    for days, chemical, order, due in ((6, "nacl", "PO-2041 / 1", -1), (1, "naoh", "PO-2047 / 2", 3)):
        at = now - days * DAY - 90 * MINUTE
        yield at
        kilograms = next(c["delivery_kg_100"] for c in stage.data["chemicals"] if c["chemical"] == chemical)
        chemicals.expect_delivery(
            by=stage.by("osk", at),
            place_id=stage.bulk_tanks[chemical],
            order_number=order,
            grams_100=kilograms * 1000,
            due_on=plant_day(now + due * DAY),
            supplier="Invented Basics",
        )


def _missing(chemical: str, days: int) -> int:
    leaked = LEAKED_GRAMS.get(days)
    if leaked is not None and leaked[0] == chemical:
        return leaked[1]
    return WAITING[1] if days == 0 and chemical == WAITING[0] else 0


def _count(
    stage: Stage,
    at: datetime,
    chemical: str,
    missing: int,
    days: int,
    misread_m: float = 0.0,
    replaces: str = "",
) -> StockCount:
    """The level of what the books say less what is missing, read to the millimetre, a little off each day."""
    place = Place.objects.get(pk=stage.bulk_tanks[chemical])
    geometry, there = levels.geometry_of(place), levels.strength_there(place)
    assert geometry is not None
    concentration = levels.concentration_there(chemical, there, 291.15).value
    volume = (balance_grams(chemical, place) - missing) / 1000.0 / concentration
    stands = level_of(levels.shape_of(geometry), volume) - geometry.zero_above_bottom_m
    level = round(stands + (days % 3 - 1) * 0.001 + misread_m, 3)
    outcome = chemicals.count_level(
        by=stage.by("tarn" if days % 2 else "sallow", at),
        place_id=place.pk,
        level_m=level,
        level_as_typed=f"{level:.3f}",
        unit_as_typed="m",
        temperature_kelvin=291.15,
        replaces=replaces,
        reason_category="slip" if replaces else "",
        reason="Read the upper edge of the float, not the mark." if replaces else "",
    )
    count: StockCount = outcome.result
    return count


def _book(stage: Stage, at: datetime, count: StockCount) -> None:
    chemicals.book_difference(
        by=stage.by("vale", at),
        number=count.number,
        gap_grams_100=counts.standing_of(count).gap_grams_100,
        category="leak",
        reason="Gland of the transfer pump dripped into its tray overnight. Tightened, tray emptied into the waste tank.",
    )
