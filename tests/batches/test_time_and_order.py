"""Late entries, times that cannot be, and steps in order."""

from __future__ import annotations

from datetime import timedelta

import pytest

from regenplant.audit import limits
from regenplant.audit.by import By
from regenplant.audit.limits import RecordLimits
from regenplant.audit.reasons import Reason
from regenplant.audit.selectors import story
from regenplant.batches import services
from regenplant.batches.models import Deviation, StepEntry, StepRun
from regenplant.core.errors import RecordRefused, TransitionRefused
from regenplant.core.process.vocabulary import StepKind
from tests import factories
from tests.factories import SmallPlant

pytestmark = pytest.mark.django_db
LATE = Reason("late", "copied from the slip at the vessel")


@pytest.fixture
def backwash(plant: SmallPlant) -> StepRun:
    step = factories.run_to(plant, factories.frozen_batch(plant, "sac_h"), StepKind.BACKWASH)
    plant.forward(hours=4)
    return step


def ago(plant: SmallPlant, **delta: float) -> By:
    return plant.by().happening_at(plant.now - timedelta(**delta))


@pytest.mark.requirement("ER-12")
def test_three_hours_late_takes_a_reason_and_shows_its_flag(plant: SmallPlant, backwash: StepRun) -> None:
    write = {"step_id": backwash.pk, "key": "water_clear", "text": "yes"}
    with pytest.raises(RecordRefused, match="happened 3 h ago; after 15 min it is written late") as refusal:
        services.write_entry(by=ago(plant, hours=3), **write)
    assert refusal.value.code == "late_reason_needed"
    with pytest.raises(RecordRefused, match="at least 10 characters why it is written only now"):
        services.write_entry(by=ago(plant, hours=3), **write, late=Reason("late", "busy"))
    row = services.write_entry(by=ago(plant, hours=3), **write, late=LATE).result
    assert row.is_late and (row.reason_category, row.reason) == (LATE.category, LATE.words)
    assert row.entered_at - row.occurred_at == timedelta(hours=3)
    line = story([("batch", backwash.batch.number)], newest_first=True, limit=1)[0]
    assert line.is_late and line.reason == "known later: copied from the slip at the vessel"


@pytest.mark.requirement("ER-12")
def test_inside_the_limit_nothing_is_asked_and_the_plant_sets_it(
    plant: SmallPlant, backwash: StepRun, monkeypatch: pytest.MonkeyPatch
) -> None:
    row = services.write_entry(
        by=ago(plant, minutes=15), step_id=backwash.pk, key="water_clear", text="yes"
    ).result
    assert not row.is_late
    monkeypatch.setattr(limits, "_where", [lambda: RecordLimits(late_after_s=300.0)])
    with pytest.raises(RecordRefused, match="after 5 min it is written late"):
        services.finish_step(by=ago(plant, minutes=6), step_id=backwash.pk)


@pytest.mark.requirement("ER-12")
def test_nothing_happens_in_the_future(plant: SmallPlant, backwash: StepRun) -> None:
    ahead = plant.by().happening_at(plant.now + timedelta(minutes=1))
    batch = backwash.batch
    for act in (
        lambda: services.write_entry(by=ahead, step_id=backwash.pk, key="water_clear", text="yes"),
        lambda: services.finish_step(by=ahead, step_id=backwash.pk),
        lambda: services.hold_batch(by=ahead, batch_id=batch.pk, reason="the pump makes a noise"),
        lambda: services.leave_entry(
            by=ahead,
            step_id=backwash.pk,
            key="flow",
            standing="not_done",
            category="other",
            reason="no meter here",
        ),
    ):
        with pytest.raises(RecordRefused) as refusal:
            act()
        assert refusal.value.code == "future"
    assert not StepEntry.objects.filter(step=backwash, key="water_clear").exists()


@pytest.mark.requirement("ER-13")
def test_a_later_step_does_not_start_before_the_one_in_front_ended_or_was_skipped(plant: SmallPlant) -> None:
    batch = factories.frozen_batch(plant, "sac_h")
    factories.run_to(plant, batch, StepKind.LOAD, finish=True)
    backwash, settle = batch.steps.get(kind="backwash"), batch.steps.get(kind="settle")
    with pytest.raises(TransitionRefused, match="First: Backwash"):
        services.start_step(by=plant.by(), step_id=settle.pk)
    services.skip_step(
        by=plant.by("supervisor"), step_id=backwash.pk, reason="the resin is new and clean, no fines seen"
    )
    services.start_step(by=plant.by(), step_id=settle.pk)
    assert Deviation.objects.get(batch=batch).source == "skipped"


def test_a_resumption_lies_after_its_hold(plant: SmallPlant) -> None:
    batch = factories.frozen_batch(plant, "sac_h")
    factories.run_to(plant, batch, StepKind.BACKWASH, finish=True)
    services.hold_batch(by=plant.by(), batch_id=batch.pk, reason="the pump makes a noise")
    plant.forward(minutes=10)
    with pytest.raises(RecordRefused, match="before it was held"):
        services.resume_batch(
            by=ago(plant, minutes=12), batch_id=batch.pk, note="the pump was looked at and runs"
        )


# --- too soon, too long -----------------------------------------------------------------------------------------------
def written_acid(plant: SmallPlant) -> StepRun:
    step = factories.run_to(plant, factories.frozen_batch(plant, "sac_h"), StepKind.INJECT)
    factories.write_required(plant, step, is_before=False)
    return step


def test_an_injection_that_ends_at_once_is_asked_about_and_opens_a_deviation(plant: SmallPlant) -> None:
    step = written_acid(plant)
    plant.forward(seconds=0.19 * step.planned_duration_s)
    with pytest.raises(RecordRefused, match="Write when it really ended, or say that it is true") as refusal:
        services.finish_step(by=plant.by(), step_id=step.pk)
    assert refusal.value.code == "too_soon" and not Deviation.objects.exists()
    services.finish_step(by=plant.by(), step_id=step.pk, soon_is_true=True)
    deviation = Deviation.objects.get(batch=step.batch)
    assert (deviation.severity, deviation.source) == ("major", "time")


def test_a_fifth_of_the_planned_time_is_believed(plant: SmallPlant) -> None:
    step = written_acid(plant)
    plant.forward(seconds=0.21 * step.planned_duration_s)
    services.finish_step(by=plant.by(), step_id=step.pk)
    assert not Deviation.objects.exists()


def test_acid_that_flowed_twice_as_long_is_a_deviation_by_itself(plant: SmallPlant) -> None:
    step = written_acid(plant)
    plant.forward(seconds=2.0 * step.planned_duration_s)
    services.finish_step(by=plant.by(), step_id=step.pk)
    deviation = Deviation.objects.get(batch=step.batch)
    assert (deviation.severity, deviation.source) == ("minor", "time")


def test_water_may_take_as_long_or_short_as_it_likes(plant: SmallPlant) -> None:
    step = factories.run_to(plant, factories.frozen_batch(plant, "sac_h"), StepKind.BACKWASH)
    factories.write_required(plant, step, is_before=False)
    services.finish_step(by=plant.by(), step_id=step.pk)
    assert not Deviation.objects.exists()
