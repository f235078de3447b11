"""A signed record never changes: what was wrong is corrected after a reopening, and the decision signed anew as a new version."""

from __future__ import annotations

import json
from datetime import timedelta
from typing import Any

import pytest
from django.db import DatabaseError, IntegrityError, connection, transaction

from regenplant.audit import locks
from regenplant.audit.verifying import registry
from regenplant.batches import checking
from regenplant.batches import services as batch_services
from regenplant.batches.models import Batch, StepEntry
from regenplant.batches.services import _entry_rows
from regenplant.core.errors import NotAllowed, RecordRefused, StaleRecord, TransitionRefused
from regenplant.core.process.review_rules import Unusual
from regenplant.core.process.vocabulary import StepKind
from regenplant.people.signing import holds
from regenplant.quality import services
from regenplant.quality.exceptions import exceptions_of
from regenplant.quality.models import QcDecision, QcMeasurement, RecordReopening, Release, decision_of
from regenplant.quality.record import record_of
from regenplant.quality.signed_content import FAIL_MEANING, PASS_MEANING, RELEASE_MEANING, REOPEN_MEANING
from regenplant.quality.standing import standing_of
from regenplant.quality.to_sign import pass_digest
from tests import factories, families
from tests.factories import SmallPlant

pytestmark = pytest.mark.django_db

WHY = "The flow was read in gallons and written as litres."


@pytest.fixture
def passed(plant: SmallPlant) -> Batch:
    return factories.passed_batch(plant, "sac_h")


def reopen(plant: SmallPlant, batch: Batch, *, who: str = "supervisor", **more: Any) -> RecordReopening:
    given = {"category": "unit", "reason": WHY, **more}
    return services.reopen_record(
        by=plant.by(who), batch_id=batch.pk, permit=factories.permit(plant, who, REOPEN_MEANING), **given
    ).result


def amend(
    plant: SmallPlant, batch: Batch, *, who: str = "qc", verdict: str = "pass", **more: Any
) -> QcDecision:
    meaning = PASS_MEANING if verdict == "pass" else FAIL_MEANING
    return services.amend_decision(
        by=plant.by(who),
        batch_id=batch.pk,
        verdict=verdict,
        permit=factories.permit(plant, who, meaning),
        **more,
    ).result


def flow_of(batch: Batch) -> StepEntry:
    return StepEntry.objects.filter(step__batch=batch, key="flow", replaced_by__isnull=True).order_by("pk")[0]


def correct(plant: SmallPlant, batch: Batch, factor: float = 1.01) -> StepEntry:
    old = flow_of(batch)
    return batch_services.correct_entry(
        by=plant.by(), entry_id=old.pk, text=f"{float(old.value_as_typed) * factor:.5g} {old.unit_as_typed}",
        category="unit", reason=WHY, outside_is_true=True,
    ).result  # fmt: skip


def correct_stock(plant: SmallPlant, batch: Batch) -> None:
    """A critical value corrected to the same: what was typed once is not checked yet."""
    old = StepEntry.objects.filter(step__batch=batch, key="stock_drawn", replaced_by__isnull=True)[0]
    batch_services.correct_entry(by=plant.by(), entry_id=old.pk, text=old.words, category="unit", reason=WHY)


def row_of(decision: QcDecision) -> tuple[Any, ...]:
    table = connection.ops.quote_name("quality_qcdecision")
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT * FROM {table} WHERE id = %s", [decision.pk])
        found: tuple[Any, ...] = cursor.fetchone()
    return found


