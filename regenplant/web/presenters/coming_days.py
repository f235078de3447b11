"""The coming two weeks in words, drawings and tables: what to order by when, which day needs overtime, what binds."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from regenplant import units
from regenplant.chemicals.counts import stock_figures
from regenplant.core.process.stock_forecast import Z_90
from regenplant.core.process.vocabulary import Chemical, WaterKind
from regenplant.core.scheduling.days_ahead import Asked, bottleneck, whole
from regenplant.drawing.coming_days import HoursLine, StockLine, hours_scene, stock_scene
from regenplant.drawing.scene import Scene
from regenplant.planning.coming import ComingDays, DayAhead
from regenplant.planning.stocks_ahead import TankAhead
from regenplant.planning.usual_load import OPERATORS, TECHNICIANS, Thing, ThingKind
from regenplant.plant.limits import version_in_force
from regenplant.units import UnitSystem
from regenplant.web.presenters.words import counted, joined, sentence_case

LEAST_OVERTIME_H = 0.25
"""Less is told in the table only."""
MOST_NAMED = 4
MOST_BINDING = 12


@dataclass(frozen=True, slots=True)
class StockShown:
    """One tank with its drawing."""

    name: str
    code: str
    scene: Scene
    says: tuple[str, ...]
    is_urgent: bool


@dataclass(frozen=True, slots=True)
class StockCell:
    """What one tank likely holds on a day, and the least of nine courses in ten."""

    likely: str
    fewest: str
    is_low: bool


@dataclass(frozen=True, slots=True)
class PeopleCell:
    """Hours of people of one kind on a day."""

    asked: str
    there: str
    over: str
    """Hours beyond the working hours; "" for none."""


@dataclass(frozen=True, slots=True)
class DayRow:
    """One day in the tables."""

    day: date
    source: str
    stocks: tuple[StockCell, ...]
    people: tuple[PeopleCell, ...]
    binds: str


@dataclass(frozen=True, slots=True)
class BindRow:
    """One thing that is shared: which share of it is asked, by the plan and by the record."""

    what: str
    by_plan: str
    by_record: str
    busiest: str
    is_bottleneck: bool


@dataclass(frozen=True, slots=True)
class ComingShown:
    """The page."""

    sentence: str
    stocks: tuple[StockShown, ...]
    people: tuple[tuple[str, Scene], ...]
    heads: tuple[str, ...]
    """Codes of the tanks with the unit, as they stand over the columns."""
    rows: tuple[DayRow, ...]
    binds: tuple[BindRow, ...]
    left_off: int
    rests: tuple[str, ...]
    is_empty: bool


def coming_shown(found: ComingDays, now: datetime, system: UnitSystem) -> ComingShown:
    """Everything that is shown."""
    lead_days = int(stock_figures(now).delivery_days)
    orders = [_order(tank, found, lead_days) for tank in found.tanks]
    binds = list(_binds(found))
    return ComingShown(
        sentence=_sentence(found, orders),
        stocks=tuple(
            _stock(tank, order, found, system) for tank, order in zip(found.tanks, orders, strict=True)
        ),
        people=() if found.is_empty else tuple(_people(found)),
        heads=tuple(f"{tank.place.code}, {units.unit_text('mass', system)}" for tank in found.tanks),
        rows=tuple(_row(number, day, found, system) for number, day in enumerate(found.days)),
        binds=tuple(binds[:MOST_BINDING]),
        left_off=max(0, len(binds) - MOST_BINDING),
        rests=tuple(_rests(found, lead_days, now)),
        is_empty=found.is_empty,
    )


def csv_rows(found: ComingDays) -> Iterator[list[str | int | float | None]]:
    """A head and a row for each day; masses in kg as 100 %, people in hours."""
    head: list[str | int | float | None] = ["Day", "From"]
    for tank in found.tanks:
        head += [
            f"{tank.place.code}, kg as 100 %",
            f"{tank.place.code}, 1 in 20 fewer than, kg",
            f"{tank.place.code}, low mark, kg",
        ]
    for name in ("Operators", "Technicians"):
        head += [
            f"{name} needed, h",
            f"{name}, spread of single days, h",
            f"{name} working, h",
            f"{name} beyond, h",
        ]
    yield [*head, "Most of it asked of", "Share, %"]
    for number, day in enumerate(found.days):
        line: list[str | int | float | None] = [day.day.isoformat(), source_of(day, found)]
        for tank in found.tanks:
            line += [
                round(tank.forecast.level_kg(number), 1),
                round(tank.forecast.level_kg(number, Z_90), 1),
                round(tank.forecast.low_kg, 1),
            ]
        for thing in (OPERATORS, TECHNICIANS):
            asked = day.asked.get(thing)
            there = asked.there if asked is not None else None
            line += [
                None if asked is None else round(asked.asked, 2),
                round(day.spread[thing], 2) if thing in day.spread else None,
                None if there is None else round(there, 2),
                round(day.overtime_h.get(thing, 0.0), 2),
            ]
        thing_name = _most_asked(day)
        share = day.asked[thing_name].share_frac if thing_name else None
        yield [
            *line,
            name_of(thing_name) if thing_name else "",
            None if share is None else round(100 * share, 1),
        ]


# --- stocks ---------------------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class _Order:
    """Until when to order; ``by`` None where not within these days."""

    by: date | None
    is_now: bool
    low_on: date | None
    """When the stock likely falls under its low mark, within these days."""


def _order(tank: TankAhead, found: ComingDays, lead_days: int) -> _Order:
    first, last = found.days[0].day, found.days[-1].day
    made = tank.forecast
    early = 0 if made.held_kg < made.low_kg else made.low.early_days
    likely = made.low.likely_days
    low_on = first + timedelta(days=likely) if likely is not None else None
    by = first + timedelta(days=max(0, early - lead_days)) if early is not None else None
    return _Order(
        by if by is not None and by <= last else None,
        early is not None and early <= lead_days,
        low_on if low_on is not None and low_on <= last else None,
    )


def _stock(tank: TankAhead, order: _Order, found: ComingDays, system: UnitSystem) -> StockShown:
    made, count = tank.forecast, len(found.days)

    def course(z: float) -> list[float]:
        return [max(0.0, units.shown_value(made.level_kg(day, z), "mass", system)) for day in range(count)]

    first = found.days[0].day
    name = Chemical(tank.place.chemical).label
    says = [_low_words(tank, order), _order_words(order)]
    says += [
        f"{row.number}: {units.format_quantity(row.grams_100 / 1000.0, 'mass', system)} as 100 % "
        + (
            f"was due {row.due_on} and does not count until it is received."
            if row.due_on < first
            else f"is expected {row.due_on} and counts from the day after."
        )
        for row in tank.awaited
    ]
    if made.usual is None:
        says.append("The ledger has too few days with use to say a usual one.")
    line = StockLine(
        name=f"{name}, {tank.place.code}, as 100 %",
        days=[day.day for day in found.days],
        likely=course(0.0),
        fewest=course(Z_90),
        most=course(-Z_90),
        low=units.shown_value(made.low_kg, "mass", system),
        planned=sum(made.is_planned(day) for day in range(count)),
        arrivals=[((row.due_on - first).days + 1, row.number) for row in tank.awaited if row.due_on >= first],
        unit=units.unit_text("mass", system),
    )
    return StockShown(name, tank.place.code, stock_scene(line), tuple(filter(None, says)), order.is_now)


def _low_words(tank: TankAhead, order: _Order) -> str:
    if tank.forecast.low_kg <= 0.0:
        return "No low mark is recorded for this tank, so nothing says when to order."
    if tank.forecast.held_kg < tank.forecast.low_kg:
        return "It stands under its low mark now."
    if order.low_on is None:
        return "It likely stays above its low mark in these days."
    return f"It likely falls under its low mark on {order.low_on:%a %Y-%m-%d}."


def _order_words(order: _Order) -> str:
    if order.is_now:
        return "Order now."
    return f"Order until {order.by:%a %Y-%m-%d}." if order.by is not None else ""


# --- people and what binds --------------------------------------------------------------------------------------------------
def name_of(thing: Thing) -> str:
    """What it is called."""
    match thing.kind:
        case ThingKind.VESSEL:
            return thing.name
        case ThingKind.SKID:
            return f"{Chemical(thing.name).label} skid"
        case ThingKind.WATER:
            return sentence_case(WaterKind(thing.name).label)
        case ThingKind.WASTE:
            return "Waste room"
        case ThingKind.OPERATORS:
            return "Operators"
        case ThingKind.TECHNICIANS:
            return "QC technicians"


def source_of(day: DayAhead, found: ComingDays) -> str:
    """Where the figures of people and vessels of a day come from."""
    if day.is_planned:
        return f"plan {found.plan}"
    return "usual load" if day.asked else "nothing says"


def _people(found: ComingDays) -> Iterator[tuple[str, Scene]]:
    for thing in (OPERATORS, TECHNICIANS):
        asked = [day.asked.get(thing) for day in found.days]
        line = HoursLine(
            name=name_of(thing),
            days=[day.day for day in found.days],
            asked=[None if one is None else one.asked for one in asked],
            there=[None if one is None else one.there for one in asked],
            over=[day.overtime_h.get(thing, 0.0) for day in found.days],
            planned=found.planned_days,
        )
        yield f"{name_of(thing)}, hours a day", hours_scene(line)


def _number(kilograms: float, system: UnitSystem) -> str:
    """A mass without its unit, which stands over the column; nothing is less than nothing."""
    return units.format_shown(units.shown_value(max(0.0, kilograms), "mass", system), "mass", system)


def _hours(value: float | None) -> str:
    return "–" if value is None else units.format_number(value, digits=4, decimals=1)


def _row(number: int, day: DayAhead, found: ComingDays, system: UnitSystem) -> DayRow:
    stocks = []
    for tank in found.tanks:
        likely, fewest = tank.forecast.level_kg(number), tank.forecast.level_kg(number, Z_90)
        stocks.append(
            StockCell(
                _number(likely, system),
                _number(fewest, system),
                likely < tank.forecast.low_kg,
            )
        )
    people = []
    for thing in (OPERATORS, TECHNICIANS):
        asked, over = day.asked.get(thing), day.overtime_h.get(thing, 0.0)
        spread = f" ± {_hours(day.spread[thing])}" if thing in day.spread else ""
        people.append(
            PeopleCell(
                f"{_hours(asked.asked)}{spread}" if asked else "–",
                _hours(asked.there if asked else None),
                f"{_hours(over)} h" if over >= LEAST_OVERTIME_H else "",
            )
        )
    most = _most_asked(day)
    binds = f"{name_of(most)} {_percent(day.asked[most])}" if most else "–"
    return DayRow(day.day, source_of(day, found), tuple(stocks), tuple(people), binds)


def _most_asked(day: DayAhead) -> Thing | None:
    by_name = {name_of(thing): thing for thing in day.asked}
    return by_name.get(bottleneck({name_of(thing): one for thing, one in day.asked.items()}))


def _percent(asked: Asked) -> str:
    share = asked.share_frac
    return "–" if share is None else f"{100 * share:.0f} %"


def _together(found: ComingDays, *, planned: bool) -> dict[Thing, Asked]:
    days = [day for day in found.days if day.is_planned is planned]
    things = dict.fromkeys(thing for day in days for thing in day.asked)
    return {thing: whole(day.asked[thing] for day in days if thing in day.asked) for thing in things}


def _binds(found: ComingDays) -> Iterator[BindRow]:
    """Things of which anything is asked, the most asked first."""
    by_plan, by_record = _together(found, planned=True), _together(found, planned=False)
    firsts = {
        bottleneck({name_of(thing): one for thing, one in part.items()}) for part in (by_plan, by_record)
    }

    def most(thing: Thing) -> float:
        return max(
            (part[thing].share_frac or 0.0 for part in (by_plan, by_record) if thing in part), default=0.0
        )

    for thing in sorted({**by_plan, **by_record}, key=lambda one: (-most(one), name_of(one))):
        in_plan, in_record = by_plan.get(thing), by_record.get(thing)
        if not any(part and part.asked for part in (in_plan, in_record)):
            continue
        busiest = max(
            found.days, key=lambda day: (day.asked[thing].share_frac or 0.0) if thing in day.asked else 0.0
        )
        yield BindRow(
            name_of(thing),
            _share_words(in_plan),
            _share_words(in_record),
            f"{busiest.day:%a %Y-%m-%d}, {_percent(busiest.asked[thing])}"
            if thing in busiest.asked and busiest.asked[thing].share_frac
            else "–",
            name_of(thing) in firsts,
        )


def _share_words(asked: Asked | None) -> str:
    if asked is None:
        return "–"
    if asked.there is None:
        return "not known what is there"
    if not asked.there:
        return "out of use" if asked.asked else "–"
    return _percent(asked)


# --- in words ---------------------------------------------------------------------------------------------------------------
def _sentence(found: ComingDays, orders: Sequence[_Order]) -> str:
    """What to do."""
    now = [tank.place.code for tank, order in zip(found.tanks, orders, strict=True) if order.is_now]
    later = [
        f"{tank.place.code} until {order.by:%a %m-%d}"
        for tank, order in zip(found.tanks, orders, strict=True)
        if order.by is not None and not order.is_now
    ]
    parts = []
    if now or later:
        parts.append(" and ".join(filter(None, (f"Order now for {joined(now)}" if now else "", f"order for {joined(later)}" if later else ""))) + ".")  # fmt: skip
    elif found.tanks:
        parts.append("Nothing has to be ordered in these two weeks.")
    late = [row.number for tank in found.tanks for row in tank.awaited if row.due_on < found.days[0].day]
    if late:
        parts.append(
            f"{joined(late)} {'is' if len(late) == 1 else 'are'} overdue: ask for {'it' if len(late) == 1 else 'them'}."
        )
    parts.append(_overtime_words(found))
    parts.append(_bottleneck_words(found))
    words = " ".join(filter(None, parts))
    return (
        words[:1].upper() + words[1:]
        if words
        else "No chemical tank, no plan and no record: nothing can be said yet."
    )


def _overtime_words(found: ComingDays) -> str:
    if found.is_empty:
        return "Nothing is known of people and vessels: no plan was accepted and the record is too short."
    days = []
    for day in found.days:
        own = [
            f"{_hours(hours)} h of {name_of(thing).lower().replace('qc', 'QC')}"
            for thing, hours in day.overtime_h.items()
            if hours >= LEAST_OVERTIME_H
        ]
        if own:
            days.append(
                f"{day.day:%a %m-%d} ({', '.join(own)}, {'plan' if day.is_planned else 'usual load'})"
            )
    if not days:
        return "No day needs overtime."
    more = f" and {len(days) - MOST_NAMED} more" if len(days) > MOST_NAMED else ""
    return f"Overtime: {'; '.join(days[:MOST_NAMED])}{more}."


def _bottleneck_words(found: ComingDays) -> str:
    parts = []
    for planned, where in ((True, "in the plan"), (False, "by the usual load")):
        own = _together(found, planned=planned)
        together = {name_of(thing): one for thing, one in own.items()}
        name = bottleneck(together)
        if not name:
            continue
        vessels = {one.name: asked for one, asked in own.items() if one.kind is ThingKind.VESSEL}
        vessel = bottleneck(vessels)
        beside = (
            f" (of the vessels {vessel}, {_percent(vessels[vessel])})" if vessel not in ("", name) else ""
        )
        parts.append(f"{name} with {_percent(together[name])}{beside} {where}")
    return f"The bottleneck is {joined(parts)}." if parts else ""


def _rests(found: ComingDays, lead_days: int, now: datetime) -> Iterator[str]:
    """What the figures rest on, each a sentence."""
    if found.plan:
        last = found.days[found.planned_days - 1].day
        yield (
            f"Until {last:%a %Y-%m-%d} from plan {found.plan}: what of it was not started yet, and what runs now. Tanks that come in "
            "meanwhile are in no plan; the lower edge of a stock falls by the usual use at least."
        )
    else:
        yield "No plan was accepted, or nothing of it waits: people and vessels come from the record of all days."
    if found.record_days:
        yield (
            f"Behind it from the record of {counted(found.record_days, 'whole day')}, about {found.record_days / 7:.0f} weeks: the mean of "
            "the same day of the week with the spread of single days; with less than two weeks the mean of all days. Hands count as "
            "steps were run; a step that stood counts twice its planned time at most."
        )
        yield "Water stands by kind in plans only, so the usual load says nothing of it. Clean-downs between batches are in neither."
    else:
        yield "The record holds no whole day with batches yet, so no usual load is said."
    version = version_in_force(now)
    yield (
        f"A delivery takes {counted(lead_days, 'day')} from its order, by version {version.number} of the limits."
        if version is not None
        else f"Nobody recorded how long a delivery takes; reckoned is with {counted(lead_days, 'day')}, a proposal of this program (Set-up, limits)."
    )
    yield "Orders go by the early edge of the band, at which 1 course in 20 is sooner. A delivery that is overdue counts when it is received."
    yield "Overtime of the plan: people needed while none of them works by the planning figures, and hours beyond all working hours of the day. Of the usual load: hours of the day beyond the working hours."
