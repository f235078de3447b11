"""What a look at the record finds in checks, decisions and entries without a value that were altered behind the locks."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from regenplant.audit import locks
from regenplant.audit.verifying.registry import Finding, Look
from regenplant.batches import services
from regenplant.batches.models import Deviation, EntryCheck, StepEntry, StepRun
from regenplant.batches.verification import check_checks, check_deviations, check_entries
from regenplant.core.process.vocabulary import StepKind
from tests import factories
from tests.factories import SmallPlant

pytestmark = pytest.mark.django_db


@pytest.fixture
def unlocked() -> None:
    """The locks are off, as for somebody with the keys of the database; the test's own transaction puts them back."""
    locks.remove()


@pytest.fixture
def acid(plant: SmallPlant) -> StepRun:
    step = factories.run_to(plant, factories.frozen_batch(plant, "sac_h"), StepKind.INJECT)
    factories.write(plant, step, "strength", "5.1 %")
    services.leave_entry(
        by=plant.by(),
        step_id=step.pk,
        key="flow",
        standing="not_done",
        category="instrument",
        reason="no meter there",
    )
    factories.decided(plant, Deviation.objects.get())
    return step


def found(check: Callable[[Look], object]) -> list[Finding]:
    return list(check(Look()))  # type: ignore[call-overload]


def test_what_was_written_holds(plant: SmallPlant, acid: StepRun) -> None:
    assert found(check_checks) == found(check_deviations) == found(check_entries) == []


@pytest.mark.requirement("ER-02", "ER-21")
def test_a_second_typing_that_is_another_number_is_named(
    plant: SmallPlant, acid: StepRun, unlocked: None
) -> None:
    EntryCheck.objects.update(typed_again="5.7 %")
    (finding,) = found(check_checks)
    assert "the second typing is not the first" in finding.sentence and acid.batch.number in finding.sentence


@pytest.mark.requirement("ER-03", "ER-16")
def test_a_second_persons_signature_moved_to_another_entry_is_named(
    plant: SmallPlant, acid: StepRun, unlocked: None
) -> None:
    EntryCheck.objects.all().delete()
    entry = StepEntry.objects.get(step=acid, key="strength")
    services.check_entry(
        by=plant.by("qc"), entry_id=entry.pk, permit=factories.permit(plant, "qc", services.CHECK_MEANING)
    )
    assert found(check_checks) == []
    other = StepEntry.objects.filter(step=acid).exclude(pk=entry.pk).first()
    EntryCheck.objects.update(entry=other)
    assert "bears no signature of a second person for it" in found(check_checks)[0].sentence


@pytest.mark.requirement("ER-02", "ER-17")
@pytest.mark.parametrize(
    "change", [{"decision": "on second thought"}, {"severity": "critical"}, {"cause": "the moon"}]
)
def test_a_decision_that_no_longer_says_what_was_signed_is_named(
    plant: SmallPlant, acid: StepRun, unlocked: None, change: dict[str, str]
) -> None:
    Deviation.objects.update(**change)
    assert "no longer says what was signed" in found(check_deviations)[0].sentence


@pytest.mark.requirement("ER-11")
def test_the_kind_of_nothing_is_covered_by_its_seal(plant: SmallPlant, acid: StepRun, unlocked: None) -> None:
    from regenplant.audit.verifying import registry

    StepEntry.objects.filter(standing="not_done").update(standing="not_applicable")
    report = next(step.report for step in registry.steps() if step.report is not None)
    assert any(
        "stepentry" in finding.sentence or "entry" in finding.sentence.lower() for finding in report.findings
    )
