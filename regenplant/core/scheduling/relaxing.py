"""One thing of a planning problem made a little larger: an hour of somebody, a delivery earlier, a vessel more. Each is what a plant
could do; limits of the permit and of the recipes are not among them.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from enum import StrEnum

from regenplant.core.scheduling import figures
from regenplant.core.scheduling.plan import PlannedBatch
from regenplant.core.scheduling.problem import Delivery, Problem, Shift, Tank, Vessel, VesselState, Window

HOUR_MIN = 60
DELIVERY_HOURS = (1, 2, 4, 8)
"""By so many hours a delivery is tried earlier, before it is tried from the beginning on."""
WATER_MORE_FRAC = 0.25
"""By this share the make-up of water is tried larger; planning value, from memory."""
MOST_HOURS = 4
"""So many hours of one kind of people are tried: those nearest before the tank is ready."""


class RelaxKind(StrEnum):
    """What is made larger."""

    NOTHING = "nothing"
    """The tank only goes before all others."""
    OPERATOR_HOUR = "operator_hour"
    TECHNICIAN_HOUR = "technician_hour"
    SECOND_HOUR = "second_hour"
    SHIFT_HOUR = "shift_hour"
    """One of each kind of people."""
    DELIVERY = "delivery"
    """A delivery that is expected comes earlier."""
    MORE_STOCK = "more_stock"
    """So much more of a chemical stands there from the beginning."""
    VESSEL_MORE = "vessel_more"
    VESSEL_OPEN = "vessel_open"
    """A vessel that is closed is not."""
    WATER = "water"
    WASTE = "waste"
    """The waste tank is empty at the beginning."""
    STRENGTH = "strength"
    """The strength of a chemical is checked before it expires."""
    LINE = "line"
    """One more feed line of a chemical."""


_LESS = (
    RelaxKind.OPERATOR_HOUR, RelaxKind.TECHNICIAN_HOUR, RelaxKind.SECOND_HOUR, RelaxKind.DELIVERY,
    RelaxKind.STRENGTH, RelaxKind.WASTE, RelaxKind.MORE_STOCK,
)  # fmt: skip
"""What a plant can do for a day; a whole shift longer, or plant that is not there, is more."""


@dataclass(frozen=True, slots=True)
class Relaxation:
    """One thing made larger. ``name``: the chemical, water or vessel; ``amount``: hours, kilograms or litres per minute."""

    kind: RelaxKind
    name: str = ""
    at_min: int = 0
    until_min: int = 0
    """Hours of people from ``at_min`` to here; of a delivery ``at_min`` is when it is expected and this when it would come."""
    amount: float = 0.0

    @property
    def is_large(self) -> bool:
        """Whether it takes more than one person's hour, or something that can be done for a day."""
        return self.kind not in _LESS


_PEOPLE = {
    RelaxKind.OPERATOR_HOUR: ("operator_shifts",),
    RelaxKind.TECHNICIAN_HOUR: ("technician_shifts",),
    RelaxKind.SECOND_HOUR: ("second_shifts",),
    RelaxKind.SHIFT_HOUR: ("operator_shifts", "technician_shifts", "second_shifts"),
}


def relaxed(problem: Problem, how: Relaxation) -> Problem:
    """The problem with this made larger; every plan of the one is a plan of the other."""
    kind = RelaxKind
    if how.kind in _PEOPLE:
        return _with_people(problem, how)
    if how.kind in (kind.DELIVERY, kind.MORE_STOCK, kind.STRENGTH, kind.LINE):
        return _with_chemical(problem, how)
    if how.kind is kind.VESSEL_MORE:
        return _with_vessel(problem, how.name)
    if how.kind is kind.VESSEL_OPEN:
        opened = tuple(
            replace(vessel, closed=()) if vessel.id == how.name else vessel for vessel in problem.vessels
        )
        return replace(problem, vessels=opened)
    if how.kind is kind.WATER:
        more = {**problem.water_l_per_min, how.name: problem.water_l_per_min[how.name] + how.amount}
        return replace(problem, water_l_per_min=more)
    if how.kind is kind.WASTE:
        return replace(problem, waste=replace(problem.waste, initial_l=0.0))
    return problem


def _with_people(problem: Problem, how: Relaxation) -> Problem:
    more = Shift(how.at_min, how.until_min, 1)
    names = _PEOPLE[how.kind]
    if "technician_shifts" in names:
        problem = replace(problem, technician_shifts=(*problem.technician_shifts, more))
    if "second_shifts" in names:
        problem = replace(problem, second_shifts=(*problem.second_shifts, more))
    if "operator_shifts" in names:
        windows = [*problem.openings, Window(how.at_min, how.until_min)] if problem.openings else []
        problem = replace(
            problem,
            operator_shifts=(*problem.operator_shifts, more),
            openings=tuple(_joined(windows)),
        )
    return problem


def _joined(windows: Iterable[Window]) -> list[Window]:
    """Windows in order of time, those that touch as one."""
    found: list[Window] = []
    for window in sorted(windows):
        if found and window.start_min <= found[-1].end_min:
            found[-1] = Window(found[-1].start_min, max(found[-1].end_min, window.end_min))
        else:
            found.append(window)
    return found


