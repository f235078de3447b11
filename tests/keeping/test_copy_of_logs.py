"""A complete copy of a batch with the log of a meter: every packet as received, and nothing that is only derived."""

from __future__ import annotations

import json
from typing import Any

import pytest

from regenplant.batches import services as batch_services
from regenplant.batches.models import ForecastMade, MeterLog, RinseStanding
from regenplant.core.process.canonical import canonical_text
from regenplant.core.process.vocabulary import StepKind
from regenplant.keeping.purging import own_rows, tombstones
from regenplant.keeping.verify_copy import verify
from tests import factories
from tests.batches.meter_logs import take
from tests.keeping import scene

pytestmark = pytest.mark.django_db


def test_a_copy_holds_the_log_as_received_and_verifies(plant: factories.SmallPlant) -> None:
    batch = factories.frozen_batch(plant, "sac_h")
    factories.run_to(plant, batch, StepKind.FAST_RINSE)
    log = take(plant, batch, [900.0 * 0.99**index + 4.0 for index in range(300)], every_s=2.0)
    batch_services.set_aside(
        by=plant.by(), log_id=log.pk, category="instrument", reason="The cell was not rinsed yet.",
        from_at=log.first_at, until_at=log.first_at,
    )  # fmt: skip
    batch = factories.pass_batch(plant, batch)
    assert (
        RinseStanding.objects.filter(batch=batch).exists()
        and ForecastMade.objects.filter(batch=batch).exists()
    )
    result = verify(scene.copied(plant, batch).content)
    assert result.findings == []
    rows = {part["table"]: part["rows"] for part in result.record["parts"].values()}
    (kept,) = rows["batches_meterlog"]
    assert kept["columns"]["received_text"] == log.received_text and kept["columns"]["digest"] == log.digest
    assert len(rows["batches_meterlogsetaside"]) == 1
    assert "batches_rinsestanding" not in rows and "batches_forecastmade" not in rows
    for alter in (_another_digest, _hidden):
        record = json.loads(canonical_text(result.record))
        alter(record)
        found = {finding.code for finding in verify(canonical_text(record).encode()).findings}
        assert {"signed.row", "signed.rows"} & found, alter.__name__


def _another_digest(record: dict[str, Any]) -> None:
    record["parts"][_part_of_logs(record)]["rows"][0]["columns"]["digest"] = "0" * 64


def _hidden(record: dict[str, Any]) -> None:
    record["parts"][_part_of_logs(record)]["rows"].clear()


def _part_of_logs(record: dict[str, Any]) -> str:
    return next(name for name, part in record["parts"].items() if part["table"] == "batches_meterlog")


def test_the_rows_of_a_purge_hold_its_logs(plant: factories.SmallPlant) -> None:
    batch = factories.frozen_batch(plant, "sac_h")
    factories.run_to(plant, batch, StepKind.FAST_RINSE)
    take(plant, batch, [900.0 * 0.99**index + 4.0 for index in range(30)])
    rows = own_rows(batch)
    assert list(rows["batches.MeterLog"]) == [MeterLog.objects.get().pk]
    assert "batches_meterlog" in {stone.table_name for stone in tombstones(rows)}