# --- a signed record is closed ------------------------------------------------------------------------------------------
@pytest.mark.requirement("ER-01")
def test_what_was_signed_is_changed_by_no_service_no_model_and_no_statement(
    plant: SmallPlant, passed: Batch
) -> None:
    decision = decision_of(passed)
    assert decision is not None
    before = row_of(decision)
    with pytest.raises(RecordRefused, match="its steps are closed"):
        correct(plant, passed)
    with pytest.raises(RecordRefused, match="its readings are closed"):
        reading = passed.readings.all()[0]
        batch_services.correct_reading(
            by=plant.by(), reading_id=reading.pk, category="unit", reason=WHY,
            reading=factories.ReadingAsTyped("3 µS/cm", "25 °C", reading.instrument_id),
        )  # fmt: skip
    measured = QcMeasurement.objects.filter(batch=passed)[0]
    with pytest.raises(RecordRefused, match="its QC results are closed"):
        services.correct_measurement(
            by=plant.by("qc"), measurement_id=measured.pk, category="unit", reason=WHY,
            measurement=factories.MeasurementAsTyped(measured.key, "0.3 mg/L", measured.instrument_id),
        )  # fmt: skip
    decision.verdict, decision.reason = "fail", "changed afterwards"
    for act in (decision.save, decision.delete, lambda: QcDecision.objects.update(version=3)):
        with pytest.raises((IntegrityError, DatabaseError)), transaction.atomic():
            act()
    for statement in (
        f"UPDATE quality_qcdecision SET content = '{{}}' WHERE id = {decision.pk}",
        f"DELETE FROM quality_qcdecision WHERE id = {decision.pk}",
        f"UPDATE people_signature SET record_version = 2 WHERE id = {decision.signature_id}",
    ):
        with (
            pytest.raises(IntegrityError, match="frozen"),
            transaction.atomic(),
            connection.cursor() as cursor,
        ):
            cursor.execute(statement)
    assert row_of(decision) == before


# --- opened, corrected, signed anew -------------------------------------------------------------------------------------
@pytest.mark.requirement("ER-01", "ER-02", "ER-03")
def test_a_correction_makes_version_2_and_version_1_stays_byte_for_byte(
    plant: SmallPlant, passed: Batch
) -> None:
    first = decision_of(passed)
    assert first is not None
    before, signed = row_of(first), first.signature.content
    reopening = reopen(plant, passed)
    assert reopening.reason == WHY and reopening.reason_category == "unit" and holds(reopening.signature)
    new = correct(plant, passed)
    shown = pass_digest(passed)
    second = amend(plant, passed)
    assert (second.version, second.replaces_id, second.reopening_id) == (2, first.pk, reopening.pk)
    assert (
        second.signature.digest == shown and second.signature.record_version == 2 and holds(second.signature)
    )
    assert second.signature.digest != first.signature.digest
    content = json.loads(second.content)
    assert content["amends"] == {
        "version": 1, "digest": first.signature.digest, "reopening_digest": reopening.signature.digest,
        "category": "unit", "reason": WHY,
    }  # fmt: skip
    first.refresh_from_db()
    assert row_of(first) == before and first.signature.content == signed
    assert passed.qc_decision == second and list(passed.qc_decisions.all()) == [first, second]
    assert new.replaces_id is not None and StepEntry.objects.filter(pk=new.replaces_id).exists()


def test_nobody_judged_yet_or_opened_already_is_not_opened(plant: SmallPlant, passed: Batch) -> None:
    running = factories.frozen_batch(plant, "sac_na")
    with pytest.raises(RecordRefused, match="nobody signed for it yet"):
        reopen(plant, running)
    reopen(plant, passed)
    with pytest.raises(RecordRefused, match="open for correction already"):
        reopen(plant, passed)
    assert RecordReopening.objects.count() == 1


@pytest.mark.requirement("ER-10")
def test_opening_takes_a_category_ten_characters_and_a_supervisor(plant: SmallPlant, passed: Batch) -> None:
    with pytest.raises(RecordRefused, match="at least 10 characters"):
        reopen(plant, passed, reason="typo")
    with pytest.raises(RecordRefused, match="Choose what kind of reason"):
        reopen(plant, passed, category="mood")
    with pytest.raises(NotAllowed):
        reopen(plant, passed, who="qc")
    with pytest.raises(StaleRecord):
        reopen(plant, passed, version=passed.version - 1)
    assert not RecordReopening.objects.exists()


