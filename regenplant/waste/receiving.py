"""Whether the drains may run to a waste tank: what is being proven or runs out takes nothing new in."""

from __future__ import annotations

from datetime import datetime

from regenplant.batches.waste_room import committed_m3
from regenplant.core.process.wording import say
from regenplant.plant.models import WasteTank
from regenplant.plant.selectors import waste_tank
from regenplant.waste.discharge_models import Discharge
from regenplant.waste.discharges import open_discharge


def is_receiving(tank: WasteTank) -> bool:
    """Whether the drains run to this tank now."""
    receiving = waste_tank()
    return receiving is not None and receiving.pk == tank.pk


def stop_for(tank: WasteTank, now: datetime) -> str:
    """Why the drains must not run to this tank from now on, as a sentence; "" where they may."""
    present = waste_tank()
    if present is not None and present.pk == tank.pk and tank.receives:
        return f"The drains run to {tank.code} already. Nothing was written."
    under_way = open_discharge(tank)
    if under_way is not None:
        state = (
            "its outlet is open"
            if under_way.state == Discharge.State.RELEASED
            else "it is mixed and read for the sewer"
        )
        return f"Discharge {under_way.number} of {tank.code} is under way: {state}. Close it or give it up first."
    if present is None or present.pk == tank.pk:
        return ""
    return _no_room(tank, present)


def _no_room(tank: WasteTank, present: WasteTank) -> str:
    """What begun batches still bring cannot wait: they stay where there is more room, up to the brim."""
    bring = committed_m3()
    room = tank.capacity_m3 - tank.level_m3
    if bring <= room or room >= present.capacity_m3 - present.level_m3:
        return ""
    return (
        f"Batches under way still bring {say(bring, 'liquid_volume')}; {tank.code} has room for {say(max(room, 0.0), 'liquid_volume')} "
        f"up to its brim, less than {present.code}. Empty it first."
    )
