"""The pages of a filled tank that is withdrawn, and of its batch."""

from __future__ import annotations

import pytest
from django.test import Client
from django.urls import reverse

from regenplant.batches.models import Batch, BatchTank
from regenplant.documents.batch_record.gathering import batch_record_content
from regenplant.quality import services
from regenplant.quality.signed_content import FAIL_MEANING, REOPEN_MEANING
from regenplant.tanks import services as tank_services
from tests import factories, families
from tests.documents.test_batch_record import ISSUE
from tests.factories import SmallPlant
from tests.web.pages import text_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def plant(db: None) -> SmallPlant:
    return factories.small_plant(now=factories.hours_ago(20))


@pytest.fixture
def released(plant: SmallPlant) -> Batch:
    return families.to_release(plant, factories.frozen_batch(plant, "sac_h"))


@pytest.fixture
def supervisor(plant: SmallPlant, client_of) -> Client:  # type: ignore[no-untyped-def]
    return client_of(plant.people["supervisor"])


def link_of(batch: Batch, position: int) -> BatchTank:
    return BatchTank.objects.select_related("visit__tank").get(batch=batch, position=position)


def page(client: Client, name: str, key: str) -> str:
    return text_of(client.get(reverse(name, args=[key])))


def test_a_released_tank_is_withdrawn_and_everything_says_so(released: Batch, supervisor: Client) -> None:
    link = link_of(released, 1)
    serial = link.visit.tank.serial
    assert "Withdraw it" in page(supervisor, "tanks-detail", serial)
    address = reverse("tanks-withdraw", args=[serial])
    short = supervisor.post(address, {"version": link.visit.version, "reason": "drips"})
    assert short.status_code == 422 and "at least 10" in text_of(short)
    sent = {"version": link.visit.version, "reason": "the valve drips at the neck"}
    assert supervisor.post(address, sent).status_code == 302
    tank = page(supervisor, "tanks-detail", serial)
    assert "filled and withdrawn, not to be shipped" in tank and "the valve drips at the neck" in tank
    assert "Ship it" not in tank and "Put it back" in tank and "Throw its resin away" in tank
    batch = page(supervisor, "batches-detail", released.number)
    assert "1 tank withdrawn, not released and not shipped with it" in batch.replace("One tank", "1 tank")
    assert f"{serial}: the valve drips at the neck." in batch
    record = batch_record_content(released.number, ISSUE)
    assert record.tanks[0].state.startswith("withdrawn ") and record.tanks[0].filled
    assert "the valve drips" in record.tanks[0].state
    stale = supervisor.post(address, sent)
    assert stale.status_code in (409, 422)


def test_whoever_may_not_put_a_tank_back_is_refused_at_the_door(
    plant: SmallPlant, released: Batch, client_of
) -> None:  # type: ignore[no-untyped-def]
    serial = link_of(released, 1).visit.tank.serial
    operator = client_of(plant.people["operator"])
    for name in ("tanks-put-back", "tanks-discard"):
        assert operator.post(reverse(name, args=[serial]), {"reason": "a new valve is in"}).status_code == 403


def test_a_batch_amended_to_fail_names_what_is_here_and_what_is_out(
    plant: SmallPlant, released: Batch, supervisor: Client
) -> None:
    out, here = link_of(released, 1), link_of(released, 2)
    tank_services.ship_tank(by=plant.by("planner"), visit_id=out.visit_id, version=out.visit.version)
    services.reopen_record(
        by=plant.by("supervisor"), batch_id=released.pk, category="unit", reason="the sample was of another bed",
        permit=factories.permit(plant, "supervisor", REOPEN_MEANING),
    )  # fmt: skip
    held_back = page(supervisor, "tanks-detail", here.visit.tank.serial)
    assert "is not shipped now" in held_back and "Record open for correction" in held_back
    services.amend_decision(
        by=plant.by("qc"), batch_id=released.pk, verdict="fail", reason="the sample was of another bed",
        permit=factories.permit(plant, "qc", FAIL_MEANING),
    )  # fmt: skip
    batch = page(supervisor, "batches-detail", released.number)
    assert "shipped already, to be called back" in batch
    assert f"{out.visit.tank.serial} at {plant.customer.name}" in batch
    assert here.visit.tank.serial in batch and "withdrawn" in batch and "Rework" in batch
    tank = page(supervisor, "tanks-detail", here.visit.tank.serial)
    assert f"Batch {released.number} was amended to fail" in tank and "Ship it" not in tank
    recall = text_of(supervisor.get(f"{reverse('tracing-investigation')}?kind=batch&code={released.number}"))
    assert out.visit.tank.serial in recall
