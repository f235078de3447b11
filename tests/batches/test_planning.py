"""What may become a batch, and what never may."""

from __future__ import annotations

import threading
from dataclasses import replace

import pytest
from django.db import connection

from regenplant.batches import services as batch_services
from regenplant.batches.models import Batch, BatchTank
from regenplant.chemicals.models import StrengthCheck
from regenplant.core.errors import (
    DomainError,
    NotAllowed,
    PlanRefused,
    RecordRefused,
    StaleRecord,
    TransitionRefused,
)
from regenplant.core.process.vocabulary import StepKind
from regenplant.plant import services as plant_services
from regenplant.plant.models import PlantProfile, Vessel
from regenplant.recipes import services as recipe_services
from regenplant.recipes.models import RecipeVersion
from regenplant.tanks import services as tank_services
from tests import factories
from tests.factories import SmallPlant

pytestmark = pytest.mark.django_db


def freeze(
    plant: SmallPlant, visits, *, family: str = "sac_h", vessel: str = "C1", who: str = "operator", **more
) -> Batch:
    return batch_services.freeze_batch(
        by=plant.by(who),
        visit_ids=[visit.pk for visit in visits],
        vessel_id=plant.vessels[vessel].pk,
        recipe_version_id=more.pop("recipe_version_id", plant.recipe[family].pk),
        specification_version_id=plant.specification[family].pk,
        **more,
    ).result


def nothing_half_written() -> bool:
    return Batch.objects.count() == 0 and BatchTank.objects.count() == 0


@pytest.mark.requirement("CS-02")
def test_a_held_tank_is_refused_by_name(plant: SmallPlant) -> None:
    visits = factories.accepted_tanks(plant, "sac_h", 3)
    tank_services.hold_tank(
        by=plant.by(), visit_id=visits[1].pk, reason="smells of chlorine", version=visits[1].version
    )
    with pytest.raises(RecordRefused, match=f"{visits[1].tank.serial} is held; only accepted tanks"):
        freeze(plant, visits)
    assert nothing_half_written()


def test_a_tank_that_was_not_judged_is_refused(plant: SmallPlant) -> None:
    visits = [*factories.accepted_tanks(plant, "sac_h", 2), factories.received_tank(plant, "sac_h")]
    with pytest.raises(RecordRefused, match="is received; only accepted tanks"):
        freeze(plant, visits)


def test_different_pools_are_never_mixed(plant: SmallPlant) -> None:
    visits = [*factories.accepted_tanks(plant, "sac_h", 2), factories.accepted_tank(plant, "sac_na")]
    with pytest.raises(RecordRefused, match="Different pools are never mixed"):
        freeze(plant, visits)
    assert nothing_half_written()


def test_different_classes_are_never_mixed(plant: SmallPlant) -> None:
    visits = [
        *factories.accepted_tanks(plant, "sac_h", 2),
        factories.accepted_tank(plant, "sac_h", segregation_class="C"),
    ]
    with pytest.raises(RecordRefused, match="Different pools are never mixed"):
        freeze(plant, visits)


def test_a_tank_is_in_one_batch_only(plant: SmallPlant) -> None:
    visits = factories.accepted_tanks(plant, "sac_h", 3)
    first = freeze(plant, visits)
    others = factories.accepted_tanks(plant, "sac_h", 2)
    with pytest.raises(RecordRefused, match=f"already in batch {first.number}"):
        freeze(plant, [*others, visits[0]])


def test_an_occupied_vessel_is_refused(plant: SmallPlant) -> None:
    first = factories.frozen_batch(plant, "sac_h")
    with pytest.raises(RecordRefused, match=f"C1 holds batch {first.number}"):
        freeze(plant, factories.accepted_tanks(plant, "sac_h", 3))


