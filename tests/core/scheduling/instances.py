"""Invented instances of the planning problem, drawn from a seed: small, and of every awkward sort.

The process figures are round planning values of the usual order, from memory; they are data for tests, no advice.
"""

from __future__ import annotations

import random
from typing import Any

DAY = 1440
FAMILIES = ("cation", "anion", "mixed")
CLASSES = ("industrial", "potable", "dedicated")


def stage(name: str, minutes: int, **more: Any) -> dict[str, Any]:
    values = {
        "minutes_per_tank": 0,
        "chemical": None,
        "dose_g_per_l": 0,
        "water": None,
        "flow_bv_per_h": 0.0,
        "to_waste": False,
        "attention": 0,
        "technicians": 0,
        "max_wait_after": 0,
    }
    return {"name": name, "minutes": minutes, **values, **more}


def _recipe(chemicals: tuple[str, ...], rng: random.Random) -> list[dict[str, Any]]:
    stages = [stage("load", 15, minutes_per_tank=5, attention=4, max_wait_after=720)]
    for chemical in chemicals:
        stages.append(
            stage(
                f"inject_{chemical}",
                rng.choice((30, 42, 60)),
                chemical=chemical,
                dose_g_per_l=rng.choice((60, 100, 160)),
                water="deionized",
                flow_bv_per_h=rng.choice((2, 2.5, 3)),
                to_waste=True,
                attention=1,
            )
        )
        stages.append(
            stage(
                f"displace_{chemical}",
                40,
                water="deionized",
                flow_bv_per_h=3,
                to_waste=True,
                max_wait_after=rng.choice((0, 30, 60)),
            )
        )
    stages.append(stage("rinse", 40, water="deionized", flow_bv_per_h=10, max_wait_after=960))
    stages.append(stage("qc", 20, technicians=1, max_wait_after=960))
    stages.append(stage("unload", 15, minutes_per_tank=10, attention=4))
    return stages


def instance(seed: int, tanks: int = 14, **changes: Any) -> dict[str, Any]:
    """An instance in the exchange format."""
    rng = random.Random(seed)
    lots = [f"L{number}" for number in range(rng.randint(1, 3))]
    drawn = []
    for number in range(tanks):
        segregation = rng.choices(CLASSES, (6, 2, 1))[0]
        received = rng.choice((0, 0, 660, 960, DAY + 660))
        drawn.append(
            {
                "id": f"K{number:03d}",
                "family": rng.choice(FAMILIES),
                "volume_l": rng.choice((14, 28, 42, 57, 85, 113)),
                "segregation": segregation,
                "lot": rng.choice(lots) if segregation == "dedicated" else None,
                "condition": rng.choices(("normal", "heavy", "fouled"), (8, 2, 1))[0],
                "received_min": received,
                "due_min": received + rng.choice((600, 1200, 2400, 4000)),
                "priority": rng.choice((1, 1, 2, 3)),
            }
        )
    recipes = []
    for family, chemicals in zip(FAMILIES, (("acid",), ("caustic",), ("caustic", "acid")), strict=True):
        recipes.append({"family": family, "treatment": "standard", "stages": _recipe(chemicals, rng)})
        recipes.append(
            {"family": family, "treatment": "clean", "stages": _recipe((*chemicals, chemicals[0]), rng)}
        )
        for item in recipes[-1]["stages"]:  # a chemical twice: its stages need names of their own
            if sum(other["name"] == item["name"] for other in recipes[-1]["stages"]) > 1:
                item["name"] += "_again"
    vessels = []
    for number in range(rng.randint(2, 4)):
        most = rng.choice((170, 225, 340))
        families = list(FAMILIES) if number == 0 else rng.sample(FAMILIES, 2)
        vessels.append(
            {
                "id": f"V{number}",
                "max_fill_l": most,
                "min_fill_l": most // 2,
                "families": families,
                "segregation": list(CLASSES),
                "previous": {"family": families[0], "segregation": "industrial", "lot": None},
                "ready_min": rng.choice((0, 360)),
            }
        )
    days = 12
    whole: dict[str, Any] = {
        "name": f"drawn-{seed}",
        "slot_min": 5,
        "days": 2,
        "calendar_end_min": days * DAY,
        "tanks": drawn,
        "vessels": vessels,
        "recipes": recipes,
        "changeover": {
            "family_min": {a: {b: 0 if a == b else 60 for b in FAMILIES} for a in FAMILIES},
            "segregation_min": {a: {b: 0 if a == b else 35 for b in CLASSES} for a in CLASSES},
            "other_lot_min": 45,
            "water": "deionized",
            "water_l_per_l_vessel": 2,
        },
        "dose_percent": {"normal": 100, "heavy": 125, "fouled": 100},
        "priority_weight": {"1": 1, "2": 3, "3": 10},
        "chemicals": {
            name: {
                "skid_lines": 1,
                "initial_kg": rng.choice((40, 120)),
                "min_kg": 5,
                "deliveries": [
                    {"at": day * DAY + 600, "kg": rng.choice((60, 150))} for day in range(1, days - 1)
                ],
            }
            for name in ("acid", "caustic")
        },
        "water": {"deionized": {"rate_l_per_min": rng.choice((70, 130))}},
        "waste": {"capacity_l": 2600, "initial_l": 500, "drain_l_per_min": rng.choice((6, 12))},
        "attention_per_operator": 4,
        "operator_shifts": [
            {"start": day * DAY + 360, "end": day * DAY + 1320, "operators": rng.randint(1, 2)}
            for day in range(days)
        ],
        "qc_shifts": [
            {"start": day * DAY + 420, "end": day * DAY + 930, "technicians": 1} for day in range(days)
        ],
        "cost": {
            "late_per_weighted_hour": 20.0,
            "batch": 35.0,
            "underfill_waiver": 25.0,
            "changeover": 10.0,
            "per_kg": {"acid": 0.5, "caustic": 0.9},
            "per_m3": {"deionized": 4.0, "waste": 5.0},
            "makespan_per_hour": 2.0,
        },
    }
    whole.update(changes)
    return whole
