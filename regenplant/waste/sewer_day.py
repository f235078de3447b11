"""Tells the rooms that plan what went to the sewer today and what stands in the waste tanks (``plant.sewer_day``)."""

from __future__ import annotations

from datetime import datetime

from regenplant.batches.models import Batch
from regenplant.batches.sewer_budget import UNDER_WAY
from regenplant.core.process.sewer_budget import IONS, Loads, total
from regenplant.plant.models import WasteTank
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
