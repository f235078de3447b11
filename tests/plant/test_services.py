"""Set-up of the plant: what is written, by whom, and every refusal with its sentence."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import pytest
from django.db import IntegrityError, transaction

from regenplant.audit.by import By
from regenplant.audit.selectors import story
from regenplant.core.errors import DomainError, NotAllowed, OutOfRange, RecordRefused, StaleRecord
from regenplant.people.models import Person
from regenplant.plant import services
from regenplant.plant.models import Instrument, PlantProfile, Skid, Vessel, WaterSupply
from regenplant.plant.services import (
    InstrumentSettings,
    ProfileSettings,
    SkidSettings,
    VesselSettings,
    WasteTankSettings,
    WaterSettings,
)
from tests.conftest import Clock
from tests.factories import BY_CERTIFICATE

Acts = Callable[..., By]

VESSEL = VesselSettings(
    code="C1",
    name="Cation vessel",
    internal_diameter_m=1.2,
    straight_height_m=2.4,
    bed_volume_min_m3=0.5,
    bed_volume_max_m3=1.5,
    families=("sac_h",),
    segregation_classes=("C", "D"),
    lining="rubber",
    max_flow_m3_per_s=0.006,
)
INSTRUMENT = InstrumentSettings("CE-3", "Cell", "conductivity", 0.01, "neutral", 0.01)


@pytest.fixture
def vessel(supervisor: Person, by: Acts) -> Vessel:
    return services.save_vessel(by=by(supervisor), vessel=VESSEL).result


# --- profile and eyewash ----------------------------------------------------------------------------------------------
def test_the_profile_is_made_once_and_then_changed(supervisor: Person, by: Acts) -> None:
    services.save_profile(by=by(supervisor), profile=ProfileSettings(name="Marl Street"))
    services.save_profile(
        by=by(supervisor), profile=ProfileSettings(name="Marl Street", hall_name="North"), version=1
    )
    stored = PlantProfile.objects.get()
    assert (stored.pk, stored.hall_name, stored.version) == (1, "North", 2)


@pytest.mark.parametrize(
    ("settings", "field"),
    [
        (ProfileSettings(name=""), "name"),
        (ProfileSettings(name="x" * 81), "name"),
        (ProfileSettings(name="Plant", time_zone="Mars/Olympus"), "time_zone"),
        (ProfileSettings(name="Plant", unit_system="imperial"), "unit_system"),
        (ProfileSettings(name="Plant", permit_ph_low=9.0, permit_ph_high=9.0), "permit_ph_low"),
        (ProfileSettings(name="Plant", permit_ph_high=15.0), "permit_ph_high"),
        (ProfileSettings(name="Plant", strength_check_max_age_days=0), "strength_check_max_age_days"),
        (ProfileSettings(name="Plant", eyewash_test_interval_days=90), "eyewash_test_interval_days"),
        (ProfileSettings(name="Plant", call_text="x" * 2001), "call_text"),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_a_profile_that_cannot_be_is_refused_beside_its_field(
    supervisor: Person, by: Acts, settings: ProfileSettings, field: str
) -> None:
    with pytest.raises(DomainError) as refused:
        services.save_profile(by=by(supervisor), profile=settings)
    assert refused.value.field == field and refused.value.message.endswith(".")
    assert not PlantProfile.objects.exists()


@pytest.fixture
def plant(supervisor: Person, by: Acts) -> PlantProfile:
    return services.save_profile(by=by(supervisor), profile=ProfileSettings(name="Plant")).result


@pytest.mark.requirement("CS-04")
def test_an_eyewash_test_in_time_is_written(
    plant: PlantProfile, operator: Person, by: Acts, clock: Clock
) -> None:
    services.record_eyewash_test(by=by(operator), tested_on=clock.now.date(), version=1)
    plant.refresh_from_db()
    assert plant.eyewash_tested_on == clock.now.date()


def test_an_eyewash_that_fails_counts_as_not_tested(
    plant: PlantProfile, operator: Person, by: Acts, clock: Clock
) -> None:
    services.record_eyewash_test(by=by(operator), tested_on=clock.now.date())
    services.record_eyewash_test(
        by=by(operator), tested_on=clock.now.date(), is_working=False, note="Left one dry"
    )
    plant.refresh_from_db()
    assert plant.eyewash_tested_on is None
    assert "does not work" in story([("plant", "1")], newest_first=True, limit=1)[0].sentence


def test_a_second_good_test_of_a_day_is_written_in_the_log(
    plant: PlantProfile, operator: Person, by: Acts, clock: Clock
) -> None:
    for _ in range(2):
        services.record_eyewash_test(by=by(operator), tested_on=clock.now.date())
    assert sum("eyewash" in line.sentence for line in story([("plant", "1")])) == 2


@pytest.mark.parametrize(
    ("days", "is_working", "note", "words"),
    [
        (1, True, "", "still to come"),
        (-3, True, "", "newer test"),
        (0, False, "dry", "at least 5 characters"),
    ],
)
def test_an_eyewash_test_is_refused(
    plant: PlantProfile,
    operator: Person,
    by: Acts,
    clock: Clock,
    days: int,
    is_working: bool,
    note: str,
    words: str,
) -> None:
    services.record_eyewash_test(by=by(operator), tested_on=clock.now.date() - timedelta(days=1))
    with pytest.raises(RecordRefused, match=words):
        services.record_eyewash_test(
            by=by(operator),
            tested_on=clock.now.date() + timedelta(days=days),
            is_working=is_working,
            note=note,
        )


def test_an_eyewash_test_from_a_stale_page_is_refused(
    plant: PlantProfile, operator: Person, by: Acts, clock: Clock
) -> None:
    services.record_eyewash_test(by=by(operator), tested_on=clock.now.date() - timedelta(days=1), version=1)
    with pytest.raises(StaleRecord, match="at version 2, you had version 1"):
        services.record_eyewash_test(by=by(operator), tested_on=clock.now.date(), version=1)


def test_the_day_of_a_test_is_the_day_at_the_plant(
    supervisor: Person, operator: Person, by: Acts, clock: Clock
) -> None:
    services.save_profile(
        by=by(supervisor), profile=ProfileSettings(name="West", time_zone="America/Los_Angeles")
    )
    at_night = clock.now.replace(hour=3)  # the evening before in Los Angeles
    with pytest.raises(RecordRefused, match="still to come"):
        services.record_eyewash_test(by=by(operator, at=at_night), tested_on=at_night.date())


# --- vessels ----------------------------------------------------------------------------------------------------------
def test_a_vessel_is_added_with_its_code_in_capitals(supervisor: Person, by: Acts) -> None:
    made = services.save_vessel(by=by(supervisor), vessel=replace(VESSEL, code=" c1 ")).result
    assert made.code == "C1" and made.families == ["sac_h"] and made.version == 1


def test_a_change_says_what_was_before_and_after(vessel: Vessel, supervisor: Person, by: Acts) -> None:
    outcome = services.save_vessel(
        by=by(supervisor), vessel=replace(VESSEL, bed_volume_max_m3=1.6), version=1
    )
    assert (outcome.before, outcome.after) == ({"bed_volume_max_m3": 1.5}, {"bed_volume_max_m3": 1.6})
    sentence = story([("vessel", str(vessel.pk))], newest_first=True, limit=1)[0].sentence
    assert sentence == "Vessel C1 was changed: bed volume max m3 from 1.5 to 1.6"


@pytest.mark.parametrize(
    ("change", "field", "words"),
    [
        ({"code": ""}, "code", "is empty"),
        ({"code": "C 1"}, "code", "no label carries"),
        ({"code": "C" * 13}, "code", "at most 12"),
        ({"name": "x"}, "name", "at least 2"),
        ({"name": "x\x00y"}, "name", "no paper can show"),
        ({"internal_diameter_m": 12.0}, "internal_diameter_m", "possible is"),
        ({"internal_diameter_m": float("nan")}, "internal_diameter_m", "not a number"),
        ({"straight_height_m": -1.0}, "straight_height_m", "possible is"),
        ({"bed_volume_max_m3": 2.8}, "bed_volume_max_m3", "freeboard included"),
        ({"bed_volume_min_m3": 0.0}, "bed_volume_min_m3", "above zero"),
        ({"bed_volume_min_m3": 1.6}, "bed_volume_min_m3", "at most at the"),
        ({"max_flow_m3_per_s": 0.0}, "max_flow_m3_per_s", "possible is"),
        ({"families": ()}, "families", "none is chosen"),
        ({"families": ("mixed",)}, "families", "not known"),
        ({"segregation_classes": ("E",)}, "segregation_classes", "not known"),
    ],
)
def test_a_vessel_that_cannot_be_is_refused_beside_its_field(
    supervisor: Person, by: Acts, change: dict[str, Any], field: str, words: str
) -> None:
    with pytest.raises(DomainError, match=words) as refused:
        services.save_vessel(by=by(supervisor), vessel=replace(VESSEL, **change))
    assert refused.value.field == field
    assert not Vessel.objects.exists()


def test_a_code_is_not_given_twice(vessel: Vessel, supervisor: Person, by: Acts) -> None:
    with pytest.raises(RecordRefused, match="Vessel C1 exists already"):
        services.save_vessel(by=by(supervisor), vessel=VESSEL)


@pytest.mark.requirement("ER-22")
def test_two_people_change_a_vessel_and_the_second_is_told(
    vessel: Vessel, supervisor: Person, by: Acts
) -> None:
    services.save_vessel(by=by(supervisor), vessel=replace(VESSEL, name="First"), version=1)
    with pytest.raises(StaleRecord, match="What you typed still stands here"):
        services.save_vessel(by=by(supervisor), vessel=replace(VESSEL, name="Second"), version=1)
    vessel.refresh_from_db()
    assert vessel.name == "First"


def test_nothing_different_writes_nothing(vessel: Vessel, supervisor: Person, by: Acts) -> None:
    before = len(story([("vessel", str(vessel.pk))]))
    with pytest.raises(RecordRefused, match="nothing differs"):
        services.save_vessel(by=by(supervisor), vessel=VESSEL, version=1)
    assert len(story([("vessel", str(vessel.pk))])) == before


@pytest.mark.parametrize("who", ["operator", "qc_technician", "planner", "outsider"])
def test_who_may_not_edit_the_plant_is_refused(request: pytest.FixtureRequest, by: Acts, who: str) -> None:
    with pytest.raises(NotAllowed, match="may not do this"):
        services.save_vessel(by=by(request.getfixturevalue(who)), vessel=VESSEL)


# --- lock-out ---------------------------------------------------------------------------------------------------------
@pytest.mark.requirement("CS-08")
def test_a_lock_out_keeps_who_why_and_when(vessel: Vessel, operator: Person, by: Acts, clock: Clock) -> None:
    services.lock_out_vessel(
        by=by(operator), vessel_id=vessel.pk, number="L-17", reason="Strainer change", version=1
    )
    vessel.refresh_from_db()
    assert (
        vessel.is_locked_out and vessel.lock_out_by == operator.full_name and vessel.lock_out_at == clock.now
    )


def test_the_own_lock_is_lifted_after_looking(vessel: Vessel, operator: Person, by: Acts) -> None:
    services.lock_out_vessel(by=by(operator), vessel_id=vessel.pk, number="L-17", reason="Strainer change")
    with pytest.raises(RecordRefused, match="at least 10 characters"):
        services.lift_lock_out(by=by(operator), vessel_id=vessel.pk, checked="fine")
    services.lift_lock_out(by=by(operator), vessel_id=vessel.pk, checked="Nobody inside, tools out")
    vessel.refresh_from_db()
    assert not vessel.is_locked_out and vessel.lock_out_number == ""


@pytest.mark.requirement("CS-08")
def test_another_operator_does_not_lift_the_lock(
    vessel: Vessel, operator: Person, second_operator: Person, supervisor: Person, by: Acts
) -> None:
    services.lock_out_vessel(by=by(operator), vessel_id=vessel.pk, number="L-17", reason="Strainer change")
    with pytest.raises(NotAllowed):
        services.lift_lock_out(
            by=by(second_operator), vessel_id=vessel.pk, checked="Nobody inside, tools out"
        )
    services.lift_lock_out(by=by(supervisor), vessel_id=vessel.pk, checked="Asked M., nobody inside")
    line = story([("vessel", str(vessel.pk))], newest_first=True, limit=1)[0]
    assert operator.full_name in line.sentence and line.who == supervisor.full_name


def test_a_second_lock_out_and_a_second_lift_are_refused(
    vessel: Vessel, supervisor: Person, by: Acts
) -> None:
    with pytest.raises(RecordRefused, match="not locked out"):
        services.lift_lock_out(by=by(supervisor), vessel_id=vessel.pk, checked="Nobody inside, tools out")
    services.lock_out_vessel(by=by(supervisor), vessel_id=vessel.pk, number="L-1", reason="Pump change")
    with pytest.raises(RecordRefused, match="locked out already, with lock L-1"):
        services.lock_out_vessel(by=by(supervisor), vessel_id=vessel.pk, number="L-2", reason="Pump change")


def test_noting_the_state_leaves_an_open_form_alone(
    vessel: Vessel, operator: Person, supervisor: Person, by: Acts
) -> None:
    services.note_vessel_state(
        by=by(operator), vessel_id=vessel.pk, last_chemical="hcl", is_flushed=False, segregation_class="D"
    )
    services.save_vessel(by=by(supervisor), vessel=replace(VESSEL, name="Other"), version=1)
    vessel.refresh_from_db()
    assert (vessel.last_chemical, vessel.is_flushed, vessel.last_segregation_class, vessel.name) == (
        "hcl",
        False,
        "D",
        "Other",
    )


def test_a_clean_down_needs_words_and_clears_the_past(vessel: Vessel, operator: Person, by: Acts) -> None:
    services.note_vessel_state(
        by=by(operator), vessel_id=vessel.pk, last_chemical="naoh", is_flushed=False, segregation_class="D"
    )
    with pytest.raises(RecordRefused):
        services.record_clean_down(by=by(operator), vessel_id=vessel.pk, note="done")
    services.record_clean_down(
        by=by(operator), vessel_id=vessel.pk, note="Flushed with DI to 2 µS/cm, looked in"
    )
    vessel.refresh_from_db()
    assert (vessel.last_chemical, vessel.is_flushed, vessel.last_segregation_class) == ("", True, "")


def test_the_database_refuses_an_upside_down_bed(vessel: Vessel) -> None:
    with pytest.raises(IntegrityError), transaction.atomic():
        Vessel.objects.filter(pk=vessel.pk).update(bed_volume_min_m3=2.0)


# --- skids, waters, waste -----------------------------------------------------------------------------------------------
SKID = SkidSettings("K1", "Acid skid", "hcl", 0.0002, 0.003)


def test_a_skid_is_added_changed_locked_and_lifted(supervisor: Person, operator: Person, by: Acts) -> None:
    skid = services.save_skid(by=by(supervisor), skid=SKID).result
    services.save_skid(by=by(supervisor), skid=replace(SKID, flow_max_m3_per_s=0.004), version=1)
    services.lock_out_skid(by=by(operator), skid_id=skid.pk, reason="Pump leaks", version=2)
    with pytest.raises(RecordRefused, match="locked out already"):
        services.lock_out_skid(by=by(operator), skid_id=skid.pk, reason="Pump leaks")
    services.lift_skid_lock_out(by=by(operator), skid_id=skid.pk, checked="New seal, run dry and wet")
    stored = Skid.objects.get()
    assert (stored.flow_max_m3_per_s, stored.lock_out_reason, stored.version) == (0.004, "", 4)


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"chemical": "bleach"}, "chemical"),
        ({"flow_min_m3_per_s": 0.004}, "flow_min_m3_per_s"),
        ({"flow_max_m3_per_s": 5.0}, "flow_max_m3_per_s"),
        ({"heater_max_temperature_kelvin": 400.0}, "heater_max_temperature_kelvin"),
    ],
)
def test_a_skid_that_cannot_be_is_refused(
    supervisor: Person, by: Acts, change: dict[str, Any], field: str
) -> None:
    with pytest.raises(DomainError) as refused:
        services.save_skid(by=by(supervisor), skid=replace(SKID, **change))
    assert refused.value.field == field


def test_the_same_water_measured_again_is_a_new_measurement(operator: Person, by: Acts, clock: Clock) -> None:
    water = WaterSettings("deionized", 291.15, 0.006)
    services.save_water_supply(by=by(operator), water=water)
    later = clock.forward(hours=8)
    services.save_water_supply(by=by(operator), water=water, version=1)
    assert WaterSupply.objects.get().measured_at == later


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"kind": "sea"}, "kind"),
        ({"temperature_kelvin": 272.0}, "temperature_kelvin"),
        ({"hardness_kg_per_m3": 9.0}, "hardness_kg_per_m3"),
        ({"max_flow_m3_per_s": 0.0}, "max_flow_m3_per_s"),
        ({"available_m3": -1.0}, "available_m3"),
    ],
)
def test_a_water_that_cannot_be_is_refused(
    operator: Person, by: Acts, change: dict[str, Any], field: str
) -> None:
    with pytest.raises(DomainError) as refused:
        services.save_water_supply(
            by=by(operator), water=replace(WaterSettings("raw", 288.15, 0.006), **change)
        )
    assert refused.value.field == field and not WaterSupply.objects.exists()


def test_the_reserve_is_part_of_the_tank(supervisor: Person, by: Acts) -> None:
    with pytest.raises(OutOfRange, match="part of the capacity"):
        services.save_waste_tank(
            by=by(supervisor), tank=WasteTankSettings("N1", "Neutralization", 10.0, 11.0)
        )


# --- instruments ------------------------------------------------------------------------------------------------------
@pytest.fixture
def cell(supervisor: Person, by: Acts) -> Instrument:
    return services.save_instrument(by=by(supervisor), instrument=INSTRUMENT).result


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"kind": "nose"}, "kind"),
        ({"compensation": ""}, "compensation"),
        ({"compensation": "magic"}, "compensation"),
        ({"kind": "ph"}, "kind"),
        ({"uncertainty_frac": 0.0}, "uncertainty_frac"),
        ({"cell_constant_per_cm": 1e6}, "cell_constant_per_cm"),
    ],
)
def test_an_instrument_that_cannot_be_is_refused(
    supervisor: Person, by: Acts, change: dict[str, Any], field: str
) -> None:
    with pytest.raises(DomainError) as refused:
        services.save_instrument(by=by(supervisor), instrument=replace(INSTRUMENT, **change))
    assert refused.value.field == field


def test_a_calibration_is_written_by_qc_and_not_by_the_operator(
    cell: Instrument, qc_technician: Person, operator: Person, by: Acts
) -> None:
    days = {"calibrated_on": date(2026, 2, 1), "due_on": date(2027, 2, 1)}
    with pytest.raises(NotAllowed):
        services.record_calibration(by=by(operator), instrument_id=cell.pk, **days)
    services.record_calibration(
        by=by(qc_technician), instrument_id=cell.pk, **days, version=1, evidence=BY_CERTIFICATE
    )
    cell.refresh_from_db()
    assert (cell.calibrated_on, cell.calibration_due_on) == (days["calibrated_on"], days["due_on"])


@pytest.mark.parametrize(
    ("made", "due", "words"),
    [
        (date(2026, 3, 3), date(2027, 3, 3), "still to come"),
        (date(2025, 1, 1), date(2026, 6, 1), "newer calibration"),
        (date(2026, 2, 20), date(2026, 2, 20), "not after"),
        (date(2026, 2, 20), date(2036, 2, 20), "three years"),
    ],
)
def test_a_calibration_that_cannot_be_is_refused(
    cell: Instrument, qc_technician: Person, by: Acts, made: date, due: date, words: str
) -> None:
    services.record_calibration(
        by=by(qc_technician), instrument_id=cell.pk, calibrated_on=date(2026, 2, 1), due_on=date(2026, 8, 1),
        evidence=BY_CERTIFICATE,
    )  # fmt: skip
    with pytest.raises(RecordRefused, match=words):
        services.record_calibration(
            by=by(qc_technician),
            instrument_id=cell.pk,
            calibrated_on=made,
            due_on=due,
            evidence=BY_CERTIFICATE,
        )


@pytest.mark.parametrize(
    "act",
    [
        lambda by: services.lock_out_vessel(by=by, vessel_id=0, number="1", reason="reason enough"),
        lambda by: services.record_clean_down(by=by, vessel_id=0, note="long enough a note"),
        lambda by: services.lock_out_skid(by=by, skid_id=0, reason="reason enough"),
        lambda by: services.lift_skid_lock_out(by=by, skid_id=0, checked="looked everywhere"),
        lambda by: services.record_calibration(
            by=by, instrument_id=0, calibrated_on=date(2026, 1, 1), due_on=date(2026, 6, 1)
        ),
    ],
)
def test_what_is_not_known_is_said(supervisor: Person, by: Acts, act: Callable[[By], object]) -> None:
    with pytest.raises(RecordRefused, match="not known here"):
        act(by(supervisor))
