"""What a batch drains: each draining step has a destination, the tank's books follow, and nothing is lost on the way."""

from __future__ import annotations

import pytest

from regenplant.batches import services as batch_services
from regenplant.batches.frozen import plan_of
from regenplant.batches.models import Batch, StepRun
from regenplant.batches.waste_room import committed_m3, waste_by_step
from regenplant.core.errors import NotAllowed, PlanRefused, RecordRefused, StaleRecord
from regenplant.core.process.drained_steps import planned_drains
from regenplant.core.process.vocabulary import StepKind
from regenplant.plant.models import WasteTank
from regenplant.waste import selectors, services
from regenplant.waste.models import StepDrain, WasteMovement
from tests import factories
from tests.factories import SmallPlant
from tests.waste.metals import flagged_batch

pytestmark = pytest.mark.django_db


@pytest.fixture
def plant(db: None) -> SmallPlant:
    plant = factories.small_plant()
    services.set_waste_level(by=plant.by(), waste_tank_id=tank().pk, level_m3=0.0)
    return plant


def tank() -> WasteTank:
    return WasteTank.objects.get(code="N1")


@pytest.fixture
def displaced(plant: SmallPlant) -> Batch:
    """A cation batch whose acid has been displaced."""
    batch = factories.frozen_batch(plant, "sac_h")
    factories.run_to(plant, batch, StepKind.DISPLACE, finish=True)
    return batch


@pytest.mark.requirement("EV-01")
def test_each_finished_step_that_drains_has_its_row(plant: SmallPlant, displaced: Batch) -> None:
    done = {
        step.number: step
        for step in displaced.steps.filter(state="done")
        if plan_of(displaced).step(step.number).drain_to
    }
    rows = {row.step_number: row for row in StepDrain.objects.filter(batch=displaced)}
    assert rows.keys() == done.keys() and rows
    assert all(rows[number].destination == step.drains_to for number, step in done.items())
    kinds = {StepKind(step.kind): rows[number].destination for number, step in done.items()}
    assert kinds[StepKind.BACKWASH] == "backwash_drain"
    assert kinds[StepKind.INJECT] == kinds[StepKind.DISPLACE] == "neutralization"


@pytest.mark.requirement("EV-08")
def test_the_tank_holds_what_was_drained(plant: SmallPlant, displaced: Batch) -> None:
    planned = planned_drains(plan_of(displaced))
    numbers = list(
        WasteMovement.objects.filter(kind="drain").values_list("step_number", flat=True).order_by("number")
    )
    stands = selectors.standing(tank())
    as_typed = 1e-3  # what is written is the plan's figure with four digits
    assert stands.volume_m3 == pytest.approx(sum(planned[n].waste_m3 for n in numbers), rel=as_typed)
    for ion in ("chloride", "sodium"):
        expected = sum(planned[n].amounts_mol.get(ion, 0.0) for n in numbers)
        assert stands.held.amounts_mol.get(ion, 0.0) == pytest.approx(expected, rel=as_typed)
    assert stands.held.excess_eq > 0.0, "spent acid"
    assert stands.unknown_m3 == 0.0 and tank().level_m3 == stands.volume_m3
    assert 0.0 < selectors.drained_frac(displaced) < 1.0


@pytest.mark.requirement("EV-08")
def test_what_a_begun_batch_still_brings_is_room_that_is_spoken_for(plant: SmallPlant) -> None:
    first = factories.frozen_batch(plant, "sac_h")
    assert committed_m3() == 0.0, "a batch that has not begun can wait"
    factories.run_to(plant, first, StepKind.INJECT)
    whole = sum(waste_by_step(first).values())
    assert committed_m3() == pytest.approx(whole, abs=1e-3) and committed_m3(first.pk) == 0.0
    room_m3 = whole + 0.5
    services.set_waste_level(
        by=plant.by(), waste_tank_id=tank().pk, level_m3=tank().capacity_m3 - tank().reserve_m3 - room_m3
    )
    with pytest.raises(PlanRefused, match="Treat and discharge first"):
        factories.frozen_batch(plant, "sba_1")
    factories.run_to(plant, first, StepKind.FAST_RINSE, finish=True)
    assert committed_m3() == 0.0
    left_m3 = tank().capacity_m3 - tank().reserve_m3 - tank().level_m3
    assert left_m3 == pytest.approx(0.5, abs=0.1)


def test_a_batch_given_up_under_way_leaves_what_has_run(plant: SmallPlant) -> None:
    batch = factories.frozen_batch(plant, "sac_h")
    step = factories.run_to(plant, batch, StepKind.FAST_RINSE)
    planned = planned_drains(plan_of(batch))[step.number]
    share = planned.waste_m3 / planned.volume_m3 / 2
    plant.forward(seconds=step.planned_duration_s * share)
    batch_services.interrupt_batch(by=plant.by(), batch_id=batch.pk, reason="The skid lost its power.")
    plant.forward(hours=3)
    batch_services.abort_batch(
        by=plant.by("supervisor"), batch_id=batch.pk, reason="The skid lost its power for good."
    )
    row = StepDrain.objects.get(batch=batch, step_number=step.number)
    assert row.was_given_up and row.waste_m3 == pytest.approx(planned.waste_m3 / 2, rel=1e-3)
    assert row.amounts_mol["chloride"] == pytest.approx(planned.amounts_mol["chloride"] / 2, rel=1e-3)


