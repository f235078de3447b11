"""Rework: a child each time, and harder each time the same resin fails."""

from __future__ import annotations

from typing import Any

import pytest

from regenplant.batches import services
from regenplant.batches.failures import rework_needs
from regenplant.batches.models import Batch
from regenplant.core.errors import NotAllowed, RecordRefused, SignatureRefused
from regenplant.core.process.vocabulary import StepKind
from regenplant.people.binding import TwoPeople
from regenplant.people.models import Signature
from regenplant.quality import services as quality_services
from regenplant.quality.signed_content import FAIL_MEANING
from tests import factories
from tests.factories import SmallPlant

pytestmark = pytest.mark.django_db
WHY = "too little brine was drawn from the tank"


def failed(plant: SmallPlant, batch: Batch) -> Batch:
    """The batch is run and fails QC."""
    factories.run_to(plant, batch, StepKind.SAMPLE, finish=True)
    quality_services.decide_batch(
        by=plant.by("qc"), batch_id=batch.pk, verdict="fail", reason="hardness leaks far above its limit",
        permit=factories.permit(plant, "qc", FAIL_MEANING),
    )  # fmt: skip
    batch.refresh_from_db()
    return batch


def rework(plant: SmallPlant, batch: Batch, **more: Any) -> Batch:
    values = {"recipe_version_id": batch.recipe_version_id, "cause": WHY, **more}
    return services.plan_rework(by=plant.by("supervisor"), batch_id=batch.pk, **values).result


def two(plant: SmallPlant, second: str = "safety") -> TwoPeople:
    meaning = services.REWORK_MEANING
    return TwoPeople(
        factories.permit(plant, "supervisor", meaning),
        plant.by(second),
        factories.permit(plant, second, meaning),
    )


@pytest.fixture
def first(plant: SmallPlant) -> Batch:
    return failed(plant, factories.frozen_batch(plant, "sac_na"))


@pytest.mark.requirement("ER-29")
def test_the_first_rework_is_a_child_and_the_parent_stays_failed(plant: SmallPlant, first: Batch) -> None:
    assert rework_needs(first).failures == 1
    child = rework(plant, first)
    first.refresh_from_db()
    assert (first.state, child.parent, child.rework_cause) == ("failed", first, WHY)
    assert list(first.tank_links.values_list("is_current", flat=True)) == [False] * 3


@pytest.mark.requirement("ER-29")
def test_the_second_and_third_failure_ask_for_more_and_every_parent_stays_failed(
    plant: SmallPlant, first: Batch
) -> None:
    second = failed(plant, rework(plant, first))
    assert rework_needs(second).failures == 2
    for more, field in (
        ({}, "cause_category"),
        ({"cause_category": "weather"}, "cause_category"),
        ({"cause_category": "equipment"}, "same_recipe_reason"),
        ({"cause_category": "equipment", "same_recipe_reason": "so what"}, "same_recipe_reason"),
    ):
        with pytest.raises(RecordRefused) as refusal:
            rework(plant, second, **more)
        assert refusal.value.field == field
    enough = {
        "cause_category": "equipment",
        "same_recipe_reason": "the pump is repaired, the recipe is right",
    }
    third = failed(plant, rework(plant, second, **enough))
    assert rework_needs(third).needs_two_people
    with pytest.raises(RecordRefused, match="A supervisor and a safety lead rework it together") as refusal:
        rework(plant, third, **enough)
    assert refusal.value.code == "two_people"
    with pytest.raises(NotAllowed):
        rework(plant, third, **enough, together=two(plant, "supervisor 2"))
    with pytest.raises(RecordRefused, match="the second person is another one"):
        rework(plant, third, **enough, together=two(plant, "supervisor"))
    wrong = TwoPeople(two(plant).permit, plant.by("safety"), two(plant).permit)
    with pytest.raises(SignatureRefused):
        rework(plant, third, **enough, together=wrong)
    last = rework(plant, third, **enough, together=two(plant))
    signers = Signature.objects.filter(record_kind="rework", record_key=last.number)
    assert {row.person for row in signers} == {plant.people["supervisor"], plant.people["safety"]}
    for batch in (first, second, third):
        batch.refresh_from_db()
        assert batch.state == "failed"


def test_another_recipe_version_needs_no_word_about_the_old_one(plant: SmallPlant, first: Batch) -> None:
    second = failed(plant, rework(plant, first))
    from dataclasses import replace

    other = factories.approved_recipe(plant, replace(factories.usual_recipe("sac_na"), code="NA-LONG"))
    child = rework(plant, second, cause_category="recipe", recipe_version_id=other.pk)
    assert (child.rework_cause_category, child.rework_same_recipe_reason) == ("recipe", "")


def test_after_the_third_failure_the_resin_may_still_be_scrapped(plant: SmallPlant, first: Batch) -> None:
    services.scrap_batch(
        by=plant.by("supervisor"), batch_id=first.pk, reason="beads broken, not worth another try"
    )
    first.refresh_from_db()
    assert first.state == "scrapped"
