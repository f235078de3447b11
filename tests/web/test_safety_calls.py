"""What other rooms keep and the safety desk calls for: each stands in one list with its way there, and goes when it is seen to."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from regenplant.chemicals import services as chemicals
from regenplant.chemicals.models import ChemicalLot, Place, StockCount
from regenplant.chemicals.quantities import Basis
from regenplant.chemicals.selectors import stock_board
from regenplant.chemicals.services import Amount
from regenplant.core.process.vocabulary import Chemical
from regenplant.people.models import Person
from regenplant.plant.models import WasteTank
from regenplant.waste import services as waste
from tests import factories
from tests.factories import SmallPlant
from tests.web.pages import text_of

pytestmark = pytest.mark.django_db
DESK = "/safety/"


@pytest.fixture
def plant(db: None) -> SmallPlant:
    return factories.plant_today()


@pytest.fixture
def desk(plant: SmallPlant, client_of: Callable[[Person], Client]) -> Callable[[], tuple[str, str]]:
    """The desk as the safety lead sees it: its words, and its source."""

    def look() -> tuple[str, str]:
        page = client_of(plant.people["safety"]).get(DESK)
        return text_of(page), page.content.decode()

    return look


def shaped(plant: SmallPlant) -> Place:
    place = Place.objects.get(code="B-HCL")
    chemicals.set_tank_geometry(
        by=plant.by("supervisor"), place_id=place.pk, settings=chemicals.GeometrySettings(
            form="upright", diameter_m=4.0, length_m=4.0, level_tolerance_m=0.005, gauge="sight glass", origin="drawing of the tank",
        ),
    )  # fmt: skip
    return place


def test_an_excursion_calls_until_it_is_closed(plant: SmallPlant, desk: Any) -> None:
    row = waste.report_excursion(by=plant.by(), words="foam at the outlet for a minute").result
    words, source = desk()
    assert f"Excursion {row.number}" in words and "foam at the outlet for a minute" in words
    assert reverse("waste-excursion", args=[row.number]) in source
    waste.close_excursion(
        by=plant.by("safety"), excursion_id=row.pk, cause="soap of the floor wash", told="nobody had to be, by the permit",
        permit=factories.permit(plant, "safety", waste.CLOSED_MEANING),
    )  # fmt: skip
    assert row.number not in desk()[0]


def test_a_count_that_differs_calls_until_it_is_booked(plant: SmallPlant, desk: Any) -> None:
    count: StockCount = chemicals.count_level(
        by=plant.by("operator 2"), place_id=shaped(plant).pk, level_m=0.3, level_as_typed="0.3", unit_as_typed="m",
        temperature_kelvin=293.15,
    ).result  # fmt: skip
    words, source = desk()
    assert f"Count {count.number} of B-HCL differs." in words and "less than the books say" in words
    assert reverse("chemicals-count", args=[count.number]) in source
    chemicals.book_difference(
        by=plant.by("supervisor"), number=count.number, gap_grams_100=count.gap_grams_100, category="leak", reason="wet flange under it"
    )  # fmt: skip
    assert f"Count {count.number}" not in desk()[0]


def test_a_chemical_tank_over_its_room_calls(plant: SmallPlant, desk: Any) -> None:
    """First into the room that stays free, then over all that it holds."""
    (acid,) = [line for line in stock_board(plant.now) if line.chemical.value == "hcl"]
    (stock,) = acid.places
    assert stock.volume_m3 is not None and "B-HCL is too full" not in desk()[0]
    Place.objects.filter(code="B-HCL").update(capacity_m3=stock.volume_m3 * 1.05, ullage_margin_m3=stock.volume_m3 * 0.1)  # fmt: skip
    words, source = desk()
    assert "B-HCL is too full." in words and "stay free for what nobody expects" in words
    assert reverse("chemicals-tank", args=["B-HCL"]) in source
    Place.objects.filter(code="B-HCL").update(capacity_m3=stock.volume_m3 * 0.9, ullage_margin_m3=0.0)
    assert "so read its level now. Let nothing more in." in desk()[0]


def test_a_waste_tank_in_its_reserve_calls(plant: SmallPlant, desk: Any) -> None:
    tank = WasteTank.objects.get(code="N1")
    waste.set_waste_level(by=plant.by(), waste_tank_id=tank.pk, level_m3=tank.planned_most_m3)
    assert "N1 is too full" not in desk()[0]
    waste.set_waste_level(
        by=plant.by(), waste_tank_id=tank.pk, level_m3=(tank.planned_most_m3 + tank.capacity_m3) / 2
    )
    words, source = desk()
    assert "N1 is too full." in words and reverse("waste-tank", args=["N1"]) in source


def test_what_ran_out_by_its_day_calls(plant: SmallPlant, desk: Any) -> None:
    lot = ChemicalLot.objects.get(chemical="naoh", is_in_use=True)
    name = Chemical.SODIUM_HYDROXIDE.label.lower()
    assert f"Supplier’s date: {lot.code}" not in desk()[0]
    ChemicalLot.objects.filter(pk=lot.pk).update(expires_on=timezone.localdate() - timedelta(days=1))
    words, source = desk()
    assert f"Supplier’s date: {lot.code}, {name}. Was due" in words
    assert reverse("chemicals-lot", args=[lot.code]) in source
    assert "Count of the tank: B-HCL" in words and "Nothing on record tells it." in words  # never counted


@pytest.mark.requirement("EV-07")
def test_a_spill_over_its_reportable_quantity_says_so(plant: SmallPlant, desk: Any) -> None:
    """The plant's own figure: 50 kg as 100 %."""
    chemicals.write_threshold(
        by=plant.by("safety"),
        chemical="hcl",
        kind="release",
        limit_kg=50.0,
        paper="letter of the authority",
    )
    for kilograms, is_said in ((20.0, False), (31.0, True)):
        row = chemicals.record_spill(
            by=plant.by(), chemical="hcl", location="at the pump", reached="contained", what_happened="the seal dripped all night",
            amount=Amount(Basis.PURE_MASS, kilograms, 0.32, f"{kilograms:g} kg"), happened_at=plant.now,
            place_id=Place.objects.get(code="B-HCL").pk,
        ).result  # fmt: skip
        words, source = desk()
        assert reverse("chemicals-spill", args=[row.number]) in source
        assert ("at or over the reportable quantity" in words) is is_said


