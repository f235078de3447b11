"""Which recipes fit a proposed rework: halves worked out here by halving every dose of the recipe before."""

from __future__ import annotations

from dataclasses import replace

import pytest

from regenplant.core.process.default_recipes import default_recipes
from regenplant.core.process.recipes import RecipeDefinition, SetPoint
from regenplant.core.process.rework_options import ReworkKind
from regenplant.core.process.rework_recipes import why_it_fits
from regenplant.core.process.vocabulary import Purpose, ResinFamily, StepKind

INJECTED = (ReworkKind.INJECT_HALF, ReworkKind.INJECT_FULL)


def usual(family: ResinFamily, purpose: Purpose = Purpose.REGENERATION) -> RecipeDefinition:
    return next(one for one in default_recipes() if (one.family, one.purpose) == (family, purpose))


def dosed(recipe: RecipeDefinition, share: float) -> RecipeDefinition:
    """The same with every dose at this share of it."""
    steps = tuple(
        replace(step, settings={**step.settings, "dose_kg_per_m3": _scaled(step.settings["dose_kg_per_m3"], share)})
        if step.kind is StepKind.INJECT
        else step
        for step in recipe.steps
    )  # fmt: skip
    return replace(recipe, steps=steps)


def _scaled(point: SetPoint, share: float) -> SetPoint:
    return SetPoint(point.target * share, point.low * share, point.high * share)


@pytest.mark.parametrize(
    ("share", "fits"),
    [
        (1.0, ["", "it feeds 100 % of the dose of before"]),
        (1.5, ["", "it feeds 150 % of the dose of before"]),
        (0.5, ["it feeds 50 % of the dose of before", ""]),
        (0.8, ["", ""]),
        (0.2, ["", ""]),
    ],
)
def test_half_and_full_are_held_against_the_dose_of_before(share: float, fits: list[str]) -> None:
    before = usual(ResinFamily.SAC_HYDROGEN)
    assert [why_it_fits(kind, dosed(before, share), before) for kind in INJECTED] == fits


def test_another_chemical_is_no_half_and_no_full_dose_of_the_one_before() -> None:
    before, brine = usual(ResinFamily.SAC_HYDROGEN), usual(ResinFamily.SAC_SODIUM)
    assert [why_it_fits(kind, brine, before) for kind in INJECTED] == ["", ""]


def test_cleaning_is_done_by_a_cleaning_recipe_and_by_no_other() -> None:
    before = usual(ResinFamily.SBA_TYPE_1)
    cleaning = usual(ResinFamily.SBA_TYPE_1, Purpose.CLEANING)
    assert why_it_fits(ReworkKind.CLEAN, cleaning, before) == "it cleans, then regenerates"
    assert why_it_fits(ReworkKind.CLEAN, before, before) == ""
    assert [why_it_fits(kind, cleaning, before) for kind in INJECTED] == ["", ""]


def test_a_mixed_bed_is_separated_by_a_recipe_that_separates() -> None:
    mixed, anion = usual(ResinFamily.MIXED_BED), usual(ResinFamily.SBA_TYPE_1)
    assert why_it_fits(ReworkKind.SEPARATE, mixed, mixed) == "it separates, then regenerates"
    assert why_it_fits(ReworkKind.SEPARATE, anion, anion) == ""


def test_a_plain_rinse_is_a_recipe_without_a_chemical() -> None:
    before = usual(ResinFamily.SAC_HYDROGEN)
    bare = tuple(
        step
        for step in before.steps
        if step.kind not in (StepKind.INJECT, StepKind.DISPLACE, StepKind.SANITIZE)
    )
    assert why_it_fits(ReworkKind.RINSE, before, before) == ""
    assert (
        why_it_fits(ReworkKind.RINSE, replace(before, steps=bare), before) == "it rinses without a chemical"
    )
