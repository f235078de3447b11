"""A planning problem and its plan as they are kept: all of it, so that an old plan can be shown after the plant has moved on.

The form is that of the exchange files (``core/scheduling/exchange.py``) with the fields of the trade beside them, so that what is
kept can be planned again from a prompt.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from regenplant.core.scheduling.exchange import plan_to, problem_as_it_stands
from regenplant.core.scheduling.plan import Plan, PlannedBatch, PlannedStage
from regenplant.core.scheduling.problem import (
    ChemicalSupply,
    Problem,
    RunningBatch,
    Shift,
    Stage,
    Vessel,
    Window,
)
from regenplant.planning.clock import PlanClock

__all__ = [
    "Left",
    "Notes",
    "RushKept",
    "notes_from",
    "notes_to",
    "plan_from",
    "plan_to",
    "problem_from",
    "problem_to",
]


# --- the problem -----------------------------------------------------------------------------------------------------------
def problem_to(problem: Problem) -> dict[str, Any]:
    """All of the problem as plain data."""
    change, costs = problem.changeover, problem.costs
    return {
        "name": problem.name,
        "slot_min": problem.slot_min,
        "calendar_end_min": problem.calendar_end_min,
        "tanks": [
            {
                "id": tank.id, "family": tank.family, "volume_l": tank.volume_l, "segregation": tank.segregation,
                "lot": tank.lot, "condition": tank.condition, "received_min": tank.received_min,
                "due_min": tank.due_min, "priority": tank.priority,
            }
            for tank in problem.tanks
        ],
        "vessels": [_vessel(vessel) for vessel in problem.vessels],
        "recipes": [
            {"family": family, "treatment": treatment, "stages": _stages(stages)}
            for (family, treatment), stages in problem.recipes.items()
        ],
        "vessel_recipes": [
            {"vessel": vessel, "family": family, "treatment": treatment, "stages": _stages(stages)}
            for (vessel, family, treatment), stages in problem.vessel_recipes.items()
        ],
        "changeover": {
            "family_min": {one: dict(row) for one, row in change.family_min.items()},
            "segregation_min": {one: dict(row) for one, row in change.segregation_min.items()},
            "other_lot_min": change.other_lot_min, "water": change.water,
            "water_l_per_l_vessel": change.water_l_per_l_vessel,
        },
        "dose_percent": dict(problem.dose_percent),
        "priority_weight": {str(name): weight for name, weight in problem.priority_weight.items()},
        "chemicals": {name: _supply(supply) for name, supply in problem.chemicals.items()},
        "water": {name: {"rate_l_per_min": rate} for name, rate in problem.water_l_per_min.items()},
        "waste": {
            "capacity_l": problem.waste.capacity_l, "initial_l": problem.waste.initial_l,
            "drain_l_per_min": problem.waste.drain_l_per_min,
        },
        "attention_per_operator": problem.attention_per_operator,
        "operator_shifts": _shifts(problem.operator_shifts, "operators"),
        "qc_shifts": _shifts(problem.technician_shifts, "technicians"),
        "second_shifts": _shifts(problem.second_shifts, "people"),
        "cost": {
            "late_per_weighted_hour": costs.late_per_weighted_hour, "batch": costs.batch,
            "underfill_waiver": costs.underfill_waiver, "changeover": costs.changeover,
            "per_kg": dict(costs.per_kg), "per_m3": dict(costs.per_m3),
            "makespan_per_hour": costs.makespan_per_hour, "move_per_tank_hour": costs.move_per_tank_hour,
            "other_vessel_per_tank": costs.other_vessel_per_tank,
        },
        "openings": _windows(problem.openings),
        "budgets": [
            {"ion": item.ion, "start": item.start_min, "end": item.end_min, "kg": item.kg}
            for item in problem.budgets
        ],
        "running": [_running(batch) for batch in problem.running],
        "pins": [
            {"id": pin.id, "tanks": list(pin.tanks), "vessel": pin.vessel, "start": pin.start_min}
            for pin in problem.pins
        ],
        "standing": [
            {"tanks": list(item.tanks), "vessel": item.vessel, "start": item.start_min}
            for item in problem.standing
        ],
    }  # fmt: skip


def problem_from(data: Mapping[str, Any]) -> Problem:
    """The problem that ``problem_to`` wrote. It was made from records and is taken as it stands: a batch may run in a vessel into
    which nothing is planned.

    Raises: OutOfRange naming what cannot be read.
    """
    return problem_as_it_stands(data)


def _windows(windows: Sequence[Window]) -> list[dict[str, int]]:
    return [{"start": window.start_min, "end": window.end_min} for window in windows]


def _shifts(shifts: Sequence[Shift], people: str) -> list[dict[str, int]]:
    return [{"start": shift.start_min, "end": shift.end_min, people: shift.people} for shift in shifts]


def _vessel(vessel: Vessel) -> dict[str, Any]:
    held = vessel.previous
    return {
        "id": vessel.id, "max_fill_l": vessel.max_fill_l, "min_fill_l": vessel.min_fill_l,
        "families": sorted(vessel.families), "segregation": sorted(vessel.segregation),
        "previous": {"family": held.family, "segregation": held.segregation, "lot": held.lot},
        "ready_min": vessel.ready_min, "closed": _windows(vessel.closed),
    }  # fmt: skip


def _stages(stages: Sequence[Stage]) -> list[dict[str, Any]]:
    return [
        {
            "name": stage.name, "minutes": stage.minutes, "minutes_per_tank": stage.minutes_per_tank,
            "chemical": stage.chemical, "dose_g_per_l": stage.dose_g_per_l, "water": stage.water,
            "flow_bv_per_h": stage.flow_bv_per_h, "to_waste": stage.to_waste, "attention": stage.attention,
            "technicians": stage.technicians, "max_wait_after": stage.max_wait_after_min,
            "second_people": stage.second_people, "in_one_opening": stage.in_one_opening,
            "after_vessel": stage.after_vessel, "load_g_per_l": dict(stage.load_g_per_l),
            "flow_l_per_min": stage.flow_l_per_min,
            "beside": [
                {
                    "chemical": other.chemical, "dose_g_per_l": other.dose_g_per_l, "water": other.water,
                    "flow_bv_per_h": other.flow_bv_per_h, "to_waste": other.to_waste,
                    "flow_l_per_min": other.flow_l_per_min,
                }
                for other in stage.beside
            ],
        }
        for stage in stages
    ]  # fmt: skip


def _supply(supply: ChemicalSupply) -> dict[str, Any]:
    return {
        "skid_lines": supply.skid_lines, "initial_kg": supply.initial_kg, "min_kg": supply.min_kg,
        "deliveries": [{"at": item.at_min, "kg": item.kg} for item in supply.deliveries],
        "unusable": _windows(supply.unusable),
    }  # fmt: skip


def _running(batch: RunningBatch) -> dict[str, Any]:
    return {
        "id": batch.id,
        "vessel": batch.vessel,
        "tanks": list(batch.tanks),
        "beside": batch.beside,
        "stages": [
            {
                "name": stage.name, "start": stage.start_min, "end": stage.end_min, "attention": stage.attention,
                "technicians": stage.technicians, "second_people": stage.second_people,
                "chemical": stage.chemical, "grams": stage.grams, "water": stage.water,
                "flow_l_per_min": stage.flow_l_per_min, "to_waste": stage.to_waste,
                "load_g": dict(stage.load_g),
            }
            for stage in batch.stages
        ],
    }  # fmt: skip


# --- the plan --------------------------------------------------------------------------------------------------------------
def plan_from(data: Mapping[str, Any]) -> Plan:
    """The plan that ``plan_to`` wrote."""
    return Plan(
        instance=str(data["instance"]),
        batches=tuple(
            PlannedBatch(
                id=str(batch["id"]),
                vessel=str(batch["vessel"]),
                tanks=tuple(str(name) for name in batch["tanks"]),
                underfill_waiver=bool(batch["underfill_waiver"]),
                stages=tuple(
                    PlannedStage(str(stage["name"]), int(stage["start"]), int(stage["end"]))
                    for stage in batch["stages"]
                ),
            )
            for batch in data["batches"]
        ),
    )


# --- what stands beside them ----------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class Left:
    """Tanks that no plan holds, and why."""

    serials: tuple[str, ...]
    why: str


@dataclass(frozen=True, slots=True)
class WayKept:
    """How one kind of resin is regenerated in the plan."""

    recipe: str
    """Code of the recipe."""
    version: int
    anion_vessels: Mapping[str, str]
    """Code of the vessel of the anion leg by code of the vessel that takes the whole bed."""


@dataclass(frozen=True, slots=True)
class RushKept:
    """Why a tank counts as rush although nobody decided it by hand."""

    customer: str
    """Name of the customer whose tanks always do."""
    due_min: int
    """When it is due by its own promise, as a minute of the plan; a decision by hand makes it earlier."""


@dataclass(frozen=True, slots=True)
class Notes:
    """Names and sentences as they were when the plant was read."""

    clock: PlanClock
    resins: Mapping[str, str] = field(default_factory=dict)
    """Family of each resin type in words, by its code, which is the family in the problem."""
    owners: Mapping[str, str] = field(default_factory=dict)
    """Name of each customer by code, which is the lot of dedicated resin in the problem."""
    customers: Mapping[str, str] = field(default_factory=dict)
    """Name of the customer by serial of the tank."""
    visits: Mapping[str, str] = field(default_factory=dict)
    """Number of the round trip by serial of the tank; nothing for one that is on its way."""
    expected: Mapping[str, str] = field(default_factory=dict)
    """Number under which a tank that is on its way is expected, by its serial."""
    ways: Mapping[str, WayKept] = field(default_factory=dict)
    """By code of the resin type."""
    rush: Mapping[str, RushKept] = field(default_factory=dict)
    """Of tanks that count as rush because of their customer, by serial."""
    left_out: tuple[Left, ...] = ()
    assumed: tuple[str, ...] = ()


def notes_to(notes: Notes) -> dict[str, Any]:
    """Plain data."""
    return {
        "now": notes.clock.now.isoformat(), "slot_min": notes.clock.slot_min, "days": notes.clock.days,
        "resins": dict(notes.resins), "owners": dict(notes.owners), "customers": dict(notes.customers),
        "visits": dict(notes.visits), "expected": dict(notes.expected),
        "ways": {
            code: {"recipe": way.recipe, "version": way.version, "anion_vessels": dict(way.anion_vessels)}
            for code, way in notes.ways.items()
        },
        "rush": {serial: {"customer": one.customer, "due_min": one.due_min} for serial, one in notes.rush.items()},
        "left_out": [{"serials": list(item.serials), "why": item.why} for item in notes.left_out],
        "assumed": list(notes.assumed),
    }  # fmt: skip


def notes_from(data: Mapping[str, Any]) -> Notes:
    """What ``notes_to`` wrote."""
    return Notes(
        clock=PlanClock(datetime.fromisoformat(data["now"]), int(data["slot_min"]), int(data["days"])),
        resins=dict(data["resins"]),
        owners=dict(data["owners"]),
        customers=dict(data["customers"]),
        visits=dict(data["visits"]),
        expected=dict(data.get("expected", {})),  # plans that were kept before tanks were expected have none
        ways={
            code: WayKept(way["recipe"], int(way["version"]), dict(way["anion_vessels"]))
            for code, way in data["ways"].items()
        },
        rush={  # plans that were kept before customers were rushed have none
            serial: RushKept(str(one["customer"]), int(one["due_min"]))
            for serial, one in data.get("rush", {}).items()
        },
        left_out=tuple(Left(tuple(item["serials"]), str(item["why"])) for item in data["left_out"]),
        assumed=tuple(data["assumed"]),
    )
