"""A logger that ran through both rinses of a batch: what of its file belongs to the other rinse comes in when it is handed in again."""

from __future__ import annotations

from datetime import timedelta

import pytest

from regenplant.batches import services
from regenplant.batches.models import Batch
from regenplant.batches.points import points_of
from regenplant.batches.rinse import judged_steps
from regenplant.core.errors import RecordRefused
from regenplant.core.process.vocabulary import StepKind
from tests import factories
from tests.batches.meter_logs import logged, packet
from tests.factories import SmallPlant
from tests.quality.test_ways import go_on, handed_over

pytestmark = pytest.mark.django_db


def test_a_file_over_two_rinses_comes_in_by_handing_it_in_twice(plant: SmallPlant) -> None:
    batch = handed_over(plant)
    factories.measured_sample(plant, batch, outside="hardness")
    plant.forward(minutes=5)
    go_on(plant, batch)
    batch.refresh_from_db()
    plant.forward(minutes=2)
    factories.run_to(plant, batch, StepKind.FAST_RINSE)
    batch = Batch.objects.get(pk=batch.pk)
    first, second = (step for step in judged_steps(batch) if step.started_at is not None)
    plant.forward(minutes=30)
    assert first.started_at is not None and first.finished_at is not None
    minutes = int((plant.now - first.started_at).total_seconds() // 60)
    readings = logged(
        first.started_at.replace(microsecond=0) + timedelta(seconds=1),
        [300.0 * 0.99**n for n in range(minutes)],
    )
    whole = packet(plant, readings)
    counts = []
    for _ in range(2):
        row = services.take_in(by=plant.by(), batch_id=batch.pk, packet=whole).result
        counts.append((row.step_id, row.count))
    assert {step for step, _ in counts} == {first.pk, second.pk}
    assert int((~points_of(batch).is_by_hand).sum()) == sum(count for _, count in counts)
    with pytest.raises(RecordRefused, match="are kept already") as refusal:
        services.take_in(by=plant.by(), batch_id=batch.pk, packet=whole)
    assert refusal.value.code == "nothing_new"
