"""Mixed beds and carbon as resin types: two resins with a share, no capacity, forms of their own."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest
from django.db import IntegrityError, transaction

from regenplant.audit.by import By
from regenplant.core.errors import DomainError, RecordRefused
from regenplant.core.process.vocabulary import EXHAUSTED_FORM, REGENERATED_FORM, ResinFamily
from regenplant.people.models import Person
from regenplant.resins import services
from regenplant.resins.models import ResinLot, ResinType
from regenplant.resins.selectors import anion_types, cation_types, forms_of, mixed_data, resin_data
from regenplant.resins.services import ResinTypeSettings
from tests.resins.test_services import SAC

Acts = Callable[..., By]
SBA = ResinTypeSettings(
    "SBA-5", "Gel type 1 anion", "sba_1", 1300, 600, 0.0006, 1080, 333.15, swelling_frac=0.2
)
CARBON = ResinTypeSettings("GAC-1", "Coconut shell carbon", "gac", 0.0, 0.0, 0.0014, 1480, 393.15)


@pytest.fixture
def resins(supervisor: Person, by: Acts) -> dict[str, ResinType]:
    return {
        given.family: services.add_resin_type(by=by(supervisor), resin_type=given).result
        for given in (SAC, SBA)
    }


@pytest.fixture
def mixed_bed(resins: dict[str, ResinType]) -> ResinTypeSettings:
    return ResinTypeSettings(
        "MB-1", "Mixed bed 1 to 1.5", "mb", 1500, 500, 0.0006, 1170, 333.15, swelling_frac=0.1,
        cation_type_id=resins["sac_h"].pk, anion_type_id=resins["sba_1"].pk, cation_share_frac=0.4,
    )  # fmt: skip


def test_a_mixed_bed_is_stored_with_its_two_resins_and_handed_to_the_plan(
    mixed_bed: ResinTypeSettings, supervisor: Person, by: Acts
) -> None:
    stored = services.add_resin_type(by=by(supervisor), resin_type=mixed_bed).result
    data = mixed_data(stored, "L-7", 0.9, 3)
    assert data is not None and data.cation_frac == 0.4
    assert (data.cation.type_code, data.anion.type_code) == ("SAC-8", "SBA-5")
    assert {one.family for one in (data.cation, data.anion)} == {
        ResinFamily.SAC_HYDROGEN,
        ResinFamily.SBA_TYPE_1,
    }
    assert [(one.lot_code, one.capacity_factor, one.cycles) for one in (data.cation, data.anion)] == [
        ("L-7", 0.9, 3)
    ] * 2


def test_a_single_resin_has_no_two_resins(resins: dict[str, ResinType]) -> None:
    assert mixed_data(resins["sac_h"], "L-1", 1.0) is None


def test_the_resin_of_a_plan_carries_grade_cycles_and_spreads(supervisor: Person, by: Acts) -> None:
    given = replace(SAC, grade="polishing", bead_diameter_spread_frac=0.04, bead_density_spread_kg_per_m3=2.0)
    data = resin_data(services.add_resin_type(by=by(supervisor), resin_type=given).result, "L-1", 1.0, 12)
    assert (data.grade, data.cycles) == ("polishing", 12)
    assert (data.bead_diameter_spread_frac, data.bead_density_spread_kg_per_m3) == (0.04, 2.0)


@pytest.mark.parametrize(
    ("change", "field", "code"),
    [
        ({"cation_type_id": None}, "cation_type_id", "mixed_resins_missing"),
        ({"anion_type_id": None}, "anion_type_id", "mixed_resins_missing"),
        ({"anion_type_id": 999_999}, "anion_type_id", "mixed_resins_missing"),
        ({"cation_share_frac": None}, "cation_share_frac", "share_missing"),
        ({"cation_share_frac": 40.0}, "cation_share_frac", "out_of_range"),
        ({"cation_share_frac": 0.05}, "cation_share_frac", "out_of_range"),
        ({"bead_diameter_spread_frac": 15.0}, "bead_diameter_spread_frac", "out_of_range"),
        ({"bead_density_spread_kg_per_m3": -1.0}, "bead_density_spread_kg_per_m3", "out_of_range"),
    ],
)
def test_half_a_mixed_bed_is_refused_beside_its_field(
    mixed_bed: ResinTypeSettings, supervisor: Person, by: Acts, change: dict[str, Any], field: str, code: str
) -> None:
    with pytest.raises(DomainError) as refusal:
        services.add_resin_type(by=by(supervisor), resin_type=replace(mixed_bed, **change))
    assert (refusal.value.field, refusal.value.code) == (field, code)
    assert not ResinType.objects.filter(family="mb").exists()


def test_the_two_resins_stand_in_their_own_places(
    mixed_bed: ResinTypeSettings, supervisor: Person, by: Acts
) -> None:
    swapped = replace(
        mixed_bed, cation_type_id=mixed_bed.anion_type_id, anion_type_id=mixed_bed.cation_type_id
    )
    with pytest.raises(RecordRefused, match=r"SBA-5 is Strong-base anion type 1.*the cation resin"):
        services.add_resin_type(by=by(supervisor), resin_type=swapped)


def test_a_single_resin_names_no_parts(resins: dict[str, ResinType], supervisor: Person, by: Acts) -> None:
    for change in ({"cation_type_id": resins["sac_h"].pk}, {"cation_share_frac": 0.4}):
        with pytest.raises(RecordRefused, match="Only a mixed bed is made of two resins"):
            services.add_resin_type(by=by(supervisor), resin_type=replace(SAC, code="SAC-9", **change))


def test_the_two_resins_of_a_mixed_bed_stay_and_its_share_may_change(
    mixed_bed: ResinTypeSettings, resins: dict[str, ResinType], supervisor: Person, by: Acts
) -> None:
    stored = services.add_resin_type(by=by(supervisor), resin_type=mixed_bed).result
    other = services.add_resin_type(by=by(supervisor), resin_type=replace(SAC, code="SAC-9")).result
    with pytest.raises(RecordRefused) as refusal:
        services.change_resin_type(
            by=by(supervisor), resin_type_id=stored.pk, resin_type=replace(mixed_bed, cation_type_id=other.pk)
        )
    assert refusal.value.code == "mixed_resins_stay"
    services.change_resin_type(
        by=by(supervisor), resin_type_id=stored.pk, resin_type=replace(mixed_bed, cation_share_frac=0.5)
    )
    stored.refresh_from_db()
    assert (stored.cation_share_frac, stored.version) == (0.5, 2)


def test_the_database_says_the_same(resins: dict[str, ResinType]) -> None:
    row = {
        "description": "x", "total_capacity_eq_per_m3": 1.0, "operating_capacity_eq_per_m3": 1.0, "bead_diameter_m": 1.0,
        "bead_density_kg_per_m3": 1.0, "max_temperature_kelvin": 1.0,
    }  # fmt: skip
    whole = {"cation_type": resins["sac_h"], "anion_type": resins["sba_1"], "cation_share_frac": 0.4}
    ResinType.objects.create(code="A", family="mb", **row, **whole)
    for number, bad in enumerate(
        (
            {"family": "mb"},
            {"family": "mb_p", **whole, "cation_share_frac": None},
            {"family": "mb", **whole, "cation_share_frac": 0.95},
            {"family": "sac_h", **whole},
        )
    ):
        with pytest.raises(IntegrityError), transaction.atomic():
            ResinType.objects.create(code=f"B{number}", **row, **bad)


def test_carbon_has_no_capacity_and_says_so(supervisor: Person, by: Acts) -> None:
    services.add_resin_type(by=by(supervisor), resin_type=CARBON)
    with pytest.raises(RecordRefused, match="Carbon exchanges no ions"):
        services.add_resin_type(
            by=by(supervisor), resin_type=replace(CARBON, code="GAC-2", total_capacity_eq_per_m3=500.0)
        )


def test_the_parts_of_a_mixed_bed_are_chosen_from_fitting_types(resins: dict[str, ResinType]) -> None:
    assert [one.code for one in cation_types()] == ["SAC-8"]
    assert [one.code for one in anion_types()] == ["SBA-5"]


@pytest.mark.parametrize("family", list(ResinFamily))
def test_every_family_is_counted_in_its_two_forms(family: ResinFamily) -> None:
    forms = forms_of(family)
    assert forms[0] == EXHAUSTED_FORM[family] and REGENERATED_FORM[family] in forms
    assert len(set(forms)) == len(forms)


@pytest.mark.parametrize(("form", "is_taken"), [("NaCl", True), ("HOH", True), ("Na", False), ("OH", False)])
def test_a_mixed_lot_is_counted_in_a_mixed_form(
    mixed_bed: ResinTypeSettings, supervisor: Person, by: Acts, form: str, is_taken: bool
) -> None:
    stored = services.add_resin_type(by=by(supervisor), resin_type=mixed_bed).result
    given = {
        "code": "R-1", "resin_type_id": stored.pk, "segregation_class": "D", "volume_m3": 1.0, "origin": "delivered new",
    }  # fmt: skip
    if is_taken:
        services.receive_new_lot(by=by(supervisor), volume_form=form, **given)
    else:
        with pytest.raises(RecordRefused, match="is not counted in the form"):
            services.receive_new_lot(by=by(supervisor), volume_form=form, **given)
    assert ResinLot.objects.filter(volume_form=form).exists() is is_taken
