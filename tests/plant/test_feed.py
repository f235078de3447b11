"""The feed analysis of the plant, and what mixed beds need of a vessel."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest
from django.db import IntegrityError, transaction

from regenplant.audit.by import By
from regenplant.audit.selectors import story
from regenplant.core.errors import DomainError, NotAllowed, OutOfRange, RecordRefused, StaleRecord
from regenplant.core.process.vocabulary import Chemical
from regenplant.people.models import Person
from regenplant.plant import selectors, services
from regenplant.plant.models import PlantProfile
from regenplant.plant.services import FeedSettings, ProfileSettings, VesselSettings

Acts = Callable[..., By]
FEED = FeedSettings(
    calcium_eq_per_m3=3.0, magnesium_eq_per_m3=1.0, sodium_eq_per_m3=2.0, chloride_eq_per_m3=1.5, sulfate_eq_per_m3=1.5,
    nitrate_eq_per_m3=0.2, alkalinity_eq_per_m3=2.8, carbon_dioxide_mol_per_m3=0.3, silica_mol_per_m3=0.15,
    basis="Test laboratory, 2026-02-20",
)  # fmt: skip
VESSEL = VesselSettings("M1", "Mixed bed vessel", 0.7, 3.2, 0.2, 0.45, ("mb",), ("D",))


@pytest.fixture
def plant(supervisor: Person, by: Acts) -> PlantProfile:
    return services.save_profile(by=by(supervisor), profile=ProfileSettings(name="Marl Street")).result


def test_an_analysis_is_handed_to_the_plan_as_written(
    plant: PlantProfile, supervisor: Person, by: Acts
) -> None:
    assert selectors.feed_data() is None
    services.save_feed_analysis(by=by(supervisor), feed=FEED)
    feed = selectors.feed_data()
    assert feed is not None and feed.basis == FEED.basis
    # by hand: 3 of 6 eq/m³ of cations are calcium; 1.5 + 1.5 + 0.2 strong anions
    assert (feed.cations_eq_per_m3, feed.calcium_frac) == (6.0, 0.5)
    assert feed.strong_anions_eq_per_m3 == pytest.approx(3.2)
    assert (feed.carbon_dioxide_mol_per_m3, feed.silica_mol_per_m3) == (0.3, 0.15)


def test_saving_the_profile_leaves_the_analysis_alone(
    plant: PlantProfile, supervisor: Person, by: Acts
) -> None:
    services.save_feed_analysis(by=by(supervisor), feed=FEED)
    services.save_profile(by=by(supervisor), profile=ProfileSettings(name="Marl Street", hall_name="North"))
    feed = selectors.feed_data()
    assert feed is not None and feed.calcium_eq_per_m3 == 3.0


def test_an_analysis_that_holds_no_longer_is_taken_off_whole(
    plant: PlantProfile, supervisor: Person, by: Acts
) -> None:
    services.save_feed_analysis(by=by(supervisor), feed=FEED)
    services.remove_feed_analysis(by=by(supervisor), reason="the well was closed")
    assert selectors.feed_data() is None
    sentences = [line.sentence for line in story([("plant", "1")])]
    assert sentences[-2:] == [
        "The feed analysis of Marl Street was written: Test laboratory, 2026-02-20",
        "The feed analysis of Marl Street was taken off the record: the well was closed",
    ]


@pytest.mark.parametrize(
    ("change", "field", "code"),
    [
        ({"basis": " "}, "basis", "too_short"),
        ({"silica_mol_per_m3": -0.1}, "silica_mol_per_m3", "out_of_range"),
        ({"calcium_eq_per_m3": float("nan")}, "calcium_eq_per_m3", "out_of_range"),
        ({"calcium_eq_per_m3": 60.0}, "sodium_eq_per_m3", "charges_unbalanced"),
        (
            {"calcium_eq_per_m3": 0.0, "magnesium_eq_per_m3": 0.0, "sodium_eq_per_m3": 0.0},
            "sodium_eq_per_m3",
            "charges_unbalanced",
        ),
    ],
)
def test_an_analysis_that_cannot_be_is_refused_beside_its_field(
    plant: PlantProfile, supervisor: Person, by: Acts, change: dict, field: str, code: str
) -> None:
    with pytest.raises(DomainError) as refusal:
        services.save_feed_analysis(by=by(supervisor), feed=replace(FEED, **change))
    assert (refusal.value.field, refusal.value.code) == (field, code)
    assert selectors.feed_data() is None


def test_charges_may_miss_each_other_by_a_tenth_and_no_more(
    plant: PlantProfile, supervisor: Person, by: Acts
) -> None:
    # cations 6 eq/m³; anions 5.43 are 10 % of the mean of both away, 5.42 a little more
    for alkalinity, is_taken in ((5.43 - 3.2, True), (5.42 - 3.2, False)):
        feed = replace(FEED, alkalinity_eq_per_m3=alkalinity)
        if is_taken:
            services.save_feed_analysis(by=by(supervisor), feed=feed)
        else:
            with pytest.raises(OutOfRange, match="do not balance"):
                services.save_feed_analysis(by=by(supervisor), feed=feed)


def test_a_stale_page_an_operator_and_a_plant_without_profile_are_refused(
    supervisor: Person, operator: Person, by: Acts
) -> None:
    with pytest.raises(RecordRefused, match="no profile yet"):
        services.save_feed_analysis(by=by(supervisor), feed=FEED)
    services.save_profile(by=by(supervisor), profile=ProfileSettings(name="Marl Street"))
    services.save_feed_analysis(by=by(supervisor), feed=FEED, version=1)
    with pytest.raises(StaleRecord):
        services.save_feed_analysis(by=by(supervisor), feed=replace(FEED, silica_mol_per_m3=0.2), version=1)
    with pytest.raises(NotAllowed):
        services.save_feed_analysis(by=by(operator), feed=FEED)


def test_the_database_keeps_an_analysis_whole_or_none(plant: PlantProfile) -> None:
    for change in (
        {"feed_basis": "half of one"},
        {"feed_calcium_eq_per_m3": 1.0},
    ):
        with pytest.raises(IntegrityError), transaction.atomic():
            PlantProfile.objects.update(**change)


# --- vessels ----------------------------------------------------------------------------------------------------------
def test_a_vessel_keeps_its_side_outlet_and_its_air(supervisor: Person, by: Acts) -> None:
    given = replace(VESSEL, side_outlet_height_m=0.8, air_max_m3_per_s=0.02)
    data = selectors.vessel_data(services.save_vessel(by=by(supervisor), vessel=given).result)
    assert (data.side_outlet_height_m, data.air_max_m3_per_s) == (0.8, 0.02)
    plain = selectors.vessel_data(
        services.save_vessel(by=by(supervisor), vessel=replace(VESSEL, code="C1")).result
    )
    assert (plain.side_outlet_height_m, plain.air_max_m3_per_s) == (None, None)


def test_a_vessel_keeps_what_is_piped_to_it_in_the_order_of_the_list(supervisor: Person, by: Acts) -> None:
    given = replace(VESSEL, families=("mb",), chemicals=("naoh", "hcl", "naoh"), takes_anion_leg_only=True)
    vessel = services.save_vessel(by=by(supervisor), vessel=given).result
    data = selectors.vessel_data(vessel)
    assert vessel.chemicals == ["hcl", "naoh"]
    assert data.chemicals == (Chemical.HYDROCHLORIC_ACID, Chemical.SODIUM_HYDROXIDE)
    assert data.takes_anion_leg_only
    plain = selectors.vessel_data(
        services.save_vessel(by=by(supervisor), vessel=replace(VESSEL, code="C2")).result
    )
    assert (plain.chemicals, plain.takes_anion_leg_only) == ((), False)


@pytest.mark.parametrize(
    ("change", "field", "words"),
    [
        ({"chemicals": ("hcl", "vinegar")}, "chemicals", "vinegar"),
        (
            {"families": ("sac_h",), "takes_anion_leg_only": True},
            "takes_anion_leg_only",
            "is made for no mixed bed",
        ),
    ],
)
def test_a_chemical_nobody_knows_and_a_leg_of_no_mixed_bed_are_refused(
    supervisor: Person, by: Acts, change: dict, field: str, words: str
) -> None:
    with pytest.raises(RecordRefused, match=words) as refusal:
        services.save_vessel(by=by(supervisor), vessel=replace(VESSEL, **change))
    assert refusal.value.field == field


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"side_outlet_height_m": 3.2}, "side_outlet_height_m"),
        ({"side_outlet_height_m": 0.0}, "side_outlet_height_m"),
        ({"air_max_m3_per_s": 0.0}, "air_max_m3_per_s"),
        ({"air_max_m3_per_s": 20.0}, "air_max_m3_per_s"),
    ],
)
def test_an_outlet_outside_the_shell_and_air_that_cannot_be_are_refused(
    supervisor: Person, by: Acts, change: dict, field: str
) -> None:
    with pytest.raises(OutOfRange) as refusal:
        services.save_vessel(by=by(supervisor), vessel=replace(VESSEL, **change))
    assert refusal.value.field == field
