"""Problems so small that what binds is known by construction: one kind of resin, loading, injection, check; two vessels; plenty of all."""

from __future__ import annotations

import copy
from typing import Any

from regenplant.core.scheduling import figures
from regenplant.core.scheduling.exchange import problem_from
from regenplant.core.scheduling.plan import Plan, PlannedBatch, PlannedStage
from regenplant.core.scheduling.problem import Problem
from tests.core.scheduling.instances import DAY, stage

LOAD, INJECT, CHECK = 30, 60, 30
LASTS = LOAD + INJECT + CHECK
END = 3 * DAY

_PLENTY: dict[str, Any] = {
    "name": "small plant",
    "slot_min": 5,
    "days": 3,
    "calendar_end_min": END,
    "tanks": [],
    "vessels": [
        {
            "id": name, "max_fill_l": 200, "min_fill_l": 50, "families": ["cation"], "segregation": ["industrial"],
            "previous": {"family": "cation", "segregation": "industrial", "lot": None}, "ready_min": 0,
        }
        for name in ("V1", "V2")
    ],
    "recipes": [
        {"family": "cation", "treatment": "standard", "stages": [
            stage("load", LOAD, attention=4),
            stage("inject", INJECT, chemical="acid", dose_g_per_l=100, water="deionized", flow_bv_per_h=6, to_waste=True, attention=1),
            stage("qc", CHECK, technicians=1),
        ]},
    ],
    "changeover": {
        "family_min": {a: {b: 0 if a == b else 60 for b in ("cation", "anion")} for a in ("cation", "anion")},
        "segregation_min": {a: {b: 0 if a == b else 60 for b in ("industrial", "potable")} for a in ("industrial", "potable")},
        "other_lot_min": 45, "water": "deionized", "water_l_per_l_vessel": 2,
    },
    "dose_percent": {"normal": 100, "heavy": 125, "fouled": 100},
    "priority_weight": {"1": 1, "2": 3, "3": 10},
    "chemicals": {"acid": {"skid_lines": 4, "initial_kg": 1000, "min_kg": 0, "deliveries": []}},
    "water": {"deionized": {"rate_l_per_min": 1000}},
    "waste": {"capacity_l": 50_000, "initial_l": 0, "drain_l_per_min": 10},
    "attention_per_operator": 4,
    "operator_shifts": [{"start": 0, "end": END, "operators": 8}],
    "qc_shifts": [{"start": 0, "end": END, "technicians": 8}],
    "cost": {
        "late_per_weighted_hour": 20.0, "batch": 35.0, "underfill_waiver": 25.0, "changeover": 10.0,
        "per_kg": {"acid": 0.5}, "per_m3": {"deionized": 4.0, "waste": 5.0}, "makespan_per_hour": 2.0,
    },
}  # fmt: skip


def plenty(*volumes_l: float) -> dict[str, Any]:
    """Tanks K1, K2, ... of these volumes; nothing binds."""
    data = copy.deepcopy(_PLENTY)
    data["tanks"] = [
        {
            "id": f"K{number}", "family": "cation", "volume_l": volume, "segregation": "industrial", "lot": None,
            "condition": "normal", "received_min": 0, "due_min": END, "priority": 1,
        }
        for number, volume in enumerate(volumes_l, start=1)
    ]  # fmt: skip
    return data


def stage_of(data: dict[str, Any], name: str) -> dict[str, Any]:
    return next(one for one in data["recipes"][0]["stages"] if one["name"] == name)


def planned(data: dict[str, Any], *rows: tuple[str, tuple[str, ...], int]) -> tuple[Problem, Plan]:
    """Batches B1, B2, ... of (vessel, tanks, start), their stages one behind the other."""
    problem = problem_from(data)
    tanks = {tank.id: tank for tank in problem.tanks}
    batches = []
    for number, (vessel, names, start) in enumerate(rows, start=1):
        stages, at = [], start
        for one in problem.stages(vessel, tanks[names[0]].key) or ():
            end = at + figures.stage_minutes(one, len(names), problem.slot_min)
            stages.append(PlannedStage(one.name, at, end))
            at = end
        room = next(one for one in problem.vessels if one.id == vessel)
        litres = sum(tanks[name].volume_l for name in names)
        batches.append(PlannedBatch(f"B{number}", vessel, names, litres < room.min_fill_l, tuple(stages)))
    return problem, Plan(problem.name, tuple(batches))
