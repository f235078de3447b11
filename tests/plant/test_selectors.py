"""The plant as plain data for the core, and what is valid when."""

from __future__ import annotations

from datetime import date

import pytest

from regenplant.core.errors import RecordRefused
from regenplant.core.process.vocabulary import Chemical, ResinFamily, WaterKind
from regenplant.plant import selectors, services
from regenplant.plant.models import Instrument, PlantProfile
from regenplant.plant.services import VesselSettings
from tests import factories
from tests.factories import SmallPlant


@pytest.fixture
def plant(db: None) -> SmallPlant:
    return factories.small_plant()


@pytest.mark.requirement("CS-04")
@pytest.mark.parametrize(
    ("tested", "is_overdue"),
    [(None, True), (date(2026, 3, 2), False), (date(2026, 2, 23), False), (date(2026, 2, 22), True)],
)
def test_the_eyewash_is_overdue_the_day_after_its_interval(tested: date | None, is_overdue: bool) -> None:
    profile = PlantProfile(name="Plant", eyewash_tested_on=tested, eyewash_test_interval_days=7)
    assert selectors.is_eyewash_overdue(profile, date(2026, 3, 2)) is is_overdue


@pytest.mark.requirement("ER-20")
@pytest.mark.parametrize(
    ("calibrated", "due", "is_active", "is_valid"),
    [
        (date(2026, 1, 1), date(2026, 3, 2), True, True),
        (date(2026, 1, 1), date(2026, 3, 1), True, False),
        (date(2026, 3, 3), date(2026, 9, 1), True, False),
        (None, None, True, False),
        (date(2026, 1, 1), date(2026, 9, 1), False, False),
    ],
)
def test_an_instrument_proves_something_only_in_calibration(
    calibrated: date | None, due: date | None, is_active: bool, is_valid: bool
) -> None:
    cell = Instrument(code="X", calibrated_on=calibrated, calibration_due_on=due, is_active=is_active)
    assert selectors.is_instrument_valid(cell, date(2026, 3, 2)) is is_valid


@pytest.mark.requirement("CS-08")
def test_a_vessel_out_of_use_counts_as_locked_for_the_core(plant: SmallPlant) -> None:
    vessel = plant.vessels["C1"]
    data = selectors.vessel_data(vessel)
    assert (
        data.families == (ResinFamily.SAC_HYDROGEN,)
        and data.last_chemical is None
        and data.lock_out_reason == ""
    )
    vessel.is_active = False
    assert selectors.vessel_data(vessel).lock_out_reason == "taken out of use"


def test_a_skid_that_works_comes_before_one_that_is_locked_out(plant: SmallPlant) -> None:
    first = selectors.skid_for("hcl")
    assert first is not None
    services.save_skid(
        by=plant.by("supervisor"), skid=services.SkidSettings("ZZ", "Second acid skid", "hcl", 1e-5, 1e-3)
    )
    services.lock_out_skid(by=plant.by(), skid_id=first.pk, reason="Pump leaks")
    second = selectors.skid_for("hcl")
    assert second is not None and second.code == "ZZ"
    assert selectors.skids_by_chemical()["hcl"].code == "ZZ"
    assert selectors.skids_by_chemical()["naoh"].chemical is Chemical.SODIUM_HYDROXIDE
    assert selectors.skid_for("h2so4") is None


def test_hardness_reaches_the_core_in_equivalents(plant: SmallPlant) -> None:
    """0.18 kg/m³ as CaCO₃ over 50.04 g/eq (CaCO₃ 100.09 g/mol, two equivalents each): hand calculation, 3.597 eq/m³."""
    water = selectors.waters_by_kind()["raw"]
    assert water.kind is WaterKind.RAW
    assert water.hardness_eq_per_m3 == pytest.approx(180 / 50.04345, rel=1e-4)


def test_the_waste_tank_and_the_permit_come_together(plant: SmallPlant) -> None:
    waste = selectors.waste_data()
    assert (waste.capacity_m3, waste.level_m3, waste.reserve_m3, waste.ph_low, waste.ph_high) == (
        400.0,
        2.0,
        4.0,
        6.0,
        9.0,
    )


def test_without_a_waste_tank_nothing_is_planned(db: None) -> None:
    with pytest.raises(RecordRefused, match="No waste tank is set up"):
        selectors.waste_data()


def test_before_set_up_there_is_a_profile_with_defaults(db: None) -> None:
    found = selectors.profile()
    assert (found.name, found.strength_check_max_age_days) == ("Unnamed plant", 7)


def test_vessels_out_of_use_are_not_offered(plant: SmallPlant) -> None:
    old = plant.vessels["A2"]
    settings = VesselSettings(
        "A2", old.name, old.internal_diameter_m, old.straight_height_m, old.bed_volume_min_m3, old.bed_volume_max_m3,
        tuple(old.families), tuple(old.segregation_classes), is_active=False,
    )  # fmt: skip
    services.save_vessel(by=plant.by("supervisor"), vessel=settings, version=1)
    assert "A2" not in [vessel.code for vessel in selectors.vessels()]
