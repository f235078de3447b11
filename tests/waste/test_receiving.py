"""To which waste tank the drains run: one and only one, said by a person, never into what is being proven."""

from __future__ import annotations

import pytest

from regenplant.audit.selectors import Line, newest_act
from regenplant.batches.models import Batch
from regenplant.core.errors import NotAllowed, RecordRefused, StaleRecord
from regenplant.core.process.vocabulary import StepKind
from regenplant.plant import services as plant_services
from regenplant.plant.models import WasteTank
from regenplant.plant.selectors import waste_data, waste_tank
from regenplant.plant.services import WasteTankSettings
from regenplant.waste import selectors, services
from regenplant.waste.discharges import standing_at
from regenplant.waste.models import WasteMovement
from tests import factories
from tests.factories import SmallPlant
from tests.waste.sewer import opened, permitted

pytestmark = pytest.mark.django_db
FULL = "The first one is full."


def second_tank(plant: SmallPlant, code: str = "N2", capacity_m3: float = 300.0) -> WasteTank:
    settings = WasteTankSettings(code, "Second tank", capacity_m3, 3.0)
    return plant_services.save_waste_tank(by=plant.by("supervisor"), tank=settings).result


def tank(code: str = "N1") -> WasteTank:
    return WasteTank.objects.get(code=code)


@pytest.fixture
def plant(db: None) -> SmallPlant:
    plant = factories.small_plant()
    services.set_waste_level(by=plant.by(), waste_tank_id=tank().pk, level_m3=0.0)
    second_tank(plant)
    return plant


def switch(plant: SmallPlant, code: str = "N2", who: str = "operator", **more: object) -> WasteTank:
    given = {"reason": FULL, **more}
    return services.run_drains_to(by=plant.by(who), waste_tank_id=tank(code).pk, **given).result


def told() -> Line:
    line = newest_act("waste.drains_switched")
    assert line is not None
    return line


@pytest.fixture
def feeding(plant: SmallPlant) -> Batch:
    """A cation batch whose acid is being injected."""
    batch = factories.frozen_batch(plant, "sac_h")
    factories.run_to(plant, batch, StepKind.INJECT)
    return batch


def test_a_tank_that_is_added_takes_no_drain_from_the_one_that_has_it(plant: SmallPlant) -> None:
    second_tank(plant, "A0")
    assert waste_tank() == tank("N1"), "neither a later tank nor an earlier code takes the drains over"
    assert list(WasteTank.objects.filter(receives=True)) == [tank("N1")]


def test_an_older_plant_that_never_said_so_keeps_its_first_tank(plant: SmallPlant) -> None:
    WasteTank.objects.update(receives=False)
    assert waste_tank() == tank("N1")
    second_tank(plant, "A0")
    assert waste_tank() == tank("N1"), "it is said before another could come first"


@pytest.mark.requirement("EV-08")
def test_room_and_books_follow_the_switch(plant: SmallPlant, feeding: Batch) -> None:
    factories.run_to(plant, feeding, StepKind.INJECT, finish=True)
    in_first = tank("N1").level_m3
    assert in_first > 0.0
    switch(plant)
    assert (waste_data(plant.now).capacity_m3, waste_data(plant.now).reserve_m3) == (300.0, 3.0)
    factories.run_to(plant, feeding, StepKind.DISPLACE, finish=True)
    assert tank("N1").level_m3 == in_first, "nothing comes into the old one any more"
    drains = WasteMovement.objects.filter(kind="drain", tank=tank("N2"))
    assert drains.exists() and tank("N2").level_m3 == pytest.approx(sum(row.volume_m3 for row in drains))
    assert selectors.standing(tank("N2")).unknown_m3 == 0.0


def test_it_is_written_who_switched_and_why(plant: SmallPlant) -> None:
    switch(plant)
    assert told().sentence.startswith("The drains run to N2 now") and "before to N1" in told().sentence
    assert told().reason == FULL and told().who == plant.people["operator"].full_name


def test_who_has_no_right_switches_nothing(plant: SmallPlant) -> None:
    with pytest.raises(NotAllowed):
        switch(plant, who="planner")
    assert waste_tank() == tank("N1")


def test_it_wants_a_reason_and_another_tank(plant: SmallPlant) -> None:
    with pytest.raises(RecordRefused, match="reason"):
        switch(plant, reason="  ")
    with pytest.raises(RecordRefused, match="run to N1 already"):
        switch(plant, "N1")


def test_not_while_a_step_drains_unless_somebody_says_so(plant: SmallPlant, feeding: Batch) -> None:
    with pytest.raises(RecordRefused, match=f"{feeding.number} drains now"):
        switch(plant)
    assert waste_tank() == tank("N1")
    switch(plant, while_draining=True)
    assert f"while {feeding.number} drained" in told().sentence
    factories.run_to(plant, feeding, StepKind.INJECT, finish=True)
    assert tank("N1").level_m3 == 0.0 and tank("N2").level_m3 > 0.0, "all of that step"


@pytest.mark.requirement("EV-04")
def test_what_is_being_proven_takes_nothing_in(plant: SmallPlant) -> None:
    permitted(plant)
    services.set_waste_level(by=plant.by(), waste_tank_id=tank("N2").pk, level_m3=20.0)
    row = services.open_discharge(by=plant.by(), tank_id=tank("N2").pk, planned_volume_m3=2.0).result
    with pytest.raises(
        RecordRefused, match=f"Discharge {row.number} of N2 is under way: it is mixed and read"
    ):
        switch(plant)
    services.give_up_discharge(by=plant.by(), discharge_id=row.pk, reason="The drains are to run to it.")
    assert switch(plant).receives


@pytest.mark.requirement("EV-04")
def test_a_drain_into_the_other_tank_keeps_no_discharge_back(plant: SmallPlant, feeding: Batch) -> None:
    permitted(plant)
    services.set_waste_level(by=plant.by(), waste_tank_id=tank("N1").pk, level_m3=5.0)
    row = opened(plant)
    drains = f"{feeding.number} drains to N1 now"
    assert any(drains in words for words in standing_at(row, plant.now).blockers)
    switch(plant, while_draining=True)
    assert not any("drains to" in words for words in standing_at(row, plant.now).blockers)


def test_what_is_coming_stays_where_there_is_more_room(plant: SmallPlant, feeding: Batch) -> None:
    small = second_tank(plant, "N3", capacity_m3=4.0)
    services.set_waste_level(by=plant.by(), waste_tank_id=small.pk, level_m3=3.99)
    with pytest.raises(RecordRefused, match="N3 has room for"):
        switch(plant, "N3", while_draining=True)
    services.set_waste_level(by=plant.by(), waste_tank_id=tank("N1").pk, level_m3=399.995)
    assert switch(plant, "N3", while_draining=True).receives, "the old one has even less"


def test_a_stale_page_switches_nothing(plant: SmallPlant) -> None:
    second_tank(plant, "N3")
    seen = tank("N2").version
    switch(plant, "N3")
    with pytest.raises(StaleRecord, match="The drains run to N3 by now"):
        switch(plant, "N2", shown_receiving="N1", version=seen)
    services.set_waste_level(by=plant.by(), waste_tank_id=tank("N2").pk, level_m3=1.0)
    with pytest.raises(StaleRecord, match="was changed since you opened it"):
        switch(plant, "N2", shown_receiving="N3", version=seen)
    assert list(WasteTank.objects.filter(receives=True)) == [tank("N3")], "undone as a whole"
