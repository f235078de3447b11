"""The whole record is looked through by a person who took no part, and only such a record is released."""

from __future__ import annotations

import json

import pytest

from regenplant.batches import services as batch_services
from regenplant.batches.models import Batch
from regenplant.core.errors import NotAllowed, RecordRefused, SignatureRefused, StaleRecord, TransitionRefused
from regenplant.core.process.review_rules import Unusual
from regenplant.people.signing import holds
from regenplant.quality import services
from regenplant.quality.exceptions import exceptions_of
from regenplant.quality.models import RecordReview
from regenplant.quality.record import record_of
from regenplant.quality.selectors import review_board, review_page
from regenplant.quality.signed_content import PASS_MEANING, RELEASE_MEANING
from tests import factories, families
from tests.factories import SmallPlant

pytestmark = pytest.mark.django_db


@pytest.fixture
def filled(plant: SmallPlant) -> Batch:
    return factories.filled_batch(plant, "sac_h")


def release(plant: SmallPlant, batch: Batch, who: str = "qc 2") -> None:
    services.release_batch(
        by=plant.by(who), batch_id=batch.pk, permit=factories.permit(plant, who, RELEASE_MEANING)
    )


@pytest.mark.requirement("ER-17")
def test_a_record_nobody_reviewed_is_not_released_and_a_reviewed_one_is(
    plant: SmallPlant, filled: Batch
) -> None:
    with pytest.raises(TransitionRefused, match="Nobody who took no part has reviewed the record yet"):
        release(plant, filled)
    review = factories.reviewed(plant, filled, remarks="Everything as planned.")
    assert holds(review.signature) and review.signature.record_kind == "record_review"
    release(plant, filled)
    filled.refresh_from_db()
    assert filled.state == "released" and filled.release.review == review


@pytest.mark.requirement("ER-17")
def test_what_is_written_after_the_review_asks_for_a_new_one(plant: SmallPlant, filled: Batch) -> None:
    first = factories.reviewed(plant, filled)
    deviation = batch_services.open_deviation(
        by=plant.by(), batch_id=filled.pk, what="a label was torn off", severity="minor"
    ).result
    with pytest.raises(RecordRefused, match=rf"Deviation {deviation.number} is open. Decide first"):
        factories.reviewed(plant, filled)
    factories.decided(plant, deviation)
    with pytest.raises(TransitionRefused, match="was written after Supervisor 1 reviewed the record"):
        release(plant, filled)
    second = factories.reviewed(plant, filled)
    assert (first.version, second.version) == (1, 2) and first.record_digest != second.record_digest
    release(plant, filled)


@pytest.mark.requirement("ER-15")
@pytest.mark.parametrize("who", ["operator", "qc", "planner"])
def test_only_a_supervisor_reviews(plant: SmallPlant, filled: Batch, who: str) -> None:
    with pytest.raises(NotAllowed):
        factories.reviewed(plant, filled, who=who)


@pytest.mark.requirement("ER-15")
def test_a_supervisor_who_took_part_does_not_review(plant: SmallPlant) -> None:
    batch = factories.passed_batch(plant, "sac_h")
    for link in batch.tank_links.all():
        factories.tank_services.record_shell(by=plant.by(), visit_id=link.visit_id, is_sound=True)
        batch_services.fill_tank(
            by=plant.by("supervisor"), batch_id=batch.pk, visit_id=link.visit_id, volume_m3=0.1
        )
    batch_services.finish_filling(by=plant.by(), batch_id=batch.pk)
    with pytest.raises(
        RecordRefused, match="filled its tanks in this batch, so another person must review it"
    ):
        factories.reviewed(plant, batch)
    assert factories.reviewed(plant, batch, who="supervisor 2").version == 1


