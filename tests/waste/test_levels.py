"""Reading a waste tank: the books follow, what is more is unknown, what is less went with its ions."""

from __future__ import annotations

import pytest

from regenplant.audit.by import By
from regenplant.core.errors import NotAllowed, OutOfRange, RecordRefused, StaleRecord
from regenplant.plant import services as plant_services
from regenplant.plant.models import WasteTank
from regenplant.plant.services import WasteTankSettings
from regenplant.waste import services
from regenplant.waste.models import WasteMovement
from regenplant.waste.selectors import last_ph, standing
from regenplant.waste.services import WasteReading
from tests import factories
from tests.factories import SmallPlant

pytestmark = pytest.mark.django_db


@pytest.fixture
def plant(db: None) -> SmallPlant:
    return factories.small_plant()


def tank() -> WasteTank:
    return WasteTank.objects.get(code="N1")


def test_the_first_reading_opens_the_books_and_knows_nothing(plant: SmallPlant) -> None:
    stands = standing(tank())
    assert stands.volume_m3 == stands.unknown_m3 == 2.0 and stands.temperature_kelvin is None
    assert stands.chloride_kg == stands.tds_kg == 0.0


@pytest.mark.requirement("EV-08")
def test_the_level_stays_inside_the_tank(plant: SmallPlant) -> None:
    version = tank().version
    services.set_waste_level(by=plant.by(), waste_tank_id=tank().pk, level_m3=12.0, version=version)
    with pytest.raises(OutOfRange, match="The tank holds no more"):
        services.set_waste_level(by=plant.by(), waste_tank_id=tank().pk, level_m3=400.5)
    with pytest.raises(StaleRecord, match="was changed since you opened it"):
        services.set_waste_level(by=plant.by(), waste_tank_id=tank().pk, level_m3=13.0, version=version)
    assert tank().level_m3 == 12.0 and WasteMovement.objects.count() == 2


def test_a_tank_does_not_shrink_under_its_level(plant: SmallPlant) -> None:
    services.set_waste_level(by=plant.by(), waste_tank_id=tank().pk, level_m3=30.0)
    with pytest.raises(OutOfRange, match="Write the level first"):
        plant_services.save_waste_tank(
            by=plant.by("supervisor"),
            tank=WasteTankSettings("N1", "Neutralization tank", 20.0, 5.0),
            version=tank().version,
        )


def test_the_difference_to_the_books_is_a_row(plant: SmallPlant) -> None:
    services.set_waste_level(by=plant.by(), waste_tank_id=tank().pk, level_m3=3.5, note="rain in the pit")
    row = WasteMovement.objects.order_by("-number").first()
    assert row is not None
    assert (row.kind, row.volume_m3, row.level_m3, row.reason) == ("reading", 1.5, 3.5, "rain in the pit")


def test_a_ph_needs_its_meter_and_a_meter_in_calibration_proves(plant: SmallPlant) -> None:
    with pytest.raises(RecordRefused, match="Choose the pH meter"):
        services.set_waste_level(
            by=plant.by(), waste_tank_id=tank().pk, level_m3=2.0, reading=WasteReading(ph=7.2)
        )
    meter = plant.instruments["PH"]
    reading = WasteReading(temperature_kelvin=298.15, ph=7.2, instrument_id=meter.pk)
    services.set_waste_level(by=plant.by(), waste_tank_id=tank().pk, level_m3=2.0, reading=reading)
    found = last_ph(tank())
    assert found is not None and found.ph == 7.2 and found.instrument_was_valid
    assert standing(tank()).temperature_kelvin == 298.15
    plant.forward(days=200)
    reading = WasteReading(ph=4.0, instrument_id=meter.pk)
    services.set_waste_level(by=plant.by(), waste_tank_id=tank().pk, level_m3=2.0, reading=reading)
    found = last_ph(tank())
    assert found is not None and found.ph == 7.2, "a meter that is overdue proves nothing"


@pytest.mark.parametrize(
    ("reading", "words"),
    [
        (WasteReading(ph=15.0, instrument_id=1), "The pH"),
        (WasteReading(temperature_kelvin=400.0), "The temperature"),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_written(
    plant: SmallPlant, reading: WasteReading, words: str
) -> None:
    with pytest.raises(OutOfRange, match=words):
        services.set_waste_level(by=plant.by(), waste_tank_id=tank().pk, level_m3=5.0, reading=reading)
    assert tank().level_m3 == 2.0 and WasteMovement.objects.count() == 1


def test_who_may_not_is_refused_and_an_unknown_tank_too(plant: SmallPlant) -> None:
    with pytest.raises(NotAllowed):
        services.set_waste_level(by=plant.by("planner"), waste_tank_id=tank().pk, level_m3=5.0)
    with pytest.raises(RecordRefused, match="not known here"):
        services.set_waste_level(by=plant.by(), waste_tank_id=0, level_m3=1.0)


def test_the_ledger_is_frozen(plant: SmallPlant) -> None:
    from django.db import DatabaseError, transaction

    row = WasteMovement.objects.get()
    for change in (lambda: WasteMovement.objects.filter(pk=row.pk).update(level_m3=1.0), row.delete):
        with pytest.raises(DatabaseError), transaction.atomic():
            change()


def _by(plant: SmallPlant) -> By:
    return plant.by("safety")


def test_waste_taken_away_by_somebody_licensed(plant: SmallPlant) -> None:
    row = services.take_waste_away(
        by=_by(plant),
        waste_tank_id=tank().pk,
        volume_m3=1.5,
        collector="Tansy Hollow Hauling",
        document="TH 118",
    ).result
    assert row.volume_m3 == -1.5 and tank().level_m3 == 0.5 and row.reference == "TH 118"
    with pytest.raises(OutOfRange, match="cannot leave"):
        services.take_waste_away(
            by=_by(plant), waste_tank_id=tank().pk, volume_m3=1.0, collector="Tansy Hollow", document="TH 119"
        )
    with pytest.raises(NotAllowed):
        services.take_waste_away(
            by=plant.by(), waste_tank_id=tank().pk, volume_m3=0.1, collector="Tansy Hollow", document="TH 120"
        )
    with pytest.raises(StaleRecord, match="since this page was shown"):
        services.take_waste_away(
            by=_by(plant), waste_tank_id=tank().pk, volume_m3=0.1, collector="Tansy", document="TH 121", shown_number=1,
        )  # fmt: skip
