"""A rinse that goes on takes no more water than QC allowed, unless a supervisor says why and the deviation is decided."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.urls import reverse
from django.utils import timezone

from regenplant.batches import services as batch_services
from regenplant.batches.frozen import plan_of
from regenplant.batches.models import Batch, Deviation, StepRun
from regenplant.core.errors import NotAllowed, TransitionRefused
from regenplant.core.process.vocabulary import StepKind
from tests import factories
from tests.factories import SmallPlant
from tests.quality.test_ways import go_on, handed_over
from tests.web.pages import text_of

pytestmark = pytest.mark.django_db
ALLOWED_BV = 2.0


@pytest.fixture
def plant(db: None) -> SmallPlant:
    return factories.small_plant(now=timezone.now() - timedelta(hours=12))


@pytest.fixture
def rinsing_on(plant: SmallPlant) -> Batch:
    """Its rinse went on with 2 BV, and holds its limit; how much water passed is still to be written."""
    batch = handed_over(plant)
    factories.measured_sample(plant, batch, outside="hardness")
    plant.forward(minutes=5)
    go_on(plant, batch, allowance_bv=ALLOWED_BV)
    factories.run_to(plant, batch, StepKind.FAST_RINSE)
    factories.rinse_down(plant, batch)
    return batch


def took(plant: SmallPlant, batch: Batch, bed_volumes: float) -> StepRun:
    """The running rinse, with so much water written down."""
    step = batch.steps.get(state="running")
    for spec in plan_of(batch).step(step.number).entries:
        if spec.is_required and not spec.is_before:
            litres = f"{bed_volumes * batch.resin_volume_m3 * 1000:.1f} L"
            text = litres if spec.key == "volume" else factories.text_for(spec)
            factories.write(plant, step, spec.key, text)
    return step


@pytest.mark.parametrize("bed_volumes", [1.0, 2.03])
def test_within_what_was_allowed_the_operator_ends_it(
    plant: SmallPlant, rinsing_on: Batch, bed_volumes: float
) -> None:
    """A totalizer is read to a fiftieth."""
    step = took(plant, rinsing_on, bed_volumes)
    batch_services.finish_step(by=plant.by(), step_id=step.pk)
    assert not Deviation.objects.filter(batch=rinsing_on, step=step).exists()


def test_more_than_was_allowed_is_ended_by_a_supervisor_with_a_reason(
    plant: SmallPlant, rinsing_on: Batch
) -> None:
    step = took(plant, rinsing_on, 3.5)
    with pytest.raises(
        TransitionRefused, match=r"3.5.BV passed in this round, and at most 2.BV were allowed"
    ):
        batch_services.finish_step(by=plant.by(), step_id=step.pk)
    why = "The silica analyser was late, so it rinsed on meanwhile."
    with pytest.raises(NotAllowed):
        batch_services.finish_step(by=plant.by(), step_id=step.pk, reason=why)
    batch_services.finish_step(by=plant.by("supervisor"), step_id=step.pk, reason=why)
    deviation = Deviation.objects.get(batch=rinsing_on, step=step)
    assert (deviation.severity, deviation.source) == ("major", "limit")
    assert deviation.what.startswith(f"{step.name} took more water than it was allowed: {why}")


def test_while_no_volume_is_written_the_readings_tell(plant: SmallPlant, rinsing_on: Batch) -> None:
    step = rinsing_on.steps.get(state="running")
    plant.forward(minutes=5)
    rinsed = rinsing_on.rinse_continuations.get().rinsed_bv
    factories.reading(plant, rinsing_on, "4.4 µS/cm", rinsed=f"{9 * rinsing_on.resin_volume_m3 * 1000:.1f} L")
    assert rinsing_on.readings.latest("pk").rinsed_bv > rinsed + ALLOWED_BV
    with pytest.raises(TransitionRefused, match=r"were allowed\. A supervisor ends it with a reason"):
        batch_services.finish_step(by=plant.by(), step_id=step.pk)


def test_the_page_refuses_it_and_takes_the_supervisors_reason(
    plant: SmallPlant, rinsing_on: Batch, client_of: Any
) -> None:
    step = took(plant, rinsing_on, 3.5)
    operator, supervisor = (client_of(plant.people[who]) for who in ("operator", "supervisor"))
    version = Batch.objects.values_list("version", flat=True).get(pk=rinsing_on.pk)
    finish = reverse("batches-step-finish", args=[rinsing_on.number, step.number])
    refused = operator.post(finish, {"version": str(version), "occurred_at": ""})
    assert refused.status_code == 422 and "at most 2 BV were allowed" in text_of(refused)
    early = reverse("batches-step-end-early", args=[rinsing_on.number, step.number])
    data = {"version": str(version), "reason": "The silica analyser was late.", "occurred_at": ""}
    assert operator.post(early, data).status_code == 403
    assert early in supervisor.get(reverse("batches-detail", args=[rinsing_on.number])).content.decode()
    assert supervisor.post(early, data).status_code == 302
    assert Deviation.objects.get(batch=rinsing_on, step=step).decided_at is None
