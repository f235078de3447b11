"""Two people press at the same moment: one act is written, the other person is told. Real transactions, real threads."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from threading import Barrier
from typing import Any

import pytest
from django.db import connection

from regenplant.audit import chain
from regenplant.core.errors import DomainError, RecordRefused, StaleRecord
from regenplant.tanks import services
from regenplant.tanks.models import TankVisit
from tests import factories

pytestmark = pytest.mark.django_db(transaction=True)


def at_once(*acts: Callable[[], Any]) -> list[DomainError | None]:
    """Each act in its own thread and connection, all let go together; what each was refused with."""
    barrier = Barrier(len(acts))

    def run(act: Callable[[], Any]) -> DomainError | None:
        barrier.wait(timeout=10)
        try:
            act()
        except DomainError as refusal:
            return refusal
        finally:
            connection.close()
        return None

    with ThreadPoolExecutor(len(acts)) as pool:
        return list(pool.map(run, acts))


def test_one_tank_is_received_by_one_of_two_people(db):
    plant = factories.tank_plant()
    tank = services.add_tank(
        by=plant.by("planner"),
        size_id=plant.size.pk,
        resin_type_id=plant.types["sac_h"].pk,
        segregation_class="D",
    ).result

    def receive(who: str) -> Callable[[], Any]:
        by = plant.by(who)
        return lambda: services.receive_tank(
            by=by, tank_id=tank.pk, customer_id=plant.customer.pk, return_reason="exhausted"
        )

    refused = [one for one in at_once(receive("operator"), receive("supervisor")) if one is not None]
    assert [type(one) for one in refused] == [RecordRefused] and "is here already" in str(refused[0])
    assert TankVisit.objects.count() == 1
    assert list(chain.verify()) == []


@pytest.mark.requirement("ER-22")
def test_one_of_two_verdicts_is_written(db):
    plant = factories.tank_plant()
    visit = factories.received_tank(plant, "sac_h")
    services.inspect_tank(by=plant.by(), visit_id=visit.pk, inspection=factories.SOUND_LOOK)
    version = TankVisit.objects.get(pk=visit.pk).version
    operator, qc = plant.by(), plant.by("qc")
    refused = at_once(
        lambda: services.accept_tank(by=operator, visit_id=visit.pk, segregation_class="D", version=version),
        lambda: services.hold_tank(by=qc, visit_id=visit.pk, reason="customer called", version=version),
    )
    assert [type(one) for one in refused if one is not None] == [StaleRecord]
    assert TankVisit.objects.get(pk=visit.pk).version == version + 1
    assert list(chain.verify()) == []


def test_serials_and_visit_numbers_are_never_given_twice(db):
    plant = factories.tank_plant()
    by = plant.by("supervisor")

    def take_in() -> None:
        services.receive_unknown_tank(
            by=by, size_id=plant.size.pk, resin_type_id=plant.types["sac_h"].pk, customer_id=plant.customer.pk,
            what_is_seen="grey shell, no tag",
        )  # fmt: skip

    assert at_once(*[take_in] * 6) == [None] * 6
    numbers = set(TankVisit.objects.values_list("number", "tank__serial"))
    assert len({number for number, _ in numbers}) == len({serial for _, serial in numbers}) == 6
