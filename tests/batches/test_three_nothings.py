"""Not yet, not done, not applicable: three kinds of nothing, and none of them is a zero."""

from __future__ import annotations

import pytest
from django.db import IntegrityError, transaction

from regenplant.batches import services
from regenplant.batches.models import Deviation, StepEntry, StepRun
from regenplant.batches.moves import current_entries
from regenplant.core.errors import NotAllowed, RecordRefused, TransitionRefused, UnitNotUnderstood
from regenplant.core.process.vocabulary import StepKind
from tests import factories
from tests.factories import SmallPlant

pytestmark = pytest.mark.django_db
WHY = {"category": "instrument", "reason": "the flow meter was away for repair"}


@pytest.fixture
def backwash(plant: SmallPlant) -> StepRun:
    return factories.run_to(plant, factories.frozen_batch(plant, "sac_h"), StepKind.BACKWASH)


def leave(plant: SmallPlant, step: StepRun, key: str, standing: str, who: str = "operator") -> StepEntry:
    return services.leave_entry(by=plant.by(who), step_id=step.pk, key=key, standing=standing, **WHY).result


@pytest.mark.requirement("ER-11")
def test_not_done_is_a_row_with_a_reason_and_a_deviation(plant: SmallPlant, backwash: StepRun) -> None:
    row = leave(plant, backwash, "flow", "not_done")
    assert (row.standing, row.value, row.value_as_typed) == ("not_done", None, "")
    assert (row.reason_category, row.reason) == (WHY["category"], WHY["reason"])
    deviation = Deviation.objects.get(batch=backwash.batch)
    assert (deviation.source, deviation.severity, deviation.step) == ("not_done", "minor", backwash)
    assert "stands as not done" in deviation.what


@pytest.mark.requirement("ER-11")
def test_what_may_stay_open_may_not_apply_without_a_deviation(plant: SmallPlant, backwash: StepRun) -> None:
    assert leave(plant, backwash, "resin_lost", "not_applicable").words == "not applicable"
    assert not Deviation.objects.exists()


@pytest.mark.requirement("ER-11")
def test_what_is_always_asked_for_is_waived_by_a_supervisor_only(
    plant: SmallPlant, backwash: StepRun
) -> None:
    with pytest.raises(NotAllowed, match="Only a supervisor may say that it does not apply"):
        leave(plant, backwash, "flow", "not_applicable")
    leave(plant, backwash, "flow", "not_applicable", "supervisor")
    assert Deviation.objects.get(batch=backwash.batch).source == "not_done"


@pytest.mark.requirement("ER-11")
def test_the_three_are_told_apart_and_the_step_may_end(plant: SmallPlant, backwash: StepRun) -> None:
    with pytest.raises(TransitionRefused, match="Backwash flow"):
        services.finish_step(by=plant.by(), step_id=backwash.pk)
    leave(plant, backwash, "flow", "not_done")
    leave(plant, backwash, "resin_lost", "not_applicable")
    found = {key: row.standing for key, row in current_entries(backwash).items()}
    assert found["flow"] == "not_done" and found["resin_lost"] == "not_applicable"
    assert "water_clear" not in found  # not yet
    for key in ("water_temperature", "duration", "water_clear"):
        spec = next(
            one for one in factories.plan_of(backwash.batch).step(backwash.number).entries if one.key == key
        )
        factories.write(plant, backwash, key, factories.text_for(spec))
    services.finish_step(by=plant.by(), step_id=backwash.pk)
    backwash.refresh_from_db()
    assert backwash.state == "done"


@pytest.mark.requirement("ER-11")
def test_a_blank_never_becomes_a_zero(plant: SmallPlant, backwash: StepRun) -> None:
    for text in ("", "   "):
        with pytest.raises(UnitNotUnderstood, match="Nothing is written"):
            services.write_entry(by=plant.by(), step_id=backwash.pk, key="flow", text=text)
    assert not StepEntry.objects.filter(step=backwash, key="flow").exists()


def test_what_must_be_true_before_a_step_is_never_left(plant: SmallPlant) -> None:
    batch = factories.frozen_batch(plant, "sac_h")
    factories.run_to(plant, batch, StepKind.SETTLE, finish=True)
    step = batch.steps.get(kind=StepKind.INJECT.value)
    for standing in ("not_done", "not_applicable"):
        with pytest.raises(RecordRefused, match="It is done, or the step does not start"):
            leave(plant, step, "gear_on", standing, "supervisor")
    factories.write_required(plant, step, is_before=True)
    gear = StepEntry.objects.get(step=step, key="gear_on")
    services.correct_entry(
        by=plant.by(),
        entry_id=gear.pk,
        standing="not_done",
        category="slip",
        reason="ticked before it was true",
    )
    with pytest.raises(TransitionRefused, match="Gear on"):
        services.start_step(by=plant.by(), step_id=step.pk)


def test_chemical_that_nobody_measured_does_not_end_its_step(plant: SmallPlant) -> None:
    step = factories.run_to(plant, factories.frozen_batch(plant, "sac_h"), StepKind.INJECT)
    plant.forward(minutes=step.planned_duration_s / 60)
    for spec in factories.plan_of(step.batch).step(step.number).entries:
        if spec.is_required and not spec.is_before and spec.key != "volume_fed":
            factories.write(plant, step, spec.key, factories.text_for(spec))
    leave(plant, step, "volume_fed", "not_done")
    assert Deviation.objects.get(batch=step.batch).severity == "major"
    with pytest.raises(TransitionRefused, match="Not proven: diluted regenerant fed stands as not done"):
        services.finish_step(by=plant.by(), step_id=step.pk)
    services.finish_step(
        by=plant.by("supervisor"), step_id=step.pk, reason="the level was noted on paper and fits"
    )


def test_a_reason_is_asked_for_and_what_stands_is_corrected_instead(
    plant: SmallPlant, backwash: StepRun
) -> None:
    for change, code in (({"category": ""}, "no_category"), ({"reason": "away"}, "reason_too_short")):
        with pytest.raises(RecordRefused) as refusal:
            services.leave_entry(
                by=plant.by(), step_id=backwash.pk, key="flow", standing="not_done", **(WHY | change)
            )
        assert refusal.value.code == code
    with pytest.raises(RecordRefused, match="not done, or not applicable"):
        leave(plant, backwash, "flow", "forgotten")
    leave(plant, backwash, "flow", "not_done")
    with pytest.raises(RecordRefused, match="stands written already: not done"):
        plant.forward(minutes=5)
        leave(plant, backwash, "flow", "not_done")


def test_the_database_keeps_nothing_without_a_reason(plant: SmallPlant, backwash: StepRun) -> None:
    row = leave(plant, backwash, "flow", "not_done")
    for change in ({"reason": ""}, {"value": 0.0}, {"standing": "written"}):
        values = {field.attname: getattr(row, field.attname) for field in StepEntry._meta.concrete_fields}
        with pytest.raises(IntegrityError), transaction.atomic():
            StepEntry(**(values | {"id": None} | change)).save(force_insert=True)
