"""Mixed beds in the record: two legs that part at the cut, run side by side and join again."""

from __future__ import annotations

import random

import pytest
from django.db import IntegrityError, transaction

from regenplant.audit.reasons import Reason
from regenplant.batches import services as batch_services
from regenplant.batches.models import Batch, Deviation, StepRun
from regenplant.batches.selectors import batch_page, floor_board
from regenplant.core.errors import RecordRefused, TransitionRefused
from regenplant.core.process.vocabulary import StepKind
from regenplant.plant.models import PlantProfile
from tests import factories, families
from tests.factories import SmallPlant
from tests.families import cut_done, step_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def plant(db: None) -> SmallPlant:
    return families.whole_plant()


@pytest.fixture
def batch(plant: SmallPlant) -> Batch:
    return families.frozen(plant, "mixed bed")


# --- side by side -----------------------------------------------------------------------------------------------------
def test_both_legs_can_be_started_once_the_cut_is_done_and_not_before(
    plant: SmallPlant, batch: Batch
) -> None:
    acid, caustic = step_of(batch, StepKind.INJECT, "cation"), step_of(batch, StepKind.INJECT, "anion")
    families.start_next(plant, families.work_to(plant, batch, StepKind.CUT))
    for leg in (acid, caustic):
        factories.write_required(plant, leg, is_before=True)
        with pytest.raises(TransitionRefused, match="First: Interface cut"):
            batch_services.start_step(by=plant.by(), step_id=leg.pk)
    factories.work_off(plant, step_of(batch, StepKind.CUT))
    for leg in (caustic, acid):
        batch_services.start_step(by=plant.by(), step_id=leg.pk)
    assert set(batch.steps.filter(state="running").values_list("leg", flat=True)) == {"cation", "anion"}


@pytest.mark.parametrize("order", [("cation", "anion"), ("anion", "cation")])
def test_one_leg_after_the_other_in_either_order(
    plant: SmallPlant, batch: Batch, order: tuple[str, str]
) -> None:
    cut_done(plant, batch)
    for leg in order:
        for one in batch.steps.filter(leg=leg).order_by("number"):
            families.start_next(plant, one)
            factories.work_off(plant, one)
    assert [one.kind for one in families.at_work(batch)] == ["join"]
    assert families.to_release(plant, batch).state == "released"


@pytest.mark.requirement("ER-13")
def test_the_bed_joins_only_when_both_legs_are_done(plant: SmallPlant, batch: Batch) -> None:
    cut_done(plant, batch)
    for one in batch.steps.filter(leg="cation").order_by("number"):
        families.start_next(plant, one)
        factories.work_off(plant, one)
    join = step_of(batch, StepKind.JOIN)
    factories.write_required(plant, join, is_before=True)
    names = ", ".join(batch.steps.filter(leg="anion").order_by("number").values_list("name", flat=True))
    with pytest.raises(TransitionRefused, match=f"First: {names}"):
        batch_services.start_step(by=plant.by(), step_id=join.pk)


def test_within_a_leg_the_order_stays(plant: SmallPlant, batch: Batch) -> None:
    cut_done(plant, batch)
    displace = step_of(batch, StepKind.DISPLACE, "anion")
    factories.write_required(plant, displace, is_before=True)
    with pytest.raises(TransitionRefused, match="First: "):
        batch_services.start_step(by=plant.by(), step_id=displace.pk)


def test_one_step_of_a_leg_runs_at_a_time_by_the_database_too(plant: SmallPlant, batch: Batch) -> None:
    cut_done(plant, batch)
    families.start_next(plant, step_of(batch, StepKind.INJECT, "cation"))
    with pytest.raises(IntegrityError), transaction.atomic():
        StepRun.objects.filter(pk=step_of(batch, StepKind.DISPLACE, "cation").pk).update(state="running")
    StepRun.objects.filter(pk=step_of(batch, StepKind.INJECT, "anion").pk).update(state="running")


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_random_interleavings_of_the_legs_all_come_to_a_release(plant: SmallPlant, seed: int) -> None:
    dice = random.Random(seed)
    batch = families.frozen(plant, "mixed bed")
    seen_two = False
    while steps := families.at_work(batch):
        one = dice.choice(steps)
        seen_two |= sum(1 for each in steps if each.state == "running") == 2
        if one.state == "waiting":
            families.start_next(plant, one)
        else:
            factories.work_off(plant, one)
    assert seen_two
    finished = {one.kind + one.leg: one.finished_at for one in batch.steps.all()}
    started = {one.kind + one.leg: one.started_at for one in batch.steps.all()}
    assert started["injectcation"] >= finished["cutwhole"] <= started["injectanion"]
    assert started["joinwhole"] >= max(finished["rinsecation"], finished["rinseanion"])
    families.passed(plant, batch)
    families.fill(plant, batch)
    assert batch.state == "filled"


