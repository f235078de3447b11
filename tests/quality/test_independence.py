"""Nothing is released without QC and without a person who took no part."""

from __future__ import annotations

import pytest
from django.contrib.auth.models import Group

from regenplant.batches import services as batch_services
from regenplant.batches.models import Batch
from regenplant.core.errors import NotAllowed, RecordRefused, SignatureRefused, TransitionRefused
from regenplant.core.process.vocabulary import StepKind
from regenplant.people.models import Person, Signature
from regenplant.quality import services as quality_services
from regenplant.quality.models import QcDecision
from regenplant.quality.signed_content import FAIL_MEANING, PASS_MEANING, RELEASE_MEANING
from tests import factories
from tests.factories import SmallPlant

pytestmark = pytest.mark.django_db


def awaiting_qc(plant: SmallPlant, family: str = "sac_h", *, who: str = "operator") -> Batch:
    batch = factories.frozen_batch(plant, family)
    factories.run_to(plant, batch, StepKind.SAMPLE, finish=True, who=who)
    batch.refresh_from_db()
    return batch


def decide(plant: SmallPlant, batch: Batch, *, who: str = "qc", verdict: str = "pass", **more) -> None:
    meaning = PASS_MEANING if verdict == "pass" else FAIL_MEANING
    quality_services.decide_batch(
        by=plant.by(who),
        batch_id=batch.pk,
        verdict=verdict,
        permit=factories.permit(plant, who, meaning),
        **more,
    )


def release(plant: SmallPlant, batch: Batch, who: str) -> None:
    quality_services.release_batch(
        by=plant.by(who), batch_id=batch.pk, permit=factories.permit(plant, who, RELEASE_MEANING)
    )


def test_pass_is_refused_while_a_measurement_is_missing(plant: SmallPlant) -> None:
    batch = awaiting_qc(plant)
    with pytest.raises(TransitionRefused, match="Hardness is not measured yet"):
        decide(plant, batch)
    assert (
        not Signature.objects.filter(record_kind="qc_decision").exists() and QcDecision.objects.count() == 0
    )


def test_pass_is_refused_when_a_measurement_is_outside(plant: SmallPlant) -> None:
    batch = awaiting_qc(plant)
    factories.measured_sample(plant, batch, outside="hardness")
    with pytest.raises(TransitionRefused, match=r"Hardness is 3.*allowed is at most 1"):
        decide(plant, batch)


def test_fail_needs_a_reason_and_keeps_the_batch_failed(plant: SmallPlant) -> None:
    batch = awaiting_qc(plant)
    with pytest.raises(RecordRefused, match="at least 10 characters"):
        decide(plant, batch, verdict="fail", reason="bad")
    decide(plant, batch, verdict="fail", reason="hardness kit shows breakthrough")
    batch.refresh_from_db()
    assert batch.state == "failed"


def test_an_operator_does_not_judge(plant: SmallPlant) -> None:
    batch = awaiting_qc(plant)
    factories.measured_sample(plant, batch)
    with pytest.raises(NotAllowed):
        decide(plant, batch, who="operator")


@pytest.mark.requirement("ER-15")
def test_nobody_judges_work_they_performed_even_with_the_role(plant: SmallPlant) -> None:
    batch = awaiting_qc(plant)
    factories.measured_sample(plant, batch)
    plant.people["operator"].groups.add(Group.objects.get(name="QC technician"))
    plant.people["operator"] = Person.objects.get(pk=plant.people["operator"].pk)
    with pytest.raises(TransitionRefused, match=r"performed .*so another person must judge"):
        decide(plant, batch, who="operator")


@pytest.mark.requirement("ER-15")
@pytest.mark.parametrize("who", ["operator", "qc"])
def test_nobody_releases_work_they_took_part_in_even_after_a_change_of_role(
    plant: SmallPlant, who: str
) -> None:
    batch = factories.filled_batch(plant, "sac_h")
    plant.people[who].groups.set(Group.objects.filter(name__in=["supervisor", "QC technician"]))
    plant.people[who] = Person.objects.get(pk=plant.people[who].pk)
    with pytest.raises(TransitionRefused, match="so another person must release it"):
        release(plant, batch, who)
    batch.refresh_from_db()
    assert batch.state == "filled"
    assert not Signature.objects.filter(record_kind="release").exists()


@pytest.mark.requirement("ER-15")
def test_a_reader_of_the_rinse_does_not_release(plant: SmallPlant) -> None:
    batch = factories.frozen_batch(plant, "sba_1")
    factories.run_to(plant, batch, StepKind.FAST_RINSE)
    plant.forward(minutes=3)
    factories.reading(plant, batch, "600 µS/cm", who="qc 2")
    factories.run_to(plant, batch, StepKind.SAMPLE, finish=True)
    factories.measured_sample(plant, batch)
    decide(plant, batch)
    for link in batch.tank_links.select_related("visit"):
        factories.tank_services.record_shell(by=plant.by(), visit_id=link.visit_id, is_sound=True)
        batch_services.fill_tank(by=plant.by(), batch_id=batch.pk, visit_id=link.visit_id, volume_m3=0.1)
    batch_services.finish_filling(by=plant.by(), batch_id=batch.pk)
    with pytest.raises(TransitionRefused, match="took rinse readings"):
        release(plant, batch, "qc 2")
    factories.reviewed(plant, batch)
    release(plant, batch, "supervisor")
    batch.refresh_from_db()
    assert batch.state == "released"


