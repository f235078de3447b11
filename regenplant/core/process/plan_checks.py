"""The checks of a plan: each a sentence with the number seen, the number allowed and what to do.

A rule of the plant that is broken is a blocker; what only a person can weigh is a warning. All checks are listed,
met or not, so that a reader sees what was looked at.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from regenplant.core.engineering.estimate import Estimate
from regenplant.core.process.plan import Check, PlannedStep, ResinData, Severity
from regenplant.core.process.plan_basis import PlanBasis
from regenplant.core.process.plan_float_checks import float_checks
from regenplant.core.process.plan_mixed_checks import mixed_checks
from regenplant.core.process.plan_ratio_checks import ratio_checks
from regenplant.core.process.plan_step_checks import step_checks
from regenplant.core.process.plan_supply_checks import chemical_checks, waste_checks, water_checks
from regenplant.core.process.plan_vessel_checks import bed_checks, vessel_checks
from regenplant.core.process.plan_warm_displacement import displacement_checks
from regenplant.core.process.recipe_rules import may_follow_undisplaced, offences
from regenplant.core.process.vocabulary import Leg, StepKind
from regenplant.core.process.wording import listed, say

_BLOCKER = Severity.BLOCKER

_CHECKED_ELSEWHERE = ("chemical_for_family", "hold_with_chemical", "sulfuric_hold", "no_displacement_between")
"""Offences of a recipe that a check of the plan states with the step's own numbers."""


def build_checks(
    basis: PlanBasis, steps: Sequence[PlannedStep], totals: Mapping[str, Estimate]
) -> tuple[Check, ...]:
    """Every check of a plan, those of vessel and resin first, then step by step, then supplies and waste."""
    return (
        *vessel_checks(basis),
        *_resin_checks(basis),
        *bed_checks(basis),
        *_rule_checks(basis),
        *_sequence_checks(basis, steps),
        *step_checks(basis, steps),
        *displacement_checks(basis, steps),
        *mixed_checks(basis, steps),
        *float_checks(basis, steps),
        *chemical_checks(basis, steps, totals),
        *ratio_checks(basis, totals),
        *water_checks(basis, steps, totals),
        *waste_checks(basis, totals),
    )


# --- the resin against the recipe -----------------------------------------------------------------------------------
def _resins(basis: PlanBasis) -> tuple[ResinData, ...]:
    mixed = basis.request.mixed
    if mixed is None or not basis.request.resin.family.is_mixed:
        return (basis.request.resin,)
    return (basis.request.resin, mixed.cation, mixed.anion)


def _resin_checks(basis: PlanBasis) -> Iterator[Check]:
    """Grade and age, where the recipe limits them."""
    recipe = basis.request.recipe
    for resin in _resins(basis):
        if recipe.grades:
            fits = resin.grade in recipe.grades
            yield Check(
                "resin_grade",
                fits,
                _BLOCKER,
                f"Resin {resin.type_code} is of grade {resin.grade}; recipe {recipe.code} takes {listed(recipe.grades)} only."
                if not fits
                else f"Resin {resin.type_code} is of grade {resin.grade}, which recipe {recipe.code} takes.",
            )
        most = recipe.limits.get("resin_cycles_max")
        if most is not None:
            fits = resin.cycles <= most
            yield Check(
                "resin_cycles",
                fits,
                _BLOCKER,
                f"Resin {resin.type_code} has {say(resin.cycles, 'count')} regenerations behind it, at most {say(most, 'count')}."
                + ("" if fits else " Use it in a working bed from now on."),
                None, float(resin.cycles), None, most, "dimensionless", "count",
            )  # fmt: skip


# --- the order of the recipe ----------------------------------------------------------------------------------------
def _rule_checks(basis: PlanBasis) -> list[Check]:
    """The prohibitions of the trade; a recipe approved before a rule existed is caught here."""
    recipe = basis.request.recipe
    broken = [
        Check("recipe_rules", False, _BLOCKER, offence.sentence, offence.step_number)
        for offence in offences(recipe, basis.request.limits)
        if offence.code not in _CHECKED_ELSEWHERE
    ]
    return broken or [
        Check(
            "recipe_rules",
            True,
            _BLOCKER,
            f"Recipe {recipe.code} breaks none of the rules on what may follow what.",
        )
    ]


def _sequence_checks(basis: PlanBasis, steps: Sequence[PlannedStep]) -> list[Check]:
    """Chemicals that must not meet inside one recipe, and safe holds that are none."""
    found: list[Check] = []
    previous: dict[Leg, PlannedStep] = {}
    for step in steps:
        before = previous.get(step.leg)
        if step.kind is StepKind.INJECT and before is not None and before.kind is StepKind.INJECT:
            found.append(_injection_order(before, step))
        if step.kind in (StepKind.INJECT, StepKind.FLOAT):
            found.append(_hold(step))
        previous[step.leg] = step
    is_exchange = basis.request.resin.family.is_exchanged
    if not is_exchange and not any(step.kind is StepKind.INJECT for step in steps):
        found.append(
            Check("no_injection", False, _BLOCKER, f"Recipe {basis.request.recipe.code} injects nothing.")
        )
    return found


def _injection_order(before: PlannedStep, step: PlannedStep) -> Check:
    assert before.chemical is not None and step.chemical is not None
    same = before.chemical is step.chemical
    bears = may_follow_undisplaced(before.chemical, step.chemical)
    how = (
        "the same chemical."
        if same
        else "brine and caustic, which bear each other."
        if bears
        else "another chemical. Put a displacement between."
    )
    return Check(
        "injection_order",
        bears,
        _BLOCKER,
        f"Step {step.number} follows step {before.number} without displacement, with {how}",
        step.number,
    )


def _hold(step: PlannedStep) -> Check:
    return Check(
        "hold_after_injection",
        not step.is_safe_hold_after,
        _BLOCKER,
        f"Step {step.number} is no hold point: chemical stands in the bed."
        if step.is_safe_hold_after
        else f"Step {step.number} goes on to displacement without a hold.",
        step.number,
    )