@pytest.mark.requirement("CS-08")
def test_a_locked_out_vessel_blocks_the_plan(plant: SmallPlant) -> None:
    plant_services.lock_out_vessel(
        by=plant.by("supervisor"), vessel_id=plant.vessels["C1"].pk, number="118", reason="drain valve work"
    )
    with pytest.raises(PlanRefused, match="locked out") as refusal:
        freeze(plant, factories.accepted_tanks(plant, "sac_h", 3))
    assert "vessel" in " ".join(check.code for check in refusal.value.checks)
    assert nothing_half_written()


def test_too_little_and_too_much_resin_block_with_both_numbers(plant: SmallPlant) -> None:
    with pytest.raises(PlanRefused, match=r"Too few to start: 102\sL, vessel C1 needs 200\sL"):
        freeze(plant, factories.accepted_tanks(plant, "sac_h", 1))
    with pytest.raises(PlanRefused, match=r"Too much for vessel C1: 510\sL, at most 450\sL"):
        freeze(plant, factories.accepted_tanks(plant, "sac_h", 5))


@pytest.mark.requirement("ER-18")
def test_an_unapproved_recipe_is_refused(plant: SmallPlant) -> None:
    definition = replace(factories.default_recipes()[0], notes="changed for a test")
    draft = recipe_services.draft_recipe_version(
        by=plant.by("supervisor"),
        recipe_id=plant.recipe["sac_h"].recipe_id,
        definition=definition,
        reason="a new draft to try",
    ).result
    with pytest.raises(RecordRefused, match="is draft, not approved"):
        freeze(plant, factories.accepted_tanks(plant, "sac_h", 3), recipe_version_id=draft.pk)


def test_a_recipe_of_another_family_blocks(plant: SmallPlant) -> None:
    with pytest.raises(PlanRefused, match="Recipe NA-NACL-160 is for"):
        freeze(
            plant, factories.accepted_tanks(plant, "sac_h", 3), recipe_version_id=plant.recipe["sac_na"].pk
        )


@pytest.mark.requirement("CS-05")
def test_an_expired_strength_check_blocks(plant: SmallPlant) -> None:
    visits = factories.accepted_tanks(plant, "sac_h", 3)
    plant.forward(days=8)
    with pytest.raises(PlanRefused, match="8 days old, at most 7"):
        freeze(plant, visits)
    assert StrengthCheck.objects.filter(lot=plant.lots["hcl"]).count() == 1


def test_a_plan_that_changed_since_it_was_shown_is_shown_again(plant: SmallPlant) -> None:
    with pytest.raises(StaleRecord, match="no longer the one you saw"):
        freeze(plant, factories.accepted_tanks(plant, "sac_h", 3), shown_digest="0" * 64)
    assert nothing_half_written()


def test_no_tanks_and_the_same_tank_twice_are_refused(plant: SmallPlant) -> None:
    visit = factories.accepted_tank(plant, "sac_h")
    with pytest.raises(RecordRefused, match="No tank is chosen"):
        freeze(plant, [])
    with pytest.raises(RecordRefused, match="names a tank twice"):
        freeze(plant, [visit, visit])


def test_a_qc_technician_does_not_plan(plant: SmallPlant) -> None:
    with pytest.raises(NotAllowed, match="may not do this"):
        freeze(plant, factories.accepted_tanks(plant, "sac_h", 3), who="qc")


@pytest.mark.requirement("CS-08")
def test_what_changed_since_freezing_blocks_the_start(plant: SmallPlant) -> None:
    batch = factories.frozen_batch(plant, "sac_h")
    factories.write_required(plant, batch.steps.get(number=1), is_before=True)
    plant_services.lock_out_vessel(
        by=plant.by("supervisor"), vessel_id=plant.vessels["C1"].pk, number="7", reason="manhole is open"
    )
    with pytest.raises(TransitionRefused, match="manhole is open"):
        batch_services.start_batch(by=plant.by(), batch_id=batch.pk)
    batch.refresh_from_db()
    assert batch.state == "ready"
    assert {link.visit.state for link in batch.tank_links.select_related("visit")} == {"accepted"}


