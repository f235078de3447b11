"""What keeps tanks and papers here, on the page: a sample that is not kept, a batch that is not released, a grade whose tests were not
all done."""

from __future__ import annotations

from typing import Any

import pytest
from django.urls import reverse

from regenplant.batches.models import Batch
from regenplant.core.process.published_grades import PUBLISHED
from regenplant.documents.models import Certificate
from regenplant.quality.models import Release
from tests import factories, families
from tests.documents.reading import plain, whole_text
from tests.factories import PASSWORD, SmallPlant
from tests.quality.test_retained_samples import to_release
from tests.quality.test_ways import class_c_vessel, handed_over
from tests.web.pages import errors_of, has_signed, text_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def plant(db: None) -> SmallPlant:
    return factories.small_plant(now=factories.hours_ago(12))


def visits_of(batch: Batch) -> list[str]:
    return [str(pk) for pk in batch.tank_links.values_list("visit_id", flat=True)]


def test_a_class_that_keeps_a_sample_is_not_released_on_the_page_without_it(
    plant: SmallPlant, client_of: Any
) -> None:
    class_c_vessel(plant)
    batch = handed_over(plant, letter="C")
    to_release(plant, batch)
    batch.refresh_from_db()
    client = has_signed(client_of(plant.people["qc 2"]), plant.people["qc 2"])
    there = reverse("qc-release", args=[batch.number])
    assert "No retained sample is written down" in text_of(client.get(there))
    answer = client.post(there, {"version": str(batch.version), "password": PASSWORD})
    assert answer.status_code == 422 and "No retained sample is written down" in text_of(answer)
    assert not Release.objects.exists()


def test_nothing_is_certified_on_the_page_before_its_release(plant: SmallPlant, client_of: Any) -> None:
    batch = factories.filled_batch(plant, "sac_h")
    client = client_of(plant.people["qc"])
    new = reverse("certificates-new")
    assert batch.number not in text_of(client.get(new))
    answer = client.post(new, {"tanks": visits_of(batch)})
    assert answer.status_code == 422 and "no choice here" in errors_of(answer)["tanks"][0]
    assert not Certificate.objects.exists()


def test_a_certificate_claims_no_grade_of_which_only_the_conductivity_was_measured(
    plant: SmallPlant, client_of: Any
) -> None:
    """Below 5 µS/cm its conductivity is inside two published grades; pH, sodium and chloride were never measured."""
    batch = families.to_release(plant, factories.frozen_batch(plant, "sba_1"))
    client = client_of(plant.people["qc"])
    page = text_of(client.post(reverse("certificates-new"), {"tanks": visits_of(batch)}, follow=True))
    number = Certificate.objects.get().number
    pdf = client.get(reverse("paper-certificate", args=[number])).content
    printed = plain(whole_text(pdf))
    assert "µS/cm" in printed
    for grade in PUBLISHED:
        assert grade.name not in printed and grade.name not in page, grade.name
    assert "Meets " not in printed
