"""The figures for planning as plain data, and which of them are in force."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

from regenplant.core.process.vocabulary import StepKind
from regenplant.core.scheduling.from_plan import Hands
from regenplant.planning.figures import DEFAULTS, Changeovers, PlanningFigures, WorkingTime, Worth
from regenplant.planning.models import PlanningSettings


def figures_to(figures: PlanningFigures) -> dict[str, Any]:
    """Plain data, as a row keeps it."""
    hands = asdict(figures.hands)
    hands["attention"] = {kind.value: units for kind, units in figures.hands.attention.items()}
    return {
        "days": figures.days,
        "working_times": [
            {**asdict(time), "weekdays": list(time.weekdays)} for time in figures.working_times
        ],
        "hands": hands,
        "changeovers": asdict(figures.changeovers),
        "worth": asdict(figures.worth),
        "strength_check_min": figures.strength_check_min,
        "look_over_min": figures.look_over_min,
        "stays_kg": dict(figures.stays_kg),
    }


def figures_from(data: Mapping[str, Any]) -> PlanningFigures:
    """What ``figures_to`` wrote; recordings of an older program say nothing of what stays, nor of how long a tank takes at the door."""
    attention = {StepKind(kind): int(units) for kind, units in data["hands"]["attention"].items()}
    return PlanningFigures(
        days=int(data["days"]),
        working_times=tuple(
            WorkingTime(**{**time, "weekdays": tuple(time["weekdays"])}) for time in data["working_times"]
        ),
        hands=Hands(**{**data["hands"], "attention": attention}),
        changeovers=Changeovers(**data["changeovers"]),
        worth=Worth(**data["worth"]),
        strength_check_min=int(data["strength_check_min"]),
        look_over_min=int(data.get("look_over_min", DEFAULTS.look_over_min)),
        stays_kg={name: float(kg) for name, kg in data.get("stays_kg", {}).items()},
    )


def figures_in_force() -> PlanningFigures:
    """The newest that the plant recorded, else the program's planning values. One query."""
    row = PlanningSettings.objects.first()
    return figures_from(row.content) if row is not None else DEFAULTS
