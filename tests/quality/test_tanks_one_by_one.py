"""What is measured on each tank: written tank by tank once they are filled, and the release waits for every one of them."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from regenplant.audit.verifying.registry import findings
from regenplant.batches.models import Batch, BatchTank
from regenplant.core.errors import RecordRefused, TransitionRefused
from regenplant.core.process.acceptance import Outcome
from regenplant.core.process.specification import Limit
from regenplant.quality import services
from regenplant.quality.models import QcMeasurement, decision_of
from regenplant.quality.record import plain_row
from regenplant.quality.services import MeasurementAsTyped
from regenplant.quality.signed_content import RELEASE_MEANING
from regenplant.quality.specification import judgement, tanks_with_resin, waits_for_tanks
from regenplant.recipes.selectors import specification_definition
from tests import factories
from tests.factories import SmallPlant

pytestmark = pytest.mark.django_db

SODIUM = Limit("sodium", "Sodium", "concentration", high=1e-3, each_tank=True)


@pytest.fixture
def plant(db: None) -> SmallPlant:
    """The hydrogen-form cation is to show its sodium on each tank."""
    found = factories.small_plant()
    usual = specification_definition(found.specification["sac_h"])
    own = replace(usual, code="Q-H-T", name="Each tank tested", limits=(*usual.limits, SODIUM))
    found.specification["sac_h"] = factories.approved_specification(found, own)
    return found


@pytest.fixture
def filled(plant: SmallPlant) -> Batch:
    return factories.filled_batch(plant, "sac_h")


def links(batch: Batch) -> list[BatchTank]:
    return list(batch.tank_links.select_related("visit__tank").order_by("position"))


def measure(plant: SmallPlant, batch: Batch, link: BatchTank | None, value: str = "0.4 mg/L", key: str = "sodium") -> QcMeasurement:  # fmt: skip
    typed = MeasurementAsTyped(key, value, plant.instruments["KIT"].pk, tank_id=link.pk if link else None)
    return services.record_measurement(by=plant.by("qc"), batch_id=batch.pk, measurement=typed).result


def release(plant: SmallPlant, batch: Batch) -> None:
    services.release_batch(
        by=plant.by("qc 2"), batch_id=batch.pk, permit=factories.permit(plant, "qc 2", RELEASE_MEANING)
    )


def test_the_bed_passes_and_its_tanks_wait_to_be_measured(plant: SmallPlant) -> None:
    batch = factories.passed_batch(plant, "sac_h")
    decision = decision_of(batch)
    assert decision is not None
    reasons = {one["measurement"]: one for one in json.loads(decision.content)["judgement"]["reasons"]}
    assert reasons["sodium"]["outcome"] == "later"
    assert "once it is filled" in reasons["sodium"]["sentence"]


def test_every_filled_tank_needs_its_own_result_before_the_release(plant: SmallPlant, filled: Batch) -> None:
    first, *others = links(filled)
    measure(plant, filled, first)
    factories.reviewed(plant, filled)
    with pytest.raises(TransitionRefused) as refusal:
        release(plant, filled)
    assert others[0].visit.tank.serial in refusal.value.message
    assert first.visit.tank.serial not in refusal.value.message
    for link in others:
        measure(plant, filled, link)
    assert judgement(filled).verdict.outcome is Outcome.PASS
    factories.reviewed(plant, filled)
    release(plant, filled)
    filled.refresh_from_db()
    assert filled.state == "released"
    assert findings() == []


def test_a_tank_outside_holds_the_release_back_until_it_is_inside(plant: SmallPlant, filled: Batch) -> None:
    for link in links(filled):
        measure(plant, filled, link)
    last = links(filled)[-1]
    plant.forward(minutes=5)
    measure(plant, filled, last, "4 mg/L")
    judged = judgement(filled)
    assert judged.verdict.outcome is Outcome.FAIL
    (words,) = waits_for_tanks(judged)
    assert last.visit.tank.serial in words and "at most 1" in words
    factories.reviewed(plant, filled)
    with pytest.raises(TransitionRefused, match="Sodium of"):
        release(plant, filled)


def test_a_review_is_made_anew_after_a_tank_was_measured(plant: SmallPlant, filled: Batch) -> None:
    tanks = links(filled)
    for link in tanks[:-1]:
        measure(plant, filled, link)
    factories.reviewed(plant, filled)
    measure(plant, filled, tanks[-1])
    with pytest.raises(TransitionRefused, match="reviewed again first"):
        release(plant, filled)


def test_before_a_tank_is_filled_nothing_is_measured_on_it(plant: SmallPlant) -> None:
    batch = factories.passed_batch(plant, "sac_h")
    with pytest.raises(RecordRefused, match=r"No tank of B-\d+ is filled yet"):
        measure(plant, batch, links(batch)[0])


def test_a_result_says_on_which_tank_of_this_batch(plant: SmallPlant, filled: Batch) -> None:
    with pytest.raises(RecordRefused, match="QC results are written while it awaits QC"):
        measure(plant, filled, None)
    with pytest.raises(RecordRefused, match="on the sample of the batch, once"):
        measure(plant, filled, links(filled)[0], key="hardness", value="0.4 mg/L")
    stranger = links(filled)[0]
    stranger.pk += 1000
    with pytest.raises(RecordRefused, match="holds no resin of"):
        measure(plant, filled, stranger)


def test_a_result_of_a_tank_is_corrected_for_the_same_tank_only(plant: SmallPlant, filled: Batch) -> None:
    first, second, *_ = links(filled)
    row = measure(plant, filled, first, "4 mg/L")

    def correct(link: BatchTank) -> None:
        services.correct_measurement(
            by=plant.by("qc"), measurement_id=row.pk, category="slip", reason="the point was not typed",
            measurement=MeasurementAsTyped("sodium", "0.4 mg/L", plant.instruments["KIT"].pk, tank_id=link.pk),
        )  # fmt: skip

    with pytest.raises(RecordRefused, match="another tank’s is written down on its own"):
        correct(second)
    correct(first)
    (test,) = [one for one in judgement(filled).tanks if one.link.pk == first.pk]
    assert test.found.standing == "inside"


def test_a_tank_keeps_its_name_with_its_result(plant: SmallPlant, filled: Batch) -> None:
    link = links(filled)[0]
    row = measure(plant, filled, link)
    assert row.name == f"Sodium, {link.visit.tank.serial}" and row.tank == link
    assert [one.pk for one in tanks_with_resin(filled)] == [one.pk for one in links(filled)]


def test_a_row_of_the_sample_digests_as_it_did_before_tanks_were_measured(plant: SmallPlant) -> None:
    """A review signed with the program of before covers its record still: the new column is left out while it is empty."""
    batch = factories.passed_batch(plant, "sac_h")
    row = QcMeasurement.objects.filter(batch=batch).first()
    assert row is not None and "tank_id" not in plain_row(row)
