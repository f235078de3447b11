"""A batch of several customers, each tank measured: its copy holds every version that was worked with, and verifies."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from regenplant.batches.models import Batch
from regenplant.core.process.canonical import canonical_text
from regenplant.core.process.specification import Limit
from regenplant.keeping import verify_copy
from regenplant.keeping.copy import batch_copy
from regenplant.keeping.reading import read_copy
from regenplant.quality import services as quality
from regenplant.quality.services import MeasurementAsTyped
from regenplant.quality.signed_content import REOPEN_MEANING
from regenplant.recipes import services as recipes
from regenplant.recipes.models import SpecificationVersion
from regenplant.recipes.selectors import specification_definition
from tests import factories
from tests.factories import SmallPlant

SODIUM = Limit("sodium", "Sodium", "concentration", high=1e-3, each_tank=True)


@pytest.fixture
def batch(plant: SmallPlant) -> Batch:
    """Of two customers' specifications, with sodium measured on each of its tanks and signed for."""
    usual = plant.specification["sac_h"]
    own = replace(specification_definition(usual), code="Q-H-X", name="For a customer")
    stricter = factories.approved_specification(plant, replace(own, limits=(*own.limits, SODIUM)))
    assert plant.customer is not None
    product = recipes.add_product(
        by=plant.by("supervisor"), code="H-STD", name="Hydrogen-form cation", family="sac_h", grade="working",
        specification_id=usual.specification_id,
    ).result  # fmt: skip
    recipes.set_customer_specification(
        by=plant.by("supervisor"), product_id=product.pk, customer_id=plant.customer.pk,
        specification_id=stricter.specification_id, reason="their order of this year",
    )  # fmt: skip
    batch = factories.filled_batch(plant, "sac_h")
    plant.forward(minutes=5)
    for link in batch.tank_links.all():
        typed = MeasurementAsTyped("sodium", "0.4 mg/L", plant.instruments["KIT"].pk, tank_id=link.pk)
        quality.record_measurement(by=plant.by("qc"), batch_id=batch.pk, measurement=typed)
    plant.forward(minutes=5)
    quality.reopen_record(
        by=plant.by("supervisor"), batch_id=batch.pk, category="other", reason="the sodium is to be signed for",
        permit=factories.permit(plant, "supervisor", REOPEN_MEANING),
    )  # fmt: skip
    quality.amend_decision(
        by=plant.by("qc"), batch_id=batch.pk, verdict="pass", permit=factories.permit(plant, "qc", "QC judgement: pass"),
        reason="sodium of each tank added",
    )  # fmt: skip
    return batch


def test_a_copy_holds_the_versions_of_all_customers_and_verifies(plant: SmallPlant, batch: Batch) -> None:
    usual = plant.specification["sac_h"]
    stricter = SpecificationVersion.objects.get(specification__code="Q-H-X")
    data = batch_copy(batch.number)
    assert verify_copy.verify(data).findings == []
    versions = json.loads(data)["parts"]["specification versions"]["rows"]
    assert {row["columns"]["id"] for row in versions} == {usual.pk, stricter.pk}
    facts = dict(read_copy(data).facts)
    assert "the strictest of Q-H version 1 and Q-H-X version 1" in facts["Specification"]
    signed = json.loads(batch.qc_decisions.order_by("-version")[0].content)
    assert {line["tank"] for line in signed["measurements"] if line["key"] == "sodium"} == {
        link.visit.tank.serial for link in batch.tank_links.select_related("visit__tank")
    }


def test_a_measurement_told_of_another_tank_than_was_signed_is_found(batch: Batch) -> None:
    """Another tank under what was measured on one, no tank under it, and a tank under what was measured on the batch."""
    data = batch_copy(batch.number)
    links = list(batch.tank_links.values_list("pk", flat=True))
    for key, altered in (("sodium", links[-1]), ("sodium", None), ("hardness", links[0])):
        record = json.loads(data)
        row = next(r for r in record["parts"]["measurements"]["rows"] if r["columns"]["key"] == key)
        assert row["columns"]["tank_id"] != altered
        row["columns"]["tank_id"] = altered
        found = {finding.code for finding in verify_copy.verify(canonical_text(record).encode()).findings}
        assert {"row.altered", "signed.row"} <= found, (key, altered, found)
