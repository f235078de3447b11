"""The planning problem and its plan as JSON, as the exchange format writes them. Refuses with the place of what cannot be read."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from typing import Any

from regenplant.core.errors import OutOfRange
from regenplant.core.scheduling.exchange_trade import trade_fields, trade_troubles, windows_from
from regenplant.core.scheduling.plan import Plan
from regenplant.core.scheduling.problem import (
    Beside,
    Changeover,
    ChemicalSupply,
    Costs,
    Delivery,
    Problem,
    Shift,
    Stage,
    Tank,
    Vessel,
    VesselState,
    WasteTank,
)


def problem_from(data: Mapping[str, Any]) -> Problem:
    """The problem of an exchange file.

    Raises: OutOfRange naming the field that is missing or cannot be read, or what does not fit together.
    """
    problem = problem_as_it_stands(data)
    for trouble in _troubles(problem):
        raise OutOfRange(f"The instance cannot be planned: {trouble}.", field="instance")
    return problem


def problem_as_it_stands(data: Mapping[str, Any]) -> Problem:
    """The problem as it is written, without asking whether it fits together: for what this program kept itself.

    Raises: OutOfRange naming the field that is missing or cannot be read.
    """
    try:
        return Problem(
            name=str(data["name"]),
            slot_min=int(data["slot_min"]),
            calendar_end_min=int(data["calendar_end_min"]),
            tanks=tuple(_tank(item) for item in data["tanks"]),
            vessels=tuple(_vessel(item) for item in data["vessels"]),
            recipes={
                (item["family"], item["treatment"]): tuple(_stage(stage) for stage in item["stages"])
                for item in data["recipes"]
            },
            changeover=_changeover(data["changeover"]),
            dose_percent=dict(data["dose_percent"]),
            priority_weight={int(name): weight for name, weight in data["priority_weight"].items()},
            chemicals={name: _chemical(item) for name, item in data["chemicals"].items()},
            water_l_per_min={name: item["rate_l_per_min"] for name, item in data["water"].items()},
            waste=WasteTank(
                data["waste"]["capacity_l"], data["waste"]["initial_l"], data["waste"]["drain_l_per_min"]
            ),
            attention_per_operator=int(data["attention_per_operator"]),
            operator_shifts=tuple(
                Shift(s["start"], s["end"], s["operators"]) for s in data["operator_shifts"]
            ),
            technician_shifts=tuple(Shift(s["start"], s["end"], s["technicians"]) for s in data["qc_shifts"]),
            costs=_costs(data["cost"]),
            vessel_recipes={
                (item["vessel"], item["family"], item["treatment"]): tuple(
                    _stage(stage) for stage in item["stages"]
                )
                for item in data.get("vessel_recipes") or ()
            },
            **trade_fields(data),
        )
    except KeyError as missing:
        raise OutOfRange(f"The instance lacks the field {missing}.", field="instance") from missing
    except (TypeError, ValueError, AttributeError) as wrong:
        raise OutOfRange(f"The instance cannot be read: {wrong}.", field="instance") from wrong


def _troubles(problem: Problem) -> Iterator[str]:
    """What does not fit together, or is no possible number."""
    if problem.slot_min < 1 or problem.calendar_end_min < 1:
        yield f"slot_min is {problem.slot_min} and calendar_end_min {problem.calendar_end_min}; both are at least 1 minute"
    for kind, names in (
        ("tank", [tank.id for tank in problem.tanks]),
        ("vessel", [vessel.id for vessel in problem.vessels]),
    ):
        for name, count in Counter(names).items():
            if count > 1:
                yield f"{kind} {name} stands twice"
    families = {vessel.previous.family for vessel in problem.vessels}
    classes = {vessel.previous.segregation for vessel in problem.vessels}
    for tank in problem.tanks:
        if not tank.volume_l > 0:
            yield f"tank {tank.id}: volume_l is {tank.volume_l}, allowed is above 0"
        if tank.condition not in problem.dose_percent:
            yield f"tank {tank.id}: no dose_percent for condition {tank.condition}"
        if tank.priority not in problem.priority_weight:
            yield f"tank {tank.id}: no priority_weight for priority {tank.priority}"
        families.add(tank.family)
        classes.add(tank.segregation)
    yield from trade_troubles(problem)
    change = problem.changeover
    for held, table in ((families, change.family_min), (classes, change.segregation_min)):
        for before in sorted(held):
            for after in sorted(held):
                if after not in table.get(before, {}):
                    yield f"no changeover from {before} to {after}"
    if change.water not in problem.water_l_per_min:
        yield f"no water {change.water} for changeovers"
    for recipe, stages in (*problem.recipes.items(), *problem.vessel_recipes.items()):
        outside = [stage.after_vessel for stage in stages]
        if outside != sorted(outside) or (outside and all(outside)):
            yield f"recipe {' '.join(recipe)}: stages after the vessel is free come last, and not all are such"
        for stage in stages:
            for part in stage.parts:
                if part.chemical is not None and part.chemical not in problem.chemicals:
                    yield f"stage {stage.name} takes the chemical {part.chemical}, which has no stock"
                if part.water is not None and part.water not in problem.water_l_per_min:
                    yield f"stage {stage.name} takes the water {part.water}, which is not made"


def _tank(item: Mapping[str, Any]) -> Tank:
    return Tank(
        id=str(item["id"]),
        family=item["family"],
        volume_l=item["volume_l"],
        segregation=item["segregation"],
        lot=item["lot"],
        condition=item["condition"],
        received_min=int(item["received_min"]),
        due_min=int(item["due_min"]),
        priority=int(item["priority"]),
    )


def _vessel(item: Mapping[str, Any]) -> Vessel:
    held = item["previous"]
    return Vessel(
        id=str(item["id"]),
        max_fill_l=item["max_fill_l"],
        min_fill_l=item["min_fill_l"],
        families=frozenset(item["families"]),
        segregation=frozenset(item["segregation"]),
        previous=VesselState(held["family"], held["segregation"], held["lot"]),
        ready_min=int(item["ready_min"]),
        closed=windows_from(item.get("closed")),
    )


def _stage(item: Mapping[str, Any]) -> Stage:
    return Stage(
        name=item["name"],
        minutes=item["minutes"],
        minutes_per_tank=item["minutes_per_tank"],
        chemical=item["chemical"],
        dose_g_per_l=item["dose_g_per_l"],
        water=item["water"],
        flow_bv_per_h=item["flow_bv_per_h"],
        to_waste=bool(item["to_waste"]),
        attention=int(item["attention"]),
        technicians=int(item["technicians"]),
        max_wait_after_min=int(item["max_wait_after"]),
        second_people=int(item.get("second_people", 0)),
        in_one_opening=bool(item.get("in_one_opening", False)),
        after_vessel=bool(item.get("after_vessel", False)),
        load_g_per_l=dict(item.get("load_g_per_l") or {}),
        flow_l_per_min=item.get("flow_l_per_min", 0.0),
        beside=tuple(
            Beside(
                chemical=other.get("chemical"),
                dose_g_per_l=other.get("dose_g_per_l", 0.0),
                water=other.get("water"),
                flow_bv_per_h=other.get("flow_bv_per_h", 0.0),
                to_waste=bool(other.get("to_waste", False)),
                flow_l_per_min=other.get("flow_l_per_min", 0.0),
            )
            for other in item.get("beside") or ()
        ),
    )


def _changeover(item: Mapping[str, Any]) -> Changeover:
    return Changeover(
        family_min=item["family_min"],
        segregation_min=item["segregation_min"],
        other_lot_min=int(item["other_lot_min"]),
        water=item["water"],
        water_l_per_l_vessel=item["water_l_per_l_vessel"],
    )


def _chemical(item: Mapping[str, Any]) -> ChemicalSupply:
    return ChemicalSupply(
        skid_lines=int(item["skid_lines"]),
        initial_kg=item["initial_kg"],
        min_kg=item["min_kg"],
        deliveries=tuple(Delivery(int(d["at"]), d["kg"]) for d in item["deliveries"]),
        unusable=windows_from(item.get("unusable")),
    )


def _costs(item: Mapping[str, Any]) -> Costs:
    return Costs(
        late_per_weighted_hour=item["late_per_weighted_hour"],
        batch=item["batch"],
        underfill_waiver=item["underfill_waiver"],
        changeover=item["changeover"],
        per_kg=dict(item["per_kg"]),
        per_m3=dict(item["per_m3"]),
        makespan_per_hour=item["makespan_per_hour"],
        move_per_tank_hour=item.get("move_per_tank_hour", 0.0),
        other_vessel_per_tank=item.get("other_vessel_per_tank", 0.0),
    )


def plan_to(plan: Plan) -> dict[str, Any]:
    """The plan as the exchange format writes it."""
    return {
        "instance": plan.instance,
        "batches": [
            {
                "id": batch.id,
                "vessel": batch.vessel,
                "tanks": list(batch.tanks),
                "underfill_waiver": batch.underfill_waiver,
                "stages": [
                    {"name": stage.name, "start": stage.start_min, "end": stage.end_min}
                    for stage in batch.stages
                ],
            }
            for batch in plan.batches
        ],
    }
