"""What is offered for a vessel: the recipe to take first, what cannot run last, and vessels only where they are right."""

from __future__ import annotations

from dataclasses import replace

import pytest

from regenplant.batches.selectors import anion_vessels_for, offered_recipes, start_page
from regenplant.batches.selectors.start import pool_fits
from regenplant.core.process.default_recipes import main_recipe
from regenplant.core.process.vocabulary import ResinFamily
from regenplant.plant import services as plant_services
from regenplant.plant.models import Skid, Vessel
from regenplant.plant.services import VesselSettings
from tests import factories, families
from tests.factories import SmallPlant

pytestmark = pytest.mark.django_db


@pytest.fixture
def plant(db: None) -> SmallPlant:
    return families.whole_plant()


def again(plant: SmallPlant, code: str, **change: object) -> Vessel:
    """The vessel with other settings."""
    names = VesselSettings.__dataclass_fields__
    stored = Vessel.objects.get(code=code)
    found = {name: getattr(stored, name) for name in names}
    settings = VesselSettings(
        **{name: tuple(value) if isinstance(value, list) else value for name, value in found.items()}
    )
    plant_services.save_vessel(
        by=plant.by("supervisor"), vessel=replace(settings, **change), version=stored.version
    )
    return Vessel.objects.get(code=code)


def codes(plant: SmallPlant, key: str, vessel: Vessel) -> list[tuple[str, bool]]:
    offered = offered_recipes(plant.types[key], vessel, plant.now)
    return [(one.version.recipe.code, one.can_run) for one in offered]


@pytest.fixture
def cation_recipes(plant: SmallPlant) -> None:
    own = replace(
        main_recipe(ResinFamily.SAC_HYDROGEN), code="A-OWN-HCL", name="Own recipe by hydrochloric acid"
    )
    for recipe in (own, *(families.default_recipe(code) for code in ("H-H2SO4-120", "CL-FE-H", "CO-H"))):
        factories.approved_recipe(plant, recipe)


def test_the_usual_recipe_of_the_family_comes_first_whatever_its_code(
    plant: SmallPlant, cation_recipes: None
) -> None:
    assert codes(plant, "sac_h", plant.vessels["C1"]) == [
        ("H-HCL-100", True),
        ("A-OWN-HCL", True),
        ("H-H2SO4-120", True),
        ("CL-FE-H", True),
        ("CO-H", True),
    ]


def test_what_is_not_piped_to_the_vessel_comes_last_with_the_reason(
    plant: SmallPlant, cation_recipes: None
) -> None:
    vessel = again(plant, "C1", chemicals=("h2so4",))
    assert [code for code, _ in codes(plant, "sac_h", vessel)] == [
        "H-H2SO4-120", "H-HCL-100", "A-OWN-HCL", "CL-FE-H", "CO-H",
    ]  # fmt: skip
    last = offered_recipes(plant.types["sac_h"], vessel, plant.now)[1]
    assert last.reasons_against == ("Hydrochloric acid is not piped to vessel C1, which gets sulfuric acid.",)


def test_a_locked_out_skid_sends_its_recipes_to_the_end(plant: SmallPlant, cation_recipes: None) -> None:
    plant_services.lock_out_skid(
        by=plant.by("supervisor"), skid_id=Skid.objects.get(code="AS").pk, reason="the pump seal leaks"
    )
    found = codes(plant, "sac_h", plant.vessels["C1"])
    assert found[0] == ("H-H2SO4-120", True)
    assert ("H-HCL-100", False) in found[1:]


def test_the_start_page_suggests_what_the_vessel_can_run(plant: SmallPlant, cation_recipes: None) -> None:
    factories.accepted_tanks(plant, "sac_h", 3)
    again(plant, "C1", chemicals=("h2so4",))
    pool = {"resin_type_id": plant.types["sac_h"].pk, "segregation_class": "D", "dedicated_to_id": None}
    page = start_page(plant.now, **pool)
    assert page is not None and page.recipe is not None and page.recipe.recipe.code == "H-H2SO4-120"
    wanted = plant.recipe["sac_h"].pk
    asked = start_page(plant.now, **pool, recipe_version_id=wanted)
    assert asked is not None and asked.recipe is not None and asked.recipe.pk == wanted
    assert asked.plan is not None
    assert "vessel_chemicals" in [check.code for check in asked.plan.blockers]
    moved = start_page(plant.now, **pool, recipe_version_id=wanted, is_vessel_new=True)
    assert moved is not None and moved.recipe is not None and moved.recipe.recipe.code == "H-H2SO4-120"


# --- vessels of an anion leg --------------------------------------------------------------------------------------------
def fitting(plant: SmallPlant, key: str) -> list[str]:
    (pool,) = [fit for fit in pool_fits(plant.now) if fit.pool.resin_type == plant.types[key]]
    return [fit.vessel.code for fit in pool.fits]


def test_a_vessel_of_the_anion_leg_is_offered_for_it_and_never_for_the_whole_bed(plant: SmallPlant) -> None:
    families.tanks_for(plant, families.WAYS["mixed bed"])
    assert fitting(plant, "mb") == ["M1", "M2"]
    again(plant, "M2", takes_anion_leg_only=True)
    assert fitting(plant, "mb") == ["M1"]
    legs = anion_vessels_for(plant.types["mb"], "D", anion_m3=0.2, except_for=plant.vessels["M1"])
    assert legs[0].vessel.code == "M2"


def test_for_the_anion_leg_the_vessel_meant_for_it_comes_first(plant: SmallPlant) -> None:
    plant.vessels["M0"] = Vessel.objects.get(pk=families.spare(plant, "M0", "M2"))
    assert first_for_the_leg(plant) == "M0"
    again(plant, "M2", takes_anion_leg_only=True)
    assert first_for_the_leg(plant) == "M2"


def first_for_the_leg(plant: SmallPlant) -> str:
    return anion_vessels_for(plant.types["mb"], "D", anion_m3=0.2)[0].vessel.code


def test_it_still_takes_a_single_anion_resin_it_is_made_for(plant: SmallPlant) -> None:
    again(plant, "M2", takes_anion_leg_only=True)
    factories.accepted_tanks(plant, "sba_1", 2)
    assert "M2" in fitting(plant, "sba_1")
