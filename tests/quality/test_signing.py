"""Signatures of quality: what is signed is what was shown, a wrong password leaves a trace and nothing else."""

from __future__ import annotations

import pytest
from django.db import IntegrityError, connection, transaction
from django.db.models import QuerySet
from django.test import RequestFactory

from regenplant.audit.selectors import acts_since
from regenplant.batches.models import Batch
from regenplant.core.errors import SignatureRefused, StaleRecord, TransitionRefused
from regenplant.core.process.vocabulary import StepKind
from regenplant.people.models import Signature
from regenplant.people.signing import holds, prove
from regenplant.quality import services
from regenplant.quality.independence import who_may_judge, who_may_release
from regenplant.quality.models import QcDecision
from regenplant.quality.signed_content import FAIL_MEANING, PASS_MEANING, RELEASE_MEANING
from regenplant.quality.to_sign import pass_digest, release_digest
from tests import factories
from tests.factories import SmallPlant

pytestmark = pytest.mark.django_db


@pytest.fixture
def measured(plant: SmallPlant) -> Batch:
    """A hydrogen-form cation that awaits QC with every test inside."""
    batch = factories.frozen_batch(plant, "sac_h")
    factories.run_to(plant, batch, StepKind.SAMPLE, finish=True)
    factories.measured_sample(plant, batch)
    batch.refresh_from_db()
    return batch


def decide(plant: SmallPlant, batch: Batch, **more: object) -> QcDecision:
    permit = factories.permit(plant, "qc", PASS_MEANING)
    return services.decide_batch(
        by=plant.by("qc"), batch_id=batch.pk, verdict="pass", permit=permit, **more
    ).result


def given() -> QuerySet[Signature]:
    """Signatures under the judgement of a batch; those under recipe and specification were given before."""
    return Signature.objects.filter(record_kind="qc_decision")


@pytest.mark.requirement("ER-07")
def test_a_wrong_password_signs_nothing_and_is_written_down(plant: SmallPlant, measured: Batch) -> None:
    with pytest.raises(SignatureRefused, match="nothing was signed"):
        prove(
            by=plant.by("qc"),
            password="not the password",
            meaning=PASS_MEANING,
            about=("batch", measured.number, f"Batch {measured.number}"),
            request=RequestFactory().post("/"),
            username=plant.people["qc"].username,
        )
    assert not given().exists()
    (refused,) = acts_since(["signature.refused"], plant.now)
    assert refused.who == plant.people["qc"].full_name
    assert refused.sentence == f"Batch {measured.number}: a signature for “{PASS_MEANING}” was refused"


def test_the_right_password_gives_a_permit_for_this_person_and_meaning(
    plant: SmallPlant, measured: Batch
) -> None:
    permit = prove(
        by=plant.by("qc"),
        password=factories.PASSWORD,
        meaning=PASS_MEANING,
        about=("batch", measured.number, f"Batch {measured.number}"),
        request=RequestFactory().post("/"),
        username=plant.people["qc"].username,
    )
    services.decide_batch(by=plant.by("qc"), batch_id=measured.pk, verdict="pass", permit=permit)
    assert holds(given().get())


@pytest.mark.requirement("ER-02")
def test_the_digest_shown_before_a_pass_is_the_digest_signed(plant: SmallPlant, measured: Batch) -> None:
    shown = pass_digest(measured)
    assert decide(plant, measured).signature.digest == shown


@pytest.mark.requirement("ER-02")
def test_the_digest_shown_before_a_release_is_the_digest_signed(plant: SmallPlant) -> None:
    batch = factories.filled_batch(plant, "sac_h")
    factories.reviewed(plant, batch)
    shown = release_digest(batch)
    permit = factories.permit(plant, "qc 2", RELEASE_MEANING)
    release = services.release_batch(by=plant.by("qc 2"), batch_id=batch.pk, permit=permit).result
    assert release.signature.digest == shown and holds(release.signature)


@pytest.mark.requirement("ER-02", "ER-22")
def test_a_page_that_is_older_than_the_last_measurement_signs_nothing(
    plant: SmallPlant, measured: Batch
) -> None:
    with pytest.raises(StaleRecord, match="moved on since this page was shown"):
        decide(plant, measured, version=measured.version - 1)
    assert not given().exists()
    decide(plant, measured, version=measured.version)


def test_a_batch_is_judged_once(plant: SmallPlant, measured: Batch) -> None:
    decide(plant, measured)
    with pytest.raises(TransitionRefused, match="cannot pass"):
        decide(plant, measured)
    permit = factories.permit(plant, "qc", FAIL_MEANING)
    with pytest.raises(TransitionRefused, match="Only a record that was reopened is judged again"):
        services.decide_batch(
            by=plant.by("qc"),
            batch_id=measured.pk,
            verdict="fail",
            permit=permit,
            reason="on second thoughts no",
        )
    assert QcDecision.objects.count() == 1 and given().count() == 1


@pytest.mark.requirement("ER-01")
def test_a_signed_decision_cannot_be_changed_by_the_database_user(plant: SmallPlant, measured: Batch) -> None:
    """ER-01."""
    decision = decide(plant, measured)
    for statement in (
        f"UPDATE quality_qcdecision SET verdict = 'fail', reason = 'changed' WHERE id = {decision.pk}",
        f"DELETE FROM quality_qcdecision WHERE id = {decision.pk}",
        f"UPDATE people_signature SET printed_name = 'Nobody' WHERE id = {decision.signature_id}",
    ):
        with (
            pytest.raises(IntegrityError, match="frozen"),
            transaction.atomic(),
            connection.cursor() as cursor,
        ):
            cursor.execute(statement)


def test_a_passed_batch_is_a_lot_of_its_own_made_of_the_lots_that_went_in(
    plant: SmallPlant, measured: Batch
) -> None:
    decide(plant, measured)
    measured.refresh_from_db()
    assert measured.lot is not None
    assert measured.lot.code == f"L-{measured.number.removeprefix('B-')}"
    assert measured.lot.volume_m3 == measured.resin_volume_m3 and measured.lot.cycles == 1


# --- who is free -------------------------------------------------------------------------------------------------------
@pytest.mark.requirement("ER-15")
def test_who_filled_the_tanks_does_not_release_them(plant: SmallPlant) -> None:
    batch = factories.passed_batch(plant, "sac_h")
    for link in batch.tank_links.select_related("visit"):
        factories.tank_services.record_shell(by=plant.by(), visit_id=link.visit_id, is_sound=True)
        factories.batch_services.fill_tank(
            by=plant.by("supervisor"), batch_id=batch.pk, visit_id=link.visit_id, volume_m3=0.1
        )
    factories.batch_services.finish_filling(by=plant.by(), batch_id=batch.pk)
    permit = factories.permit(plant, "supervisor", RELEASE_MEANING)
    with pytest.raises(TransitionRefused, match="filled its tanks in this batch, so another person"):
        services.release_batch(by=plant.by("supervisor"), batch_id=batch.pk, permit=permit)
    assert not Signature.objects.filter(record_kind="release").exists()


def test_those_who_may_judge_and_release_are_named_without_those_who_took_part(plant: SmallPlant) -> None:
    batch = factories.filled_batch(plant, "sac_h")
    people = plant.people
    assert who_may_judge(batch) == [people["qc"], people["qc 2"]]
    assert set(who_may_release(batch)) == {people["qc 2"], people["supervisor"], people["supervisor 2"]}
