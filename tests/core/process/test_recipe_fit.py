"""Which recipe can run in which vessel: pipes and skids, as an operator would look for them."""

from __future__ import annotations

from dataclasses import replace

from regenplant.core.process.default_recipes import default_recipes
from regenplant.core.process.recipe_fit import chemicals_fed, reasons_against, steps_in
from regenplant.core.process.vocabulary import Chemical, ResinFamily
from tests.core.process.plan_requests import request

RECIPES = {recipe.code: recipe for recipe in default_recipes()}
ACID, CAUSTIC, BRINE = Chemical.HYDROCHLORIC_ACID, Chemical.SODIUM_HYDROXIDE, Chemical.SODIUM_CHLORIDE
PLAIN = request(ResinFamily.SAC_HYDROGEN)


def against(code: str, *piped: Chemical) -> tuple[str, ...]:
    return reasons_against(RECIPES[code], replace(PLAIN.vessel, chemicals=piped), PLAIN.skids)


def test_a_vessel_with_hydrochloric_acid_runs_the_recipe_of_it_and_not_the_sulfuric_one() -> None:
    assert against("H-HCL-100", ACID) == ()
    assert against("H-H2SO4-120", ACID) == (
        "Sulfuric acid is not piped to vessel V1, which gets hydrochloric acid.",
    )


def test_nothing_is_ruled_out_where_nobody_wrote_down_what_is_piped() -> None:
    assert against("H-HCL-100") == against("H-H2SO4-120") == ()


def test_legs_apart_need_each_chemical_where_its_leg_runs() -> None:
    apart, together = RECIPES["MB-APART-110"], RECIPES["MB-TOGETHER-107"]
    assert CAUSTIC not in chemicals_fed(steps_in(apart))
    assert chemicals_fed(steps_in(apart, anion_vessel=True)) == (CAUSTIC,)
    assert against("MB-APART-110", ACID, BRINE) == ()
    assert "caustic" in against("MB-TOGETHER-107", ACID, BRINE)[0]
    assert steps_in(together, anion_vessel=True) == ()


def test_a_skid_that_is_missing_or_locked_out_is_named() -> None:
    recipe, vessel = RECIPES["H-HCL-100"], PLAIN.vessel
    locked = {**PLAIN.skids, "hcl": replace(PLAIN.skids["hcl"], lock_out_reason="pump seal")}
    assert reasons_against(recipe, vessel, {}) == ("No dilution skid for hydrochloric acid is on record.",)
    assert reasons_against(recipe, vessel, locked) == (
        "Skid K-hcl for hydrochloric acid is locked out: pump seal.",
    )


def test_what_is_sanitized_needs_no_skid_for_the_sanitizer() -> None:
    only_brine = {"nacl": PLAIN.skids["nacl"]}
    assert reasons_against(RECIPES["SAN-NA-NAOCL"], PLAIN.vessel, only_brine) == ()
    assert reasons_against(RECIPES["GAC-EXCHANGE"], PLAIN.vessel, {}) == ()
