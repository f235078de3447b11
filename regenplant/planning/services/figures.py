"""The plant's own figures for planning. Each recording holds from the next plan on; the old ones stay with their reason."""

from __future__ import annotations

from regenplant.audit.by import By
from regenplant.audit.records import words_of
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.core.errors import OutOfRange, RecordRefused, StaleRecord
from regenplant.core.process.vocabulary import Chemical
from regenplant.planning.figures import PlanningFigures
from regenplant.planning.figures_kept import figures_from, figures_in_force, figures_to
from regenplant.planning.models import PlanningSettings

DAY_MIN = 1440
MOST_DAYS = 21
MOST_PEOPLE = 50
MOST_TIMES = 8
MOST_MIN = 48 * 60
MOST_LOOK_OVER_MIN = DAY_MIN
MOST_WORTH = 100_000.0
MOST_KEPT_KG = 60_000.0
"""As much as a large tank truck brings; a guard against slips of the unit."""


@use_case("day_plan.figures_recorded", permission="day_plan.figures")
def record_figures(
    *, by: By, figures: PlanningFigures, reason: str, seen_number: int | None = None
) -> Outcome:
    """Working times, changeovers, waits and weights. ``seen_number`` is the recording that the page showed, 0 for the program's own.

    Raises: OutOfRange naming the figure with what is allowed; RecordRefused without a reason or where nothing differs; StaleRecord.
    """
    newest = PlanningSettings.objects.first()
    stands = newest.number if newest else 0
    if seen_number is not None and seen_number != stands:
        raise StaleRecord(
            "Somebody recorded other figures for planning meanwhile. Look at them, then write again.",
            seen=seen_number,
            present=stands,
        )
    why = words_of(reason, "The reason", field="reason", most=300, least=10)
    _check_figures(figures)
    content = figures_to(figures)
    before = figures_to(figures_in_force())
    changed = [name for name in content if content[name] != before[name]]
    if not changed:
        raise RecordRefused(
            "Nothing differs from what stands there, so nothing was written.", code="nothing_changed"
        )
    assert figures_from(content) == figures
    row = PlanningSettings.objects.create(
        number=stands + 1, content=content, reason=why, recorded_at=by.at, recorded_by=by.user
    )
    return Outcome(
        subject=("planning_figures", str(row.number), f"Figures for planning {row.number}"),
        before={name: before[name] for name in changed},
        after={name: content[name] for name in changed},
        facts={"changed": ", ".join(name.replace("_", " ") for name in changed)},
        reason=why,
        result=row,
    )


def _check_figures(figures: PlanningFigures) -> None:
    """Raises: OutOfRange for the first figure that no plant has."""
    _whole(figures.days, 1, MOST_DAYS, "Days to plan", "days")
    _whole(
        figures.strength_check_min,
        0,
        MOST_MIN,
        "Minutes until a strength check is done",
        "strength_check_min",
    )
    _whole(figures.look_over_min, 0, MOST_LOOK_OVER_MIN, "Minutes from the door to accepted", "look_over_min")
    if not 1 <= len(figures.working_times) <= MOST_TIMES:
        raise OutOfRange(
            f"{len(figures.working_times)} working times are written; 1 to {MOST_TIMES} are possible.",
            field="working_times",
        )
    for time in figures.working_times:
        named = f"Working time “{time.name}”"
        if not time.weekdays or time.start_min == time.end_min:
            raise OutOfRange(f"{named} is on no day, or lasts no time.", field="working_times")
        for minute in (time.start_min, time.end_min):
            _whole(minute, 0, DAY_MIN, f"{named}, minutes after midnight", "working_times")
        for people in (time.operators, time.technicians, time.second_people):
            _whole(people, 0, MOST_PEOPLE, f"{named}, people", "working_times")
    change = figures.changeovers
    for name in ("other_resin_min", "other_class_min", "other_owner_min"):
        _whole(getattr(change, name), 0, MOST_MIN, f"Changeover, {name.replace('_', ' ')}", name)
    for name in (
        "late_per_tank_hour", "batch", "underfilled_batch", "changeover", "chemical_per_kg", "water_per_m3",
        "waste_per_m3", "plant_hour", "move_per_tank_hour", "other_vessel_per_tank",
    ):  # fmt: skip
        value = getattr(figures.worth, name)
        if not 0.0 <= value <= MOST_WORTH:
            raise OutOfRange(
                f"The weight “{name.replace('_', ' ')}” is {value:g}; possible is 0 to {MOST_WORTH:,.0f}.",
                field=name,
            )
    for name, kg in figures.stays_kg.items():
        if name not in set(Chemical):
            raise OutOfRange(f"“{name}” is no chemical that is known here.", field=f"stays_{name}")
        if not 0.0 <= kg <= MOST_KEPT_KG:
            raise OutOfRange(
                f"What stays of {Chemical(name).label.lower()}: {kg:,g} kg as 100 % is written; possible is 0 to {MOST_KEPT_KG:,.0f} kg.",
                field=f"stays_{name}",
            )


def _whole(value: int, low: int, high: int, what: str, field: str) -> None:
    if not low <= value <= high:
        raise OutOfRange(f"{what}: {value} is written; possible is {low} to {high}.", field=field)


say("day_plan.figures_recorded", "{subject} were recorded: {changed}")
