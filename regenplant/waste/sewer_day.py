"""Tells the rooms that plan what went to the sewer today and what stands in the waste tanks (``plant.sewer_day``)."""

from __future__ import annotations

from datetime import datetime

from regenplant.batches.models import Batch
from regenplant.batches.sewer_budget import UNDER_WAY, still_coming
from regenplant.core.process.sewer_budget import (
    IONS,
    BudgetLine,
    Loads,
    budget_lines,
    near_the_edge,
    total,
)
from regenplant.plant.limits import content_in_force
from regenplant.plant.models import WasteTank
from regenplant.plant.permit import permit_in_force
from regenplant.plant.selectors import plant_day
from regenplant.plant.sewer_day import SewerDay
from regenplant.waste.discharges import concentrations_of, gone_on, loads_in
from regenplant.waste.selectors import drained_fracs


def day_at(now: datetime) -> SewerDay:
    """The plant day of this moment.

    What stands in a tank of unknown composition counts like the rest of that tank. The neutralizer that a batch will need is part of its plan's
    masses; once the batch has drained, it counts with the treatment that is added.
    """
    gone = gone_on(plant_day(now))
    standing = total(_standing(tank) for tank in WasteTank.objects.all())
    rows = Batch.objects.filter(state__in=[state.value for state in UNDER_WAY])
    return SewerDay(gone.loads, gone.volume_m3, standing, drained_fracs(rows))


def _standing(tank: WasteTank) -> Loads:
    concentrations, _ = concentrations_of(tank, {})
    return loads_in({ion: concentrations[ion] for ion in IONS}, tank.level_m3)


def lines_of_day(now: datetime) -> tuple[BudgetLine, ...]:
    """The day with what went, what stands in the waste tanks and what batches under way still bring, by ion of the permit."""
    budget_kg = permit_in_force(now).content.budget_kg()
    if not budget_kg:
        return ()
    day = day_at(now)
    return budget_lines(budget_kg, gone=day.gone, coming=day.standing + still_coming(day))


def near_words(now: datetime) -> str:
    """That the day comes near its edge, as a sentence; "" where it does not. From the plant's own share of the day on."""
    found = near_the_edge(lines_of_day(now), content_in_force(now).sewer.sewer_day_warn_frac)
    if not found:
        return ""
    return (
        f"The sewer’s day comes near its edge: {found}, counting what went, what stands in the waste tanks and what batches under way "
        "still bring. What does not go today goes another day."
    )
