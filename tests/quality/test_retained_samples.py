"""Retained samples: needed by class, looked for at the release, kept until their day, discarded with a reason."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest

from regenplant.batches.models import Batch
from regenplant.core.errors import NotAllowed, OutOfRange, RecordRefused, TransitionRefused
from regenplant.core.process.vocabulary import StepKind
from regenplant.plant.limit_figures import SampleFigures
from regenplant.plant.selectors import plant_day
from regenplant.quality import services
from regenplant.quality.models import RetainedSample, SampleDiscard
from regenplant.quality.retained import current_sample, days_kept, sample_missing, sample_shelf
from regenplant.quality.signed_content import PASS_MEANING, RELEASE_MEANING
from tests import factories
from tests.factories import SmallPlant
from tests.quality.test_ways import class_c_vessel, handed_over

pytestmark = pytest.mark.django_db


def keep(plant: SmallPlant, batch: Batch, **more: Any) -> RetainedSample:
    arguments = {"volume_text": "0.5 L", "place": "shelf 3", **more}
    return services.keep_sample(by=plant.by("operator 2"), batch_id=batch.pk, **arguments).result


def to_release(plant: SmallPlant, batch: Batch) -> None:
    """From QC to filled and reviewed."""
    factories.measured_sample(plant, batch)
    services.decide_batch(
        by=plant.by("qc"),
        batch_id=batch.pk,
        verdict="pass",
        permit=factories.permit(plant, "qc", PASS_MEANING),
    )
    for link in batch.tank_links.select_related("visit"):
        factories.tank_services.record_shell(by=plant.by(), visit_id=link.visit_id, is_sound=True)
        factories.batch_services.fill_tank(
            by=plant.by(), batch_id=batch.pk, visit_id=link.visit_id, volume_m3=0.1
        )
    factories.batch_services.finish_filling(by=plant.by(), batch_id=batch.pk)
    factories.reviewed(plant, batch)


def release(plant: SmallPlant, batch: Batch, who: str = "qc 2") -> None:
    services.release_batch(
        by=plant.by(who), batch_id=batch.pk, permit=factories.permit(plant, who, RELEASE_MEANING)
    )


def test_class_c_is_not_released_without_its_sample(plant: SmallPlant) -> None:
    class_c_vessel(plant)
    batch = handed_over(plant, letter="C")
    to_release(plant, batch)
    with pytest.raises(
        TransitionRefused, match=r"No retained sample is written down\. Class C keeps one for 90 days"
    ):
        release(plant, batch)
    sample = keep(plant, batch)
    assert sample.number == "RS-1001" and sample.keep_until == plant_day(plant.now) + timedelta(days=90)
    factories.reviewed(plant, batch)
    release(plant, batch)
    batch.refresh_from_db()
    assert batch.state == "released"


def test_whoever_took_the_sample_does_not_release(plant: SmallPlant) -> None:
    class_c_vessel(plant)
    batch = handed_over(plant, letter="C")
    to_release(plant, batch)
    services.keep_sample(by=plant.by("qc 2"), batch_id=batch.pk, volume_text="0.5 L", place="shelf 3")
    factories.reviewed(plant, batch)
    with pytest.raises(TransitionRefused, match="took the retained sample"):
        release(plant, batch)


def test_class_d_needs_none(plant: SmallPlant) -> None:
    batch = handed_over(plant)
    assert sample_missing(batch) == "" and days_kept("D", plant.now) == 0
    assert [SampleFigures().days(letter) for letter in "ABCDEFX"] == [365, 180, 90, 0, 0, 0, 0]


def test_a_sample_before_the_rinse_went_on_is_not_that_of_the_batch(plant: SmallPlant) -> None:
    class_c_vessel(plant)
    batch = handed_over(plant, letter="C")
    keep(plant, batch)
    assert sample_missing(batch) == ""
    plant.forward(minutes=3)
    services.continue_rinse(by=plant.by("qc"), batch_id=batch.pk, reason="The reading still falls.")
    assert current_sample(batch) is None and "No retained sample" in sample_missing(batch)


def test_a_sample_is_refused_that_cannot_be(plant: SmallPlant) -> None:
    batch = handed_over(plant)
    with pytest.raises(OutOfRange, match="is no sample"):
        keep(plant, batch, volume_text="500 L")
    with pytest.raises(RecordRefused, match="The place"):
        keep(plant, batch, place="")
    running = factories.frozen_batch(plant, "sba_1")
    factories.run_to(plant, running, StepKind.BACKWASH)
    with pytest.raises(RecordRefused, match="from its handover to QC up to its release"):
        keep(plant, running)
    with pytest.raises(NotAllowed):
        services.keep_sample(by=plant.by("planner"), batch_id=batch.pk, volume_text="0.5 L", place="shelf 3")
    assert not RetainedSample.objects.exists()


def test_a_sample_is_discarded_when_it_is_due_or_used_up_and_once(plant: SmallPlant) -> None:
    class_c_vessel(plant)
    batch = handed_over(plant, letter="C")
    first, second = keep(plant, batch), keep(plant, batch)

    def discard(
        sample: RetainedSample, why: str, who: str = "qc", reason: str = "Ninety days are over."
    ) -> None:
        services.discard_sample(by=plant.by(who), sample_id=sample.pk, why=why, reason=reason)

    with pytest.raises(RecordRefused, match="not due yet"):
        discard(first, "due")
    with pytest.raises(NotAllowed):
        discard(first, "used", who="operator")
    discard(first, "used", reason="All of it went into a second silica test.")
    with pytest.raises(RecordRefused, match="discarded already"):
        discard(first, "used")
    plant.forward(days=91)
    assert [row.number for row in sample_shelf(plant.now).due] == [second.number]
    with pytest.raises(RecordRefused, match="The reason"):
        discard(second, "due", reason="old")
    discard(second, "due")
    assert SampleDiscard.objects.count() == 2 and sample_shelf(plant.now).due == ()
    assert sample_missing(batch) != ""
