"""The checks of a plan: each a sentence with the number seen, the number allowed and what to do.

A rule of the plant that is broken is a blocker; what only a person can weigh is a warning. All checks are listed,
met or not, so that a reader sees what was looked at.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from regenplant.core.engineering.estimate import Estimate
from regenplant.core.process.plan import Check, PlannedStep, Severity
from regenplant.core.process.plan_basis import PlanBasis
from regenplant.core.process.plan_step_checks import step_checks
from regenplant.core.process.plan_supply_checks import chemical_checks, waste_checks, water_checks
from regenplant.core.process.vocabulary import Chemical, SegregationClass, StepKind
from regenplant.core.process.wording import listed, say, say_range

_BLOCKER, _WARNING, _NOTE = Severity.BLOCKER, Severity.WARNING, Severity.NOTE

_STRONG = (Chemical.HYDROCHLORIC_ACID, Chemical.SULFURIC_ACID, Chemical.SODIUM_HYDROXIDE)


def build_checks(
    basis: PlanBasis, steps: Sequence[PlannedStep], totals: Mapping[str, Estimate]
) -> tuple[Check, ...]:
    """Every check of a plan, those of vessel and resin first, then step by step, then supplies and waste."""
    return (
        *_vessel_checks(basis),
        *_bed_checks(basis),
        *_sequence_checks(basis, steps),
        *step_checks(basis, steps),
        *chemical_checks(basis, steps, totals),
        *water_checks(basis, steps, totals),
        *waste_checks(basis, totals),
    )


# --- vessel and class -----------------------------------------------------------------------------------------------
def _vessel_checks(basis: PlanBasis) -> list[Check]:
    request, vessel = basis.request, basis.request.vessel
    family = request.resin.family
    found = [
        Check(
            "recipe_family",
            request.recipe.family is family,
            _BLOCKER,
            f"Recipe {request.recipe.code} is for {request.recipe.family.label}; the resin is {family.label}."
            if request.recipe.family is not family
            else f"Recipe {request.recipe.code} is for {family.label}.",
        ),
        Check(
            "vessel_family",
            family in vessel.families,
            _BLOCKER,
            f"Vessel {vessel.code} may hold {listed(entry.abbreviation for entry in vessel.families) or 'no family'}; "
            f"the resin is {family.abbreviation}.",
        ),
        Check(
            "vessel_class",
            request.segregation_class in vessel.segregation_classes,
            _BLOCKER,
            f"Vessel {vessel.code} may hold class {listed(vessel.segregation_classes) or 'none'}; "
            f"this batch is class {request.segregation_class}.",
        ),
        _regenerable(request.segregation_class),
        Check(
            "vessel_lock_out",
            not vessel.lock_out_reason,
            _BLOCKER,
            f"Vessel {vessel.code} is locked out: {vessel.lock_out_reason}. It starts nothing until the lock-out is lifted."
            if vessel.lock_out_reason
            else f"Vessel {vessel.code} is not locked out.",
        ),
        _class_sequence(basis),
        _last_chemical(basis),
    ]
    return found


def _regenerable(code: str) -> Check:
    known = code in {entry.value for entry in SegregationClass}
    allowed = known and SegregationClass(code).may_be_regenerated
    if allowed:
        sentence = f"Class {code} may be regenerated."
    elif known:
        sentence = (
            f"Class {code} ({SegregationClass(code).label}) enters no batch without a written disposition."
        )
    else:
        sentence = f"{code!r} is no segregation class. Write A, B, C or D."
    return Check("class_regenerable", allowed, _BLOCKER, sentence)


def _class_sequence(basis: PlanBasis) -> Check:
    request, vessel = basis.request, basis.request.vessel
    last, now = vessel.last_segregation_class, request.segregation_class
    clean_needed = bool(last) and last != now and now != SegregationClass.INDUSTRIAL.value
    if clean_needed:
        sentence = (
            f"Vessel {vessel.code} last held class {last}; class {now} needs a written clean-down first. "
            "Write the clean-down, or take another vessel."
        )
    elif last and last == now == SegregationClass.DEDICATED.value:
        sentence = f"Vessel {vessel.code} last held class {last}, as now; between two owners it needs a clean-down record."
    else:
        sentence = (
            f"Vessel {vessel.code} last held class {last}; class {now} may follow."
            if last
            else f"Vessel {vessel.code} is clean for class {now}."
        )
    return Check("class_sequence", not clean_needed, _BLOCKER, sentence)


def _last_chemical(basis: PlanBasis) -> Check:
    vessel = basis.request.vessel
    coming = [step.chemical for step in basis.request.recipe.steps if step.chemical is not None]
    last = vessel.last_chemical
    if last is None or vessel.is_flushed or not coming:
        return Check("last_chemical", True, _BLOCKER, f"Vessel {vessel.code} is flushed.")
    first = coming[0]
    if first is last:
        return Check(
            "last_chemical", True, _BLOCKER, f"Vessel {vessel.code} last held {last.label.lower()}, as now."
        )
    clash = first in _STRONG and last in _STRONG
    what = "They react with heat." if clash else "Traces carry over."
    return Check(
        "last_chemical",
        False,
        _BLOCKER if clash else _WARNING,
        f"Vessel {vessel.code} last held {last.label.lower()} and is not flushed; {first.label.lower()} comes next. {what} "
        "Flush it and write the flush.",
    )


# --- the bed --------------------------------------------------------------------------------------------------------
def _bed_checks(basis: PlanBasis) -> list[Check]:
    vessel, limits = basis.request.vessel, basis.request.limits
    volume, low, high = basis.volume_m3, vessel.bed_volume_min_m3, vessel.bed_volume_max_m3
    swollen_depth = basis.depth.value * basis.swollen_volume_m3 / volume
    fits = volume <= high
    if volume < low:
        sentence = f"Too few to start: {say(volume, 'resin_volume')}, vessel {vessel.code} needs {say(low, 'resin_volume')}."
    elif not fits:
        sentence = f"Too much for vessel {vessel.code}: {say(volume, 'resin_volume')}, at most {say(high, 'resin_volume')}. Take tanks out."
    else:
        sentence = f"{say(volume, 'resin_volume')} fit vessel {vessel.code}, which takes {say_range(low, high, 'resin_volume')}."
    height = vessel.straight_height_m
    return [
        Check("vessel_fill", low <= volume <= high, _BLOCKER, sentence, None, volume, low, high, "m^3", "resin_volume"),
        Check(
            "bed_height",
            swollen_depth <= height,
            _BLOCKER,
            f"Fully swollen the bed is {say(swollen_depth, 'length')} deep; the vessel has {say(height, 'length')}.",
            None, swollen_depth, None, height, "m", "length",
        ),
        Check(
            "bed_depth",
            basis.depth.value >= limits.bed_depth_warn_m,
            _WARNING,
            f"The bed is {say(basis.depth.value, 'length')} deep; even flow wants at least {say(limits.bed_depth_warn_m, 'length')}.",
            None, basis.depth.value, limits.bed_depth_warn_m, None, "m", "length",
        ),
    ]  # fmt: skip


# --- the order of the recipe ----------------------------------------------------------------------------------------
def _sequence_checks(basis: PlanBasis, steps: Sequence[PlannedStep]) -> list[Check]:
    """Chemicals that must not meet inside one recipe, and safe holds that are none."""
    found: list[Check] = []
    previous: PlannedStep | None = None
    for step in steps:
        if step.kind is StepKind.INJECT:
            if previous is not None and previous.kind is StepKind.INJECT:
                same = previous.chemical is step.chemical
                found.append(
                    Check(
                        "injection_order",
                        same,
                        _BLOCKER,
                        f"Step {step.number} follows step {previous.number} without displacement, with "
                        + ("the same chemical." if same else "another chemical. Put a displacement between."),
                        step.number,
                    )
                )
            found.append(
                Check(
                    "hold_after_injection",
                    not step.is_safe_hold_after,
                    _BLOCKER,
                    f"Step {step.number} is no hold point: chemical stands in the bed."
                    if step.is_safe_hold_after
                    else f"Step {step.number} goes on to displacement without a hold.",
                    step.number,
                )
            )
        previous = step
    if not any(step.kind is StepKind.INJECT for step in steps):
        found.append(
            Check("no_injection", False, _BLOCKER, f"Recipe {basis.request.recipe.code} injects nothing.")
        )
    return found