def test_a_decision_is_signed_anew_only_after_a_reopening_and_once(plant: SmallPlant, passed: Batch) -> None:
    with pytest.raises(RecordRefused, match="is not open for correction"):
        amend(plant, passed)
    reopen(plant, passed)
    with pytest.raises(NotAllowed):
        amend(plant, passed, who="operator")
    amend(plant, passed)
    with pytest.raises(RecordRefused, match="is not open for correction"):
        amend(plant, passed)
    reopen(plant, passed)
    assert amend(plant, passed).version == 3


@pytest.mark.requirement("ER-17")
def test_until_it_is_signed_anew_nothing_is_filled_reviewed_or_released(plant: SmallPlant) -> None:
    batch = factories.filled_batch(plant, "sac_h")
    factories.reviewed(plant, batch)
    reopen(plant, batch)
    permit = factories.permit(plant, "qc 2", RELEASE_MEANING)
    with pytest.raises(TransitionRefused, match="open for correction"):
        services.release_batch(by=plant.by("qc 2"), batch_id=batch.pk, permit=permit)
    with pytest.raises(RecordRefused, match="open for correction"):
        factories.reviewed(plant, batch)
    amend(plant, batch)
    with pytest.raises(TransitionRefused, match="was written after Supervisor 1 reviewed the record"):
        services.release_batch(by=plant.by("qc 2"), batch_id=batch.pk, permit=permit)
    factories.reviewed(plant, batch)
    assert services.release_batch(by=plant.by("qc 2"), batch_id=batch.pk, permit=permit).result.version == 1


def test_a_passed_batch_that_no_longer_meets_its_limits_fails(plant: SmallPlant, passed: Batch) -> None:
    reopen(plant, passed)
    row = QcMeasurement.objects.get(batch=passed)
    services.correct_measurement(
        by=plant.by("qc"), measurement_id=row.pk, category="unit", reason=WHY,
        measurement=factories.MeasurementAsTyped(row.key, "40 mg/L", row.instrument_id),
    )  # fmt: skip
    with pytest.raises(RecordRefused, match=r"Pass is not met any more\. Hardness is 40"):
        amend(plant, passed)
    amend(plant, passed, verdict="fail", reason="hardness is forty, not four tenths")
    passed.refresh_from_db()
    assert passed.state == "failed" and passed.qc_decision.verdict == "fail"


def test_a_failed_batch_stays_failed_whatever_is_corrected(plant: SmallPlant) -> None:
    batch = factories.frozen_batch(plant, "sac_h")
    factories.run_to(plant, batch, StepKind.SAMPLE, finish=True)
    factories.measured_sample(plant, batch)
    services.decide_batch(
        by=plant.by("qc"), batch_id=batch.pk, verdict="fail", reason="the wrong sheet was looked at",
        permit=factories.permit(plant, "qc", FAIL_MEANING),
    )  # fmt: skip
    reopen(plant, batch)
    with pytest.raises(RecordRefused, match="reworked or scrapped"):
        amend(plant, batch)
    assert amend(plant, batch, verdict="fail", reason="the sheet of another batch").version == 2
    batch.refresh_from_db()
    assert batch.state == "failed"


def test_a_corrected_critical_value_is_checked_before_it_is_signed_anew(
    plant: SmallPlant, monkeypatch: pytest.MonkeyPatch
) -> None:
    batch = factories.passed_batch(plant, "sac_h")
    reopen(plant, batch)
    with monkeypatch.context() as patched:
        patched.setattr(_entry_rows, "check_method", lambda _class: checking.Method.SECOND_PERSON)
        correct_stock(plant, batch)
    with pytest.raises(RecordRefused, match="Not checked a second time yet"):
        amend(plant, batch)
    factories.check_what_is_critical(plant, batch)
    assert amend(plant, batch).version == 2


# --- after the release ---------------------------------------------------------------------------------------------------
@pytest.fixture
def released(plant: SmallPlant) -> Batch:
    batch = factories.frozen_batch(plant, "sac_h")
    families.to_release(plant, batch)
    batch.refresh_from_db()
    return batch