def test_an_unstarted_batch_that_is_aborted_lets_its_tanks_go(plant: SmallPlant) -> None:
    batch = factories.frozen_batch(plant, "sac_h")
    visits = [link.visit for link in batch.tank_links.select_related("visit__tank")]
    batch_services.abort_batch(
        by=plant.by("supervisor"), batch_id=batch.pk, reason="the truck needs them elsewhere"
    )
    again = freeze(plant, visits)
    assert again.number != batch.number
    assert again.state == "ready"


@pytest.mark.requirement("CS-04")
def test_the_eyewash_test_overdue_stops_the_chemical_not_the_water(plant: SmallPlant) -> None:
    batch = factories.frozen_batch(plant, "sac_h")
    PlantProfile.objects.update(eyewash_tested_on=None)
    factories.run_to(plant, batch, StepKind.SETTLE, finish=True)
    inject = batch.steps.get(kind=StepKind.INJECT)
    factories.write_required(plant, inject, is_before=True)
    with pytest.raises(TransitionRefused, match="The eyewash test is overdue"):
        batch_services.start_step(by=plant.by(), step_id=inject.pk)
    plant_services.record_eyewash_test(by=plant.by(), tested_on=plant.now.date())
    batch_services.start_step(by=plant.by(), step_id=inject.pk)
    inject.refresh_from_db()
    assert inject.state == "running"


@pytest.mark.requirement("CS-03")
def test_the_vessel_remembers_what_stood_in_it(plant: SmallPlant) -> None:
    batch = factories.frozen_batch(plant, "sac_h")
    factories.run_to(plant, batch, StepKind.INJECT)
    vessel = Vessel.objects.get(code="C1")
    assert (vessel.last_chemical, vessel.is_flushed, vessel.last_segregation_class) == ("hcl", False, "D")
    factories.run_to(plant, batch, StepKind.DISPLACE, finish=True)
    assert Vessel.objects.get(code="C1").is_flushed


@pytest.mark.requirement("ER-18")
def test_a_running_batch_keeps_the_version_it_was_frozen_with(plant: SmallPlant) -> None:
    batch = factories.frozen_batch(plant, "sac_h")
    definition = replace(factories.default_recipes()[0], notes="changed for a test")
    draft = recipe_services.draft_recipe_version(
        by=plant.by("supervisor"),
        recipe_id=plant.recipe["sac_h"].recipe_id,
        definition=definition,
        reason="second version",
    ).result
    recipe_services.approve_recipe_version(
        by=plant.by("supervisor 2"),
        version_id=draft.pk,
        permit=factories.approval(plant.by("supervisor 2"), draft),
    )
    batch.refresh_from_db()
    assert batch.recipe_version.number == 1
    assert RecipeVersion.objects.get(pk=draft.pk).number == 2


@pytest.mark.requirement("ER-22")
@pytest.mark.django_db(transaction=True)
def test_two_people_start_a_batch_with_the_same_tank_and_one_is_told() -> None:
    plant = factories.small_plant()
    shared = factories.accepted_tank(plant, "sac_h")
    groups = [[*factories.accepted_tanks(plant, "sac_h", 2), shared] for _ in range(2)]
    made: list[Batch] = []
    refused: list[str] = []
    barrier = threading.Barrier(2)

    def go(visits, who: str) -> None:
        barrier.wait()
        try:
            made.append(freeze(plant, visits, who=who))
        except DomainError as refusal:
            refused.append(refusal.message)
        finally:
            connection.close()

    threads = [
        threading.Thread(target=go, args=(visits, who))
        for visits, who in zip(groups, ("operator", "operator 2"), strict=True)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(made) == 1
    assert len(refused) == 1 and "already in batch" in refused[0]
    assert BatchTank.objects.count() == 3