def test_a_record_is_reviewed_at_its_end_on_the_page_shown_by_its_own_signature(
    plant: SmallPlant, filled: Batch
) -> None:
    running = factories.frozen_batch(plant, "sac_na")
    with pytest.raises(RecordRefused, match="reviewed when its tanks are filled, or it failed"):
        factories.reviewed(plant, running)
    permit = factories.permit(plant, "supervisor", PASS_MEANING)
    with pytest.raises(SignatureRefused, match="was given to sign"):
        services.review_record(by=plant.by("supervisor"), batch_id=filled.pk, permit=permit)
    with pytest.raises(StaleRecord):
        services.review_record(
            by=plant.by("supervisor"), batch_id=filled.pk, permit=permit, version=filled.version - 1
        )
    assert not RecordReview.objects.exists()


@pytest.mark.requirement("ER-02")
def test_a_review_signs_what_was_unusual_and_the_digest_of_the_record(
    plant: SmallPlant, filled: Batch
) -> None:
    row = filled.qc_measurements.get()
    services.reopen_record(
        by=plant.by("supervisor"), batch_id=filled.pk, category="slip", reason="a digit is missing",
        permit=factories.permit(plant, "supervisor", "signed record opened for correction"),
    )  # fmt: skip
    services.correct_measurement(
        by=plant.by("qc"), measurement_id=row.pk, category="slip", reason="a digit is missing",
        measurement=factories.MeasurementAsTyped(row.key, "0.31 mg/L", row.instrument_id),
    )  # fmt: skip
    services.amend_decision(
        by=plant.by("qc"),
        batch_id=filled.pk,
        verdict="pass",
        permit=factories.permit(plant, "qc", PASS_MEANING),
    )
    review = factories.reviewed(plant, filled, remarks="Seen on the bench sheet.")
    content = json.loads(review.content)
    found = exceptions_of(filled)
    assert [one["sentence"] for one in content["unusual"]] == [one.sentence for one in found.findings]
    assert {Unusual.AMENDED, Unusual.CORRECTED} <= set(found.kinds) and review.unusual == len(found.findings)
    assert content["record_digest"] == review.record_digest == record_of(filled).digest
    assert content["remarks"] == "Seen on the bench sheet." and content["looked_at"]


def test_a_release_leaves_the_record_as_it_was_reviewed(plant: SmallPlant, filled: Batch) -> None:
    review = factories.reviewed(plant, filled)
    release(plant, filled)
    filled.refresh_from_db()
    assert record_of(filled).digest == review.record_digest


def test_a_usual_batch_has_nothing_unusual(plant: SmallPlant, filled: Batch) -> None:
    found = exceptions_of(filled)
    # the plan came with warnings, and the last rinse took as long as its end point asked for
    assert set(found.kinds) <= {Unusual.WARNED, Unusual.TIME}
    assert [finding.step for finding in found.of(Unusual.TIME)] in (
        [],
        [filled.steps.get(kind="fast_rinse").number],
    )
    assert found.looked_at[0] == f"{filled.steps.count()} steps" and found.looked_at[-1] == "3 tanks"


def test_the_queue_says_what_waits_for_review_and_for_release(plant: SmallPlant, filled: Batch) -> None:
    (line,) = review_board(plant.now).to_review
    assert line.batch == filled and not line.is_reviewed
    factories.reviewed(plant, filled)
    board = review_board(plant.now)
    assert board.to_review == () and [one.batch for one in board.to_release] == [filled]


def test_the_page_says_who_may_review_and_why_not(plant: SmallPlant, filled: Batch) -> None:
    free = review_page(filled, by=plant.by("supervisor"))
    assert free.blockers == () and free.who_may_review == (
        plant.people["supervisor"], plant.people["supervisor 2"],
    )  # fmt: skip
    taken = review_page(filled, by=plant.by("qc"))
    assert [blocker.code for blocker in taken.blockers] == ["own_work"]


def test_reading_the_record_of_a_batch_asks_the_same_number_of_queries_whatever_it_holds(
    plant: SmallPlant, filled: Batch, django_assert_max_num_queries
) -> None:  # type: ignore[no-untyped-def]
    mixed = factories.frozen_batch(plant, "sba_1")
    families.to_release(plant, mixed)
    for batch in (filled, Batch.objects.get(pk=mixed.pk)):
        with django_assert_max_num_queries(16):
            assert record_of(batch).digest
        with django_assert_max_num_queries(40):
            exceptions_of(batch)