def test_what_leaves_takes_every_ion_in_proportion(plant: SmallPlant, displaced: Batch) -> None:
    before = selectors.standing(tank())
    services.take_waste_away(
        by=plant.by("safety"), waste_tank_id=tank().pk, volume_m3=before.volume_m3 / 4, collector="Tansy Hollow", document="TH 7",
    )  # fmt: skip
    after = selectors.standing(tank())
    assert after.chloride_kg == pytest.approx(0.75 * before.chloride_kg)
    assert after.tds_kg == pytest.approx(0.75 * before.tds_kg)


# --- choosing -----------------------------------------------------------------------------------------------------------
@pytest.mark.requirement("EV-01")
def test_a_step_drains_elsewhere_by_choice_and_not_into_the_tank(plant: SmallPlant) -> None:
    batch = factories.frozen_batch(plant, "sac_na")
    inject = batch.steps.get(kind="inject")
    assert inject.drains_to == "neutralization"
    batch_services.route_step(
        by=plant.by(), step_id=inject.pk, destination="brine_sewer", reason="The waste tank is being cleaned today.",
    )  # fmt: skip
    factories.run_to(plant, batch, StepKind.INJECT, finish=True)
    assert StepDrain.objects.get(batch=batch, step_number=inject.number).destination == "brine_sewer"
    assert not WasteMovement.objects.filter(kind="drain", step_number=inject.number).exists()


@pytest.mark.requirement("EV-01")
def test_what_the_table_does_not_allow_is_refused(plant: SmallPlant) -> None:
    batch = factories.frozen_batch(plant, "sac_h")
    inject = batch.steps.get(kind="inject")
    for destination in ("brine_sewer", "rinse_drain", "metal_drum"):
        with pytest.raises(RecordRefused, match="may not go to"):
            batch_services.route_step(
                by=plant.by(),
                step_id=inject.pk,
                destination=destination,
                reason="Because it is nearer today.",
            )
    with pytest.raises(RecordRefused, match="drains nothing"):
        batch_services.route_step(
            by=plant.by(), step_id=batch.steps.get(kind="load").pk, destination="reclaim", reason="Because it is nearer.",
        )  # fmt: skip
    with pytest.raises(RecordRefused, match="reason"):
        batch_services.route_step(by=plant.by(), step_id=inject.pk, destination="reclaim", reason="so")
    with pytest.raises(NotAllowed):
        batch_services.route_step(
            by=plant.by("planner"), step_id=inject.pk, destination="reclaim", reason="Because it is nearer."
        )
    with pytest.raises(StaleRecord):
        batch_services.route_step(
            by=plant.by(),
            step_id=inject.pk,
            destination="reclaim",
            reason="Because it is nearer.",
            version=99,
        )


def test_a_step_that_runs_keeps_its_destination(plant: SmallPlant) -> None:
    batch = factories.frozen_batch(plant, "sac_na")
    step = factories.run_to(plant, batch, StepKind.INJECT)
    with pytest.raises(RecordRefused, match="before it starts"):
        batch_services.route_step(
            by=plant.by(), step_id=step.pk, destination="brine_sewer", reason="The waste tank is nearly full."
        )


# --- metals -------------------------------------------------------------------------------------------------------------


@pytest.mark.requirement("EV-02")
def test_a_batch_with_a_metal_flag_never_drains_to_the_waste_tank(plant: SmallPlant) -> None:
    batch = flagged_batch(plant)
    drains = batch.steps.exclude(drains_to="")
    assert drains.exists() and set(drains.values_list("drains_to", flat=True)) == {"metal_drum"}
    inject = batch.steps.get(kind="inject")
    with pytest.raises(RecordRefused, match="Metals never enter the waste tank"):
        batch_services.route_step(
            by=plant.by("safety"),
            step_id=inject.pk,
            destination="neutralization",
            reason="Only traces of copper.",
        )
    factories.run_to(plant, batch, StepKind.DISPLACE, finish=True)
    assert set(StepDrain.objects.filter(batch=batch).values_list("destination", flat=True)) == {"metal_drum"}
    assert not WasteMovement.objects.filter(kind="drain").exists()


@pytest.mark.requirement("EV-02")
def test_even_a_row_that_says_otherwise_does_not_start(plant: SmallPlant) -> None:
    batch = flagged_batch(plant)
    inject = batch.steps.get(kind="inject")
    StepRun.objects.filter(pk=inject.pk).update(drains_to="neutralization")
    with pytest.raises(RecordRefused, match="Metals never enter the waste tank"):
        factories.run_to(plant, batch, StepKind.INJECT)


@pytest.mark.requirement("EV-02")
def test_no_word_of_its_plan_leads_to_the_waste_tank(plant: SmallPlant) -> None:
    plan = plan_of(flagged_batch(plant))
    for step in plan.steps:
        words = " ".join(
            (step.instruction, step.ends_when, *(f"{entry.name} {entry.help}" for entry in step.entries))
        )
        assert "waste tank" not in words, words
        assert not step.drain_to or "never the waste tank" in step.drain_to
    codes = {check.code for check in plan.checks}
    assert "metal_drum" in codes and "waste_room" not in codes
