"""To which waste tank the drains run: one and only one, said by a person, never into what is being proven."""

from __future__ import annotations

from datetime import timedelta

import pytest

from regenplant.audit import locks
from regenplant.audit.selectors import Line, newest_act
from regenplant.audit.verifying.registry import findings
from regenplant.batches.models import Batch, Hold
from regenplant.core.errors import NotAllowed, RecordRefused, StaleRecord
from regenplant.core.process.vocabulary import StepKind
from regenplant.plant import services as plant_services
from regenplant.plant.models import WasteTank
from regenplant.plant.selectors import waste_data, waste_tank
from regenplant.plant.services import WasteTankSettings
from regenplant.waste import selectors, services
from regenplant.waste.discharges import standing_at
from regenplant.waste.models import StepDrain, WasteMovement
from regenplant.waste.stretches import worked_into
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


def ended(plant: SmallPlant, batch: Batch) -> tuple[StepDrain, dict[str, WasteMovement]]:
    """The step with the acid ends: what it drained, and its rows by tank."""
    step = batch.steps.get(kind=StepKind.INJECT.value)
    factories.run_to(plant, batch, StepKind.INJECT, finish=True)
    rows = WasteMovement.objects.filter(kind="drain", batch=batch, step_number=step.number)
    return StepDrain.objects.get(batch=batch, step_number=step.number), {row.tank.code: row for row in rows}


@pytest.mark.requirement("EV-08")
def test_a_step_that_drains_while_they_are_switched_is_in_both_tanks(
    plant: SmallPlant, feeding: Batch
) -> None:
    """By the time it worked before and after, as if it drained evenly; nothing lost, nothing twice (mass balance)."""
    step = feeding.steps.get(kind=StepKind.INJECT.value)
    plant.forward(minutes=10)
    switch(plant, while_draining=True)
    drain, rows = ended(plant, feeding)
    assert set(rows) == {"N1", "N2"} and rows["N1"].number < rows["N2"].number
    step.refresh_from_db()
    assert step.finished_at is not None and step.started_at is not None
    worked = (step.finished_at - step.started_at).total_seconds()
    assert rows["N1"].volume_m3 / drain.waste_m3 == pytest.approx(10 * 60 / worked, rel=1e-6)
    assert rows["N1"].volume_m3 + rows["N2"].volume_m3 == pytest.approx(drain.waste_m3, rel=1e-12)
    for name, moles in drain.amounts_mol.items():
        together = rows["N1"].amounts_mol[name] + rows["N2"].amounts_mol[name]
        assert together == pytest.approx(moles, rel=1e-12), name
    assert all(row.reference.endswith("in part") for row in rows.values())
    assert list(findings()) == []


def test_a_step_that_ended_before_or_began_after_is_in_one_tank(plant: SmallPlant, feeding: Batch) -> None:
    _, rows = ended(plant, feeding)
    assert set(rows) == {"N1"} and not rows["N1"].reference.endswith("in part")
    switch(plant)
    factories.run_to(plant, feeding, StepKind.DISPLACE, finish=True)
    later = WasteMovement.objects.filter(kind="drain", number__gt=rows["N1"].number)
    assert later.exists() and {row.tank.code for row in later} == {"N2"}


def test_a_part_that_was_made_less_is_found(plant: SmallPlant, feeding: Batch) -> None:
    plant.forward(minutes=5)
    switch(plant, while_draining=True)
    plant.forward(minutes=5)
    _, rows = ended(plant, feeding)
    locks.remove()
    WasteMovement.objects.filter(pk=rows["N1"].pk).update(volume_m3=rows["N1"].volume_m3 / 2)
    locks.install()
    found = [finding.sentence for finding in findings()]
    assert any("is not what came into the waste tank" in sentence for sentence in found), found


def test_a_hold_counts_for_no_tank(plant: SmallPlant, feeding: Batch) -> None:
    """Ten minutes before the switch and ten after it, of which the batch was held for five before it and for four after it."""
    step = feeding.steps.get(kind=StepKind.INJECT.value)
    began = step.started_at
    assert began is not None
    plant.now = began + timedelta(minutes=10)
    switch(plant, while_draining=True)
    holds = [
        Hold(held_at=began + timedelta(minutes=start), resumed_at=began + timedelta(minutes=end))
        for start, end in ((2, 7), (12, 16))
    ]
    times = worked_into(step, holds, began + timedelta(minutes=20))
    assert times == {tank("N1").pk: 300.0, tank("N2").pk: 360.0} and next(iter(times)) == tank("N1").pk
    assert worked_into(step, holds, began + timedelta(minutes=10)) == {tank("N1").pk: 300.0}
    assert worked_into(step, [], began) == {tank("N1").pk: 1.0}, "it did not work at all"


def test_there_and_back_again_is_one_row_for_each_tank(plant: SmallPlant, feeding: Batch) -> None:
    plant.forward(minutes=4)
    switch(plant, while_draining=True)
    plant.forward(minutes=4)
    switch(plant, "N1", while_draining=True)
    plant.forward(minutes=4)
    drain, rows = ended(plant, feeding)
    assert set(rows) == {"N1", "N2"}
    assert sum(row.volume_m3 for row in rows.values()) == pytest.approx(drain.waste_m3, rel=1e-12)
    assert rows["N1"].volume_m3 > rows["N2"].volume_m3


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
def test_a_discharge_waits_for_the_part_that_came_before_the_switch(
    plant: SmallPlant, feeding: Batch
) -> None:
    """Its part is in the tank but not in the books until the step ends; what began after the switch keeps nothing back."""
    permitted(plant)
    services.set_waste_level(by=plant.by(), waste_tank_id=tank("N1").pk, level_m3=5.0)
    row = opened(plant)
    drains = f"{feeding.number} drains to N1 now"
    assert any(drains in words for words in standing_at(row, plant.now).blockers)
    plant.forward(minutes=5)
    switch(plant, while_draining=True)
    waits = f"{feeding.number} drained to N1 until the drains were switched"
    assert any(waits in words for words in standing_at(row, plant.now).blockers)
    factories.run_to(plant, feeding, StepKind.INJECT, finish=True)
    factories.run_to(plant, feeding, StepKind.DISPLACE)
    assert not any(feeding.number in words for words in standing_at(row, plant.now).blockers)


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
