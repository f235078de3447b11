"""On a certificate's chart a reading is drawn as one that counts only where it was counted."""

from __future__ import annotations

import pytest

from regenplant.batches.models import Batch
from regenplant.core.process.vocabulary import StepKind
from regenplant.documents.certificate.gathering import _read, _rinse
from tests import factories
from tests.batches.meter_logs import take

pytestmark = pytest.mark.django_db


def test_a_figure_that_stood_still_is_marked_and_so_is_a_cell_out_of_calibration(db: None) -> None:
    plant = factories.small_plant()
    batch = factories.frozen_batch(plant, "sba_1")
    factories.run_to(plant, batch, StepKind.FAST_RINSE)
    take(plant, batch, [300.0 * 0.7**n + 9.0 for n in range(12)])
    take(plant, batch, [9.0] * 14)
    plant.forward(minutes=2)
    factories.reading(plant, batch, "8 µS/cm", cell="OLD-CELL")
    take(plant, batch, [8.0 - 0.01 * n for n in range(20)])
    read = _read(Batch.objects.get(pk=batch.pk))
    assert read is not None and read.found.is_frozen.any()
    drawn = _rinse(read).points
    assert len(drawn) == len(read.points)
    assert [one.counts == "yes" for one in drawn] == read.found.counts.tolist()
    assert {one.counts for one in drawn if not one.is_by_hand} == {"yes", "check"}
    assert [one.counts for one in drawn if one.is_by_hand] == ["informs"]
