"""What no plan can serve, found before the search: which tank, key, chemical or class, and why.

Each sentence names the datum that would have to change. What is named here stays out of the plan; everything else is planned.
"""

from __future__ import annotations

import math
from collections import defaultdict
from dataclasses import dataclass

from regenplant.core.scheduling import figures
from regenplant.core.scheduling.problem import Key, Problem, Shift, Tank, Vessel
from regenplant.core.scheduling.telling import When, in_minutes


@dataclass(frozen=True, slots=True)
class Impossible:
    """Tanks that cannot be served and the reason, as a sentence."""

    tanks: tuple[str, ...]
    reason: str


def impossible(problem: Problem, when: When = in_minutes) -> tuple[Impossible, ...]:
    """Everything that cannot be served whatever is planned. Not complete: what only several tanks together make impossible shows
    as tanks without a batch in the answer of the search."""
    found: list[Impossible] = []
    by_key: dict[Key, list[Tank]] = defaultdict(list)
    for tank in problem.tanks:
        by_key[tank.key].append(tank)
    for key in sorted(by_key, key=str):
        tanks = by_key[key]
        if (key.family, key.treatment) not in problem.recipes:
            found.append(_all(tanks, f"No recipe for {key.family}, {key.treatment}."))
            continue
        vessels = [vessel for vessel in problem.vessels if problem.allowed(vessel, key)]
        if not vessels:
            found.append(_all(tanks, f"No vessel takes {key.family} of class {key.segregation}."))
            continue
        found.extend(_each_tank(problem, key, tanks, vessels))
    found.extend(_decided(problem, when))
    found.extend(_supplies(problem))
    return tuple(found)


def _all(tanks: list[Tank], reason: str) -> Impossible:
    return Impossible(tuple(tank.id for tank in tanks), reason)


def _each_tank(problem: Problem, key: Key, tanks: list[Tank], vessels: list[Vessel]) -> list[Impossible]:
    largest = max(vessel.max_fill_l for vessel in vessels)
    found = [
        _all(
            [tank],
            f"Tank {tank.id} holds {tank.volume_l:g} L; the largest vessel for {key} takes {largest:g} L.",
        )
        for tank in tanks
        if tank.volume_l > largest
    ]
    fitting = [tank for tank in tanks if tank.volume_l <= largest]
    if not fitting:
        return found
    reasons = [_impossible_in(problem, key, fitting, vessel) for vessel in vessels]
    if all(reasons):
        found.append(_all(fitting, f"{key}, {reasons[0]}"))
    return found


def _impossible_in(problem: Problem, key: Key, tanks: list[Tank], vessel: Vessel) -> str:
    """Why even the smallest of these tanks cannot be regenerated in this vessel; "" if it can."""
    volume = min(tank.volume_l for tank in tanks)
    if volume > vessel.max_fill_l:
        return f"{vessel.id} takes {vessel.max_fill_l:g} L."
    if any(
        window.start_min <= vessel.ready_min and window.end_min >= problem.calendar_end_min
        for window in vessel.closed
    ):
        return f"{vessel.id} is closed all the time."
    least = min(problem.dose_percent.values())
    for stage in problem.stages(vessel.id, key) or ():
        need = figures.stage_need(stage, 1, figures.charge_l(volume, vessel), least, problem.slot_min)
        reason = _beyond(problem, need)
        if reason:
            return f"{stage.name}: {reason}"
    return ""


def _beyond(problem: Problem, need: figures.StageNeed) -> str:
    """Why even the smallest batch cannot have this stage; "" if it can."""
    stage = need.stage
    most_operators = _most(problem.operator_shifts) * problem.attention_per_operator
    if stage.attention > most_operators:
        return f"takes {stage.attention} units of attention, at most {most_operators} are ever on shift."
    if stage.technicians > _most(problem.technician_shifts):
        return f"takes {stage.technicians} QC technicians, at most {_most(problem.technician_shifts)} are ever on shift."
    if stage.second_people > _most(problem.second_shifts):
        return f"takes {stage.second_people} people beside the technician, at most {_most(problem.second_shifts)} are ever there."
    if stage.in_one_opening and problem.openings:
        longest = max(window.end_min - window.start_min for window in problem.openings)
        if need.minutes > longest:
            return (
                f"lasts {need.minutes} min and must not be left alone; the longest opening is {longest} min."
            )
    for ion, grams in need.load_g.items():
        most_kg = _most_budget(problem, ion)
        if grams / 1000 > most_kg:
            return f"drains {grams / 1000:g} kg of {ion}; no day’s budget has more than {most_kg:g} kg left."
    for use in need.uses:
        flow = sum(other.flow_l_per_min for other in need.uses if other.water == use.water)
        if use.water and flow > problem.water_l_per_min[use.water]:
            rate = problem.water_l_per_min[use.water]
            return f"takes {flow} L/min of {use.water} water, {rate:g} L/min are made."
        if use.chemical:
            reason = _without_chemical(problem, use.chemical, use.grams)
            if reason:
                return reason
    tank = problem.waste
    inflow = sum(use.waste_l_per_min for use in need.uses)
    rise_l = (inflow - tank.drain_l_per_min) * need.minutes
    if inflow and rise_l > tank.capacity_l:
        return f"fills the empty waste tank by {rise_l:g} L, it holds {tank.capacity_l:g} L."
    return ""