def _with_chemical(problem: Problem, how: Relaxation) -> Problem:
    supply = problem.chemicals[how.name]
    if how.kind is RelaxKind.DELIVERY:
        moved = [
            Delivery(how.until_min, one.kg) if one.at_min == how.at_min else one for one in supply.deliveries
        ]
        supply = replace(supply, deliveries=tuple(sorted(moved, key=lambda one: one.at_min)))
    elif how.kind is RelaxKind.MORE_STOCK:
        supply = replace(supply, initial_kg=supply.initial_kg + how.amount)
    elif how.kind is RelaxKind.STRENGTH:
        supply = replace(supply, unusable=())
    else:
        supply = replace(supply, skid_lines=supply.skid_lines + 1)
    return replace(problem, chemicals={**problem.chemicals, how.name: supply})


def _with_vessel(problem: Problem, like: str) -> Problem:
    """One more vessel like this one, ready from the beginning; it held last what this one held."""
    vessel = next(one for one in problem.vessels if one.id == like)
    name = f"{like}+"
    while any(one.id == name for one in problem.vessels):
        name += "+"
    state = VesselState(*vessel.previous)
    more = replace(vessel, id=name, previous=state, ready_min=first_min(problem), closed=())
    own = {
        (name, family, treatment): stages
        for (code, family, treatment), stages in problem.vessel_recipes.items()
        if code == like
    }
    return replace(
        problem,
        vessels=(*problem.vessels, more),
        vessel_recipes={**problem.vessel_recipes, **own},
    )


def first_min(problem: Problem) -> int:
    """The first minute in which anything can begin."""
    return min((*(tank.received_min for tank in problem.tanks), *(one.ready_min for one in problem.vessels)))


def candidates(problem: Problem, tank: Tank, batch: PlannedBatch) -> Iterator[tuple[Relaxation, ...]]:
    """What may bring this tank forward, each as a row of rising size: the first that does is enough."""
    vessel = next(one for one in problem.vessels if one.id == batch.vessel)
    before = batch.end_min
    for kind in _PEOPLE:
        for how in _hours(problem, kind, before):
            yield (how,)
    yield from ((how,) for how in _vessels(problem, tank, vessel))
    yield from _chemicals(problem, tank, vessel, batch)
    for name in _waters(problem, tank, vessel):
        more = -(-problem.water_l_per_min[name] * WATER_MORE_FRAC // 1)
        yield (Relaxation(RelaxKind.WATER, name, amount=more),)
    if problem.waste.initial_l > 0:
        yield (Relaxation(RelaxKind.WASTE, amount=problem.waste.initial_l),)


def _hours(problem: Problem, kind: RelaxKind, before: int) -> list[Relaxation]:
    """One hour more before and after each time that these people work, those nearest before the tank is ready."""
    names = _PEOPLE[kind]
    if any(not getattr(problem, name) for name in names):
        return []
    worked = _joined(Window(one.start_min, one.end_min) for one in getattr(problem, names[0]))
    first, found = first_min(problem), []
    for at, window in enumerate(worked):
        ended = worked[at - 1].end_min if at else first
        begins = worked[at + 1].start_min if at + 1 < len(worked) else problem.calendar_end_min
        earlier = max(ended, window.start_min - HOUR_MIN)
        later = min(begins, window.end_min + HOUR_MIN)
        if earlier < window.start_min:
            found.append(Window(earlier, window.start_min))
        if later > window.end_min:
            found.append(Window(window.end_min, later))
    near = sorted((one for one in found if one.start_min < before), reverse=True)[:MOST_HOURS]
    return [
        Relaxation(kind, "", one.start_min, one.end_min, (one.end_min - one.start_min) / HOUR_MIN)
        for one in sorted(near)
    ]


def _vessels(problem: Problem, tank: Tank, vessel: Vessel) -> Iterator[Relaxation]:
    yield Relaxation(RelaxKind.VESSEL_MORE, vessel.id)
    for one in problem.vessels:
        if one.closed and problem.allowed(one, tank.key) and tank.volume_l <= one.max_fill_l:
            yield Relaxation(RelaxKind.VESSEL_OPEN, one.id)


def _chemicals(
    problem: Problem, tank: Tank, vessel: Vessel, batch: PlannedBatch
) -> Iterator[tuple[Relaxation, ...]]:
    members = [one for one in problem.tanks if one.id in batch.tanks]
    charged_l = figures.charge_l(sum(one.volume_l for one in members), vessel)
    percent = figures.dose_percent(problem, members)
    drawn_g: dict[str, int] = {}
    for stage in problem.stages(vessel.id, tank.key) or ():
        for use in figures.stage_need(stage, len(members), charged_l, percent, problem.slot_min).uses:
            if use.chemical:
                drawn_g[use.chemical] = drawn_g.get(use.chemical, 0) + use.grams
    first = first_min(problem)
    for name, grams in sorted(drawn_g.items()):
        supply = problem.chemicals[name]
        for delivery in supply.deliveries:
            if first < delivery.at_min < batch.end_min:
                times = [delivery.at_min - hours * HOUR_MIN for hours in DELIVERY_HOURS]
                yield tuple(
                    Relaxation(
                        RelaxKind.DELIVERY, name, delivery.at_min, at, (delivery.at_min - at) / HOUR_MIN
                    )
                    for at in (*(at for at in times if at > first), first)
                )
        if grams:
            yield (Relaxation(RelaxKind.MORE_STOCK, name, amount=-(-grams // 1000)),)
        if supply.unusable:
            yield (Relaxation(RelaxKind.STRENGTH, name),)
        yield (Relaxation(RelaxKind.LINE, name, amount=1),)


def _waters(problem: Problem, tank: Tank, vessel: Vessel) -> list[str]:
    stages = problem.stages(vessel.id, tank.key) or ()
    return sorted({part.water for stage in stages for part in stage.parts if part.water})
