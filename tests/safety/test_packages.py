"""Packages without room in their tank: refused, and kept as a near miss that somebody answers."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from regenplant.chemicals.models import ChemicalLot, Movement, Place
from regenplant.core.errors import DomainError, NotAllowed, OutOfRange
from regenplant.people.models import Person
from regenplant.safety import services
from regenplant.safety.models import NearMiss
from regenplant.safety.packages import receive_packages
from tests import factories
from tests.factories import SmallPlant
from tests.web.pages import text_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def plant(db: None) -> SmallPlant:
    return factories.small_plant()


def brought(plant: SmallPlant, grams_100: int, who: str = "operator", **change: Any) -> ChemicalLot:
    made: ChemicalLot = receive_packages(
        by=plant.by(who), **{"code": "D-7", "chemical": "hcl", "certificate_strength_frac": 0.32, "is_packaged": True,
        "place_id": Place.objects.get(code="B-HCL").pk, "grams_100": grams_100, **change},
    ).result  # fmt: skip
    return made


@pytest.mark.requirement("CS-01")
def test_what_has_no_room_is_refused_and_stays_as_a_near_miss(plant: SmallPlant) -> None:
    before = Movement.objects.count()
    with pytest.raises(OutOfRange, match="Do not unload more than there is room for") as refused:
        brought(plant, 90_000_000)
    (row,) = NearMiss.objects.all()
    assert row.number in refused.value.message and refused.value.field == "quantity"
    assert (row.about, row.reported_by) == ("B-HCL", plant.people["operator"])
    assert "lot D-7" in row.what and "B-HCL takes" in row.what and row.answered_by is None
    assert Movement.objects.count() == before and not ChemicalLot.objects.filter(code="D-7").exists()


def test_the_same_try_again_is_the_same_near_miss_until_it_is_answered(plant: SmallPlant) -> None:
    for _ in range(2):
        with pytest.raises(OutOfRange):
            brought(plant, 90_000_000)
    (row,) = NearMiss.objects.all()
    services.answer_near_miss(
        by=plant.by("safety"), near_miss_id=row.pk, cause="The order counted drums instead of kilograms.", version=row.version
    )  # fmt: skip
    with pytest.raises(OutOfRange):
        brought(plant, 90_000_000)
    assert NearMiss.objects.count() == 2


def test_what_is_refused_for_another_reason_and_what_fits_is_no_near_miss(plant: SmallPlant) -> None:
    with pytest.raises(DomainError):
        brought(plant, 100_000, chemical="naoh")
    with pytest.raises(NotAllowed):
        brought(plant, 90_000_000, "qc")
    assert brought(plant, 100_000).code == "D-7" and not NearMiss.objects.exists()


def test_the_page_says_so_and_keeps_what_was_typed(
    plant: SmallPlant, client_of: Callable[[Person], Client]
) -> None:
    client, url = client_of(plant.people["operator"]), reverse("chemicals-receive")
    typed = {
        "code": "D-7", "chemical": "hcl", "place": Place.objects.get(code="B-HCL").pk, "certificate_strength_frac": "32 %",
        "quantity_volume": "200 m3", "quantity_product": "", "quantity_pure": "", "supplier_lot": "inv 7", "data_sheet": "",
        "second_person": plant.people["supervisor"].pk, "is_connection_right": "on", "is_packaged": "on", "act": "show",
    }  # fmt: skip
    shown = client.post(url, typed)
    assert shown.status_code == 200 and not NearMiss.objects.exists()
    answer = client.post(url, {**typed, "act": "write", "shown": shown.context["shown_mark"]})
    assert answer.status_code == 422 and "Kept as near miss N-" in text_of(answer)
    assert NearMiss.objects.count() == 1 and 'value="D-7"' in answer.content.decode()
    desk = text_of(client_of(plant.people["safety"]).get(reverse("safety")))
    assert NearMiss.objects.get().number in desk