@pytest.mark.requirement("EV-07")
def test_an_inventory_threshold_that_is_reached_is_named_and_calls_for_nobody(
    plant: SmallPlant, desk: Any
) -> None:
    held = sum(
        move.grams_100 for move in Place.objects.get(code="B-NAOH").movements_in.all()
    ) / 1000.0  # fmt: skip
    chemicals.write_threshold(
        by=plant.by("safety"), chemical="naoh", kind="inventory", limit_kg=held * 50.0, counted="product", paper="letter of the authority"
    )  # fmt: skip
    assert "letter of the authority" not in desk()[0]
    chemicals.write_threshold(
        by=plant.by("safety"), chemical="naoh", kind="inventory", limit_kg=held * 0.5, counted="product", paper="a stricter letter"
    )  # fmt: skip
    words, source = desk()
    assert "a stricter letter" in words and "Confirm with your authority" in words
    assert reverse("chemicals-inventory") in source


def test_the_desk_asks_no_more_when_more_waits(
    plant: SmallPlant, client_of: Callable[[Person], Client]
) -> None:
    client = client_of(plant.people["safety"])

    def wait() -> None:
        waste.report_excursion(by=plant.by(), words="foam at the outlet for a minute")
        chemicals.record_spill(
            by=plant.by(), chemical="hcl", location="at the pump", reached="contained", what_happened="the seal dripped all night",
            amount=Amount(Basis.PURE_MASS, 1.0, 0.32, "1 kg"), happened_at=plant.now,
            place_id=Place.objects.get(code="B-HCL").pk,
        )  # fmt: skip

    def asked() -> int:
        client.get(DESK)
        with CaptureQueriesContext(connection) as queries:
            client.get(DESK)
        return len(queries)

    wait()
    first = asked()
    for _ in range(3):
        wait()
    assert asked() == first < 60
