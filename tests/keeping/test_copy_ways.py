"""A copy of a batch whose rinse went on, that went down and kept a sample: it is whole, and verifies."""

from __future__ import annotations

import pytest

from regenplant.audit.verifying import registry
from regenplant.core.process.vocabulary import StepKind
from regenplant.keeping.verify_copy import RECORD
from regenplant.quality import services
from tests import factories
from tests.factories import SmallPlant
from tests.keeping import scene
from tests.quality import test_ways as ways

TABLES = (
    "quality_rinsecontinuation",
    "quality_downgrade",
    "quality_downgradeorder",
    "quality_retainedsample",
    "quality_samplediscard",
)
pytestmark = pytest.mark.django_db


def test_a_copy_holds_the_rounds_the_downgrade_and_the_samples(plant: SmallPlant) -> None:
    version = ways.lower(plant, factories.usual_specification("sac_h"), "LOW", 4.0)
    batch = ways.handed_over(plant)
    factories.measured_sample(plant, batch, outside="hardness")
    plant.forward(minutes=2)
    row = ways.go_on(plant, batch)
    factories.run_to(plant, batch, StepKind.FAST_RINSE)
    plant.forward(minutes=2)
    factories.rinse_down(plant, batch)
    factories.write_required(plant, row.step, is_before=False)
    factories.batch_services.finish_step(by=plant.by(), step_id=row.step_id)
    factories.run_to(plant, batch, StepKind.SAMPLE, finish=True)
    plant.forward(minutes=2)
    factories.measured_sample(plant, batch)
    sample = services.keep_sample(
        by=plant.by("operator 2"), batch_id=batch.pk, volume_text="0.5 L", place="shelf 3"
    ).result
    services.discard_sample(
        by=plant.by("qc 2"), sample_id=sample.pk, why="used", reason="All of it went into a second test."
    )
    batch.refresh_from_db()
    ways.go_down(plant, batch, version, "D")
    batch.refresh_from_db()
    made = scene.copied(plant, batch)
    assert made.findings == ()
    held = scene.opened(made.content).files[RECORD].decode()
    tables = {name for name in TABLES if f'"table":"{name}"' in held}
    assert tables == set(TABLES)
    assert registry.findings() == []
