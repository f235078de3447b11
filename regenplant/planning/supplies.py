"""Chemicals as a plan may reckon with them: what stands there for use, what must stay, what is expected with its day, when it is usable.

Nothing that is not sure counts. A delivery counts from the day after the one it is expected for, when it is surely unloaded, and only
as far as it has room beside what stands in its tank now; what is overdue counts from nowhere until it is received.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from regenplant.batches.selectors.chemical_needs import needs
from regenplant.chemicals.expected import expected
from regenplant.chemicals.models import ExpectedDelivery
from regenplant.chemicals.room import room_for
from regenplant.chemicals.selectors import stock_data
from regenplant.core.process.plan import StockData
from regenplant.core.process.vocabulary import Chemical
from regenplant.core.scheduling.problem import BY_HAND_LINES, ChemicalSupply, Delivery, Window
from regenplant.planning.clock import DAY_MIN, PlanClock
from regenplant.planning.figures import PlanningFigures
from regenplant.plant.days import plant_day, start_of_day
from regenplant.plant.models import Skid

LOWEST_GRAMS = 1
"""Less room than this is none."""


@dataclass(frozen=True, slots=True)
class Counted:
    """One expected delivery as a plan reckons with it."""

    row: ExpectedDelivery
    chemical: str
    at: datetime
    """From when it counts."""
    grams_100: int
    """As much of it as counts."""


@dataclass(frozen=True, slots=True)
class Expectation:
    """What is on its way: what counts, and of the rest why not, each a sentence."""

    counted: tuple[Counted, ...] = ()
    said: tuple[str, ...] = field(default=())


def supplies(
    now: datetime, clock: PlanClock, figures: PlanningFigures, at_work: Collection[str], assumed: list[str]
) -> dict[str, ChemicalSupply]:
    """By value of ``Chemical``. ``at_work`` are the numbers of the batches whose coming draws the problem knows itself; what others
    still draw, and what runs through a skid now and is not in the books yet, is kept for them. Sentences are added to ``assumed``."""
    lines = dict.fromkeys((chemical.value for chemical in Chemical), BY_HAND_LINES)
    skids = list(Skid.objects.filter(is_active=True))
    for name in {skid.chemical for skid in skids}:
        lines[name] = sum(skid.chemical == name and not skid.lock_out_reason for skid in skids)
    stock = stock_data(now)
    coming = on_their_way(now)
    assumed.extend(coming.said)
    spoken_for = _spoken_for(at_work, assumed)
    found = {}
    for name, count in lines.items():
        held = stock.get(name)
        deliveries = tuple(
            Delivery(clock.minute(one.at), one.grams_100 / 1000)
            for one in coming.counted
            if one.chemical == name and clock.minute(one.at) < clock.end_min
        )
        unusable = _unusable(name, held, clock, figures, assumed) if held is not None else ()
        if held is None and deliveries:
            assumed.append(
                f"{Chemical(name).label}: no lot is in use; the one that comes is sampled and put in use when it is unloaded."
            )
        there = held.available_kg_100 if held is not None else 0.0
        found[name] = ChemicalSupply(
            skid_lines=count,
            initial_kg=max(0.0, there - spoken_for.get(name, 0.0)),
            min_kg=figures.stays_kg.get(name, 0.0),
            deliveries=deliveries,
            unusable=unusable,
        )
    assumed.extend(_may_be_emptied(found, figures))
    return found


def left_for_plans(now: datetime) -> dict[str, float]:
    """What stands there for use less everything that open batches still draw, by value of ``Chemical`` [kg as 100 %]; may be below
    nothing, where they need more than there is."""
    taken: dict[str, float] = defaultdict(float)
    for need in needs():
        taken[need.chemical] += need.kg_100
    return {name: held.available_kg_100 - taken[name] for name, held in stock_data(now).items()}


def on_their_way(now: datetime) -> Expectation:
    """Expected deliveries as a plan reckons with them, soonest first."""
    today = plant_day(now)
    counted: list[Counted] = []
    said: list[str] = []
    into: dict[int, int] = defaultdict(int)
    stock = stock_data(now)
    for row in expected():
        chemical = row.place.chemical
        name = f"{row.number}, {row.grams_100 / 1000:,.0f} kg {Chemical(chemical).label.lower()} as 100 % for {row.place.code}"
        if row.due_on < today:
            said.append(f"{name}, was due {row.due_on}: it counts when it is received, not before.")
            continue
        room = _room_grams(row, into[row.place_id], stock.get(chemical))
        counts = row.grams_100 if room is None else min(row.grams_100, room)
        into[row.place_id] += counts
        at = start_of_day(row.due_on + timedelta(days=1))
        if counts < LOWEST_GRAMS:
            said.append(f"{name}, is expected {row.due_on} and has no room beside what stands there now: it does not count.")  # fmt: skip
            continue
        part = ""
        if room is None:
            part = "; whether it has room is not known"
        elif counts < row.grams_100:
            part = f", {counts / 1000:,.0f} kg of it: more has no room beside what stands there now"
        said.append(f"{name}, is expected {row.due_on} and counts from the day after{part}.")
        counted.append(Counted(row, chemical, at, counts))
    return Expectation(tuple(counted), tuple(said))


def _room_grams(row: ExpectedDelivery, before_grams: int, held: StockData | None) -> int | None:
    """How much of it the tank takes beside what stands there now and what comes before it [g as 100 %], at the strength of what is
    drawn; None where that cannot be said."""
    if held is None:
        return None
    room = room_for(row.place.chemical, row.place, held.strength_frac, row.grams_100 + before_grams)
    if room is None or room.coming <= 0.0:
        return None
    free_frac = max(0.0, room.takes - room.rest) / room.coming
    return max(0, int(free_frac * (row.grams_100 + before_grams)) - before_grams)


def _spoken_for(at_work: Collection[str], assumed: list[str]) -> Mapping[str, float]:
    """Kilograms of each chemical that batches take which the problem does not know of, or that left a tank and is not booked yet."""
    kilograms: dict[str, float] = defaultdict(float)
    others: dict[str, list[str]] = defaultdict(list)
    for need in needs():
        if need.is_drawing or need.batch not in at_work:
            kilograms[need.chemical] += need.kg_100
            if need.batch not in others[need.chemical]:
                others[need.chemical].append(need.batch)
    assumed.extend(
        f"{kilograms[name]:,.0f} kg {Chemical(name).label.lower()} as 100 % are kept for what {', '.join(batches)} "
        f"{'draws' if len(batches) == 1 else 'draw'} now or later."
        for name, batches in sorted(others.items())
    )
    return kilograms


def _unusable(
    name: str, held: StockData, clock: PlanClock, figures: PlanningFigures, assumed: list[str]
) -> tuple[Window, ...]:
    """From the end of the last strength check to when people can have made the next one."""
    age = held.check_age_days
    left_days = 0.0 if age is None else max(0.0, held.max_check_age_days - age)
    expires = clock.now_min + int(left_days * DAY_MIN) // clock.slot_min * clock.slot_min
    if expires >= clock.end_min:
        return ()
    opening = clock.openings(figures.working_times)
    renewed = next((window.start_min for window in opening if window.end_min > expires), clock.end_min)
    renewed = max(renewed, expires) + figures.strength_check_min
    assumed.append(
        f"The strength of {Chemical(name).label.lower()} is checked before its last check ends, {clock.words(expires)}."
        if age is not None and left_days > 0.0
        else f"The strength of {Chemical(name).label.lower()} is checked in the next opening."
    )
    return (Window(expires, renewed),)


def _may_be_emptied(found: Mapping[str, ChemicalSupply], figures: PlanningFigures) -> list[str]:
    """Of which chemicals nobody recorded what must stay, as one sentence."""
    names = [
        Chemical(name).label.lower()
        for name, supply in found.items()
        if name not in figures.stays_kg and (supply.initial_kg or supply.deliveries)
    ]
    if not names:
        return []
    return [f"Nobody recorded what must stay in the tanks of {', '.join(names)}: a plan may take all of it."]