def _without_chemical(problem: Problem, name: str, grams: int) -> str:
    supply = problem.chemicals[name]
    if supply.skid_lines < 1:
        return f"there is no {name} skid."
    if any(
        window.start_min <= 0 and window.end_min >= problem.calendar_end_min for window in supply.unusable
    ):
        return f"the strength of {name} is never checked in this time."
    held_kg = supply.initial_kg - supply.min_kg + sum(item.kg for item in supply.deliveries)
    if grams > held_kg * 1000:
        return f"takes {grams / 1000:g} kg of {name}, stock and deliveries leave {held_kg:g} kg."
    return ""


def _most_budget(problem: Problem, ion: str) -> float:
    """The largest budget of an ion; without end where some time has none."""
    days = sorted((item.start_min, item.end_min, item.kg) for item in problem.budgets if item.ion == ion)
    free_from = 0
    for start, end, _ in days:
        if start > free_from:
            return math.inf
        free_from = max(free_from, end)
    if free_from < problem.calendar_end_min:
        return math.inf
    return max(kg for _, _, kg in days)


def _most(shifts: tuple[Shift, ...]) -> int:
    """The most people on shift at any time."""
    return max(
        (
            sum(other.people for other in shifts if other.start_min <= shift.start_min < other.end_min)
            for shift in shifts
        ),
        default=0,
    )


def _decided(problem: Problem, when: When) -> list[Impossible]:
    """Decisions of people that no plan can carry out."""
    tanks = {tank.id: tank for tank in problem.tanks}
    vessels = {vessel.id: vessel for vessel in problem.vessels}
    found = []
    for pin in problem.pins:
        inside = [tanks[name] for name in pin.tanks]
        volume_l = sum(tank.volume_l for tank in inside)
        possible = [vessel for vessel in problem.vessels if problem.allowed(vessel, inside[0].key)]
        if pin.vessel is not None and vessels[pin.vessel] not in possible:
            reason = (
                f"Decided: {', '.join(pin.tanks)} into {pin.vessel}, which does not take {inside[0].key}."
            )
        elif volume_l > max(
            (vessel.max_fill_l for vessel in possible if pin.vessel in (None, vessel.id)), default=0.0
        ):
            reason = f"Decided: {', '.join(pin.tanks)} together, {volume_l:g} L, more than {pin.vessel or 'any vessel'} takes."
        elif pin.start_min is not None and pin.start_min < max(tank.received_min for tank in inside):
            reason = f"Decided: {', '.join(pin.tanks)} {when(pin.start_min)}, before the last of them comes."
        else:
            continue
        found.append(Impossible(pin.tanks, reason))
    return found


def _supplies(problem: Problem) -> list[Impossible]:
    """Chemicals of which all tanks together need more than there ever is, each litre dosed once and nothing underfilled."""
    need_g: dict[str, float] = defaultdict(float)
    for tank in problem.tanks:
        for stage in problem.recipes.get((tank.key.family, tank.key.treatment), ()):
            percent = problem.dose_percent[tank.condition]
            for part in stage.parts:
                if part.chemical:
                    need_g[part.chemical] += part.dose_g_per_l * tank.volume_l * percent / 100
    found = []
    for name in sorted(need_g):
        supply = problem.chemicals[name]
        held_kg = supply.initial_kg - supply.min_kg + sum(item.kg for item in supply.deliveries)
        if need_g[name] > held_kg * 1000:
            found.append(
                Impossible(
                    (),
                    f"All tanks together take at least {need_g[name] / 1000:.0f} kg of {name}; "
                    f"stock and deliveries leave {held_kg:.0f} kg above the minimum.",
                )
            )
    return found
