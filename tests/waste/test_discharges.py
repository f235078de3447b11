"""A discharge from its mixing to what went (EV-04), the day's masses (EV-06), and what is refused on the way."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.db import DatabaseError, transaction

from regenplant.audit.selectors import story
from regenplant.batches.models import Batch
from regenplant.core.errors import NotAllowed, OutOfRange, RecordRefused, SignatureRefused, StaleRecord
from regenplant.people.signing import holds
from regenplant.plant.models import WasteTank
from regenplant.plant.selectors import plant_day
from regenplant.plant.sewer_day import day_at
from regenplant.waste import services
from regenplant.waste.discharges import gone_on, standing_at
from regenplant.waste.models import Discharge, DischargeReading, Excursion, StepDrain, WasteMovement
from regenplant.waste.month import content_at, month_of
from tests import factories
from tests.waste.sewer import (
    ANALYSIS,
    discharged,
    opened,
    permitted,
    plant_with_permit,
    proven,
    read,
    release,
)

pytestmark = pytest.mark.django_db


def level() -> float:
    return WasteTank.objects.get(code="N1").level_m3


@pytest.mark.requirement("EV-04")
def test_4_9_then_6_1_is_released_only_after_two_good_readings() -> None:
    plant = plant_with_permit()
    row = opened(plant)
    plant.forward(minutes=15)
    assert "outside" in read(plant, row, 4.9).fault
    plant.forward(minutes=10)
    assert read(plant, row, 6.1).fault == ""
    with pytest.raises(RecordRefused, match="second good reading after the last one outside is missing"):
        release(plant, row)
    plant.forward(minutes=10)
    read(plant, row, 6.2)
    row = release(plant, row)
    assert row.state == "released" and holds(row.signature)
    told = [line.sentence for line in story([("discharge", row.number)])]
    assert any("pH 4.9" in line and "is outside" in line for line in told)


@pytest.mark.requirement("EV-04", "EV-06")
def test_what_went_lowers_the_tank_and_counts_on_its_plant_day() -> None:
    plant = plant_with_permit()
    before = level()
    row = discharged(plant, 1.5)
    assert level() == pytest.approx(before - 1.5)
    assert WasteMovement.objects.filter(kind="discharge", reference=row.number).count() == 1
    assert (row.chloride_kg, row.tds_kg) == (
        pytest.approx(30.0),
        pytest.approx(54.0),
    )  # 20 and 36 kg/m³ of 1.5 m³
    gone = gone_on(plant_day(plant.now))
    assert (gone.loads.sodium_kg, gone.volume_m3, gone.count) == (pytest.approx(18.0), pytest.approx(1.5), 1)
    assert gone_on(plant_day(plant.now) + timedelta(days=1)).count == 0
    assert day_at(plant.now).gone.sulfate_kg == pytest.approx(2.25)
    assert not Excursion.objects.exists()


@pytest.mark.requirement("EV-04")
def test_a_reading_of_an_overdue_meter_proves_nothing() -> None:
    plant = plant_with_permit()
    plant.instruments["OLD-PH"] = _overdue_ph_meter(plant)
    row = opened(plant)
    plant.forward(minutes=15)
    assert not read(plant, row, 7.0, meter="OLD-PH").instrument_was_valid
    plant.forward(minutes=10)
    read(plant, row, 7.0)
    with pytest.raises(RecordRefused, match="second good reading"):
        release(plant, row)


def _overdue_ph_meter(plant: factories.SmallPlant):  # type: ignore[no-untyped-def]
    from regenplant.plant import services as plant_services
    from regenplant.plant.services import InstrumentSettings

    by = plant.by("supervisor")
    made = plant_services.save_instrument(
        by=by, instrument=InstrumentSettings("OLD-PH", "Old meter", "ph", None, "")
    ).result
    factories.calibrated(plant, made.pk, days_ago=30, due_on=(plant.now - timedelta(days=1)).date())
    return made


def test_a_reading_written_late_is_kept_and_proves_nothing() -> None:
    plant = plant_with_permit()
    row = opened(plant)
    plant.forward(minutes=60)
    late = read(plant, row, 7.0, taken_at=plant.now - timedelta(minutes=40))
    assert late.is_late and standing_at(row, plant.now).judged.standing == ("instrument",)
    assert not read(plant, row, 7.0, taken_at=plant.now - timedelta(minutes=10)).is_late


@pytest.mark.requirement("EV-04")
def test_what_comes_into_the_tank_undoes_the_readings() -> None:
    plant = plant_with_permit()
    row = proven(plant)
    assert standing_at(row, plant.now, ANALYSIS).blockers == ()
    plant.forward(minutes=1)
    _inflow(plant, factories.frozen_batch(plant, "sac_na"))
    assert standing_at(row, plant.now, ANALYSIS).judged.standing == ("before", "before")
    with pytest.raises(RecordRefused, match="Two good readings"):
        release(plant, row)


def _inflow(plant: factories.SmallPlant, batch: Batch) -> None:
    """A step of a batch that drained into the tank, as the ledger keeps it."""
    tank = WasteTank.objects.get(code="N1")
    last = WasteMovement.objects.order_by("-number").first()
    WasteMovement.objects.create(
        number=last.number + 1 if last else 1, tank=tank, kind="drain", volume_m3=0.01, level_m3=tank.level_m3,
        unknown_m3=tank.level_m3, batch=batch, step_number=2, moved_at=plant.now,
        moved_by=plant.people["operator"],
    )  # fmt: skip


@pytest.mark.requirement("EV-06")
def test_a_discharge_over_the_days_budget_is_refused_with_the_volume_that_fits() -> None:
    """20 kg/m³ of chloride: 1 m³ took 20 of 30 kg, so 10 kg, which is 0.5 m³, are left of the next."""
    plant = plant_with_permit(chloride_kg_per_day=30.0)
    discharged(plant, 1.0)
    row = proven(plant, 0.9)
    with pytest.raises(RecordRefused) as refused:
        release(plant, row)
    assert (
        "chloride 18\u00a0kg: the day takes 30\u00a0kg, 20\u00a0kg went, so 10\u00a0kg are left"
        in refused.value.message
    )
    assert "Split it: 500\u00a0L fit into today" in refused.value.message
    services.give_up_discharge(by=plant.by(), discharge_id=row.pk, reason="half of it goes today")
    assert release(plant, proven(plant, 0.5)).state == "released"


def test_the_next_plant_day_has_its_own_budget() -> None:
    plant = plant_with_permit(chloride_kg_per_day=30.0)
    discharged(plant, 1.0)
    plant.forward(days=1)
    assert discharged(plant, 0.9).state == "closed"
    assert gone_on(plant_day(plant.now)).loads.chloride_kg == pytest.approx(18.0)


@pytest.mark.requirement("EV-06")
def test_water_of_unknown_composition_is_not_released_against_a_budget() -> None:
    plant = plant_with_permit(tds_kg_per_day=500.0)
    row = proven(plant)
    with pytest.raises(RecordRefused, match="of unknown composition, so its dissolved solids cannot be told"):
        release(plant, row, measured_kg_per_m3={})
    assert release(plant, row).measured_kg_per_m3 == ANALYSIS


def test_without_a_whole_permit_or_after_its_last_day_nothing_is_released() -> None:
    plant = factories.small_plant()
    row = proven(plant)
    with pytest.raises(RecordRefused, match="discharge permit is not on record whole"):
        release(plant, row)
    permitted(plant, expires_on=(plant.now - timedelta(days=1)).date().isoformat())
    with pytest.raises(RecordRefused, match="Nothing goes to the sewer under it"):
        release(plant, row)


def test_the_permits_volume_of_a_day_holds() -> None:
    plant = plant_with_permit(volume_m3_per_day=1.2)
    discharged(plant, 1.0)
    with pytest.raises(RecordRefused, match="are left of the 500\u00a0L wanted"):
        release(plant, proven(plant, 0.5))


def test_who_read_it_does_not_release_it_and_who_has_no_right_neither() -> None:
    plant = plant_with_permit()
    row = opened(plant)
    plant.forward(minutes=15)
    read(plant, row, 7.0)
    plant.forward(minutes=10)
    read(plant, row, 7.0, who="supervisor")
    with pytest.raises(NotAllowed, match="You took a reading that proves"):
        release(plant, row)
    with pytest.raises(NotAllowed, match=r"discharge\.release"):
        release(plant, row, who="operator 2")
    assert release(plant, row, who="supervisor 2").released_by == plant.people["supervisor 2"]


def test_the_plants_rule_of_two_people_holds() -> None:
    plant = plant_with_permit(is_released_by_two=True)
    row = proven(plant)
    with pytest.raises(RecordRefused, match="Two people sign"):
        release(plant, row)
    second = plant.by("safety")
    with pytest.raises(SignatureRefused, match="proven by another person"):
        release(
            plant, row, second=second, second_permit=factories.permit(plant, "qc", services.RELEASE_MEANING)
        )
    with pytest.raises(NotAllowed):
        release(
            plant,
            row,
            second=plant.by("operator"),
            second_permit=factories.permit(plant, "operator", services.RELEASE_MEANING),
        )
    row = release(
        plant, row, second=second, second_permit=factories.permit(plant, "safety", services.RELEASE_MEANING)
    )
    assert row.second_signature.person == plant.people["safety"] and holds(row.second_signature)


def test_one_discharge_of_a_tank_at_a_time_and_never_more_than_it_holds() -> None:
    plant = plant_with_permit()
    row = opened(plant)
    with pytest.raises(RecordRefused, match="is under way"):
        opened(plant)
    services.give_up_discharge(by=plant.by(), discharge_id=row.pk, reason="it is treated once more")
    with pytest.raises(OutOfRange):
        opened(plant, level() + 0.1)
    with pytest.raises(StaleRecord, match="given up already"):
        read(plant, row, 7.0)


def test_a_break_of_the_mixing_begins_it_anew() -> None:
    plant = plant_with_permit()
    row = proven(plant)
    services.set_mixing(by=plant.by(), discharge_id=row.pk, is_mixing=False)
    with pytest.raises(RecordRefused, match="not being mixed"):
        release(plant, row)
    with pytest.raises(RecordRefused, match="it is not mixed"):
        services.set_mixing(by=plant.by(), discharge_id=row.pk, is_mixing=False)
    services.set_mixing(by=plant.by(), discharge_id=row.pk, is_mixing=True)
    row.refresh_from_db()
    assert standing_at(row, plant.now, ANALYSIS).judged.standing == ("unmixed", "unmixed")


def test_a_stale_page_releases_and_closes_nothing() -> None:
    plant = plant_with_permit()
    row = proven(plant)
    with pytest.raises(StaleRecord):
        release(plant, row, version=row.version + 1)
    row = release(plant, row, version=row.version)
    with pytest.raises(StaleRecord):
        services.close_discharge(by=plant.by(), discharge_id=row.pk, volume_m3=0.5, version=row.version - 1)
    with pytest.raises(StaleRecord, match="is released already"):
        release(plant, row)


def test_a_reading_outside_while_it_runs_out_is_an_excursion_and_stays_one() -> None:
    plant = plant_with_permit()
    row = release(plant, proven(plant))
    plant.forward(minutes=5)
    assert read(plant, row, 9.8).while_running
    found = Excursion.objects.get()
    assert (found.kind, found.discharge, found.closed_at) == ("window", row, None)
    assert "pH 9.8 is outside 5.5 to 9" in found.words
    services.close_discharge(by=plant.by(), discharge_id=row.pk, volume_m3=0.2)
    assert Excursion.objects.count() == 1


def test_more_than_was_released_and_inflow_while_it_ran_are_excursions() -> None:
    plant = factories.small_plant()
    batch = factories.frozen_batch(plant, "sac_na")
    permitted(plant, chloride_kg_per_day=20.0)
    row = release(plant, proven(plant, 1.0))
    plant.forward(minutes=5)
    _inflow(plant, batch)
    plant.forward(minutes=5)
    services.close_discharge(by=plant.by(), discharge_id=row.pk, volume_m3=1.2)
    assert {one.kind for one in Excursion.objects.all()} == {"unproven", "other", "budget"}
    words = Excursion.objects.get(kind="budget").words
    assert "chloride 24" in words and "of 20" in words


def test_what_is_closed_is_frozen_and_readings_are_frozen_at_once() -> None:
    plant = plant_with_permit()
    row = discharged(plant)
    for change in (
        lambda: Discharge.objects.filter(pk=row.pk).update(volume_m3=0.1),
        lambda: DischargeReading.objects.filter(discharge=row).update(ph=7.0),
        lambda: DischargeReading.objects.filter(discharge=row).delete(),
    ):
        with pytest.raises(DatabaseError), transaction.atomic():
            change()
    row.refresh_from_db()
    assert row.volume_m3 == 1.0


@pytest.mark.parametrize(
    ("ph", "celsius", "field"),
    [(14.5, 20.0, "ph"), (-0.1, 20.0, "ph"), (7.0, 120.0, "temperature"), (7.0, -5.0, "temperature")],
)
def test_a_reading_that_cannot_be_is_refused(ph: float, celsius: float, field: str) -> None:
    plant = plant_with_permit()
    row = opened(plant)
    with pytest.raises(OutOfRange) as refused:
        read(plant, row, ph, celsius=celsius)
    assert refused.value.field == field and not DischargeReading.objects.exists()
    with pytest.raises(RecordRefused, match="pH meter"):
        read(plant, row, 7.0, meter="CELL")
    with pytest.raises(RecordRefused, match="still to come"):
        read(plant, row, 7.0, taken_at=plant.now + timedelta(minutes=5))


@pytest.mark.requirement("EV-06")
def test_brine_that_drains_to_the_sewer_directly_counts_on_the_same_day() -> None:
    """1,000 mol of chloride are 35.45 kg (IUPAC 2021: 35.45 g/mol), of sodium 22.99 kg; 20 kg of chloride went by discharge."""
    plant = plant_with_permit(chloride_kg_per_day=60.0)
    discharged(plant, 1.0)
    StepDrain.objects.create(
        batch=factories.frozen_batch(plant, "sac_na"), step_number=2, destination="brine_sewer", volume_m3=0.8, waste_m3=0.8,
        amounts_mol={"chloride": 1000.0, "sodium": 1000.0}, temperature_kelvin=293.15, drained_at=plant.now,
        drained_by=plant.people["operator"],
    )  # fmt: skip
    gone = gone_on(plant_day(plant.now))
    assert gone.loads.chloride_kg == pytest.approx(55.45, abs=0.01)
    assert (gone.loads.sodium_kg, gone.volume_m3, gone.count) == (
        pytest.approx(34.99, abs=0.01),
        pytest.approx(1.8),
        1,
    )
    [day] = content_at(month_of(plant.now), plant.now).days
    assert (day.brine_m3, day.volume_m3, day.loads.tds_kg) == (
        0.8,
        pytest.approx(1.8),
        pytest.approx(94.44, abs=0.01),
    )
    with pytest.raises(RecordRefused, match=r"55\.\d.kg went"):
        release(plant, proven(plant, 0.5))
