"""Retention through HTTP: rules by two persons, holds, and what could go when."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from regenplant.audit.verifying import registry
from regenplant.batches.models import Batch
from regenplant.keeping.models import LegalHold, Purge
from regenplant.keeping.retention import years_in_force
from regenplant.people.models import Person
from tests import factories
from tests.keeping import scene
from tests.keeping.test_purge import shipped
from tests.keeping.test_retention import rules
from tests.web.pages import form_data, signing, text_of

pytestmark = [pytest.mark.django_db, pytest.mark.requirement("ER-25")]


@pytest.fixture
def plant(db: None) -> factories.SmallPlant:
    return factories.small_plant(now=factories.hours_ago(2))


def test_rules_are_written_by_one_and_approved_by_another(
    plant: factories.SmallPlant, as_: Callable[[str], Client]
) -> None:
    first, second = as_("supervisor"), as_("supervisor 2")
    assert "These are proposals" in text_of(first.get(reverse("retention")))
    url = reverse("retention-draft")
    sent = {
        **form_data(first.get(url).context["form"]),
        "batch_B": "12",
        "reason": "Contract with the dairies",
    }
    assert as_("operator").post(url, sent).status_code == 403
    assert first.post(url, {**sent, "batch_B": "0"}).status_code == 422
    assert first.post(url, sent).status_code == 302
    assert "5 years 12 years" in text_of(second.get(reverse("retention-version", args=[1])))
    assert first.post(reverse("retention-approve", args=[1]), {}).status_code == 403
    assert second.post(reverse("retention-approve", args=[1]), {}).status_code == 422
    sent = signing(plant.people["supervisor 2"])
    assert second.post(reverse("retention-approve", args=[1]), sent).status_code == 302
    shown = text_of(first.get(reverse("retention-version", args=[1])))
    assert "Approved by Supervisor 2, supervisor" in shown
    assert "Meaning approval of the rules of retention version 1" in shown
    assert years_in_force(timezone.now())["batch_B"] == 12
    assert "These are proposals" not in text_of(first.get(reverse("retention")))


def test_a_hold_is_placed_seen_and_lifted_by_another(
    plant: factories.SmallPlant, as_: Callable[[str], Client]
) -> None:
    batch = factories.frozen_batch(plant, "sac_h")
    sent = {"subject_kind": "batch", "subject_key": batch.number, "reason": "A customer’s claim is open."}
    assert as_("operator").post(reverse("retention-hold"), sent).status_code == 403
    assert as_("supervisor").post(reverse("retention-hold"), sent).status_code == 302
    hold = LegalHold.objects.get()
    assert "Legal hold" in text_of(as_("planner").get(reverse("retention")))
    lift, why = reverse("retention-lift", args=[hold.number]), {"reason": "The claim is settled."}
    assert as_("supervisor").post(lift, why).status_code == 403
    assert as_("supervisor 2").post(lift, why).status_code == 302
    hold.refresh_from_db()
    assert hold.lifted_by == plant.people["supervisor 2"]


@pytest.fixture
def long_ago(db: None) -> tuple[factories.SmallPlant, Batch]:
    """A released batch of six years ago under rules of that time, its tanks gone."""
    plant = factories.small_plant(now=timezone.now() - timedelta(days=366 * 6))
    batch = scene.eventful_batch(plant)
    rules(plant)
    shipped(plant, batch)
    batch.refresh_from_db()
    return plant, batch


def test_a_batch_past_its_period_is_purged_by_two_with_its_copy(
    long_ago: tuple[factories.SmallPlant, Batch], client_of: Callable[[Person], Client]
) -> None:
    plant, batch = long_ago
    one, url = client_of(plant.people["supervisor"]), reverse("retention-purge", args=[batch.number])
    plant.now = timezone.now()
    copy = scene.copied(plant, batch).content
    assert url in one.get(reverse("retention")).content.decode()
    page = one.get(url)
    assert "Rinse readings" in text_of(page) and "It stays." not in text_of(page)

    def sent(**change: str) -> dict[str, Any]:
        return {
            **form_data(page.context["form"]),
            "file": SimpleUploadedFile("copy.zip", copy),
            "reason": "Its period is over.",
            "username": plant.people["supervisor"].username,
            "password": factories.PASSWORD,
            "second_username": plant.people["safety"].username,
            "second_password": factories.PASSWORD,
            **change,
        }

    assert client_of(plant.people["operator"]).post(url, sent()).status_code == 403
    for change in (
        {"second_password": "not it"},
        {"second_username": plant.people["supervisor"].username},
        {"second_username": plant.people["qc"].username},
        {"password": "not it"},
    ):
        assert one.post(url, sent(**change)).status_code in (403, 422)
        assert Batch.objects.filter(pk=batch.pk).exists()
    assert one.post(url, sent()).status_code == 302
    assert not Batch.objects.filter(pk=batch.pk).exists()
    assert one.get(url).status_code == 404
    said = text_of(one.get(reverse("retention")))
    done = Purge.objects.get()
    assert done.number in said and batch.number in said and done.copy_sha256[:16] in said
    assert registry.findings() == []
    page = reverse("retention-purged", args=[done.batch_number])
    told = text_of(one.get(page))
    assert done.copy_sha256 in told and "Its period is over." in told and "was purged with" in told
    assert plant.people["safety"].full_name in told and "released" in told
    for code in (done.batch_number, done.number, done.rows.exclude(number="").last().number):
        found = one.get(reverse("scan"), {"code": code}, follow=True)
        assert found.status_code == 200 and done.batch_number in text_of(found), code
    assert one.get(reverse("batches-detail", args=[done.batch_number]))["Location"] == page
    assert one.get(reverse("retention-purged", args=["B-9"])).status_code == 404


def test_the_page_of_a_batch_that_stays_says_until_when(
    plant: factories.SmallPlant, as_: Callable[[str], Client]
) -> None:
    batch = factories.frozen_batch(plant, "sac_h")
    rules(plant)
    assert "is not at its end" in text_of(as_("safety").get(reverse("retention-purge", args=[batch.number])))
    assert "retention/purge" not in as_("safety").get(reverse("retention")).content.decode()


def test_the_page_asks_a_fixed_number_of_queries(
    plant: factories.SmallPlant,
    as_: Callable[[str], Client],
    django_assert_max_num_queries: Callable[..., object],
) -> None:
    factories.frozen_batch(plant, "sac_h")
    client = as_("supervisor")
    client.get(reverse("retention"))
    with django_assert_max_num_queries(30):  # type: ignore[attr-defined]
        assert client.get(reverse("retention")).status_code == 200
