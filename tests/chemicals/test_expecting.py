"""Expected deliveries: entered, changed, found again by the papers, called off; the forecast counts with what is not overdue."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from regenplant.chemicals import services
from regenplant.chemicals.expected import coming_days, expected, overdue
from regenplant.chemicals.models import ChemicalLot, ExpectedDelivery, Place
from regenplant.core.errors import DomainError, NotAllowed, RecordRefused, StaleRecord
from regenplant.people.models import Person
from regenplant.plant.selectors import plant_day
from tests import factories
from tests.chemicals.weighed import unlocked
from tests.factories import SmallPlant
from tests.web.pages import form_data, text_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def plant(db: None) -> SmallPlant:
    return factories.plant_today()


def awaited(plant: SmallPlant, who: str = "operator", **change: Any) -> ExpectedDelivery:
    arguments: dict[str, Any] = {
        "place_id": Place.objects.get(code="B-HCL").pk,
        "order_number": "4711 / 2",
        "grams_100": 400_000,
        "due_on": plant_day(plant.now) + timedelta(days=4),
        **change,
    }
    row: ExpectedDelivery = services.expect_delivery(by=plant.by(who), **arguments).result
    return row


def test_it_is_counted_until_it_is_overdue(plant: SmallPlant) -> None:
    row = awaited(plant)
    today = plant_day(plant.now)
    assert coming_days(expected(), today) == [(4, 400.0)]
    assert coming_days(expected(), row.due_on) == [(0, 400.0)]
    assert coming_days(expected(), row.due_on + timedelta(days=1)) == []


def test_what_did_not_come_by_its_day_stands_on_the_desks_of_chemicals_and_safety(
    plant: SmallPlant, client_of: Callable[[Person], Client]
) -> None:
    client, today = client_of(plant.people["safety"]), plant_day(timezone.now())  # the desks know today only
    row = awaited(plant, due_on=today)
    for name in ("chemicals", "safety"):
        assert f"{row.number} for B-HCL was due" not in text_of(client.get(reverse(name)))
    ExpectedDelivery.objects.filter(pk=row.pk).update(due_on=today - timedelta(days=1))
    assert [one.pk for one in overdue(today)] == [row.pk]
    for name in ("chemicals", "safety"):
        page = client.get(reverse(name))
        assert f"{row.number} for B-HCL was due on {today - timedelta(days=1)}" in text_of(page)
        assert reverse("chemicals-expected-change", args=[row.number]) in page.content.decode()


def test_the_papers_of_the_delivery_settle_it(plant: SmallPlant) -> None:
    """The order line is read without its spaces; the order of another tank stays."""
    row = awaited(plant, order_number="4711/2")
    other = awaited(plant, order_number="4711/2", place_id=Place.objects.get(code="B-NAOH").pk)
    delivered = unlocked(plant)
    row.refresh_from_db()
    other.refresh_from_db()
    assert (row.state, row.lot) == ("received", delivered.lot) and other.state == "expected"


def test_a_lot_in_packages_is_named_by_hand_once(plant: SmallPlant) -> None:
    first, second = awaited(plant), awaited(plant, order_number="4712 / 1")
    lot, elsewhere = (ChemicalLot.objects.get(chemical=name, is_in_use=True) for name in ("hcl", "naoh"))
    with pytest.raises(RecordRefused, match="did not come into B-HCL"):
        services.settle_expected(by=plant.by(), number=first.number, lot_id=elsewhere.pk)
    services.settle_expected(by=plant.by(), number=first.number, lot_id=lot.pk)
    with pytest.raises(RecordRefused, match="under another order"):
        services.settle_expected(by=plant.by(), number=second.number, lot_id=lot.pk)
    with pytest.raises(RecordRefused, match="received already"):
        services.call_off_expected(by=plant.by(), number=first.number, reason="never mind it")


def test_changed_and_called_off_with_a_reason(plant: SmallPlant) -> None:
    row = awaited(plant)
    later = row.due_on + timedelta(days=3)
    arguments = {"number": row.number, "grams_100": 300_000, "due_on": later, "version": 1}
    with pytest.raises(RecordRefused, match="The reason"):
        services.change_expected(by=plant.by(), reason="", **arguments)
    services.change_expected(by=plant.by(), reason="The haulier moved it.", **arguments)
    with pytest.raises(StaleRecord):
        services.change_expected(
            by=plant.by(), reason="The haulier moved it again.", **{**arguments, "grams_100": 1}
        )
    services.call_off_expected(by=plant.by(), number=row.number, reason="The supplier is out of it.")
    assert not expected()
    assert awaited(plant).number != row.number


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"place_id": 0}, "place"),
        ({"order_number": ""}, "order_number"),
        ({"grams_100": 0}, "quantity"),
        ({"grams_100": 60_000_001}, "quantity"),
        ({"due_on": date(2001, 1, 1)}, "due_on"),
        ({"due_on": date(2999, 1, 1)}, "due_on"),
    ],
)
def test_what_cannot_be_is_refused(plant: SmallPlant, change: dict[str, Any], field: str) -> None:
    with pytest.raises(DomainError) as refused:
        awaited(plant, **change)
    assert refused.value.field == field and not ExpectedDelivery.objects.exists()


def test_twice_the_same_order_and_who_may_not(plant: SmallPlant) -> None:
    awaited(plant)
    with pytest.raises(RecordRefused, match="is expected for B-HCL already"):
        awaited(plant)
    with pytest.raises(NotAllowed):
        awaited(plant, who="qc", order_number="4713")


def test_the_page_names_it_and_tells_what_is_overdue(
    plant: SmallPlant, client_of: Callable[[Person], Client]
) -> None:
    client, ahead = client_of(plant.people["operator"]), reverse("chemicals-ahead")
    assert "No delivery is expected." in text_of(client.get(ahead))
    day = timezone.localdate() + timedelta(days=4)
    sent = {
        "place": Place.objects.get(code="B-HCL").pk, "order_number": "4711 / 2", "strength_frac": "32 %",
        "quantity_product": "1250 kg", "due_on": f"{day}",
    }  # fmt: skip
    bad = client.post(reverse("chemicals-expected-new"), {**sent, "quantity_pure": "400 kg"})
    assert bad.status_code == 422 and "1250 kg" in bad.content.decode()
    assert client.post(reverse("chemicals-expected-new"), sent).status_code == 302
    row = ExpectedDelivery.objects.get()
    assert row.grams_100 == 400_000  # 1250 · 0.32
    assert f"expected on {day}" in text_of(client.get(ahead))
    url = reverse("chemicals-expected-change", args=[row.number])
    data = form_data(client.get(url).context["form"]) | {"mass": "300 kg", "reason": "The haulier moved it."}
    assert client_of(plant.people["qc"]).post(url, data).status_code == 403
    assert client.post(url, data).status_code == 302 and client.post(url, data).status_code == 409
    ExpectedDelivery.objects.update(due_on=timezone.localdate() - timedelta(days=1))
    shown = text_of(client.get(ahead))
    assert "One expected delivery is overdue." in shown and "overdue and not counted with" in shown
    lot = ChemicalLot.objects.get(chemical="hcl", is_in_use=True)
    came = reverse("chemicals-expected-came", args=[row.number])
    sent = form_data(client.get(came).context["form"]) | {"lot": lot.pk}
    assert client.post(came, sent).status_code == 302
    assert client.get(came).status_code == 404 and "No delivery is expected." in text_of(client.get(ahead))
    again = awaited(plant)
    off = reverse("chemicals-expected-call-off", args=[again.number])
    sent = form_data(client.get(off).context["form"]) | {"reason": "The supplier is out of it."}
    assert client.post(off, sent).status_code == 302 and not expected()
