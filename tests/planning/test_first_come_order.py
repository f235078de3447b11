"""Of the whiteboard way: a tank on its way takes its turn when it comes, whoever names it; of those that wait already the order decides."""

from __future__ import annotations

from datetime import timedelta

import pytest

from regenplant.core.scheduling.exchange import problem_from
from regenplant.core.scheduling.first_come import first_come
from regenplant.planning.first_come import against_first_come
from regenplant.planning.selectors import shown
from tests import factories
from tests.core.scheduling.instances import instance
from tests.planning.test_accepting import made
from tests.tanks.test_expecting import away, expected


@pytest.mark.parametrize("named", [[], ["last"], ["last", "first"], ["middle", "last", "first"]])
def test_each_tank_is_served_in_the_order_in_which_it_is_received(named: list[str]) -> None:
    """One vessel that holds one tank at a time, three tanks of one key that are received an hour apart."""
    data = instance(5, tanks=1)
    (tank,) = data["tanks"]
    comes = {"last": 120, "first": 0, "middle": 60}
    data["tanks"] = [
        {**tank, "id": name, "volume_l": 100, "received_min": minute} for name, minute in comes.items()
    ]
    vessel = next(one for one in data["vessels"] if tank["family"] in one["families"])
    data["vessels"] = [
        {**vessel, "max_fill_l": 100, "min_fill_l": 50, "ready_min": 0, "segregation": [tank["segregation"]]}
    ]
    plan = first_come(problem_from(data), named)
    served = [name for one in sorted(plan.batches, key=lambda one: one.start_min) for name in one.tanks]
    assert served == ["first", "middle", "last"]


@pytest.mark.django_db
def test_of_the_live_plant_those_here_come_first_and_those_on_their_way_as_they_are_expected() -> None:
    plant = factories.small_plant()
    waiting = [visit.tank.serial for visit in factories.accepted_tanks(plant, "sac_h", count=3)]
    late, soon = (
        expected(plant, away(plant), expected_at=plant.now + timedelta(hours=hours))[0].tank.serial
        for hours in (6, 2)
    )
    view = shown(made(plant))
    numbered = sorted(view.names.visits.items(), key=lambda item: (len(item[1]), item[1]))
    plan = first_come(view.problem, [serial for serial, _ in numbered])
    begins = {name: one.start_min for one in plan.batches for name in one.tanks}
    assert set(begins) == {*waiting, soon, late}
    assert max(begins[name] for name in waiting) <= begins[soon] <= begins[late]
    assert against_first_come(view).first_come.without_batch == 0
