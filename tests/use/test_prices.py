"""Which price holds for a lot, and that the audit follows it: every figure by hand."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from regenplant.core.errors import NotAllowed, OutOfRange
from regenplant.plant.selectors import plant_day
from regenplant.use.models import UseRow
from regenplant.use.pricing import PriceList, milli_of
from regenplant.use.selectors import By, audit
from regenplant.use.services import enter_price
from tests.factories import SmallPlant
from tests.use.made import injected, whole

pytestmark = pytest.mark.django_db


def price(plant: SmallPlant, text: str, who: str = "supervisor", **more: object) -> None:
    plain: dict[str, object] = {
        "chemical": "hcl",
        "currency": "EUR",
        "basis": "product",
        "from_day": date(2020, 1, 1),
        "reason": "an invented contract",
    }
    enter_price(by=plant.by(who), price=text, **{**plain, **more})


def test_a_lots_own_price_comes_before_any_other_and_the_newer_of_two(plant: SmallPlant) -> None:
    lot = plant.lots["hcl"]
    price(plant, "0.10")
    assert PriceList().cost_milli(lot.code, 32_000) == 10_000, "0.10 over 0.32 times 32 kg"
    price(plant, "0.50", basis="pure", lot_code=lot.code)
    assert PriceList().cost_milli(lot.code, 32_000) == 16_000
    price(plant, "0.60", basis="pure", lot_code=lot.code)
    assert PriceList().cost_milli(lot.code, 32_000) == 19_200
    price(plant, "9.99")
    assert PriceList().cost_milli(lot.code, 32_000) == 19_200, "a general one does not replace it"


def test_a_price_counts_for_lots_received_on_its_day_or_later(plant: SmallPlant) -> None:
    received = plant_day(plant.lots["hcl"].received_at)
    price(plant, "1.00", from_day=received + timedelta(days=1))
    assert PriceList().price_of(plant.lots["hcl"]) is None
    price(plant, "0.20", from_day=received - timedelta(days=30))
    price(plant, "0.30", from_day=received)
    found = PriceList().price_of(plant.lots["hcl"])
    assert found is not None and found.milli_per_kg == 300


def test_costs_are_divided_and_add_up(plant: SmallPlant) -> None:
    injected(plant, "sac_h", 1.07)
    price(plant, "0.137")
    (row,) = UseRow.objects.all()
    assert row.cost_milli == round(row.used_grams / 1000 * 137 / 0.32) and row.priced_grams == row.used_grams
    for by in (By.CUSTOMER, By.RESIN_LOT, By.CHEMICAL_LOT, By.SHIFT):
        assert sum(group.sums.cost_milli for group in audit(whole(plant, by)).groups) == row.cost_milli, by


def test_a_chemical_without_a_price_counts_nothing_and_says_so(plant: SmallPlant) -> None:
    injected(plant, "sac_na")
    price(plant, "0.137")
    (row,) = UseRow.objects.all()
    assert (row.cost_milli, row.priced_grams) == (0, 0)


def test_only_who_may_enters_a_price(plant: SmallPlant) -> None:
    price(plant, "0.2", who="planner")
    for who in ("operator", "qc", "safety"):
        with pytest.raises(NotAllowed):
            price(plant, "0.2", who=who)


@pytest.mark.parametrize(
    ("text", "milli"), [("0,385", 385), ("0.385", 385), ("10000", 10_000_000), ("0.001", 1), (" 12 ", 12_000)]
)
def test_a_price_is_read_to_the_thousandth(text: str, milli: int) -> None:
    assert milli_of(text) == milli


@pytest.mark.parametrize("text", ["", "1,234.5", "-1", "NaN", "1e2", "٣", "10000.001", "0.0001", "."])
def test_what_is_no_price_is_refused(text: str) -> None:
    with pytest.raises(OutOfRange):
        milli_of(text)