@pytest.mark.requirement("ER-01")
def test_a_released_batch_shows_that_it_was_amended_until_it_is_released_anew(
    plant: SmallPlant, released: Batch
) -> None:
    def flag() -> str:
        return standing_of(released, record_of(released)).flag

    assert flag() == ""
    permit = factories.permit(plant, "qc 2", RELEASE_MEANING)
    with pytest.raises(RecordRefused, match=r"Nothing of .* was amended"):
        services.release_anew(by=plant.by("qc 2"), batch_id=released.pk, permit=permit)
    reopen(plant, released)
    assert flag() == "Record open for correction: its decision is to be signed anew."
    correct(plant, released)
    amend(plant, released)
    assert flag() == "Record amended after its release: to be reviewed and released anew."
    with pytest.raises(TransitionRefused, match="It is reviewed again first"):
        services.release_anew(by=plant.by("qc 2"), batch_id=released.pk, permit=permit)
    factories.reviewed(plant, released)
    with pytest.raises(TransitionRefused, match="another person must release it"):
        services.release_anew(
            by=plant.by("qc"), batch_id=released.pk, permit=factories.permit(plant, "qc", RELEASE_MEANING)
        )
    second = services.release_anew(by=plant.by("qc 2"), batch_id=released.pk, permit=permit).result
    first = Release.objects.get(batch=released, version=1)
    assert (second.version, second.replaces_id) == (2, first.pk) and flag() == ""
    assert released.release == second and holds(first.signature) and holds(second.signature)
    released.refresh_from_db()
    assert released.state == "released"


def test_a_released_batch_amended_to_fail_is_never_released_anew(plant: SmallPlant, released: Batch) -> None:
    reopen(plant, released)
    amend(plant, released, verdict="fail", reason="the sample was of another batch")
    assert "to be called back" in standing_of(released, record_of(released)).flag
    factories.reviewed(plant, released)
    with pytest.raises(TransitionRefused, match="amended to fail"):
        services.release_anew(
            by=plant.by("qc 2"), batch_id=released.pk, permit=factories.permit(plant, "qc 2", RELEASE_MEANING)
        )


def test_an_amendment_is_unusual_and_the_whole_record_verifies(plant: SmallPlant, released: Batch) -> None:
    reopen(plant, released)
    assert exceptions_of(released).kinds[0] is Unusual.REOPENED
    correct(plant, released)
    amend(plant, released)
    plant.now += timedelta(minutes=1)
    factories.reviewed(plant, released)
    found = exceptions_of(released)
    (amended,), (corrected,) = found.of(Unusual.AMENDED), found.of(Unusual.CORRECTED)
    assert "Version 2 of the decision, pass" in amended.sentence and WHY in amended.sentence
    assert "before: " in corrected.sentence
    assert [finding.sentence for finding in registry.findings()] == []


@pytest.mark.parametrize(
    ("statement", "sentence"),
    [
        (
            "UPDATE quality_qcdecision SET version = 7 WHERE version = 2",
            "stands as version 7; version 2 was signed",
        ),
        (
            "UPDATE quality_qcdecision SET replaces_id = NULL, version = 1, reopening_id = NULL WHERE version = 2",
            "",
        ),
        (
            "UPDATE quality_recordreopening SET reason = 'something else now'",
            "gives another reason than was signed",
        ),
        (
            "UPDATE quality_recordreview SET record_digest = 'x'",
            "names another digest of the record than was signed",
        ),
        ("UPDATE quality_recordreview SET content = '{}'", "is not what was signed"),
    ],
)
@pytest.mark.requirement("ER-02", "ER-03")
def test_a_version_altered_behind_the_programs_back_is_named(
    plant: SmallPlant, released: Batch, statement: str, sentence: str
) -> None:
    reopen(plant, released)
    amend(plant, released)
    locks.remove()
    try:
        with transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(statement)
    except IntegrityError:
        assert sentence == ""  # the database itself refuses what no version can be
        return
    finally:
        locks.install()
    found = " ".join(finding.sentence for finding in registry.findings())
    assert sentence in found
