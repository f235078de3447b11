"""What the day plan reckons with beside the records of the plant: shifts, changeovers, waits, and what lateness is worth.

The plant sets them; the defaults are planning values from memory. They move a plan about and never loosen a limit of safety: those
stand in recipes, limits and the permit.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from regenplant.core.scheduling.from_plan import Hands

MONDAY_TO_FRIDAY = (0, 1, 2, 3, 4)
HOUR = 60


@dataclass(frozen=True, slots=True)
class WorkingTime:
    """People of one part of the day, by the clock at the plant [min after midnight]; ``weekdays`` from Monday, 0."""

    name: str
    start_min: int
    end_min: int
    operators: int
    technicians: int
    second_people: int
    weekdays: tuple[int, ...] = MONDAY_TO_FRIDAY


@dataclass(frozen=True, slots=True)
class Changeovers:
    """Minutes between one content of a vessel and another; the longest of those that apply counts."""

    other_resin_min: int = 60
    other_class_min: int = 45
    other_owner_min: int = 45
    """Between resin of different customers that keep their own."""
    water: str = "softened"
    water_l_per_l_vessel: float = 2.0


@dataclass(frozen=True, slots=True)
class Worth:
    """What the search weighs, in one made-up currency: no price of the plant."""

    late_per_tank_hour: float = 20.0
    batch: float = 35.0
    underfilled_batch: float = 25.0
    changeover: float = 10.0
    chemical_per_kg: float = 0.5
    water_per_m3: float = 3.0
    waste_per_m3: float = 5.0
    plant_hour: float = 2.0
    move_per_tank_hour: float = 2.0
    other_vessel_per_tank: float = 10.0


@dataclass(frozen=True, slots=True)
class PlanningFigures:
    """Everything that is set for planning."""

    days: int = 10
    """How far ahead is planned, today included."""
    working_times: tuple[WorkingTime, ...] = (
        WorkingTime("early", 6 * HOUR, 14 * HOUR, operators=2, technicians=1, second_people=1),
        WorkingTime("late", 14 * HOUR, 22 * HOUR, operators=2, technicians=0, second_people=0),
    )
    hands: Hands = field(default_factory=Hands)
    changeovers: Changeovers = field(default_factory=Changeovers)
    worth: Worth = field(default_factory=Worth)
    strength_check_min: int = 60
    """After the next opening, a strength check that is due is taken to be done within so many minutes."""
    look_over_min: int = 30
    """From the door to being accepted: unloading, the look over, the quick tests. A tank on its way counts so long after it is expected, one
    at the door so long after the plan is made [min]; common practice, from memory."""
    stays_kg: Mapping[str, float] = field(default_factory=dict)
    """What no plan draws of a chemical, by the value of ``Chemical`` [kg as 100 %]: below the suction of the pump, or kept for a
    reason of the plant. Another thing than the low mark of a tank, at which somebody orders. Nothing is kept where nobody said so."""


DEFAULTS = PlanningFigures()
