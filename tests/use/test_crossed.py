"""Customers and lots together: what one customer's resin took of one lot, by the tanks it came in."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.core.management import call_command

from regenplant.batches.models import Batch
from regenplant.core.errors import RecordRefused
from regenplant.core.process.use_audit import SPLIT
from regenplant.resins.models import ResinLot
from regenplant.tanks import services as tank_services
from regenplant.tanks.models import Customer, Tank
from regenplant.use.models import UseRow, UseShare
from regenplant.use.selectors import By, Question, as_line, audit, crossed, lines
from tests import factories
from tests.factories import SmallPlant
from tests.use.made import injected, whole

pytestmark = pytest.mark.django_db


@pytest.fixture
def batch(plant: SmallPlant) -> Batch:
    """Three tanks of the same size: one of OTHER with resin of R1, two of the first customer with R1 and R2."""
    visits = factories.accepted_tanks(plant, "sac_h", 3)
    other = tank_services.add_customer(
        by=plant.by("planner"), code="OTHER", name="Other Works (invented)"
    ).result
    for visit, code in zip(visits, ("R1", "R1", "R2"), strict=True):
        lot, _ = ResinLot.objects.get_or_create(
            code=code,
            defaults={
                "resin_type": plant.types["sac_h"], "segregation_class": "D", "volume_m3": 1.0, "volume_form": "Na",
                "made_at": plant.now - timedelta(days=300), "origin": "delivered new (invented)",
            },
        )  # fmt: skip
        Tank.objects.filter(pk=visit.tank_id).update(resin_lot=lot)
    visits[0].customer = Customer.objects.get(pk=other.pk)
    visits[0].save(update_fields=["customer"])
    return injected(plant, "sac_h", 1.1, visits=visits)


def used(question: Question) -> dict[str, int]:
    return {group.key: group.sums.used_grams for group in audit(question).groups}


def expected(plant: SmallPlant) -> dict[tuple[str, str], float]:
    """By customer and lot: each tank is a third of the batch."""
    assert plant.customer is not None
    third = UseRow.objects.get().used_grams / 3
    return {("OTHER", "R1"): third, (plant.customer.code, "R1"): third, (plant.customer.code, "R2"): third}


def test_a_customer_in_a_resin_lot_is_what_their_tanks_held(plant: SmallPlant, batch: Batch) -> None:
    want = expected(plant)
    for lot in ("R1", "R2"):
        found = used(whole(plant, By.CUSTOMER, resin_lot=lot))
        assert found == {
            customer: pytest.approx(grams, abs=1.5) for (customer, code), grams in want.items() if code == lot
        }
    for customer in ("OTHER", next(iter(dict(want)))[0], *{customer for customer, _ in want}):
        found = used(whole(plant, By.RESIN_LOT, customer=customer))
        assert found == {
            code: pytest.approx(grams, abs=1.5) for (name, code), grams in want.items() if name == customer
        }


def test_both_narrowed_is_one_line_of_that_part(plant: SmallPlant, batch: Batch) -> None:
    assert plant.customer is not None
    question = whole(plant, By.FAMILY, customer=plant.customer.code, resin_lot="R2")
    (line,) = map(as_line, lines(question))
    assert line.row.number == batch.number and line.is_part
    assert line.sums.used_grams == pytest.approx(UseRow.objects.get().used_grams / 3, abs=1.5)
    found = audit(question)
    assert [total.sums for total in found.totals] == [line.sums] and found.lines == 1
    assert not lines(whole(plant, customer="OTHER", resin_lot="R2"))


def test_parts_of_a_customer_add_up_to_the_customer_to_the_gram(plant: SmallPlant, batch: Batch) -> None:
    for code in UseShare.objects.filter(kind="customer").values_list("key", flat=True):
        alone = audit(whole(plant, By.FAMILY, customer=code)).totals[0].sums
        for by in (By.RESIN_LOT, By.CHEMICAL_LOT):
            found = audit(whole(plant, by, customer=code))
            for name in SPLIT:
                assert sum(getattr(group.sums, name) for group in found.groups) == getattr(alone, name), name
            assert found.totals[0].sums == alone, "one batch, counted and compared once"


def test_a_chemical_lot_divides_all_resin_of_a_bed_alike(plant: SmallPlant, batch: Batch) -> None:
    lot = plant.lots["hcl"].code
    by_customer = used(whole(plant, By.CUSTOMER, chemical_lot=lot))
    assert by_customer == used(whole(plant, By.CUSTOMER)), "one lot fed the batch"
    assert used(whole(plant, By.RESIN_LOT, chemical_lot=lot)) == used(whole(plant, By.RESIN_LOT))


def test_it_stays_when_the_resin_has_become_a_new_lot_and_is_read_anew(
    plant: SmallPlant, batch: Batch
) -> None:
    before = {lot: used(whole(plant, By.CUSTOMER, resin_lot=lot)) for lot in ("R1", "R2")}
    done = factories.pass_batch(plant, batch)
    assert done.lot is not None
    Tank.objects.filter(resin_lot__code__in=("R1", "R2")).update(resin_lot=done.lot)
    call_command("renew_use", verbosity=0)
    assert {lot: used(whole(plant, By.CUSTOMER, resin_lot=lot)) for lot in ("R1", "R2")} == before
    assert before["R2"] and len(before["R1"]) == 2


def test_too_many_lines_are_refused_with_what_to_do(
    plant: SmallPlant, batch: Batch, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(crossed, "MOST_CROSSED", 0)
    with pytest.raises(RecordRefused, match="Choose a shorter one"):
        audit(whole(plant, By.CUSTOMER, resin_lot="R1"))