def test_times_are_in_order_within_a_leg_and_free_between_the_legs(plant: SmallPlant, batch: Batch) -> None:
    cut_done(plant, batch)
    cut_at = plant.now
    plant.forward(minutes=120)
    acid, caustic = step_of(batch, StepKind.INJECT, "cation"), step_of(batch, StepKind.INJECT, "anion")
    for leg in (acid, caustic):
        factories.write_required(plant, leg, is_before=True)
    batch_services.start_step(by=plant.by(), step_id=acid.pk)
    # the anion leg began earlier and is written down later: no step of its own lies in between
    earlier = plant.by().happening_at(cut_at + (plant.now - cut_at) / 2)
    batch_services.start_step(
        by=earlier, step_id=caustic.pk, late=Reason("late", "written from the slip at the vessel")
    )
    caustic.refresh_from_db()
    assert cut_at < caustic.started_at < plant.now


def test_a_leg_does_not_start_before_the_cut_ended(plant: SmallPlant, batch: Batch) -> None:
    from datetime import timedelta

    cut_done(plant, batch)
    caustic = step_of(batch, StepKind.INJECT, "anion")
    factories.write_required(plant, caustic, is_before=True)
    before = plant.by().happening_at(plant.now - timedelta(minutes=5))
    with pytest.raises(RecordRefused, match="before Interface cut ended"):
        batch_services.start_step(by=before, step_id=caustic.pk)


# --- what stands in the bed -------------------------------------------------------------------------------------------
def test_a_batch_is_held_only_when_neither_leg_has_chemical(plant: SmallPlant, batch: Batch) -> None:
    cut_done(plant, batch)
    acid, caustic = step_of(batch, StepKind.INJECT, "cation"), step_of(batch, StepKind.INJECT, "anion")
    families.start_next(plant, acid)
    families.start_next(plant, caustic)
    said = r"Do not stop here: Hydrochloric acid \(in the cation leg\), as well as sodium hydroxide .* Go on to the end of"
    with pytest.raises(TransitionRefused, match=said):
        batch_services.hold_batch(by=plant.by(), batch_id=batch.pk, reason="lunch is waiting for us")
    factories.work_off(plant, acid)
    factories.work_off(plant, families.start_next(plant, step_of(batch, StepKind.DISPLACE, "cation")))
    with pytest.raises(
        TransitionRefused, match=r"here: Sodium hydroxide \(caustic, in the anion leg\) stands"
    ):
        batch_services.hold_batch(by=plant.by(), batch_id=batch.pk, reason="lunch is waiting for us")
    factories.work_off(plant, caustic)
    factories.work_off(plant, families.start_next(plant, step_of(batch, StepKind.DISPLACE, "anion")))
    batch_services.hold_batch(by=plant.by(), batch_id=batch.pk, reason="lunch is waiting for us")
    batch.refresh_from_db()
    assert batch.state == "held"


def test_an_interruption_names_the_leg_and_its_step_and_an_abort_waits_for_it(
    plant: SmallPlant, batch: Batch
) -> None:
    cut_done(plant, batch)
    rinse = step_of(batch, StepKind.INJECT, "cation")
    factories.work_off(plant, families.start_next(plant, rinse))
    factories.work_off(plant, families.start_next(plant, step_of(batch, StepKind.DISPLACE, "cation")))
    families.start_next(plant, step_of(batch, StepKind.RINSE, "cation"))
    caustic = families.start_next(plant, step_of(batch, StepKind.INJECT, "anion"))
    batch_services.interrupt_batch(by=plant.by(), batch_id=batch.pk, reason="power dip, both pumps stopped")
    deviation = Deviation.objects.get(batch=batch)
    assert deviation.step == caustic and "(caustic, in the anion leg) in the bed" in deviation.what
    with pytest.raises(TransitionRefused, match=r"\(caustic, in the anion leg\) stands in the bed"):
        batch_services.abort_batch(
            by=plant.by("supervisor"), batch_id=batch.pk, reason="we give this one up now"
        )
    batch.refresh_from_db()
    assert batch.state == "held"


def test_a_chemical_left_standing_is_a_trouble_on_the_floor(plant: SmallPlant, batch: Batch) -> None:
    cut_done(plant, batch)
    factories.work_off(plant, families.start_next(plant, step_of(batch, StepKind.INJECT, "anion")))
    board = floor_board(plant.now, PlantProfile.objects.get())
    (trouble,) = [one for one in board.troubles if "stands in" in one.headline]
    assert trouble.headline == "Sodium hydroxide (caustic) stands in M2 and nothing runs."
    page = batch_page(Batch.objects.get(pk=batch.pk), by=plant.by())
    assert [one.vessel.code for one in page.left_standing] == ["M2"]