@pytest.mark.requirement("ER-17")
def test_an_open_deviation_blocks_the_release_and_its_author_does_not_decide_it(plant: SmallPlant) -> None:
    batch = factories.filled_batch(plant, "sac_h")
    deviation = batch_services.open_deviation(
        by=plant.by("supervisor"), batch_id=batch.pk, what="label printer jammed twice", severity="minor"
    ).result
    with pytest.raises(TransitionRefused, match="1 deviation is open"):
        release(plant, batch, "qc 2")
    with pytest.raises(RecordRefused, match="another person must decide it"):
        factories.decided(plant, deviation, who="supervisor")
    factories.decided(plant, deviation, who="supervisor 2")
    factories.reviewed(plant, batch, who="supervisor 2")
    release(plant, batch, "qc 2")
    batch.refresh_from_db()
    assert batch.state == "released"


@pytest.mark.requirement("ER-17")
def test_a_batch_that_did_not_pass_is_not_filled_or_released(plant: SmallPlant) -> None:
    batch = awaiting_qc(plant)
    visit_id = batch.tank_links.all()[0].visit_id
    with pytest.raises(RecordRefused, match="tanks are filled from a batch that passed QC"):
        batch_services.fill_tank(by=plant.by(), batch_id=batch.pk, visit_id=visit_id, volume_m3=0.1)
    with pytest.raises(TransitionRefused):
        release(plant, batch, "qc 2")


@pytest.mark.requirement("ER-06")
def test_a_permit_of_another_person_meaning_or_hour_signs_nothing(plant: SmallPlant) -> None:
    batch = factories.filled_batch(plant, "sac_h")
    factories.reviewed(plant, batch)
    stale = factories.permit(plant, "qc 2", RELEASE_MEANING)
    for permit, message in (
        (factories.permit(plant, "supervisor", RELEASE_MEANING), "another person"),
        (factories.permit(plant, "qc 2", PASS_MEANING), "The password was given to sign"),
    ):
        with pytest.raises(SignatureRefused, match=message):
            quality_services.release_batch(by=plant.by("qc 2"), batch_id=batch.pk, permit=permit)
    plant.forward(minutes=3)
    with pytest.raises(SignatureRefused, match="more than two minutes ago"):
        quality_services.release_batch(by=plant.by("qc 2"), batch_id=batch.pk, permit=stale)
    batch.refresh_from_db()
    assert batch.state == "filled"


@pytest.mark.requirement("ER-29")
def test_a_failed_batch_is_reworked_as_a_child_and_stays_failed(plant: SmallPlant) -> None:
    parent = awaiting_qc(plant)
    decide(plant, parent, verdict="fail", reason="hardness kit shows breakthrough")
    child = batch_services.plan_rework(
        by=plant.by("supervisor"), batch_id=parent.pk, recipe_version_id=parent.recipe_version_id,
        cause="too little acid was drawn",
    ).result  # fmt: skip
    assert child.parent_id == parent.pk and child.vessel_id == parent.vessel_id
    with pytest.raises(TransitionRefused, match="rework of this batch is already under way"):
        batch_services.plan_rework(
            by=plant.by("supervisor"), batch_id=parent.pk, recipe_version_id=parent.recipe_version_id,
            cause="once more, with feeling",
        )  # fmt: skip
    factories.run_to(plant, child, StepKind.SAMPLE, finish=True)
    factories.measured_sample(plant, child)
    decide(plant, child)
    parent.refresh_from_db()
    child.refresh_from_db()
    assert (parent.state, child.state) == ("failed", "passed")


def test_scrapped_resin_leaves_empty_shells_that_another_batch_may_fill(plant: SmallPlant) -> None:
    failed = awaiting_qc(plant)
    decide(plant, failed, verdict="fail", reason="resin is full of broken beads")
    shells = [link.visit for link in failed.tank_links.select_related("visit__tank")]
    batch_services.scrap_batch(
        by=plant.by("supervisor"), batch_id=failed.pk, reason="resin is full of broken beads"
    )
    good = factories.passed_batch(plant, "sac_h")
    batch_services.add_shell(by=plant.by(), batch_id=good.pk, visit_id=shells[0].pk)
    factories.tank_services.record_shell(by=plant.by(), visit_id=shells[0].pk, is_sound=True)
    batch_services.fill_tank(by=plant.by(), batch_id=good.pk, visit_id=shells[0].pk, volume_m3=0.1)
    shells[0].refresh_from_db()
    assert shells[0].state == "refilled" and shells[0].refilled_lot_id == good.lot_id


def test_a_tank_is_not_overfilled_and_an_unsound_shell_is_not_filled(plant: SmallPlant) -> None:
    batch = factories.passed_batch(plant, "sac_h")
    links = list(batch.tank_links.select_related("visit"))
    with pytest.raises(RecordRefused, match="holds at most 113 L"):
        batch_services.fill_tank(by=plant.by(), batch_id=batch.pk, visit_id=links[0].visit_id, volume_m3=0.13)
    factories.tank_services.record_shell(
        by=plant.by(), visit_id=links[0].visit_id, is_sound=False, note="crack at the neck"
    )
    with pytest.raises(TransitionRefused, match="shell is not sound"):
        batch_services.fill_tank(by=plant.by(), batch_id=batch.pk, visit_id=links[0].visit_id, volume_m3=0.1)
    with pytest.raises(TransitionRefused, match="No tank is filled"):
        batch_services.finish_filling(by=plant.by(), batch_id=batch.pk)
    batch_services.set_aside_tank(
        by=plant.by(), batch_id=batch.pk, visit_id=links[0].visit_id, reason="crack at the neck, retired"
    )
    for link in links[1:]:
        factories.tank_services.record_shell(by=plant.by(), visit_id=link.visit_id, is_sound=True)
        batch_services.fill_tank(by=plant.by(), batch_id=batch.pk, visit_id=link.visit_id, volume_m3=0.1)
    batch_services.finish_filling(by=plant.by(), batch_id=batch.pk)
    batch.refresh_from_db()
    assert batch.state == "filled"
